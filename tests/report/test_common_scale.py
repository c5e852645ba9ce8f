"""What one scale does to figures pooled over pictures, against the figures with another scale put in."""

import math
from dataclasses import dataclass, field

import pytest

from surfscan.columns import GROUP_FIGURES
from surfscan.estimates.groups import specimen_mean
from surfscan.images import Calibration, Source
from surfscan.report.common_scale import scale_part, with_scale
from surfscan.report.pooling import Figures, SpecimenSummary
from surfscan.report.records import FieldRecord
from surfscan.store.results import StoredResult
from surfscan.study.entries import ImageEntry, Specimen

U = 0.02
WIDE, THICK = 400.0, 300.0
SPECIMEN = Specimen(id="s", group="g", drawn_strut_width_um=WIDE, drawn_thickness_um=THICK)


@dataclass
class Part:
    """A specimen with one picture of struts and one of a section, in px, and what they are compared with."""

    width_px: float = 340.0
    area_px: float = 78000.0
    thickness_px: float | None = None
    against: str = "drawn"
    original: str = "drawn size"
    companions: dict = field(default_factory=dict)

    def figures(self, um: float) -> dict[str, dict[str, float | str]]:
        """Its figures with pixels of `um`; what is compared with has the same scale or is known in µm."""
        before_um = um if self.against == "before" else 1.0
        width, wide = self.width_px * um, WIDE * before_um
        thick = THICK if self.thickness_px is None else self.thickness_px * um
        left = THICK - wide + width
        known = self.original == "drawn size"
        original, perimeter = (
            WIDE * THICK * (1 if known else um**2),
            2 * (WIDE + THICK) * (1 if known else um),
        )
        area = self.area_px * um**2
        return {
            "strut": {
                "mean_strut_width_um": width,
                "min_strut_width_um": width,
                "strut_loss_fraction": 1 - width / wide,
                "width_penetration_um": (wide - width) / 2,
                "least_section_fraction": width * thick / (wide * THICK),
                "least_section_equal_loss_fraction": width * left / (wide * THICK),
                "least_section_left_fraction": width * left / (wide * THICK),
                "least_section_left_basis": "equal loss all round",
                "least_section_image": "a.png",
            },
            "section": {
                "remaining_section_fraction": area / original,
                "section_penetration_um": (original - area) / perimeter,
                "max_section_penetration_um": 1.0,
                "original_outline": self.original,
            },
        }

    def summary(self, um: float = 1.0) -> SpecimenSummary:
        """The same as the report holds it."""
        scale = Calibration(um, um, U, "invented")
        stored = StoredResult(
            "a.png",
            "s",
            "struts",
            "",
            "done",
            source=Source("a.png"),
            calibration=scale,
            summary={"loss_against": self.against, "min_width_um": self.width_px * um},
            settings={"drawn_width_um": WIDE, "drawn_thickness_um": THICK},
        )
        strut = ImageEntry(file="a.png", specimen="s", shows="strut", **self.companions)
        section = ImageEntry(file="b.png", specimen="s", shows="section")
        records = {
            "strut": FieldRecord("a.png", strut, SPECIMEN, {"struts": stored}),
            "section": FieldRecord("b.png", section, SPECIMEN, {"section": stored}),
        }
        by_kind = {
            kind: Figures([records[kind]], row) if kind in records else Figures([])
            for kind, row in ({"surface": {}, "heights": {}} | self.figures(um)).items()
        }
        pooled = {"struts": [records["strut"]], "section": [records["section"]], "pits": []}
        return SpecimenSummary(SPECIMEN, by_kind, pooled)


@pytest.mark.parametrize(
    "part",
    [
        Part(),
        Part(width_px=120.0, area_px=20000.0),
        Part(against="before", original="before"),
        Part(thickness_px=250.0, companions={"side_view": "c.png"}),
    ],
)
def test_parts_are_what_another_scale_does(part):
    """The figure with pixels larger by u, less the figure as it is (first order)."""
    summary, step = part.summary(), 1e-6
    more, less = part.figures(1 + step), part.figures(1 - step)
    for kind, row in part.figures(1.0).items():
        for name, value in row.items():
            skipped = ("max_section_penetration_um", *(() if part.against == "drawn" else _EQUAL))
            if name not in GROUP_FIGURES or name in skipped:
                continue
            change = abs(more[kind][name] - less[kind][name]) / (2 * step)
            assert scale_part(summary, name) == pytest.approx(U * change, rel=1e-4, abs=1e-9), (name, value)


_EQUAL = ("least_section_equal_loss_fraction", "least_section_left_fraction")


def test_least_section_left_has_the_part_of_what_it_rests_on():
    summary = Part(thickness_px=250.0, companions={"side_view": "c.png"}).summary()
    summary.by_kind["strut"].row["least_section_left_fraction"] = 0.5
    equal = scale_part(summary, "least_section_left_fraction")
    summary.by_kind["strut"].row["least_section_left_basis"] = "measured thickness"
    assert scale_part(summary, "least_section_left_fraction") == pytest.approx(2 * U * 0.5)
    assert equal != pytest.approx(2 * U * 0.5)


def test_the_greatest_penetration_has_the_part_of_the_mean_one():
    summary = Part().summary()
    mean = scale_part(summary, "section_penetration_um")
    assert mean == pytest.approx(2 * U * 78000 / 1400)
    assert scale_part(summary, "max_section_penetration_um") == mean
    assert scale_part(Part(original="twin").summary(), "max_section_penetration_um") == pytest.approx(U)


def test_depths_shares_and_what_is_missing_have_none():
    summary = Part().summary()
    summary.by_kind["heights"].row["volume_per_area_um"] = 3.0
    summary.by_kind["surface"].row["pitted_area_fraction"] = 0.1
    for name in ("volume_per_area_um", "pitted_area_fraction", "pit_density_per_mm2", "max_depth_um"):
        assert scale_part(summary, name) == 0


def test_half_widths_add_as_squares_and_never_shrink():
    mean = specimen_mean([8.0, 10.0, 12.0], lowest=0)
    half = mean.ci95[1] - 10
    low, high = with_scale(mean, 0.5, lowest=0, highest=math.inf).ci95
    assert high - 10 == pytest.approx(math.hypot(half, 1.959964 * 0.5)) and high - 10 > half
    assert 10 - low == pytest.approx(high - 10)
    assert with_scale(mean, 100.0, lowest=0, highest=12.0).ci95 == (0, 12)
    assert with_scale(mean, 0.0, lowest=0, highest=1) is mean
    refused = specimen_mean([8.0, 10.0])
    assert with_scale(refused, 0.5, lowest=0, highest=1) is refused

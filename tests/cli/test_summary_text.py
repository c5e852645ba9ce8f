"""What a study says in a terminal, on figures put in by hand."""

import math

from surfscan.cli.summary_text import study_text
from surfscan.report.groups import summarise_groups
from surfscan.report.pooling import POOLS, Figures, SpecimenSummary
from surfscan.report.records import FieldRecord
from surfscan.store.results import StoredResult
from surfscan.study.entries import Group, ImageEntry, Specimen

NAN = math.nan


def with_interval(name, value, half=NAN):
    return {name: value, f"{name}_ci95_low": value - half, f"{name}_ci95_high": value + half}


def specimen(name, group, rows, hours=168.0):
    """A specimen with figures of some kinds of image; `records` only tells that there are images."""
    own = Specimen(id=name, group=group, exposure_h=hours)
    by_kind = {
        kind: Figures(
            [FieldRecord("a", ImageEntry(file="a", specimen=name), own)] if kind in rows else [],
            dict(rows.get(kind, {})),
        )
        for kind in ("surface", "heights", "strut", "section")
    }
    by_kind["surface"].row |= {"exposure_h": NAN if hours is None else hours, "material": ""}
    return SpecimenSummary(own, by_kind, {pool: [] for pool in POOLS})


def struts(width, half=NAN):
    return {
        "strut": with_interval("mean_strut_width_um", width, half)
        | with_interval("strut_loss_fraction", 1 - width / 400, half / 400)
        | {"least_section_image": ""}
    }


def sections(fraction, half):
    row = {"original_outline": "twin", "section_penetration_um": NAN}
    return {"section": with_interval("remaining_section_fraction", fraction, half) | row}


def said(specimens, names, records=()):
    groups = summarise_groups([Group(name=name) for name in names], specimens)
    return study_text("T", records, specimens, groups).splitlines()


def test_a_table_for_each_kind_and_a_mean_for_each_group():
    specimens = [
        specimen("U1", "7 d", struts(320.0, 4.0)),
        specimen("U2", "7 d", struts(300.0, 4.0)),
        specimen("U3", "7 d", struts(310.0)),
        specimen("B1", "bare", sections(0.5, 0.02), None),
    ]
    lines = said(specimens, ["7 d", "bare"])
    assert lines[:2] == ["T: 0 images, 4 specimens", ""]
    assert lines[2:9] == [
        "Struts",
        "        Mean strut width, µm    Loss of width, %",
        "7 d, 168 h",
        "  U1    320.0 (316.0 to 324.0)  20.0 (19.0 to 21.0)",
        "  U2    300.0 (296.0 to 304.0)  25.0 (24.0 to 26.0)",
        "  U3    310                     22.5",
        "  mean  310 (285 to 335)        22.5 (16.3 to 28.7)",
    ]
    at = lines.index("Cross-sections")
    assert lines[at + 2 : at + 5] == ["bare", "  B1    50.0 (48.0 to 52.0)", "  mean  50.0"]
    assert "Pictures of surfaces" not in lines and "Height maps" not in lines


def test_lower_bounds_stay_lower_bounds():
    def deep(value, is_bound):
        return {"heights": with_interval("max_depth_um", value, 0.4) | {"max_depth_is_lower_bound": is_bound}}

    lines = said([specimen(f"H{n}", "g", deep(10.0 + n, n == 1)) for n in range(3)], ["g"])
    at = lines.index("Height maps")
    assert [line.split(maxsplit=1)[1] for line in lines[at + 3 : at + 7]] == [
        "10.00 (9.60 to 10.40)",
        "≥\u00a011.00",
        "12.00 (11.60 to 12.40)",
        "≥\u00a011.00",
    ]


def test_what_failed_and_what_belongs_nowhere_is_said():
    own = Specimen(id="s", group="g")
    image = ImageEntry(file="a.png", specimen="s")
    failed = StoredResult("a.png", "s", "pits", "", "failed", "no")
    lines = said([specimen("s", "other", {})], ["g"], [FieldRecord("a.png", image, own, {"pits": failed})])
    assert lines[:3] == ["T: 1 image, 1 specimen", "1 procedure failed", "1 procedure not measured yet"]
    assert "In no group: s" in lines


def test_least_section_left_says_what_it_rests_on():
    def left(value, basis):
        own = with_interval("least_section_left_fraction", value, 0.02)
        return {"strut": own | {"least_section_left_basis": basis, "least_section_image": ""}}

    first, second = left(0.5, "measured thickness"), left(0.3, "equal loss all round")
    lines = said([specimen("A", "g", first), specimen("B", "g", second)], ["g"])
    at = lines.index("Struts")
    assert lines[at + 1].split() == ["Least", "section", "left,", "%"]
    assert lines[at + 3 : at + 6] == [
        "  A     50.0 (48.0 to 52.0), measured",
        "  B     30.0 (28.0 to 32.0), equal loss",
        "  mean  40.0",
    ]
    assert lines[at + 6] == (
        "  (measured: with measured thickness; equal loss: estimated from width with equal loss all round)"
    )


def test_greatest_penetration_that_may_be_none_is_not_above_its_limit():
    def deepest(value, half):
        row = with_interval("max_section_penetration_um", value, half)
        rest = {"remaining_section_fraction": NAN, "section_penetration_um": NAN}
        return {"section": row | rest | {"original_outline": "twin"}}

    lines = said([specimen("A", "g", deepest(1.8, 2.5)), specimen("B", "h", deepest(9.0, 2.5))], ["g", "h"])
    at = lines.index("Cross-sections")
    assert lines[at + 3 : at + 5] == ["  A     not above\u00a04.3", "  mean  not above\u00a04.3"]
    assert lines[at + 6 : at + 8] == ["  B     9.0 (6.5 to 11.5)", "  mean  9.0"]

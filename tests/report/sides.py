"""A study of rates put in by hand, for tests of what is set side by side."""

from __future__ import annotations

import math
from pathlib import Path
from types import SimpleNamespace

from surfscan.comparison.rates import penetration_as_rate
from surfscan.report.groups import summarise_groups
from surfscan.report.pooling import POOLS, Figures, SpecimenSummary
from surfscan.report.rate_records import RateRecord
from surfscan.report.rates import Rate
from surfscan.report.records import FieldRecord
from surfscan.report.study_comparison import StudyComparison, compare_study
from surfscan.study.manifest import ImageEntry, Specimen, Study, load_study
from surfscan.study.rate_entries import GasEntry, SweepEntry, WeighingEntry

SIDES = """
title = "Rates side by side"
note = "All data invented."
[[group]]
name = "bare as received"
[[group]]
name = "bare 7 d"
baseline = "bare as received"
[[group]]
name = "bare 14 d"
baseline = "bare as received"
[[group]]
name = "coated 14 d"
"""
SIDE_METAL = {
    "name": "Mg",
    "aliases": [],
    "density_g_per_cm3": {"value": 1.738, "unit": "g/cm3", "source": "invented", "status": "invented"},
    "other_densities": [],
    "composition": {
        "Mg": {"value": 1.0, "unit": "mass fraction", "source": "invented", "status": "invented"}
    },
    "equivalent_weight": None,
    "equivalent_weights": [],
}
SIDE_HOURS = {"bare as received": 0.0, "bare 7 d": 168.0, "bare 14 d": 336.0, "coated 14 d": 336.0}


def _limits(name: str, value: float, half: float) -> dict[str, float]:
    return {name: value, f"{name}_ci95_low": value - half, f"{name}_ci95_high": value + half}


def strut_row(depth: float, half: float, left: float, **more: object) -> dict[str, object]:
    """Row of a specimen's struts by how far they lost and the least section left."""
    return {
        **_limits("width_penetration_um", depth, half),
        **_limits("least_section_left_fraction", left, 0.02),
        **_limits("mean_strut_width_um", 400 - 2 * depth, 2.0),
        "least_section_left_basis": "equal loss all round",
        "least_section_image": "",
        "section_basis": "drawn",
        "condition": "cleaned",
        "n_pooled": 1,
        "total_length_um": 1500.0,
        "strut_count": 2.0,
        "broken_count": 0.0,
        "missing_count": 0.0,
        "crack_count": 0.0,
        **more,
    }


def section_row(depth: float, half: float, left: float) -> dict[str, object]:
    """Row of a specimen's cross-sections."""
    return {
        **_limits("section_penetration_um", depth, half),
        **_limits("remaining_section_fraction", left, 0.02),
        "n_profiles": 1,
        "original_outline": "drawn size",
    }


def height_row(volume: float, deepest_um: float, is_bound: bool = False) -> dict[str, object]:
    """Row of a specimen's height maps, the original level not known."""
    return {
        **_limits("volume_per_area_um", volume, volume / 2),
        **_limits("max_depth_um", deepest_um, 0.2),
        "max_depth_is_lower_bound": is_bound,
        "original_level": "present surface",
        "mean_penetration_um": math.nan,
        "field_area_mm2": 0.1,
        "lower_bound_depth_count": float(is_bound),
    }


class Sides:
    """A study of rates put in by hand: `specimen`, `weigh`, `gas` and `sweep` add to it, `found` compares."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.text, self.summaries, self.rates = folder, SIDES, [], []

    def specimen(self, name: str, group: str, drawn: bool = True, **rows: dict[str, object]) -> None:
        """A specimen with rows of some kinds of image."""
        hours = SIDE_HOURS[group]
        self.text += (
            f'[[specimen]]\nid = "{name}"\ngroup = "{group}"\nexposure_h = {hours}\nmaterial = "Mg"\n'
        )
        sizes = {"drawn_strut_width_um": 400.0, "drawn_thickness_um": 300.0} if drawn else {}
        self.text += "".join(f"{key} = {value}\n" for key, value in sizes.items())
        own = Specimen(id=name, group=group, exposure_h=hours, material="Mg", **sizes)
        image = ImageEntry(file="a", specimen=name)
        by_kind = {
            kind: Figures([FieldRecord("a", image, own)] if kind in rows else [], dict(rows.get(kind, {})))
            for kind in ("surface", "heights", "strut", "section")
        }
        by_kind["surface"].row |= {"exposure_h": hours, "material": "Mg"}
        pooled = {pool: [] for pool in POOLS}
        if "heights" in rows:
            pooled["height_pits"] = by_kind["heights"].records
        self.summaries.append(SpecimenSummary(own, by_kind, pooled))

    def _rate(
        self, entry: object, procedure: str, method: str, value: float, relative: float, **more: object
    ) -> None:
        named = [s.specimen for s in self.summaries if s.specimen.id == entry.specimen]
        summary = {
            "contributions_percent": {"weighing and cleaning": 100 * relative, "area": 2.0},
            "area_cm2": 1.0,
            "area_from": f"surface of {entry.specimen}",
            "area_relative_uncertainty": 0.02,
            "material": SIDE_METAL,
            "bias": more.get("bias", ""),
            "reasons": list(more.get("reasons", ())),
            "refused": "",
            "how": "by hand",
            "method": "fit of both branches",
            "stern_geary_refused": "not asked for",
        }
        stored = SimpleNamespace(
            status="done", summary=summary, tables={}, warnings=(), source=None, version="1"
        )
        record = RateRecord(entry, procedure, tuple(named), stored)
        half = 1.96 * math.hypot(relative, 0.02) * value
        hours = (math.nan, math.nan) if procedure == "sweep" else (0.0, named[0].exposure_h)
        limits = (value - half, value + half)
        per_day = 1.738 * 1000 / 365.25  # g/(m² d) of a mm/y
        summary |= {"starts_h": hours[0], "ends_h": hours[1], "rate_mm_per_y": value}
        summary |= {"rate_mm_per_y_ci95": limits, "rate_g_per_m2_d": value * per_day}
        summary |= {"rate_g_per_m2_d_ci95": [limit * per_day for limit in limits]}
        self.rates.append(Rate(record, method, "by hand", *hours, value, limits, **more))

    def weigh(self, name: str, value: float, relative: float = 0.01) -> None:
        """Mass loss of a specimen, mm/y over the starting area."""
        entry = WeighingEntry(specimen=name, before_g=2.0, cleaned_g=(1.0,))
        self._rate(entry, "mass_loss", "mass loss", value, relative)

    def gas(self, name: str, value: float) -> None:
        """Hydrogen of a specimen, which reads low."""
        entry = GasEntry(specimen=name, hours=(0.0, 24.0), volume_mL=(0.0, 1.0), temperature_degC=37.0)
        self._rate(entry, "gas", "gas", value, 0.01, bias="reads low", reasons=("bubbles",))

    def sweep(self, name: str, value: float, twin_of: str | None = None) -> None:
        """Sweep of an electrode, perhaps as twin of an exposed specimen."""
        entry = SweepEntry(file=f"{name}.csv", specimen=name, area_cm2=1.0, twin_of=twin_of)
        self._rate(entry, "sweep", "sweep", value, 0.02)

    def of_bath_alone(self) -> Sides:
        """The same without pictures and sweeps."""
        for summary in self.summaries:
            kept = {k: v for k, v in summary.seen.row.items() if k in ("exposure_h", "material")}
            for own in summary.by_kind.values():
                own.records.clear()
                own.row.clear()
            summary.seen.row |= kept
            summary.pooled["height_pits"] = []
        self.rates = [rate for rate in self.rates if rate.method != "sweep"]
        return self

    def study(self, more: str = "") -> Study:
        """The study as written and read."""
        self.folder.mkdir(exist_ok=True)
        (self.folder / "study.toml").write_text(self.text + more, encoding="utf-8")
        return load_study(self.folder)

    def found(self, more: str = "") -> StudyComparison:
        """Everything compared; `more` goes to the end of study.toml."""
        study = self.study(more)
        self.groups = summarise_groups(study.groups, self.summaries)
        records = [rate.record for rate in self.rates]
        return compare_study(study, self.summaries, self.groups, records, self.rates)

    def nine_plates(self) -> Sides:
        """Nine exposed plates and three electrodes.

        Penetration 20 µm after 7 d and 40 µm after 14 d on bare plates, 12 µm on coated ones, a tenth less or
        more on the first and third of each group; loss over the start, gas a tenth below.
        """
        for k in (1, 2, 3):
            self.specimen(f"E{k}", "bare as received")
        for group, letter, depth in (
            ("bare 7 d", "S", 20.0),
            ("bare 14 d", "L", 40.0),
            ("coated 14 d", "C", 12.0),
        ):
            for k, factor in ((1, 0.9), (2, 1.0), (3, 1.1)):
                lost = depth * factor
                left = (400 - 2 * lost) * (300 - 2 * lost) / 120_000
                name = f"{letter}{k}"
                self.specimen(
                    name,
                    group,
                    strut=strut_row(lost, 1.0, left - 0.05),
                    section=section_row(lost * 1.01, 1.0, left),
                    heights=height_row(0.1, 5.0, is_bound=k == 3),
                    surface=_limits("degraded_area_fraction", min(lost / 50, 0.95), 0.02),
                )
                hours = SIDE_HOURS[group]
                over_start = 120_000 * (1 - left) / 1400
                self.weigh(name, penetration_as_rate(over_start, hours))
                if letter == "L":
                    self.gas(name, 0.9 * penetration_as_rate(over_start, hours))
                    self.sweep(f"E{k}", 0.5 * penetration_as_rate(lost, hours), twin_of=name)
        return self

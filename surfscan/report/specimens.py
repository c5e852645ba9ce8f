"""One row a specimen: its fields pooled, worst-seen fields kept apart."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from surfscan.columns import GROUP_FIGURES, Table, columns, conform
from surfscan.estimates import counting, fields, g46
from surfscan.report.records import NOT_STATED, PROCEDURES, WITH_PRODUCT, FieldRecord, about, words

if TYPE_CHECKING:
    from surfscan.study.manifest import Specimen

NO_INTERVAL = (math.nan, math.nan)
FEW_FIELDS = 3
"""With so few fields an interval between them may be narrow by chance alone, and is not taken narrower than
the fields themselves allow (common practice, no source)."""
_POOLED_FIRST = {
    "pits": ("cleaned", "as_received", WITH_PRODUCT),
    "degraded": (WITH_PRODUCT, "cleaned", "as_received"),
}
"""Where a specimen was imaged in several conditions, only one is pooled: the one that most specimens of its
group have, so that they can be compared. At a tie this order decides: pits show best on cleaned metal,
degraded area before the product is taken off."""


@dataclass
class SpecimenSummary:
    """Everything the report says about one specimen.

    Attributes
    ----------
    specimen : Specimen
    records : list of FieldRecord
        All its images.
    pooled : dict of str to list of FieldRecord
        Fields that enter its figures, by procedure.
    row : dict
        Its row of the specimen table.
    warnings : list of str
    """

    specimen: Specimen
    records: list[FieldRecord]
    pooled: dict[str, list[FieldRecord]] = field(default_factory=dict)
    row: dict[str, Any] = field(default_factory=dict)
    warnings: list[str] = field(default_factory=list)
    remarks: dict[str, list[str]] = field(default_factory=dict)
    """Text -> figures it is about, so that one fault of three figures is one warning."""

    def warn(self, text: str) -> None:
        """Add a warning."""
        self.warnings.append(text)

    def remark(self, figure: str, texts: Iterable[str]) -> None:
        """Add what limits one figure of `GROUP_FIGURES`."""
        for text in texts:
            self.remarks.setdefault(text, []).append(GROUP_FIGURES[figure][1])


def summarise_specimens(
    specimens: Iterable[Specimen], records: Sequence[FieldRecord]
) -> list[SpecimenSummary]:
    """Pool the fields of each specimen, in the study's order.

    Notes
    -----
    Density: summed edge-weighted counts over summed areas; Poisson interval for one field, between-field
    t-interval of the ratio for several. Area fractions: mean over fields weighted by field area (ASTM E562,
    E1245); what is common to all fields, the class boundary's own uncertainty for degraded area and that of
    the outlines for pitted area, is added to the field sampling in quadrature on each side.

    Two or three fields may agree by chance better than independent pits can: then the Poisson interval of
    the pooled count, and for the pitted area the pooled intervals of the fields, are kept.
    """
    out = [SpecimenSummary(s, [r for r in records if r.specimen.id == s.id]) for s in specimens]
    for group in dict.fromkeys(s.specimen.group for s in out):
        members = [s for s in out if s.specimen.group == group]
        for procedure, preference in _POOLED_FIRST.items():
            order = _condition_order(members, procedure, preference)
            for summary in members:
                summary.pooled[procedure] = _one_condition(summary, procedure, order)
    for summary in out:
        _fill(summary)
    return out


def specimen_table(summaries: Sequence[SpecimenSummary]) -> Table:
    """The specimen table of the report, `study_specimens` in the column registry."""
    return conform(
        "study_specimens",
        {c.name: np.array([s.row[c.name] for s in summaries]) for c in columns("study_specimens")},
    )


def _fill(summary: SpecimenSummary) -> None:
    specimen, records, row, warn = summary.specimen, summary.records, summary.row, summary.warn
    worst = [r for r in records if not r.enters_means]
    unmeasured = [
        r for r in records if any(r.status(p) in ("failed", "not measured") for p in r.image.procedures)
    ]
    row |= {
        "specimen": specimen.id,
        "group": specimen.group,
        "exposure_h": _value(specimen.exposure_h),
        "material": specimen.material or "",
        "surface_area_mm2": _value(specimen.surface_area_mm2),
        "n_worst_seen": len(worst),
        "n_failed": len(unmeasured),
    }
    if worst:
        warn(f"{_fields(len(worst))} picked as worst seen: shown, but in no mean and no density.")
    if unmeasured:
        images = f"{len(unmeasured)} image{'' if len(unmeasured) == 1 else 's'}"
        warn(f"{images} not measured: {', '.join(r.image_id for r in unmeasured)}.")
    unchosen = sum(r.image.field_choice == NOT_STATED for r in records)
    if unchosen:
        warn(
            f"{_fields(unchosen)} with field_choice not stated: means and intervals hold only if fields were "
            "taken systematically or at random."
        )
    _fill_pits(summary)
    _fill_degraded(summary)
    summary.warnings += [about(figures, text) for text, figures in summary.remarks.items()]
    for name, procedure in (
        ("pit_density_per_mm2", "pits"),
        ("pitted_area_fraction", "pits"),
        ("degraded_area_fraction", "degraded"),
    ):
        seen = [v for r in worst if not math.isnan(v := r.figure(procedure, name))]
        row[f"worst_seen_{name}"] = max(seen, default=math.nan)
    row["warnings"] = " | ".join(summary.warnings)


def _usable(summary: SpecimenSummary, procedure: str) -> list[FieldRecord]:
    return [r for r in summary.records if r.enters_means and r.done(procedure)]


def _condition_order(
    members: Sequence[SpecimenSummary], procedure: str, preference: Sequence[str]
) -> list[str]:
    """Conditions of a group's fields, the one to pool first: found on most specimens, then by preference."""
    found: Counter[str] = Counter(
        c for m in members for c in {r.image.condition for r in _usable(m, procedure)}
    )
    return sorted(found, key=lambda c: (-found[c], (*preference, NOT_STATED).index(c)))


def _one_condition(summary: SpecimenSummary, procedure: str, order: Sequence[str]) -> list[FieldRecord]:
    """Measured fields that may enter a mean, all of one surface condition."""
    usable = _usable(summary, procedure)
    conditions = sorted({r.image.condition for r in usable}, key=order.index)
    if len(conditions) > 1:
        quoted = [f"'{words(c)}'" for c in conditions]
        text = (
            f"only fields of surface condition {quoted[0]} are pooled; "
            f"those of {', '.join(quoted[1:])} are shown but left out."
        )
        summary.remarks.setdefault(text, []).append(PROCEDURES[procedure].lower())
    return [r for r in usable if r.image.condition == conditions[0]]


def _fill_pits(summary: SpecimenSummary) -> None:
    pooled, row, warn = summary.pooled["pits"], summary.row, summary.warn
    tables = [r.table("pits") for r in pooled]
    scaled = [i for i, r in enumerate(pooled) if not math.isnan(r.figure("pits", "field_area_mm2"))]
    row |= {
        "pits_condition": pooled[0].image.condition if pooled else "",
        "n_pit_fields": len(pooled),
        "pit_count": float(sum(len(t["label"]) for t in tables)) if pooled else math.nan,
        "edge_weighted_count": sum(_weight(t) for t in tables) if pooled else math.nan,
        "field_area_mm2": sum(pooled[i].figure("pits", "field_area_mm2") for i in scaled) or math.nan,
    }
    for name in ("pit_density_per_mm2", "pit_density_per_mpx"):
        _put(row, name, math.nan, NO_INTERVAL)
    row["pit_density_interval"] = ""
    if scaled and len(scaled) < len(pooled):
        warn(
            f"{_fields(len(pooled) - len(scaled))} without a known scale left out of the density per mm² "
            "and of pit sizes. State pixel_size_um."
        )
    used = scaled or list(range(len(pooled)))
    name, area_name, unit = (
        ("pit_density_per_mm2", "field_area_mm2", 1.0)
        if scaled
        else ("pit_density_per_mpx", "field_area_px", 1e-6)
    )
    if used:
        areas = [pooled[i].figure("pits", area_name) * unit for i in used]
        value, limits, row["pit_density_interval"], remarks = _density([tables[i] for i in used], areas)
        _put(row, name, value, limits)
        summary.remark(name, remarks)
    _fraction(summary, "pitted_area_fraction", pooled, "pits")
    _sizes([tables[i] for i in used], row, "um" if scaled else "px")
    row["g46_density_class"] = row["g46_size_class"] = ""
    if not math.isnan(row["pit_density_per_mm2"]):
        mean_area = row["mean_area_um2"]
        upper = row["pit_density_per_mm2_ci95_high"]
        rating = g46.rate(
            row["pit_density_per_mm2"],
            None if math.isnan(mean_area) else mean_area,
            upper_per_mm2=None if math.isnan(upper) else upper,
        )
        row["g46_density_class"], row["g46_size_class"] = rating.density_class or "", rating.size_class or ""
        for text in rating.warnings:
            warn(text)
    unknown = sum(r.image.condition == NOT_STATED for r in pooled)
    if unknown:
        warn(f"Surface condition not stated ({_fields(unknown)}): corrosion product, if any, may hide pits.")
    uncleaned = sum(r.image.condition == WITH_PRODUCT for r in pooled)
    if uncleaned:
        warn(
            f"Pits counted with corrosion product on the surface ({_fields(uncleaned)}): product may hide "
            "some, so counts are lower bounds."
        )


def _density(
    tables: Sequence[Table], areas: Sequence[float]
) -> tuple[float, tuple[float, float], str, tuple[str, ...]]:
    """Summed weights over summed areas, its interval, what that rests on, and what limits it."""
    everything = np.concatenate([t["edge_weight"] for t in tables])
    poisson = counting.density(everything, float(sum(areas)))
    if poisson.value is None:
        return math.nan, NO_INTERVAL, "", ("A pit has no edge weight, so there is no density.",)
    if len(areas) == 1:
        return _value(poisson.value), poisson.ci95 or NO_INTERVAL, "Poisson, one field", ()
    between = fields.area_weighted_mean([_weight(t) for t in tables], areas)
    narrowest = poisson.ci95 or NO_INTERVAL
    chance = len(areas) <= FEW_FIELDS and 2 * (between.half_width or 0.0) < narrowest[1] - narrowest[0]
    if chance or not between.standard_deviation:
        return between.mean, narrowest, f"Poisson, {len(areas)} fields alike", ()
    return between.mean, between.ci95 or NO_INTERVAL, f"between {len(areas)} fields", between.warnings


def _fill_degraded(summary: SpecimenSummary) -> None:
    pooled, row = summary.pooled["degraded"], summary.row
    row["degraded_condition"] = pooled[0].image.condition if pooled else ""
    row["n_degraded_fields"] = len(pooled)
    _fraction(summary, "degraded_area_fraction", pooled, "degraded")
    with_class = [r for r in pooled if not math.isnan(r.figure("degraded", "tarnished_area_fraction"))]
    _fraction(summary, "tarnished_area_fraction", with_class, "degraded")


def _fraction(summary: SpecimenSummary, name: str, pooled: Sequence[FieldRecord], procedure: str) -> None:
    """Area-weighted mean over fields with its interval; the field's own interval where there is one field."""
    row = summary.row
    measured = [r for r in pooled if not math.isnan(r.figure(procedure, name))]
    row[f"{name}_relative_accuracy_percent"], row[f"{name}_interval"] = math.nan, ""
    if len(measured) < len(pooled):
        summary.remark(name, [f"{_fields(len(pooled) - len(measured))} without a defensible value left out."])
    if not measured:
        _put(row, name, math.nan, NO_INTERVAL)
        return
    values = np.array([r.figure(procedure, name) for r in measured])
    limits = np.array([r.interval(procedure, name) for r in measured])
    if len(measured) == 1:
        _put(row, name, values[0], limits[0])
        row[f"{name}_interval"] = "" if np.isnan(limits[0]).any() else "one field"
        return
    areas = _areas(measured, procedure)
    between = fields.area_weighted_mean(values * areas, areas, upper=1.0)
    own = np.abs(limits - values[:, np.newaxis])
    half = between.half_width or 0.0
    basis = f"between {len(measured)} fields"
    if procedure == "pits":
        outlines = np.array([_outlines_share(r) for r in measured])
        share = areas / areas.sum()
        common = share @ outlines
        sampling = np.maximum(np.square(own) - np.square(outlines)[:, np.newaxis], 0)
        floor = np.sqrt(np.nansum(sampling * np.square(share)[:, np.newaxis], axis=0))
        below, above = np.hypot(half, common), np.hypot(half, common)
        if len(measured) <= FEW_FIELDS and 2 * half < floor.sum():
            below, above = np.hypot(floor, common)
            basis = f"within fields, {len(measured)} fields alike"
    else:
        known = ~np.isnan(own).any(axis=1)
        common = areas[known] @ own[known] / areas[known].sum() if known.any() else np.zeros(2)
        below, above = np.hypot(half, common)
    if below == above == 0:
        _put(row, name, between.mean, NO_INTERVAL)
        return
    _put(row, name, between.mean, (max(between.mean - below, 0.0), min(between.mean + above, 1.0)))
    row[f"{name}_interval"] = basis
    if half and basis.startswith("between"):
        row[f"{name}_relative_accuracy_percent"] = _value(between.relative_accuracy_percent)
        summary.remark(name, between.warnings)


def _outlines_share(record: FieldRecord) -> float:
    """Half of the 95 % interval of a field's pitted area fraction that comes from where outlines run."""
    pits, stored = record.table("pits"), record.done("pits")
    if stored is None or stored.calibration is None:
        perimeter, pixel, area = pits["perimeter_px"], 1.0, record.figure("pits", "field_area_px")
    else:
        pixel = math.sqrt(stored.calibration.pixel_area_um2)
        perimeter, area = pits["perimeter_um"], 1e6 * record.figure("pits", "field_area_mm2")
    return counting.outlines_half_width(perimeter, counting.OUTLINE_SHIFT_PX * pixel) / area


def _areas(measured: Sequence[FieldRecord], procedure: str) -> np.ndarray:
    """Field areas in mm² where every field has a scale, else in pixels."""
    stem = {"pits": "field_area", "degraded": "region_area"}[procedure]
    areas = np.array([r.figure(procedure, f"{stem}_mm2") for r in measured])
    if np.isnan(areas).any():
        areas = np.array([r.figure(procedure, f"{stem}_px") for r in measured])
    return areas


def _sizes(tables: Sequence[Table], row: dict[str, Any], unit: str) -> None:
    """Median and mean over the pits that the frame does not cut, as `measure_pits` takes them."""
    for name in ("median_equivalent_diameter_um", "median_equivalent_diameter_px"):
        row[name] = math.nan
    row["mean_equivalent_diameter_um"] = row["mean_area_um2"] = math.nan
    whole = [~t["touches_image_border"] for t in tables]
    if not sum(int(w.sum()) for w in whole):
        return
    diameters = np.concatenate(
        [t[f"equivalent_diameter_{unit}"][w] for t, w in zip(tables, whole, strict=True)]
    )
    row[f"median_equivalent_diameter_{unit}"] = float(np.median(diameters))
    if unit == "um":
        areas = np.concatenate([t["area_um2"][w] for t, w in zip(tables, whole, strict=True)])
        row["mean_equivalent_diameter_um"] = float(np.mean(diameters))
        row["mean_area_um2"] = float(np.mean(areas))


def _weight(table: Table) -> float:
    return float(np.nansum(table["edge_weight"]))


def _put(row: dict[str, Any], name: str, value: float, limits: Sequence[float] | np.ndarray) -> None:
    row[name] = float(value)
    row[f"{name}_ci95_low"], row[f"{name}_ci95_high"] = float(limits[0]), float(limits[1])


def _value(value: float | None) -> float:
    return math.nan if value is None else float(value)


def _fields(n: int) -> str:
    return f"{n} field" if n == 1 else f"{n} fields"

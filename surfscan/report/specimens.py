"""One row a specimen: its pictures pooled, worst-seen fields kept apart."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from surfscan.columns import Table, columns, conform
from surfscan.estimates import counting, fields, g46
from surfscan.estimates.combining import combined_half_width
from surfscan.report.height_specimens import fill_heights
from surfscan.report.pooling import (
    FEW_FIELDS,
    NO_INTERVAL,
    Figures,
    SpecimenSummary,
    count,
    general_warnings,
    number,
    pool_fields,
    product_warnings,
    put_density,
)
from surfscan.report.records import FieldRecord, about
from surfscan.report.section_specimens import fill_sections
from surfscan.report.strut_specimens import fill_struts

if TYPE_CHECKING:
    from surfscan.study.manifest import Specimen


def summarise_specimens(
    specimens: Iterable[Specimen], records: Sequence[FieldRecord]
) -> list[SpecimenSummary]:
    """Pool the fields of each specimen, each kind of image by itself, in the study's order.

    Notes
    -----
    Density: summed edge-weighted counts over summed areas; Poisson interval for one field, between-field
    t-interval of the ratio for several, the scale that the fields share added to it. Area fractions: mean
    over fields weighted by field area (ASTM E562, E1245); what is common to all fields, the class boundary's
    own uncertainty for degraded area and that of the outlines for pitted area, is combined with the field
    sampling on each side (`combined_half_width`).

    Two or three fields may agree by chance better than independent pits can: then the Poisson interval of
    the pooled count, and for the pitted area the pooled intervals of the fields, are kept.
    """
    out = pool_fields(specimens, records)
    for summary in out:
        _fill(summary)
        fill_heights(summary)
        fill_sections(summary)
        fill_struts(summary)
    return out


def specimen_table(summaries: Sequence[SpecimenSummary]) -> Table:
    """The specimen table of the report, `study_specimens` in the column registry."""
    return conform(
        "study_specimens",
        {c.name: np.array([s.row[c.name] for s in summaries]) for c in columns("study_specimens")},
    )


def _fill(summary: SpecimenSummary) -> None:
    specimen, figures, row = summary.specimen, summary.seen, summary.row
    row |= {
        "specimen": specimen.id,
        "group": specimen.group,
        "exposure_h": number(specimen.exposure_h),
        "material": specimen.material or "",
        "surface_area_mm2": number(specimen.wetted_mm2),
        "pits_condition": summary.condition("pits"),
        "degraded_condition": summary.condition("degraded"),
    }
    general_warnings(figures)
    _fill_pits(figures, summary.pooled["pits"])
    _fill_degraded(figures, summary.pooled["degraded"])
    figures.warnings += [about(names, text) for text, names in figures.remarks.items()]
    for name, procedure in (
        ("pit_density_per_mm2", "pits"),
        ("pitted_area_fraction", "pits"),
        ("degraded_area_fraction", "degraded"),
    ):
        seen = [
            v
            for r in figures.records
            if not r.enters_means and not math.isnan(v := r.figure(procedure, name))
        ]
        row[f"worst_seen_{name}"] = max(seen, default=math.nan)
    row["warnings"] = " | ".join(figures.warnings)


def _fill_pits(figures: Figures, pooled: Sequence[FieldRecord]) -> None:
    row = figures.row
    used = put_density(figures, pooled)
    _fraction(figures, "pitted_area_fraction", pooled, "pits")
    scaled = not math.isnan(row["field_area_mm2"])
    _sizes([pooled[i].table("pits") for i in used], row, "um" if scaled else "px")
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
            figures.warn(text)
    product_warnings(figures, pooled)


def _fill_degraded(figures: Figures, pooled: Sequence[FieldRecord]) -> None:
    figures.row["n_degraded_fields"] = len(pooled)
    _fraction(figures, "degraded_area_fraction", pooled, "degraded")
    with_class = [r for r in pooled if not math.isnan(r.figure("degraded", "tarnished_area_fraction"))]
    _fraction(figures, "tarnished_area_fraction", with_class, "degraded")


def _fraction(figures: Figures, name: str, pooled: Sequence[FieldRecord], procedure: str) -> None:
    """Area-weighted mean over fields with its interval; the field's own interval where there is one field."""
    row = figures.row
    measured = [r for r in pooled if not math.isnan(r.figure(procedure, name))]
    row[f"{name}_relative_accuracy_percent"], row[f"{name}_interval"] = math.nan, ""
    if len(measured) < len(pooled):
        figures.remark(
            name, [f"{count(len(pooled) - len(measured), 'field')} without a defensible value left out."]
        )
    if not measured:
        figures.put(name, math.nan, NO_INTERVAL)
        return
    values = np.array([r.figure(procedure, name) for r in measured])
    limits = np.array([r.interval(procedure, name) for r in measured])
    if len(measured) == 1:
        figures.put(name, values[0], limits[0])
        row[f"{name}_interval"] = "" if np.isnan(limits[0]).any() else "one field"
        return
    areas = _areas(measured, procedure)
    between = fields.area_weighted_mean(values * areas, areas, upper=1.0)
    own = np.abs(limits - values[:, np.newaxis])
    half, freedom = between.half_width or 0.0, len(measured) - 1
    basis = f"between {len(measured)} fields"
    if procedure == "pits":
        outlines = np.array([_outlines_share(r) for r in measured])
        share = areas / areas.sum()
        common = share @ outlines
        sampling = np.maximum(np.square(own) - np.square(outlines)[:, np.newaxis], 0)
        floor = np.sqrt(np.nansum(sampling * np.square(share)[:, np.newaxis], axis=0))
        below = above = combined_half_width(half, freedom, float(common))
        if len(measured) <= FEW_FIELDS and 2 * half < floor.sum():
            below, above = np.hypot(floor, common)
            basis = f"within fields, {len(measured)} fields alike"
    else:
        known = ~np.isnan(own).any(axis=1)
        common = areas[known] @ own[known] / areas[known].sum() if known.any() else np.zeros(2)
        below, above = (combined_half_width(half, freedom, side) for side in common.tolist())
    if below == above == 0:
        figures.put(name, between.mean, NO_INTERVAL)
        return
    figures.put(name, between.mean, (max(between.mean - below, 0.0), min(between.mean + above, 1.0)))
    row[f"{name}_interval"] = basis
    if half and basis.startswith("between"):
        row[f"{name}_relative_accuracy_percent"] = number(between.relative_accuracy_percent)
        figures.remark(name, between.warnings)


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

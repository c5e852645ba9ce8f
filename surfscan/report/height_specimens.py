"""One row a specimen with height maps: depths and volumes pooled over its maps, apart from its pictures."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from surfscan.columns import GROUP_FIGURES, Table, columns, conform
from surfscan.estimates import counting, fields, g46
from surfscan.estimates.depths import censored_quantile, deepest, hidden_floors_remark, pitting_factor
from surfscan.report.pooling import (
    FEW_FIELDS,
    NO_INTERVAL,
    Figures,
    SpecimenSummary,
    general_warnings,
    number,
    product_warnings,
    put_density,
)
from surfscan.report.records import FieldRecord, about

PRESENT_SURFACE = "present surface"
_TEXTURE = {"Sa_um": "Sa", "Sq_um": GROUP_FIGURES["Sq_um"][1], "Sdr": "Sdr"}
_QUANTILES = {"depth_p10_um": 0.1, "median_depth_um": 0.5, "depth_p90_um": 0.9}


def fill_heights(summary: SpecimenSummary) -> None:
    """Pool the height maps of a specimen; nothing is done where it has none.

    Notes
    -----
    Depths are pooled over all pits of the pooled maps. A floor that was not measured makes the greatest depth
    and the mean of the ten deepest lower bounds too. A pit that goes on beyond the frame does not: what lies
    outside is not of the area seen. It is a lower bound in the quantiles, which are of whole pits and are
    product-limit estimates (Kaplan & Meier). The interval of the greatest depth is that of its map.
    Volume per area: summed volumes over summed areas with the between-field t-interval of the ratio; from one
    map, and from two or three that agree better than independent pits can, the interval of a compound
    Poisson sum (as for pitted area). The scale in the plane enters volume and area alike and cancels; that of
    the heights is not known to the study.
    """
    figures = summary.deep
    if not figures.records:
        return
    specimen = summary.specimen
    figures.row |= {
        "specimen": specimen.id,
        "group": specimen.group,
        "exposure_h": number(specimen.exposure_h),
        "material": specimen.material or "",
        "surface_area_mm2": number(specimen.wetted_mm2),
        "n_height_maps": len(figures.records),
        "pits_condition": summary.condition("height_pits"),
        "texture_condition": summary.condition("texture"),
    }
    general_warnings(figures, "height map")
    pooled = summary.pooled["height_pits"]
    put_density(figures, pooled)
    _fill_depths(figures, pooled)
    _fill_volume(figures, pooled)
    _fill_level(figures, pooled)
    product_warnings(figures, pooled)
    _fill_texture(figures, summary.pooled["texture"])
    seen = [
        v
        for r in figures.records
        if not r.enters_means and not math.isnan(v := r.figure("pits", "max_depth_um"))
    ]
    figures.row["worst_seen_max_depth_um"] = max(seen, default=math.nan)
    figures.warnings += [about(names, text) for text, names in figures.remarks.items()]
    figures.row["warnings"] = " | ".join(figures.warnings)


def height_specimen_table(summaries: Sequence[SpecimenSummary]) -> Table:
    """One row a specimen with height maps, `study_height_specimens` in the column registry."""
    rows = [s.deep.row for s in summaries if s.deep.row]
    return conform(
        "study_height_specimens",
        {c.name: np.array([row[c.name] for row in rows]) for c in columns("study_height_specimens")},
    )


def pooled_depths(pooled: Sequence[FieldRecord]) -> tuple[np.ndarray, np.ndarray]:
    """Depths of all pits of some height maps, µm, and which of them are lower bounds."""
    tables = [r.table("pits") for r in pooled]
    if not tables:
        return np.empty(0), np.empty(0, bool)
    return (
        np.concatenate([t["depth_um"] for t in tables]),
        np.concatenate([t["depth_is_lower_bound"] for t in tables]),
    )


def _fill_depths(figures: Figures, pooled: Sequence[FieldRecord]) -> None:
    row = figures.row
    shares = [v for r in pooled if not math.isnan(v := r.figure("pits", "measured_fraction"))]
    row["measured_fraction"] = float(np.mean(shares)) if shares else math.nan
    depths, bounds = pooled_depths(pooled)
    with_pits = [r for r in pooled if r.figure("pits", "pit_count") > 0]
    with_depths = [r for r in with_pits if not math.isnan(r.figure("pits", "max_depth_um"))]
    hidden = sum(int(r.figure("pits", "lower_bound_depth_count")) for r in with_pits)
    is_bound = any(r.flag("pits", "max_depth_is_lower_bound") for r in with_pits)
    top = deepest(depths, np.full(len(depths), is_bound))
    row |= {
        "lower_bound_depth_count": float(hidden) if pooled else math.nan,
        "max_depth_is_lower_bound": top.is_lower_bound,
        "mean_depth_10_deepest_um": number(top.mean_um),
        "deepest_count": float(top.count) if pooled else math.nan,
        "mean_depth_10_deepest_is_lower_bound": top.is_lower_bound,
        "g46_depth_class": g46.depth_class_of(depths) or "",
        **{name: number(censored_quantile(depths, bounds, share)) for name, share in _QUANTILES.items()},
    }
    limits = NO_INTERVAL
    if with_depths:
        limits = max(with_depths, key=lambda r: r.figure("pits", "max_depth_um")).interval(
            "pits", "max_depth_um"
        )
    figures.put("max_depth_um", number(top.max_um), (limits[0], math.nan if is_bound else limits[1]))
    if is_bound:
        figures.warn(hidden_floors_remark(int(hidden), len(bounds)))
    if depths.size and math.isnan(row["median_depth_um"]):
        figures.remark(
            "median_depth_um", ["So many depths are lower bounds that it is not reached. Measure the floors."]
        )


def _fill_volume(figures: Figures, pooled: Sequence[FieldRecord]) -> None:
    row = figures.row
    name = "volume_per_area_um"
    row |= {"total_volume_um3": math.nan, f"{name}_interval": ""}
    figures.put(name, math.nan, NO_INTERVAL)
    scaled = [r for r in pooled if not math.isnan(r.figure("pits", "total_volume_um3"))]
    if not scaled:
        return
    volumes = np.array([r.figure("pits", "total_volume_um3") for r in scaled])
    areas = np.array([1e6 * r.figure("pits", "field_area_mm2") for r in scaled])
    each = np.concatenate([r.table("pits")["volume_um3"] for r in scaled])
    total, area = float(volumes.sum()), float(areas.sum())
    row["total_volume_um3"] = total
    between = fields.area_weighted_mean(volumes, areas)
    half, n = between.half_width or 0.0, len(scaled)
    own = NO_INTERVAL
    each = each[each > 0]
    if each.size:
        low, high = counting.gamma_interval(each, float(each.max()))
        own = (low / area, high / area)
    if n == 1 or not between.standard_deviation or (n <= FEW_FIELDS and 2 * half < own[1] - own[0]):
        figures.put(name, between.mean, own)
        if not math.isnan(own[0]):
            row[f"{name}_interval"] = "one field" if n == 1 else f"within fields, {n} fields alike"
        return
    figures.put(name, between.mean, between.ci95 or NO_INTERVAL)
    row[f"{name}_interval"] = f"between {n} fields"
    figures.remark(name, between.warnings)


def _fill_level(figures: Figures, pooled: Sequence[FieldRecord]) -> None:
    """Penetration from the original level where all pooled maps know it, else from the present surface."""
    row = figures.row
    row |= {"mean_penetration_um": math.nan, "max_penetration_um": math.nan, "pitting_factor": math.nan}
    row |= {"original_level": "", "pitting_factor_denominator": ""}
    if not pooled:
        return
    levels = list(dict.fromkeys(r.text("pits", "original_level") or PRESENT_SURFACE for r in pooled))
    if len(levels) > 1:
        figures.warn(
            f"Original level known in different ways ({', '.join(levels)}): the specimen's figures are those "
            "below the present surface."
        )
    row["original_level"] = levels[0] if len(levels) == 1 else PRESENT_SURFACE
    if row["original_level"] == PRESENT_SURFACE:
        with_pits = [r for r in pooled if r.figure("pits", "pit_count") > 0]
        doubtful = all(math.isnan(r.figure("pits", "pitting_factor")) for r in with_pits)
        factor = None if doubtful else pitting_factor(row["max_depth_um"], row["volume_per_area_um"])
        denominator = "pit volume per area, below the present surface"
    else:
        means = np.array([r.figure("pits", "mean_penetration_um") for r in pooled])
        areas = np.array([r.figure("pits", "field_area_px") for r in pooled])
        greatest = np.array([r.figure("pits", "max_penetration_um") for r in pooled])
        row["mean_penetration_um"] = float(np.average(means, weights=areas))
        row["max_penetration_um"] = math.nan if np.isnan(greatest).all() else float(np.nanmax(greatest))
        doubtful = any(
            len(r.table("pits")["label"]) and math.isnan(r.figure("pits", "pitting_factor")) for r in pooled
        )
        factor = None if doubtful else pitting_factor(row["max_penetration_um"], row["mean_penetration_um"])
        denominator = f"mean penetration from the original level ({row['original_level']})"
    row["pitting_factor"] = number(factor)
    row["pitting_factor_denominator"] = denominator if factor is not None else ""


def _fill_texture(figures: Figures, pooled: Sequence[FieldRecord]) -> None:
    row = figures.row
    row["n_texture_fields"] = len(pooled)
    surfaces = {
        (r.text("texture", "surface"), r.figure("texture", "s_cutoff_um"), r.figure("texture", "l_cutoff_um"))
        for r in pooled
    }
    alike = len({str(s) for s in surfaces}) <= 1
    row["texture_surface"], row["s_cutoff_um"], row["l_cutoff_um"] = (
        next(iter(surfaces), ("", math.nan, math.nan)) if alike else ("mixed", math.nan, math.nan)
    )
    for name, words in _TEXTURE.items():
        figures.put(name, math.nan, NO_INTERVAL)
        values = [v for r in pooled if not math.isnan(v := r.figure("texture", name))]
        if not values:
            continue
        if not alike:
            figures.remark(words, ["Height maps were filtered differently, so no mean. Measure them again."])
            continue
        estimate = fields.field_mean(values)
        limits = estimate.ci95 if estimate.standard_deviation else None
        figures.put(name, estimate.mean, limits or NO_INTERVAL)
        figures.remark(words, estimate.warnings)

"""One row a specimen with polished cross-sections: metal and loss pooled over its sections."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np

from surfscan.columns import Table, columns, conform
from surfscan.estimates import fields
from surfscan.estimates.combining import combined_half_width
from surfscan.report.pooling import NO_INTERVAL, Figures, SpecimenSummary, count, general_warnings, number
from surfscan.report.records import about
from surfscan.report.rounding import significant
from surfscan.report.section_records import (
    FALLBACK,
    ORIGINALS,
    Section,
    known,
    sections_of,
    sources,
    thickness_share,
)

FRACTION = "remaining_section_fraction"
_PENETRATION = "section_penetration_um"
_GREATEST = "max_section_penetration_um"


def fill_sections(summary: SpecimenSummary) -> None:
    """Pool the sections of a specimen; nothing is done where no image shows one.

    Notes
    -----
    Remaining section: summed metal over summed original area. What holds for all sections alike (where the
    outline runs, the original area, the scale) is averaged over them by original area; from several
    sections the t-interval between them (ratio estimator) is combined with it (`combined_half_width`). Mean
    penetration likewise, weighted by original perimeter. Sections whose original outline is the outer edge of
    product enter only where the specimen has no better one. Sections with more metal than their original
    outline holds, beyond their interval, enter nothing.
    """
    figures = summary.by_kind["section"]
    if not figures.records:
        return
    specimen = summary.specimen
    pooled = summary.pooled["section"]
    figures.row |= {
        "specimen": specimen.id,
        "group": specimen.group,
        "exposure_h": number(specimen.exposure_h),
        "material": specimen.material or "",
        "condition": summary.condition("section"),
        "n_images": len(figures.records),
        "n_pooled": len(pooled),
    }
    general_warnings(figures, "section picture")
    found = _of_one_scale(figures, _trusted(figures, _without_those_beyond(figures, sections_of(pooled))))
    closed = [s for s in found if s.is_measured]
    crossing = [s for s in found if s.crosses]
    _fill_fraction(figures, closed)
    _fill_penetration(figures, closed, crossing)
    used = closed or crossing
    figures.row |= {
        "n_profiles": len(used),
        "original_outline": ", ".join(sources(used)),
        "least_ligament_um": _least(s.figure("least_ligament_um") for s in used),
        f"worst_seen_{FRACTION}": _least(
            s.figure("remaining_fraction")
            for s in sections_of(r for r in figures.records if not r.enters_means)
        ),
    }
    figures.warnings += [about(names, text) for text, names in figures.remarks.items()]
    figures.row["warnings"] = " | ".join(figures.warnings)


def section_specimen_table(summaries: Sequence[SpecimenSummary]) -> Table:
    """One row a specimen with sections, `study_section_specimens` in the column registry."""
    rows = [row for s in summaries if (row := s.by_kind["section"].row)]
    return conform(
        "study_section_specimens",
        {c.name: np.array([row[c.name] for row in rows]) for c in columns("study_section_specimens")},
    )


def rests_on_product(summary: SpecimenSummary) -> bool:
    """Whether its figures come from sections whose original outline is the outer edge of product."""
    return bool(summary.by_kind["section"].row.get("original_outline", "") == FALLBACK)


def _without_those_beyond(figures: Figures, found: Sequence[Section]) -> list[Section]:
    """Sections without those that hold more metal than there was; these are named."""
    beyond = [s for s in found if s.exceeds_original]
    figures.beyond = list(dict.fromkeys(s.record.image_id for s in beyond))
    for section in beyond:
        share = (
            thickness_share(section)
            if section.crosses
            else section.figure("metal_area_px") / section.figure("original_area_px")
        )
        figures.warn(
            f"Section {section.number} of {section.record.image_id} holds {significant(share)} times the "
            "metal of its original outline, beyond the interval: left out of these figures. Check pixel "
            f"size, {ORIGINALS[section.original]} and what was taken for metal."
        )
    return [s for s in found if not s.exceeds_original]


def _trusted(figures: Figures, found: Sequence[Section]) -> list[Section]:
    """The sections to pool: those with the outer edge of product only where there is no better one."""
    doubtful = [s for s in found if s.original == FALLBACK]
    better = [s for s in found if s.is_measured and s.original != FALLBACK]
    if not doubtful:
        return list(found)
    of = f"{len(doubtful)} of {count(len(found), 'section')}"
    if better:
        figures.warn(
            f"The original outline of {of} is the outer edge of product, which swells and spalls: they are "
            "shown but left out of these figures."
        )
        return [s for s in found if s.original != FALLBACK]
    figures.warn(
        f"The original outline of {of} is the outer edge of product, which swells and spalls: remaining "
        "section and penetration are rough, by how much nobody can say, and have no interval. Give a picture "
        "before exposure, an unexposed twin or the drawn size."
    )
    return list(found)


def _of_one_scale(figures: Figures, found: Sequence[Section]) -> list[Section]:
    """Sections with a scale; where none has one, all of them."""
    scaled = [s for s in found if s.unit == "um"]
    if scaled and len(scaled) < len(found):
        figures.warn(
            f"{count(len(found) - len(scaled), 'section')} without a known scale left out. State "
            "pixel_size_um."
        )
    return scaled or list(found)


def _fill_fraction(figures: Figures, closed: Sequence[Section]) -> None:
    row = figures.row
    row["remaining_section_interval"] = ""
    row["metal_area_um2"] = _mean(s.figure("metal_area_um2") for s in closed)
    row["original_area_um2"] = _mean(s.figure("original_area_um2") for s in closed)
    if not closed:
        figures.put(FRACTION, math.nan, NO_INTERVAL)
        return
    unit = "px" if closed[0].unit == "px" else "um2"
    weights = [s.figure(f"original_area_{unit}") for s in closed]
    value, limits, basis = _pool(figures, FRACTION, closed, "remaining_fraction", weights)
    figures.put(FRACTION, value, limits)
    row["remaining_section_interval"] = basis


def _fill_penetration(figures: Figures, closed: Sequence[Section], crossing: Sequence[Section]) -> None:
    """Penetration of whole sections; where there is none, of those that cross the picture, by thickness."""
    row = figures.row
    row |= {"local_pitting_factor": math.nan, "max_penetration_image": ""}
    figures.put(_PENETRATION, math.nan, NO_INTERVAL)
    figures.put(_GREATEST, math.nan, NO_INTERVAL)
    own = closed or crossing
    scaled = [s for s in own if not math.isnan(s.figure("mean_penetration_um"))]
    if not scaled:
        return
    if len(scaled) < len(own):
        figures.remark(
            _PENETRATION,
            [f"{count(len(own) - len(scaled), 'section')} without an original outline left out."],
        )
    if not closed:
        figures.remark(_PENETRATION, ["Half the loss of thickness, since the sections cross the picture."])
        weights = [float(s.thickness()["s_um"][-1]) for s in scaled]
    else:
        weights = [s.perimeter() for s in scaled]
    value, limits, _ = _pool(figures, _PENETRATION, scaled, "mean_penetration_um", weights)
    figures.put(_PENETRATION, value, limits)
    with_greatest = [s for s in scaled if not math.isnan(s.figure("max_penetration_um"))]
    if with_greatest:
        deepest = max(with_greatest, key=lambda s: s.figure("max_penetration_um"))
        figures.put(_GREATEST, deepest.figure("max_penetration_um"), deepest.interval("max_penetration_um"))
        row["max_penetration_image"] = deepest.record.image_id
        if any(not math.isnan(s.figure("local_pitting_factor")) for s in with_greatest):
            row["local_pitting_factor"] = row[_GREATEST] / value


def _pool(
    figures: Figures, name: str, sections: Sequence[Section], column: str, weights: Sequence[float]
) -> tuple[float, tuple[float, float], str]:
    """Weighted mean of a figure over sections, its interval, and what that rests on."""
    values = np.array([s.figure(column) for s in sections])
    weight = np.array(weights)
    own = np.abs(np.array([s.interval(column) for s in sections]) - values[:, None])
    mean = float(np.average(values, weights=weight))
    without = int(np.isnan(own).any(axis=1).sum())
    if without:
        if not all(s.original == FALLBACK for s in sections):
            figures.remark(
                name, [f"no interval, since {without} of {count(len(sections), 'section')} has none."]
            )
        return mean, NO_INTERVAL, ""
    below, above = np.average(own, axis=0, weights=weight)
    if len(sections) == 1:
        return mean, (max(mean - below, 0.0), mean + above), "one section"
    between = fields.area_weighted_mean(values * weight, weight)
    half = between.half_width or 0.0
    if len(sections) == 2:
        figures.remark(
            name, ["Two sections only: Student's t is 12.7, so the interval says little. Cut more sections."]
        )
    freedom = len(sections) - 1
    low = mean - combined_half_width(half, freedom, below)
    high = mean + combined_half_width(half, freedom, above)
    if column == "remaining_fraction":
        high = min(high, max(1.0, mean + above))
    return mean, (max(low, 0.0), high), f"between {len(sections)} sections"


def _mean(values: Iterable[float]) -> float:
    found = known(values)
    return float(found.mean()) if found.size else math.nan


def _least(values: Iterable[float]) -> float:
    found = known(values)
    return float(found.min()) if found.size else math.nan

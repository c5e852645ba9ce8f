"""Every penetration rate of every specimen in one form: its own, that of its twin, that of its group."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from surfscan.comparison.rates import (
    NORMAL_FACTOR,
    Interval,
    Method,
    PenetrationRate,
    in_order,
    rate_of_depth,
    refused,
)
from surfscan.estimates.combining import combined_half_width
from surfscan.estimates.groups import specimen_mean
from surfscan.report.height_specimens import PRESENT_SURFACE
from surfscan.report.place_scatter import PlaceScatter, place_scatter
from surfscan.report.pooling import SpecimenSummary, count
from surfscan.report.rates import Rate
from surfscan.report.records import WITH_PRODUCT
from surfscan.report.rounding import significant
from surfscan.report.section_records import FALLBACK

if TYPE_CHECKING:
    from surfscan.report.rate_records import RateRecord

ALTERING: tuple[Method, ...] = ("section", "mass loss", "sweep", "polarization resistance")
"""Methods that use a part up or change it: a specimen without such a rate of its own or its twin's is shown
that of the others of its group."""

PRODUCT_WIDENS = "product as dark as the metal widens struts on a picture"
PRODUCT_OUTLINE = "the original outline is the outer edge of product, which swells and spalls"
ONLY_BELOW = "volume below today's surface leaves out what was lost evenly"
STANDING = "broken and missing struts are not in the mean"

_NO_TIME = "the exposure is not stated: add exposure_h"


def specimen_rates(
    summaries: Sequence[SpecimenSummary], rates: Sequence[Rate]
) -> dict[str, list[PenetrationRate]]:
    """Rates of every specimen, in the order of the page; those refused with their reason.

    Parameters
    ----------
    summaries : sequence of SpecimenSummary
        All specimens of the study.
    rates : sequence of Rate
        All from sweeps, weighings, gas and logs.

    Returns
    -------
    dict of str to list of PenetrationRate
        Specimen id -> rates. An unexposed specimen has none by image or bath; its sweep is shown as its own.

    Notes
    -----
    One picture of struts or one section sees a few places of a part. As a rate of the whole specimen it has
    the scatter between places in its interval, seen on the specimen's struts or, as a share of the loss, on
    those of its group; where nobody saw it, that is said.
    """
    scatters = {s.specimen.id: place_scatter(s) for s in summaries}
    own: dict[str, list[PenetrationRate]] = {}
    for summary in summaries:
        name = summary.specimen.id
        own[name] = [*_of_images(summary, scatters, summaries), *_of_entries(name, rates)]
    return {s.specimen.id: in_order([*own[s.specimen.id], *_of_group(s, summaries, own)]) for s in summaries}


def _of_images(
    summary: SpecimenSummary,
    scatters: Mapping[str, PlaceScatter | None],
    summaries: Sequence[SpecimenSummary],
) -> list[PenetrationRate]:
    """Rates of struts, sections and height maps of an exposed specimen."""
    hours = summary.specimen.exposure_h
    if hours == 0:
        return []
    has: dict[Method, bool] = {
        "strut width": bool(summary.by_kind["strut"].row),
        "section": bool(summary.by_kind["section"].row),
        "pit volume": bool(summary.deep.row) and bool(summary.pooled["height_pits"]),
    }
    if hours is None:
        return [refused(summary.specimen.id, method, _NO_TIME) for method, there in has.items() if there]
    scatter = scatters[summary.specimen.id]
    shared = scatter or _of_mates(summary, scatters, summaries)
    found = []
    if has["strut width"]:
        found.append(_of_struts(summary, hours, scatter))
    if has["section"]:
        found.append(_of_sections(summary, hours, shared))
    if has["pit volume"]:
        found.append(_of_heights(summary, hours))
    return found


def _of_mates(
    summary: SpecimenSummary,
    scatters: Mapping[str, PlaceScatter | None],
    summaries: Sequence[SpecimenSummary],
) -> PlaceScatter | None:
    """Largest scatter over the loss of the others of its group, for its own section's loss."""
    mean = summary.figure("section_penetration_um")
    mates = [
        s
        for other in summaries
        if other.specimen.group == summary.specimen.group
        and (s := scatters[other.specimen.id]) is not None
        and s.mean_um > NORMAL_FACTOR * s.mean_uncertainty_um
    ]
    if not mates or math.isnan(mean):
        return None
    widest = max(mates, key=lambda s: s.deviation_um / s.mean_um)
    return replace(widest, mean_um=mean, deviation_um=widest.deviation_um / widest.mean_um * mean)


def _of_struts(summary: SpecimenSummary, hours: float, scatter: PlaceScatter | None) -> PenetrationRate:
    row, name = summary.by_kind["strut"].row, summary.specimen.id
    depth = summary.figure("width_penetration_um")
    if math.isnan(depth):
        why = "no width in µm, or nothing to compare it with: state pixel size and drawn_strut_width_um, or "
        return refused(name, "strut width", f"{why}give a picture before")
    limits = _interval(summary.limits("width_penetration_um"))
    how = "half of the width lost, mean along struts"
    if row["n_pooled"] == 1 and scatter is not None:
        limits = _widened(depth, limits, scatter.half_width_um, scatter.degrees_of_freedom)
        how += "; the interval holds the scatter between places"
    reasons, bias = [], ""
    if row["condition"] == WITH_PRODUCT:
        reasons, bias = [PRODUCT_WIDENS], "reads low"
    if row["broken_count"] > 0 or row["missing_count"] > 0:
        reasons, bias = [*reasons, STANDING], "reads low"
    rate, rate_limits = rate_of_depth(depth, limits, hours)
    length = row["total_length_um"] / 1000
    return PenetrationRate(
        name,
        "strut width",
        "mean",
        rate,
        rate_limits,
        "average",
        starts_h=0.0,
        ends_h=hours,
        speaks_for=f"{significant(length, 2)} mm of struts on {count(row['n_pooled'], 'picture')}",
        how=how,
        bias="reads low" if bias else "",
        reasons=tuple(reasons),
    )


def _of_sections(summary: SpecimenSummary, hours: float, scatter: PlaceScatter | None) -> PenetrationRate:
    row, name = summary.by_kind["section"].row, summary.specimen.id
    depth = summary.figure("section_penetration_um")
    if math.isnan(depth):
        why = (
            "no section with a scale and an original outline: give the drawn size, a twin or a picture before"
        )
        return refused(name, "section", why)
    limits = _interval(summary.limits("section_penetration_um"))
    n = int(row["n_profiles"])
    how, reasons = f"mean penetration of {count(n, 'section')}", []
    if n == 1 and scatter is not None:
        limits = _widened(depth, limits, NORMAL_FACTOR * scatter.deviation_um, math.inf)
        how += "; the interval holds the scatter between places, seen along struts"
    elif n == 1:
        how += "; how far it differs elsewhere on the part is not in the interval"
    if row["original_outline"] == FALLBACK:
        reasons.append(PRODUCT_OUTLINE)
    rate, rate_limits = rate_of_depth(depth, limits, hours)
    return PenetrationRate(
        name,
        "section",
        "mean",
        rate,
        rate_limits,
        "average",
        starts_h=0.0,
        ends_h=hours,
        speaks_for="the outline where it was cut",
        how=how,
        reasons=tuple(reasons),
    )


def _of_heights(summary: SpecimenSummary, hours: float) -> PenetrationRate:
    """Penetration from the original level where it is known, else pit volume below today's surface."""
    row, name = summary.deep.row, summary.specimen.id
    area = row["field_area_mm2"]
    where = f"{significant(area)} mm² of height maps" if not math.isnan(area) else "its height maps"
    level = row["original_level"]
    if level != PRESENT_SURFACE and not math.isnan(row["mean_penetration_um"]):
        rate, _ = rate_of_depth(max(row["mean_penetration_um"], 0.0), None, hours)
        how = f"mean penetration from the original level ({level})"
        limits, is_bound = None, False
    else:
        depth = row["volume_per_area_um"]
        if math.isnan(depth):
            return refused(name, "pit volume", "no pit volume: the height maps have no scale in the plane")
        rate, limits = rate_of_depth(depth, _interval(summary.limits("volume_per_area_um")), hours)
        how, is_bound = "pit volume per area, below today's surface", True
    return PenetrationRate(
        name,
        "pit volume",
        "mean",
        rate,
        limits,
        "average",
        bound="at least" if is_bound else "",
        starts_h=0.0,
        ends_h=hours,
        area_mm2=None if math.isnan(area) else area,
        speaks_for=where,
        how=how,
        reasons=(ONLY_BELOW,) if is_bound else (),
    )


def _of_entries(name: str, rates: Sequence[Rate]) -> list[PenetrationRate]:
    """Rates of a specimen's sweeps, weighings, gas and logs, and those of electrodes that stand for it."""
    found = []
    for rate in rates:
        names = tuple(s.id for s in rate.record.specimens)
        if name in names:
            found.append(_of_entry(name, rate, names))
        elif rate.record.twin_of == name:
            found.append(replace(_of_entry(name, rate, names), joined="twin", from_specimens=names))
    return found


def _of_entry(name: str, rate: Rate, names: tuple[str, ...]) -> PenetrationRate:
    record = rate.record
    method: Method = rate.method  # type: ignore[assignment]
    shared = len(names) > 1
    if rate.refused or math.isnan(rate.mm_per_y):
        why = rate.refused or "the density of the material is not known, so there is no rate in mm/y"
        out = refused(name, method, why)
        return replace(out, joined="group", from_specimens=names) if shared else out
    area = record.figure("area_cm2") * 100
    starts, ends = rate.starts_h, rate.ends_h
    if rate.is_instant:
        starts = ends = record.exposure_h
    on = "electrode" if rate.is_instant else "wetted surface"
    where = f"{significant(area)} mm² of {on}" if not math.isnan(area) else f"its {on}"
    if shared:
        where = f"{count(len(names), 'specimen')} of one vessel together, {where}"
    return PenetrationRate(
        name,
        method,
        "mean",
        rate.mm_per_y,
        _interval(rate.mm_per_y_ci95, rate.mm_per_y),
        "instant" if rate.is_instant else "average",
        starts_h=None if math.isnan(starts) else starts,
        ends_h=None if math.isnan(ends) else ends,
        area_mm2=None if math.isnan(area) else area,
        speaks_for=where,
        how=rate.how,
        joined="group" if shared else "own",
        from_specimens=names if shared else (),
        bias=_bias(rate.bias),
        reasons=rate.reasons,
        shared_relative=_shared(record),
    )


def _bias(text: str) -> Any:
    return text if text in ("reads low", "reads high") else ""


def _shared(record: RateRecord) -> dict[str, float]:
    """Causes that another rate over the very same area, or with the same density, has too."""
    parts = record.value("contributions_percent") or record.value(
        "acid_balance", "rate", "contributions_percent"
    )
    if not isinstance(parts, Mapping):
        return {}
    material = record.value("material")
    named = {
        "area": record.text("area_from") if len(record.specimens) == 1 else "",
        "density (mm/y only)": material["name"] if isinstance(material, Mapping) else "",
    }
    return {
        f"{cause.split(' ')[0]}: {of}": float(parts[cause]) / 100
        for cause, of in named.items()
        if of and math.isfinite(parts.get(cause) or math.nan) and parts[cause] > 0
    }


def _of_group(
    summary: SpecimenSummary,
    summaries: Sequence[SpecimenSummary],
    own: Mapping[str, Sequence[PenetrationRate]],
) -> list[PenetrationRate]:
    """Rates by methods that use a part up, from others of its group; none where it or a twin has its own."""
    name = summary.specimen.id
    if not summary.specimen.exposure_h:
        return []
    have = {rate.method for rate in own[name] if rate.mm_per_y is not None}
    found = []
    for method in ALTERING:
        if method in have:
            continue
        others: dict[str, list[PenetrationRate]] = {}
        for mate in summaries:
            if mate.specimen.group != summary.specimen.group or mate.specimen.id == name:
                continue
            if mate.specimen.exposure_h != summary.specimen.exposure_h:
                continue
            for rate in own[mate.specimen.id]:
                if rate.method == method and rate.joined == "own" and rate.mm_per_y is not None:
                    others.setdefault(mate.specimen.id, []).append(rate)
        if others:
            found.append(_joined(name, others))
    return found


def _joined(name: str, others: Mapping[str, Sequence[PenetrationRate]]) -> PenetrationRate:
    """Mean over the others; with a t-interval from three on, of one its own interval."""
    first = next(iter(others.values()))[0]
    everyone = [rate for own in others.values() for rate in own]
    values = [math.fsum(r.mm_per_y or 0.0 for r in own) / len(own) for own in others.values()]
    mean = specimen_mean(values)
    limits = mean.ci95
    if len(everyone) == 1:
        limits = first.mm_per_y_ci95
    biases = {r.bias for r in everyone}
    alike = {(r.starts_h, r.ends_h) for r in everyone}
    starts, ends = alike.pop() if len(alike) == 1 else (None, None)
    return replace(
        first,
        specimen=name,
        mm_per_y=mean.value,
        mm_per_y_ci95=limits,
        starts_h=starts,
        ends_h=ends,
        area_mm2=None,
        speaks_for=f"{', '.join(others)} of its group",
        how=f"mean over {count(len(values), 'other specimen')} of its group: {first.how}",
        joined="group",
        from_specimens=tuple(others),
        bias=biases.pop() if len(biases) == 1 else "",
        reasons=tuple(dict.fromkeys(text for r in everyone for text in r.reasons)),
        shared_relative={},
    )


def _interval(limits: tuple[float, float], value: float = math.nan) -> Interval | None:
    low, high = limits
    if math.isnan(low) or math.isnan(high) or not (math.isfinite(low) and math.isfinite(high)):
        return None
    return (low, high) if math.isnan(value) else (min(low, value), max(high, value))


def _widened(value: float, limits: Interval | None, half: float, freedom: float) -> Interval | None:
    """An interval with the scatter between places in it too, side by side."""
    if limits is None:
        return None
    below, above = (combined_half_width(half, freedom, abs(limit - value)) for limit in limits)
    return value - below, value + above

"""One row a specimen with pictures of struts: widths, losses and least sections over its pictures."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from surfscan.columns import Table
from surfscan.estimates import fields
from surfscan.estimates.combining import combined_half_width
from surfscan.measurement.strut_widths import Z95
from surfscan.report.pooling import (
    NO_INTERVAL,
    Figures,
    SpecimenSummary,
    count,
    general_warnings,
    number,
)
from surfscan.report.records import NOT_STATED, WITH_PRODUCT, FieldRecord, about
from surfscan.report.strut_records import (
    COUNTS,
    DRAWN,
    EQUAL_LOSS,
    MEASURED,
    MEASURED_THICKNESS,
    counted_length_um,
    exceeds_reference,
    excess_words,
    least_section,
    lost_metal,
    penetration_um,
    section_basis,
)
from surfscan.report.tables import table_of

UPPER_BOUND_FIGURES = ("least_section_fraction",)
"""Figures of a specimen that are upper bounds where a thickness behind them is the drawn one."""

_LIMITS = {
    "mean_strut_width_um": (0.0, math.inf),
    "strut_loss_fraction": (-math.inf, 1.0),
    "width_penetration_um": (-math.inf, math.inf),
}
"""What a mean over pictures can be: no width is below 0, and no more than all is lost."""

_SECTIONS = ("least_section_fraction", "least_section_equal_loss_fraction")


@dataclass(frozen=True)
class _Own:
    """One figure of one picture.

    Attributes
    ----------
    value, weight : float
    half : float
        Half of its 95 % interval, without the scale where `scale` is given.
    scale : float
        Half of the 95 % interval that comes from the scale; 0 where `half` holds it or it cancels.
    origin : str
        Where the scale comes from: pictures of one origin share its error.
    """

    value: float
    weight: float
    half: float
    scale: float = 0.0
    origin: str = ""


def fill_struts(summary: SpecimenSummary) -> None:
    """Pool the pictures of a specimen's struts; nothing is done where it has none.

    Notes
    -----
    Means weigh every picture by its counted length. The t-interval between pictures (ratio estimator) is
    combined (`combined_half_width`) with what pictures have in common: their own intervals are averaged,
    not reduced, for levels and edges err alike on all; so is the scale of pictures whose scale has one
    origin, and scales of different origin add as squares. Least width and least section are the least of
    any pooled picture, with the interval there. The least section left is that with measured thickness,
    else that with equal loss all round. From a drawn thickness it is an upper bound; where only some
    thicknesses were measured the least of all is one too. Lost metal counts over the length that was
    there before. Pictures with more metal than before or as drawn, beyond their interval, enter neither
    loss nor penetration nor section.
    """
    figures = summary.by_kind["strut"]
    if not figures.records:
        return
    specimen = summary.specimen
    figures.row |= {
        "specimen": specimen.id,
        "group": specimen.group,
        "exposure_h": number(specimen.exposure_h),
        "material": specimen.material or "",
        "condition": summary.condition("struts"),
        "n_images": len(figures.records),
        "drawn_strut_width_um": number(specimen.drawn_strut_width_um),
        "drawn_thickness_um": number(specimen.drawn_thickness_um),
    }
    general_warnings(figures, "picture")
    pooled = summary.pooled["struts"]
    figures.row["n_pooled"] = len(pooled)
    found = [r for r in pooled if r.figure("struts", "strut_count") > 0]
    if len(found) < len(pooled):
        figures.warn(f"{count(len(pooled) - len(found), 'picture')} on which no strut was found left out.")
    for name in COUNTS:
        values = [v for r in pooled if not math.isnan(v := r.figure("struts", name))]
        figures.row[name] = float(sum(values)) if values else math.nan
    scaled = [r for r in found if not math.isnan(r.figure("struts", "mean_width_um"))]
    if len(scaled) < len(found):
        figures.warn(
            f"{count(len(found) - len(scaled), 'picture')} without a width in µm (no scale, or no width "
            "along any strut) left out of the means. State pixel_size_um where the scale is missing."
        )
    lengths = [v for r in scaled if not math.isnan(v := r.figure("struts", "total_length_um"))]
    figures.row["total_length_um"] = sum(lengths) if lengths else math.nan
    _fill_widths(figures, scaled)
    sound = _without_those_beyond(figures, scaled)
    _fill_loss(figures, sound)
    _fill_lost_metal(figures, sound)
    _fill_sections(figures, sound)
    _warn_of_what_widths_miss(figures, pooled)
    worst = [
        v
        for r in figures.records
        if not r.enters_means and not math.isnan(v := r.figure("struts", "min_width_um"))
    ]
    figures.row["worst_seen_min_strut_width_um"] = min(worst, default=math.nan)
    figures.warnings += [about(names, text) for text, names in figures.remarks.items()]
    figures.row["warnings"] = " | ".join(figures.warnings)


def strut_specimen_table(summaries: Sequence[SpecimenSummary]) -> Table:
    """One row a specimen with pictures of struts, `study_strut_specimens` in the column registry."""
    rows = [s.by_kind["strut"].row for s in summaries if s.by_kind["strut"].row]
    return table_of("study_strut_specimens", rows)


def has_upper_bound(summary: SpecimenSummary) -> bool:
    """Whether `UPPER_BOUND_FIGURES` of a specimen are upper bounds."""
    return DRAWN in summary.by_kind["strut"].row.get("section_basis", "")


def _without_those_beyond(figures: Figures, scaled: Sequence[FieldRecord]) -> list[FieldRecord]:
    """Pictures without those that show more metal than there was; these are named."""
    figures.beyond = [r.image_id for r in scaled if exceeds_reference(r)]
    for record in scaled:
        if record.image_id not in figures.beyond:
            continue
        figures.warn(
            f"{record.image_id} shows {excess_words(record)}, beyond the interval: left out of loss, "
            "penetration and section. Check pixel size, drawn_strut_width_um and drawn_thickness_um (in µm), "
            "the picture before, and whether product was taken for metal."
        )
    return [r for r in scaled if r.image_id not in figures.beyond]


def _fill_widths(figures: Figures, scaled: Sequence[FieldRecord]) -> None:
    owns = []
    for record in scaled:
        mean = record.figure("struts", "mean_width_um")
        pixels = record.figure("struts", "mean_width_px")
        low, high = record.interval("struts", "mean_width_px")
        relative, origin = _scale(record)
        half = (high - low) / 2 * mean / pixels
        owns.append(_Own(mean, counted_length_um(record), half, Z95 * relative * mean, origin))
    basis = _put_pooled(figures, "mean_strut_width_um", owns)
    figures.row["mean_strut_width_interval"] = basis
    least = min(scaled, key=lambda r: r.figure("struts", "min_width_um"), default=None)
    name = "min_strut_width_um"
    figures.put(name, math.nan, NO_INTERVAL)
    figures.row["min_width_image"] = ""
    if least is not None:
        figures.put(name, least.figure("struts", "min_width_um"), least.interval("struts", "min_width_um"))
        figures.row["min_width_image"] = least.image_id


def _fill_loss(figures: Figures, scaled: Sequence[FieldRecord]) -> None:
    losses, penetrations = [], []
    for record in scaled:
        loss = record.figure("struts", "loss_fraction")
        if math.isnan(loss):
            continue
        low, high = record.interval("struts", "loss_fraction")
        weight = counted_length_um(record)
        losses.append(_Own(loss, weight, (high - low) / 2))
        value, half = penetration_um(record)
        relative, origin = _scale(record)
        penetrations.append(_Own(value, weight, half, abs(Z95 * relative * value), origin))
    if 0 < len(losses) < len(scaled):
        left = count(len(scaled) - len(losses), "picture")
        figures.remark("strut_loss_fraction", [f"{left} with nothing to compare with left out."])
    _put_pooled(figures, "strut_loss_fraction", losses)
    _put_pooled(figures, "width_penetration_um", penetrations)


def _fill_lost_metal(figures: Figures, scaled: Sequence[FieldRecord]) -> None:
    row = figures.row
    names = ("lost_length_fraction", "loss_with_lost_fraction", "loss_of_survivors_fraction")
    row |= dict.fromkeys(names, math.nan)
    found = [(lost_metal(r), counted_length_um(r)) for r in scaled]
    known = [(lost, length) for lost, length in found if not math.isnan(lost.length_fraction)]
    if not known:
        return
    left = np.array([length for _, length in known])
    before = left / (1 - np.array([lost.length_fraction for lost, _ in known]))
    row["lost_length_fraction"] = float(1 - left.sum() / before.sum())
    for name, values, weights in (
        ("loss_with_lost_fraction", np.array([lost.with_lost for lost, _ in known]), before),
        ("loss_of_survivors_fraction", np.array([lost.of_survivors for lost, _ in known]), left),
    ):
        there = np.isfinite(values)
        if there.any():
            row[name] = float(values[there] @ weights[there] / weights[there].sum())


def _fill_sections(figures: Figures, scaled: Sequence[FieldRecord]) -> None:
    row = figures.row
    row |= {"least_section_left_basis": "", "least_section_image": "", "least_section_strut": math.nan}
    figures.put("least_section_left_fraction", math.nan, NO_INTERVAL)
    told = [r for r in scaled if least_section(r).basis]
    if told:
        worst = min(told, key=lambda r: least_section(r).value)
        left = least_section(worst)
        figures.put("least_section_left_fraction", left.value, (left.low, left.high))
        row |= {
            "least_section_left_basis": left.basis,
            "least_section_image": worst.image_id,
            "least_section_strut": worst.figure("struts", "least_section_strut"),
        }
        if len({least_section(r).basis for r in told}) > 1:
            n = sum(least_section(r).basis == MEASURED_THICKNESS for r in told)
            figures.remark(
                "least_section_left_fraction",
                [f"Thickness measured on {n} of {count(len(told), 'picture')}; the others by {EQUAL_LOSS}."],
            )
    known = [r for r in scaled if not math.isnan(r.figure("struts", "least_section_fraction"))]
    bases = {section_basis(r) for r in known}
    row["section_basis"] = " and ".join(b for b in (MEASURED, DRAWN) if b in bases)
    for name in _SECTIONS:
        figures.put(name, math.nan, NO_INTERVAL)
        if known:
            least = min(known, key=lambda r: r.figure("struts", name))
            low, high = least.interval("struts", name)
            bound = name in UPPER_BOUND_FIGURES and DRAWN in bases
            figures.put(name, least.figure("struts", name), (math.nan if bound else low, high))
    if len(bases) > 1:
        figures.remark(
            "least_section_fraction",
            ["Thickness measured on some pictures, drawn on others: the least of all is an upper bound."],
        )


def _warn_of_what_widths_miss(figures: Figures, pooled: Sequence[FieldRecord]) -> None:
    row = figures.row
    if row["broken_count"] > 0 or row["missing_count"] > 0:
        gone = f"; missing: {row['missing_count']:.0f}" if row["missing_count"] > 0 else ""
        figures.warn(
            f"Broken struts: {row['broken_count']:.0f}{gone}. Mean and least width and least section are "
            "those of metal that still stands."
        )
    for condition, how in (
        (WITH_PRODUCT, "with corrosion product on the struts: product as dark as the metal widens them"),
        (NOT_STATED, "in a condition not stated: corrosion product, if any, may widen them"),
    ):
        n = sum(r.image.condition == condition for r in pooled)
        if n:
            figures.warn(f"Widths measured {how} ({count(n, 'picture')}).")


def _put_pooled(figures: Figures, name: str, owns: Sequence[_Own]) -> str:
    """Set a mean over pictures and its interval; what that rests on."""
    figures.put(name, math.nan, NO_INTERVAL)
    if not owns:
        return ""
    values, weights = np.array([o.value for o in owns]), np.array([o.weight for o in owns])
    share = weights / weights.sum()
    mean = float(share @ values)
    by_origin: dict[str, float] = {}
    for own, part in zip(owns, share.tolist(), strict=True):
        by_origin[own.origin] = by_origin.get(own.origin, 0.0) + part * own.scale
    common = math.hypot(float(share @ np.array([o.half for o in owns])), *by_origin.values())
    between = 0.0
    if len(owns) > 1:
        estimate = fields.area_weighted_mean(values * weights, weights)
        between = estimate.half_width or 0.0
        if between:
            figures.remark(name, estimate.warnings)
    limits: tuple[float, float] | np.ndarray = NO_INTERVAL
    if math.isfinite(common):
        half = combined_half_width(between, max(len(owns) - 1, 1), common)
        limits = np.clip([mean - half, mean + half], *_LIMITS[name])
    figures.put(name, mean, limits)
    return "one image" if len(owns) == 1 else f"between {len(owns)} images"


def _scale(record: FieldRecord) -> tuple[float, str]:
    """Relative standard uncertainty of the scale of a picture, and where that comes from."""
    stored = record.done("struts")
    if stored is None or stored.calibration is None:
        return math.nan, ""
    return stored.calibration.relative_uncertainty, stored.calibration.origin

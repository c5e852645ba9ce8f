"""What the scale of the pictures adds to means over specimens: more specimens do not average it out."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from surfscan.columns import FIGURES_OF
from surfscan.estimates.groups import GroupEstimate
from surfscan.report.pooling import SpecimenSummary, common_scale
from surfscan.report.records import FieldRecord
from surfscan.report.strut_records import MEASURED_THICKNESS
from surfscan.study.entries import Shows

_Z = 1.959963984540054
_POWERS = {
    "pit_density_per_mm2": 2,
    "median_equivalent_diameter_um": 1,
    "mean_strut_width_um": 1,
    "min_strut_width_um": 1,
}
"""Figures that go with a power of the pixel size -> how strongly."""

_POOL_OF: dict[Shows, str] = {"surface": "pits", "strut": "struts", "section": "section"}
_KNOWN_IN_UM = ("drawn size", "stated area")


def scale_part(summary: SpecimenSummary, figure: str) -> float:
    """Standard uncertainty (k = 1) that the scale common to its fields gives a figure of a specimen.

    Parameters
    ----------
    summary : SpecimenSummary
        With all its figures.
    figure : str
        One of `surfscan.columns.GROUP_FIGURES`.

    Returns
    -------
    float
        In the unit of the figure. 0 for what the scale in the plane does not enter: shares of the field,
        heights and depths, volume per area (volume and area go alike), figures in px, and shares of what a
        picture before or a twin shows, taken to be of the same scale.

    Notes
    -----
    u is the relative uncertainty of `surfscan.report.pooling.common_scale`. A density has 2 u times itself, a
    length u times itself. Against a size known in µm: loss of width 1 - w / W has u w / W; penetration
    (W - w) / 2 has u w / 2; remaining section A / A0 has 2 u A / A0; mean penetration on sections,
    (A0 - A) / P0, has 2 u A / P0, and the greatest is given the same. A strut's section w t / (W T) has u
    times itself, and twice that where t comes from a view across, which has the scale too; with equal loss on
    all sides, t = T - W + w, it has u (1 + w / t) times itself.
    """
    kind = next(own for own in summary.by_kind if figure in FIGURES_OF[own])
    value = summary.figure(figure)
    if kind not in _POOL_OF or math.isnan(value):
        return 0.0
    pooled = summary.pooled[_POOL_OF[kind]]
    relative = common_scale(pooled)
    if figure in _POWERS:
        return _POWERS[figure] * relative * value
    if kind == "strut":
        return relative * _of_struts(summary, figure, value, pooled)
    if kind == "section":
        return relative * _of_sections(summary, figure, value)
    return 0.0


def with_scale(mean: GroupEstimate, part: float, *, lowest: float, highest: float) -> GroupEstimate:
    """A mean or difference whose interval holds the uncertainty of the scale too.

    Parameters
    ----------
    mean : GroupEstimate
        Of specimens; refused ones stay so.
    part : float
        Standard uncertainty from the scale, unit of the value.
    lowest, highest : float
        Where the interval is cut.

    Returns
    -------
    GroupEstimate
        Half widths combined as root sum of squares, each side by itself, so that the interval never becomes
        narrower; standard uncertainty and degrees of freedom stay those of the scatter.
    """
    if mean.ci95 is None or part == 0:
        return mean
    low, high = mean.ci95
    below, above = math.hypot(mean.value - low, _Z * part), math.hypot(high - mean.value, _Z * part)
    return replace(mean, ci95=(max(mean.value - below, lowest), min(mean.value + above, highest)))


def _of_struts(summary: SpecimenSummary, figure: str, value: float, pooled: Sequence[FieldRecord]) -> float:
    """What a relative change of the scale does to a figure of struts."""
    row = summary.by_kind["strut"].row
    against = {r.text("struts", "loss_against") for r in pooled}
    drawn = any("drawn" in text for text in against)
    if figure == "strut_loss_fraction":
        return 1 - value if drawn else 0.0
    if figure == "width_penetration_um":
        return float(row["mean_strut_width_um"]) / 2 if drawn else value
    if figure == "least_section_left_fraction":
        is_measured = row["least_section_left_basis"] == MEASURED_THICKNESS
        figure = "least_section_fraction" if is_measured else "least_section_equal_loss_fraction"
    record = next((r for r in pooled if r.image_id == row["least_section_image"]), None)
    if record is None:
        return 0.0
    width = record.figure("struts", "min_width_um")
    if figure == "least_section_fraction":
        return value * (float(drawn) + float("side_view" in record.image.companions()))
    stored = record.done("struts")
    sizes = stored.settings if stored else {}
    wide, thick = sizes.get("drawn_width_um"), sizes.get("drawn_thickness_um")
    if not drawn or wide is None or thick is None:
        return 0.0
    left = thick - wide + width
    return value * (1 + width / left) if left > 0 else value


def _of_sections(summary: SpecimenSummary, figure: str, value: float) -> float:
    """What a relative change of the scale does to a figure of sections."""
    row = summary.by_kind["section"].row
    known = any(source in row["original_outline"] for source in _KNOWN_IN_UM)
    fraction = float(row["remaining_section_fraction"])
    if figure == "remaining_section_fraction":
        return 2 * value if known else 0.0
    mean = float(row["section_penetration_um"])
    if not known or math.isnan(fraction) or fraction == 1:
        return value
    return 2 * mean * fraction / (1 - fraction)

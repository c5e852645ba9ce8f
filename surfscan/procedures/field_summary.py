"""Figures of one field of pits that a micrograph and a height map share."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from surfscan.calibration.uncertainty import widened
from surfscan.columns import Table
from surfscan.estimates.counting import OUTLINE_SHIFT_PX, Estimate, area_fraction_interval, density
from surfscan.estimates.g46 import rate
from surfscan.images import Calibration
from surfscan.procedures.settings import HeightPitSettings, PitSettings


def field_summary(
    pits: Table, *, area_px: int, region_origin: str, scale: Calibration | None, smallest_px: float
) -> tuple[dict[str, Any], list[str]]:
    """Count, density, pitted area and sizes of one field.

    Parameters
    ----------
    pits : Table
        Table "pits" of the field.
    area_px : int
        Specimen surface inside the frame, px.
    region_origin : str
        How the specimen region came about.
    scale : Calibration or None
    smallest_px : float
        Smallest equivalent diameter in force, px.

    Returns
    -------
    summary : dict
        NAME_ci95 is [low, high]; physical figures are None without a scale. The interval of the density
        holds twice the relative uncertainty of the scale; fractions do not depend on it.
        `scale_relative_uncertainty` (k = 1) applies once to every length, twice to every area.
    doubts : list of str
        What is doubtful about them.
    """
    unit = "um" if scale else "px"
    pixel_um2 = scale.pixel_area_um2 if scale else None
    area_mm2 = area_px * pixel_um2 / 1e6 if pixel_um2 else None
    whole = ~pits["touches_image_border"]
    main = headline(pits, area_px=area_px, scale=scale)
    per_mm2, per_mpx, fraction = main.per_mm2, main.per_mpx, main.area_fraction
    step = float(np.sqrt(pixel_um2)) if pixel_um2 else 1.0
    diameters = pits[f"equivalent_diameter_{unit}"][whole]
    median = float(np.median(diameters)) if diameters.size else None
    mean_area_px = float(np.mean(pits["area_px"][whole])) if whole.any() else None
    mean_area = mean_area_px * pixel_um2 if pixel_um2 and mean_area_px is not None else None
    rating = None
    if per_mm2.value is not None and per_mm2.ci95 is not None:
        rating = rate(per_mm2.value, mean_area, upper_per_mm2=per_mm2.ci95[1])
    summary: dict[str, Any] = {
        "pit_count": len(pits["label"]),
        "near_limit_count": int(np.count_nonzero(pits["near_limit"] != "")),
        "field_area_mm2": area_mm2,
        "field_area_px": area_px,
        "region_origin": region_origin,
        "scale_relative_uncertainty": scale.relative_uncertainty if scale else None,
        "pit_density_per_mm2": per_mm2.value,
        "pit_density_per_mm2_ci95": as_pair(per_mm2),
        "pit_density_per_mpx": per_mpx.value,
        "pit_density_per_mpx_ci95": as_pair(per_mpx),
        "pitted_area_fraction": fraction.value,
        "pitted_area_fraction_ci95": as_pair(fraction),
        "total_pit_area_um2": float(pits["area_um2"].sum()) if scale else None,
        "total_pit_area_px": int(pits["area_px"].sum()),
        "median_equivalent_diameter_um": median if scale else None,
        "median_equivalent_diameter_px": None if scale else median,
        "mean_area_um2": mean_area,
        "mean_area_px": None if scale else mean_area_px,
        "g46_density_class": rating.density_class if rating else None,
        "g46_size_class": rating.size_class if rating else None,
        "smallest_diameter_um": smallest_px * step if scale else None,
        "smallest_diameter_px": smallest_px,
    }
    return summary, list(rating.warnings) if rating else []


@dataclass(frozen=True)
class Headline:
    """What a field of pits is judged by first.

    Attributes
    ----------
    per_mm2, per_mpx : Estimate
        Density with its interval, per mm² where a scale is known, else per million px; the other is None.
    area_fraction : Estimate
        Pitted share of the specimen, with its interval.
    """

    per_mm2: Estimate
    per_mpx: Estimate
    area_fraction: Estimate


def headline(pits: Table, *, area_px: int, scale: Calibration | None) -> Headline:
    """Density and pitted area of one field, as `field_summary` gives them, without the rest.

    Parameters
    ----------
    pits : Table
        At least "edge_weight", "area_px", "perimeter_um" and "perimeter_px" of every pit.
    area_px : int
        Specimen surface inside the frame, px.
    scale : Calibration or None
    """
    weights = pits["edge_weight"]
    none = Estimate(None, None)
    if scale is None:
        per_mm2, per_mpx, step = none, density(weights, area_px / 1e6), 1.0
    else:
        per_mm2, per_mpx = density(weights, area_px * scale.pixel_area_um2 / 1e6), none
        step = float(np.sqrt(scale.pixel_area_um2))
        if per_mm2.value is not None:
            wider = widened(per_mm2.value, per_mm2.ci95, scale.relative_uncertainty, power=2)
            per_mm2 = Estimate(per_mm2.value, wider)
    fraction = area_fraction_interval(
        pits["area_px"] * step**2,
        pits["perimeter_um" if scale else "perimeter_px"],
        area_px * step**2,
        OUTLINE_SHIFT_PX * step,
    )
    return Headline(per_mm2, per_mpx, fraction)


def as_pair(estimate: Estimate) -> list[float] | None:
    """An interval as JSON has it."""
    return None if estimate.ci95 is None else [float(estimate.ci95[0]), float(estimate.ci95[1])]


def smallest_diameter_px(settings: PitSettings | HeightPitSettings, scale: Calibration | None) -> float:
    """Smallest equivalent diameter in force, px."""
    if scale is None or settings.min_diameter_um is None:
        return settings.min_diameter_px
    return max(settings.min_diameter_px, settings.min_diameter_um / float(np.sqrt(scale.pixel_area_um2)))


def no_scale_warning(settings: PitSettings | HeightPitSettings) -> str:
    """What an unknown scale means for the figures of a field."""
    limit = "" if settings.min_diameter_um is None else "; min_diameter_um could not be applied"
    return f"No scale: sizes and the density are given in px only{limit}."


def near_limit_remark(pits: Table) -> list[str]:
    """A remark where much of the count only just passed a limit."""
    near = int(np.count_nonzero(pits["near_limit"] != ""))
    if near == 0 or near < 0.2 * len(pits["label"]):
        return []
    return [
        f"{near} of {len(pits['label'])} pits passed a limit by less than a quarter (column near_limit): "
        "the count depends on the settings; look at these first."
    ]


def no_pit_remark(pits: Table) -> list[str]:
    """What it means for a field that no pit was found, or none left."""
    if len(pits["label"]):
        return []
    return [
        "No pit was found, so the pitted area fraction has no interval: its upper limit would rest on a "
        "pit size that nobody has seen. The interval of the density stands."
    ]

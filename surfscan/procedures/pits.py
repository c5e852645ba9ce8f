"""Pits of one micrograph: from pixels to a table, a density with its interval, and a list for review."""

from __future__ import annotations

from typing import Any

import numpy as np

from surfscan.columns import Table, conform, empty_table
from surfscan.errors import InputError
from surfscan.estimates.counting import (
    OUTLINE_SHIFT_PX,
    Estimate,
    area_fraction_interval,
    density,
    edge_weights,
)
from surfscan.estimates.g46 import rate
from surfscan.images import Calibration, Micrograph
from surfscan.measurement.objects import Objects, measure_objects
from surfscan.preparation.region import Region, specimen_region
from surfscan.preparation.strip import find_data_strip
from surfscan.procedures.result import Result
from surfscan.procedures.settings import PitSettings
from surfscan.segmentation.pits import DarkPits, find_dark_pits

_MUCH_LEFT, _MUCH_BRIGHT = 0.1, 0.35

_ONLY_PITS = ("nearest_pit_um", "nearest_pit_px", "touches_image_border", "touches_specimen_edge")


def measure_pits(
    image: Micrograph, settings: PitSettings | None = None, *, region: np.ndarray | None = None
) -> Result:
    """Find, outline and count the dark pits of a micrograph.

    Parameters
    ----------
    image : Micrograph
    settings : PitSettings, optional
        Documented defaults where not given.
    region : ndarray of shape (M, N), bool, optional
        The specimen, where it is known; it overrules the setting `specimen_region`.

    Returns
    -------
    Result
        Tables "pits" (one row per label of mask "pits") and "for_review" (features that were not counted:
        crack-like, soft-edged, just below a limit; labels of mask "for_review"). `pit_count` is the number of
        rows; the edge rule enters the density only, through `edge_weight`. Without a scale, figures in µm are
        None and their twins in pixels are given.

    Raises
    ------
    InputError
        If the picture holds a single grey value or is on average no brighter than black, or if no
        specimen is left.
    """
    settings = settings or PitSettings()
    grey = image.grey
    where = specimen_region(
        grey,
        mode=settings.specimen_region,
        given=region,
        strip=find_data_strip(grey) if settings.data_strip == "auto" else None,
        path=image.source.path,
    )
    _refuse_blank(grey, where, image.source.path)
    smallest_px = _smallest_diameter_px(settings, image.calibration)
    found = _find(grey, where, settings, smallest_px)
    scale = image.calibration
    pixel_size = (scale.pixel_size_x_um, scale.pixel_size_y_um) if scale else None
    objects = measure_objects(found.labels, pixel_size_um=pixel_size, region=where.mask, frame=where.frame)
    reviewed = measure_objects(found.review, pixel_size_um=pixel_size, region=where.mask, frame=where.frame)
    weights = edge_weights(
        objects.top_px,
        objects.left_px,
        objects.height_px,
        objects.width_px,
        frame=where.frame,
        region=where.mask,
    )
    pits = conform(
        "pits",
        objects.columns
        | {
            "contrast": found.contrast,
            "contrast_to_noise": found.contrast_to_noise,
            "edge_weight": weights.weights,
            "near_limit": found.near_limit,
        },
    )
    summary, doubts = _summary(pits, objects, len(found.review_reason), where, scale, smallest_px)
    warnings = [*image.warnings, *where.warnings, *weights.warnings, *doubts, *_remarks(found, pits)]
    if scale is None:
        limit = "" if settings.min_diameter_um is None else "; min_diameter_um could not be applied"
        warnings.append(f"No scale: sizes and the density are given in px only{limit}.")
    return Result(
        procedure="pits",
        source=image.source,
        calibration=scale,
        settings=settings.model_dump(),
        summary=summary,
        tables={"pits": pits, "for_review": _review_table(found, reviewed)},
        masks={"pits": found.labels, "for_review": found.review, "region": where.full_mask(image.shape)},
        warnings=tuple(warnings),
    )


def _refuse_blank(grey: np.ndarray, where: Region, path: str) -> None:
    row0, row1, col0, col1 = where.frame
    inside = grey[row0:row1, col0:col1]
    if where.mask is not None:
        inside = inside[where.mask[row0:row1, col0:col1]]
    if inside.size == 0 or inside.min() == inside.max():
        raise InputError(
            path,
            "the specimen shows a single grey value, so there is nothing to tell pits from",
            "Check the exposure of the image and that it is the right file",
        )
    if inside.dtype.kind == "f" and inside.mean() <= 0:
        raise InputError(
            path,
            f"the mean grey of the specimen is {inside.mean():.3g}, so no metal is bright enough to judge by",
            "Give grey values that are 0 for black, before any background is subtracted",
        )


def _smallest_diameter_px(settings: PitSettings, scale: Calibration | None) -> float:
    """Smallest equivalent diameter in force, px."""
    if scale is None or settings.min_diameter_um is None:
        return settings.min_diameter_px
    return max(settings.min_diameter_px, settings.min_diameter_um / float(np.sqrt(scale.pixel_area_um2)))


def _find(grey: np.ndarray, where: Region, settings: PitSettings, smallest_px: float) -> DarkPits:
    """Find pits inside the frame, with labels laid over the whole picture."""
    row0, row1, col0, col1 = where.frame
    inside = (slice(row0, row1), slice(col0, col1))
    whole = (row1 - row0, col1 - col0) == grey.shape
    found = find_dark_pits(
        grey if whole else np.ascontiguousarray(grey[inside]),
        region=None if where.mask is None else np.ascontiguousarray(where.mask[inside]),
        min_contrast=settings.min_contrast,
        min_contrast_to_noise=settings.min_contrast_to_noise,
        min_diameter_px=smallest_px,
        max_aspect=settings.max_aspect,
    )
    return found if whole else found.laid_over(grey.shape, inside)


def _summary(
    pits: Table,
    objects: Objects,
    review_count: int,
    where: Region,
    scale: Calibration | None,
    smallest_px: float,
) -> tuple[dict[str, Any], list[str]]:
    """Figures of the field, and what is doubtful about them."""
    row0, row1, col0, col1 = where.frame
    area_px = (row1 - row0) * (col1 - col0) if where.mask is None else int(np.count_nonzero(where.mask))
    unit = "um" if scale else "px"
    pixel_um2 = scale.pixel_area_um2 if scale else None
    area_mm2 = area_px * pixel_um2 / 1e6 if pixel_um2 else None
    weights = pits["edge_weight"]
    whole = ~pits["touches_image_border"]
    per_mm2 = density(weights, area_mm2) if area_mm2 else Estimate(None, None)
    per_mpx = density(weights, area_px / 1e6) if not area_mm2 else Estimate(None, None)
    step = float(np.sqrt(pixel_um2)) if pixel_um2 else 1.0
    fraction = area_fraction_interval(
        pits["area_px"] * step**2, pits[f"perimeter_{unit}"], area_px * step**2, OUTLINE_SHIFT_PX * step
    )
    diameters = pits[f"equivalent_diameter_{unit}"][whole]
    median = float(np.median(diameters)) if diameters.size else None
    mean_area_px = float(np.mean(pits["area_px"][whole])) if whole.any() else None
    mean_area = mean_area_px * pixel_um2 if pixel_um2 and mean_area_px is not None else None
    rating = None
    if per_mm2.value is not None and per_mm2.ci95 is not None:
        rating = rate(per_mm2.value, mean_area, upper_per_mm2=per_mm2.ci95[1])
    summary: dict[str, Any] = {
        "image_kind": "micrograph",
        "pit_count": len(pits["label"]),
        "near_limit_count": int(np.count_nonzero(pits["near_limit"] != "")),
        "for_review_count": review_count,
        "field_area_mm2": area_mm2,
        "field_area_px": area_px,
        "region_origin": where.origin,
        "pit_density_per_mm2": per_mm2.value,
        "pit_density_per_mm2_ci95": _pair(per_mm2),
        "pit_density_per_mpx": per_mpx.value,
        "pit_density_per_mpx_ci95": _pair(per_mpx),
        "pitted_area_fraction": fraction.value,
        "pitted_area_fraction_ci95": _pair(fraction),
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


def _pair(estimate: Estimate) -> list[float] | None:
    return None if estimate.ci95 is None else [float(estimate.ci95[0]), float(estimate.ci95[1])]


def _review_table(found: DarkPits, reviewed: Objects) -> Table:
    if len(found.review_reason) == 0:
        return empty_table("for_review")
    geometry = {name: values for name, values in reviewed.columns.items() if name not in _ONLY_PITS}
    return conform(
        "for_review",
        geometry
        | {
            "contrast": found.review_contrast,
            "contrast_to_noise": found.review_contrast_to_noise,
            "reason": found.review_reason,
        },
    )


def _remarks(found: DarkPits, pits: Table) -> list[str]:
    """What the reader should know about how the pits were found."""
    remarks = []
    if found.followed_lines:
        remarks.append(
            "Texture runs one way over the field: lines of machining, rolling or polishing were followed as "
            "part of the metal, so a pit much longer than 80 px along them may be missed."
        )
    if not len(pits["label"]):
        remarks.append(
            "No pit was found, so the pitted area fraction has no interval: its upper limit would rest on a "
            "pit size that nobody has seen. The interval of the density stands."
        )
    if found.dark_left_fraction > _MUCH_LEFT:
        remarks.append(
            f"{100 * found.dark_left_fraction:.0f} % of the field is darker than the limits and lies in no "
            "pit nor listed feature: wide dark areas are not outlined as pits. See the degraded area."
        )
    if found.bright_fraction > _MUCH_BRIGHT:
        remarks.append(
            f"{100 * found.bright_fraction:.0f} % of the field is clearly brighter than what was taken for "
            "metal. If that is the metal, and not product or glare, pits are not told from it: mask the rest."
        )
    near = int(np.count_nonzero(pits["near_limit"] != ""))
    if near and near >= 0.2 * len(pits["label"]):
        remarks.append(
            f"{near} of {len(pits['label'])} pits passed a limit by less than a quarter (column near_limit): "
            "the count depends on the settings; look at these first."
        )
    return remarks

"""Deep pits of one height map: depth, volume, and how far the metal went back since it was new."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import cv2
import numpy as np

from surfscan.columns import Table, conform, empty_table
from surfscan.estimates.counting import edge_weights
from surfscan.estimates.depths import censored_quantile, deepest, hidden_floors_remark, pitting_factor
from surfscan.estimates.g46 import depth_class_of
from surfscan.images import HeightMap
from surfscan.measurement.depths import measure_depths
from surfscan.measurement.objects import measure_objects
from surfscan.preparation.heights import PreparedHeights, prepare_heights
from surfscan.procedures.drawn_pits import (
    columns_of_drawn,
    deepest_on_frame,
    doubtful_depths,
    drawn_pits,
    measure_deep_one,
)
from surfscan.procedures.field_summary import (
    field_summary,
    near_limit_remark,
    no_scale_warning,
    smallest_diameter_px,
)
from surfscan.procedures.given_masks import given_mask, refuse_unmeasured
from surfscan.procedures.original_level import OriginalLevel, find_original_level
from surfscan.procedures.result import Result
from surfscan.procedures.settings import HeightPitSettings
from surfscan.segmentation.deep_ground import DeepGround
from surfscan.segmentation.deep_pits import DeepPits, search_deep_pits

_Z = 1.959963984540054
LOST_PATCH_PX = 5
"""Missing data as wide as this, px, may hide a pit."""

_ONLY_PITS = ("nearest_pit_um", "nearest_pit_px", "touches_image_border", "touches_specimen_edge")


def measure_height_pits(
    image: HeightMap,
    settings: HeightPitSettings | None = None,
    *,
    region: np.ndarray | None = None,
    datum: np.ndarray | None = None,
    unexposed: HeightMap | None = None,
    corrected: np.ndarray | None = None,
) -> Result:
    """Find, outline and measure the deep pits of a height map.

    Parameters
    ----------
    image : HeightMap
    settings : HeightPitSettings, optional
        Documented defaults where not given.
    region : ndarray of shape (M, N), bool, optional
        The specimen; the whole map where not given.
    datum : ndarray of shape (M, N), bool, optional
        Surface that was covered during exposure and keeps the original level. It belongs to no field.
    unexposed : HeightMap, optional
        The same field before exposure on the same grid, registered to this map: heights of both are compared
        pixel by pixel, after their difference on the datum (if given) is set to zero, else as they stand.
    corrected : ndarray of shape (M, N), int, optional
        Pits as a person outlined them, in the place of those found: see
        `surfscan.procedures.pits.measure_pits`. Prominence belongs to a basin that was found and is
        not-a-number for an outline that was drawn.

    Returns
    -------
    Result
        Tables "pits" and "for_review" as on a micrograph, with depth and volume of every pit.

    Raises
    ------
    InputError
        If too little was measured, a mask marks nothing or is of another size, or the unexposed map has
        another grid.

    Notes
    -----
    Depth and volume are those below the present surface around each pit. How far that surface itself went
    back cannot be seen on one map, so that the volume per area is a lower bound of the mean penetration,
    unless `datum` or `unexposed` shows the original level.

    A pit whose deepest reading lies on the frame may be deeper beyond it: its depth is a lower bound in the
    table and in the quantiles. The greatest depth and the mean of the ten deepest are those inside the
    field, which they leave as they are; a floor that was not measured makes lower bounds of them too.

    The interval of the greatest depth reaches from the depth of a smooth floor to the deepest reading, each
    with its uncertainty: the deepest of many rough readings lies below the floor that they scatter about.

    The field is what was measured: patches of missing data at least 5 px wide that belong to no pit are no
    part of it, since a pit in them would not have been seen.
    """
    settings = settings or HeightPitSettings()
    scale = image.calibration
    pixel_size = (scale.pixel_size_x_um, scale.pixel_size_y_um) if scale else None
    found, ground, ready, exposed = height_ground(image, settings, region, datum)
    smallest_px = smallest_diameter_px(settings, scale)
    frame = (0, image.shape[0], 0, image.shape[1])
    said: tuple[str, ...] = ()
    deep = None
    if corrected is not None:
        drawn = drawn_pits(corrected, exposed, image.source.path, image.shape)
        deep = _deep_as_drawn(drawn.labels, found, ground, pixel_size, settings)
        found, said = _without_finds(found, drawn.labels), drawn.warnings
    field = pit_field(np.isnan(ready.residual_um), found.labels, exposed)
    objects = measure_objects(found.labels, pixel_size_um=pixel_size, region=field, frame=frame)
    weights = edge_weights(
        objects.top_px, objects.left_px, objects.height_px, objects.width_px, frame=frame, region=field
    )
    if deep is None:
        deep = _deep_columns(found, objects.columns["width_um"], pixel_size, settings)
    pits = conform("pits", objects.columns | deep | {"edge_weight": weights.weights})
    area_px = image.heights_um.size if field is None else int(np.count_nonzero(field))
    summary, doubts = field_summary(
        pits,
        area_px=area_px,
        region_origin="whole map" if region is None else "given mask",
        scale=scale,
        smallest_px=smallest_px,
    )
    level = find_original_level(image, ready, found, exposed, datum=datum, unexposed=unexposed)
    depths, remarks = _depth_summary(
        pits, found, ready, level, summary["total_pit_area_um2"], area_px, pixel_size
    )
    summary |= {
        "image_kind": "heightmap",
        "for_review_count": len(found.review_reason),
        "smallest_depth_um": _smallest_depth(settings, found),
        **depths,
    }
    if corrected is not None:
        summary["corrected_by_hand"] = True
        said += doubtful_depths(pits["depth_um"])
    warnings = [
        *image.warnings,
        *ready.warnings,
        *said,
        *weights.warnings,
        *doubts,
        *found.warnings,
        *level.warnings,
    ]
    warnings += remarks if corrected is not None else [*remarks, *near_limit_remark(pits)]
    if scale is None:
        warnings.append(no_scale_warning(settings) + " Depths are in µm; volumes need the pixel size.")
    return Result(
        procedure="pits",
        source=image.source,
        calibration=scale,
        settings=settings.model_dump(),
        summary=summary,
        tables={"pits": pits, "for_review": _review_table(found, pixel_size, field, frame)},
        masks={
            "pits": found.labels,
            "for_review": found.review,
            "region": np.ones(image.shape, bool) if field is None else field,
        },
        warnings=tuple(warnings),
    )


def exposed_surface(
    image: HeightMap, region: np.ndarray | None, datum: np.ndarray | None
) -> np.ndarray | None:
    """The surface that corroded: the region without the datum; None for the whole map.

    Parameters
    ----------
    image : HeightMap
    region, datum : ndarray of shape (M, N), or None
        Marked where not 0.

    Raises
    ------
    InputError
        If a mask is of another size or marks nothing.
    """
    exposed = None
    for name, mask in (("region", region), ("datum", datum)):
        if mask is None:
            continue
        marked = given_mask(image, mask, name)
        inside = marked if name == "region" else ~marked
        exposed = inside if exposed is None else exposed & inside
    return exposed


def height_ground(
    image: HeightMap,
    settings: HeightPitSettings,
    region: np.ndarray | None = None,
    datum: np.ndarray | None = None,
) -> tuple[DeepPits, DeepGround, PreparedHeights, np.ndarray | None]:
    """Make a height map ready and search it.

    Parameters
    ----------
    image : HeightMap
    settings : HeightPitSettings
    region, datum : ndarray of shape (M, N), bool, optional
        As for `measure_height_pits`, whose errors it raises.

    Returns
    -------
    found : DeepPits
    ground : DeepGround
        The surface that outlines are judged by.
    ready : PreparedHeights
    exposed : ndarray of shape (M, N), bool, or None
        The surface that corroded; None for the whole map.
    """
    path, scale = image.source.path, image.calibration
    exposed = exposed_surface(image, region, datum)
    pixel_size = (scale.pixel_size_x_um, scale.pixel_size_y_um) if scale else None
    refuse_unmeasured(image.heights_um, exposed, path)
    ready = prepare_heights(
        image.heights_um, form=settings.form, spikes=settings.spikes, pixel_size_um=pixel_size, region=exposed
    )
    refuse_unmeasured(ready.residual_um, exposed, path)
    found, ground = search_deep_pits(
        ready.residual_um,
        pixel_size_um=pixel_size,
        region=exposed,
        min_depth_to_roughness=settings.min_depth_to_roughness,
        min_depth_um=settings.min_depth_um,
        min_diameter_px=smallest_diameter_px(settings, scale),
        max_aspect=settings.max_aspect,
    )
    return found, ground, ready, exposed


def pit_field(missing: np.ndarray, labels: np.ndarray, exposed: np.ndarray | None) -> np.ndarray | None:
    """Where a pit would have been seen; None for the whole map.

    Parameters
    ----------
    missing : ndarray of shape (M, N), bool
        Not measured, or a spike.
    labels : ndarray of shape (M, N), int
        Pits: a patch of missing data that belongs to one is part of the field.
    exposed : ndarray of shape (M, N), bool, or None
    """
    lost = lost_patches(missing & (labels == 0))
    if not lost.any():
        return exposed
    return ~lost if exposed is None else exposed & ~lost


def lost_patches(missing: np.ndarray) -> np.ndarray:
    """What of missing data, shape (M, N), bool, is at least 5 px wide, so that a pit may hide there."""
    kernel = np.ones((LOST_PATCH_PX, LOST_PATCH_PX), np.uint8)
    return cv2.morphologyEx(missing.view(np.uint8), cv2.MORPH_OPEN, kernel).view(bool)


def _deep_columns(
    found: DeepPits,
    width_um: np.ndarray,
    pixel_size: tuple[float, float] | None,
    settings: HeightPitSettings,
) -> Table:
    """Columns of table "pits" that the heights give, for the pits found."""
    depths = measure_depths(
        found.labels,
        found.depth_below_reference_um,
        pixel_size_um=pixel_size,
        roughness_um=found.roughness_um,
        level_uncertainty_um=found.level_uncertainty_um,
        width_um=width_um,
        objective_aperture=settings.objective_aperture,
    )
    depths["depth_is_lower_bound"] |= deepest_on_frame(depths, found.labels.shape)
    return depths | {"prominence_um": found.prominence_um, "near_limit": found.near_limit}


def _deep_as_drawn(
    labels: np.ndarray,
    found: DeepPits,
    ground: DeepGround,
    pixel_size: tuple[float, float] | None,
    settings: HeightPitSettings,
) -> Table:
    """The same columns for the pits that a person drew, shape (M, N), labels 1 to n."""
    width = measure_objects(found.labels, pixel_size_um=pixel_size).columns["width_um"]

    def measure_one(row: np.ndarray, col: np.ndarray) -> Table:
        return measure_deep_one(
            ground, row, col, pixel_size_um=pixel_size, objective_aperture=settings.objective_aperture
        )

    return columns_of_drawn(
        labels, found.labels, _deep_columns(found, width, pixel_size, settings), measure_one
    )


def _without_finds(found: DeepPits, labels: np.ndarray) -> DeepPits:
    """A person's pits in the place of those found; what only finds have is empty."""
    nothing = np.zeros(0)
    return replace(
        found,
        labels=labels,
        review=np.zeros_like(labels),
        near_limit=np.zeros(0, dtype=str),
        review_reason=np.zeros(0, dtype=str),
        roughness_um=nothing,
        review_roughness_um=nothing,
        level_uncertainty_um=nothing,
        prominence_um=nothing,
    )


def _review_table(
    found: DeepPits,
    pixel_size: tuple[float, float] | None,
    field: np.ndarray | None,
    frame: tuple[int, int, int, int],
) -> Table:
    if len(found.review_reason) == 0:
        return empty_table("for_review")
    reviewed = measure_objects(found.review, pixel_size_um=pixel_size, region=field, frame=frame)
    depths = measure_depths(
        found.review,
        found.depth_below_reference_um,
        pixel_size_um=pixel_size,
        roughness_um=found.review_roughness_um,
        level_uncertainty_um=np.zeros(len(found.review_reason)),
        width_um=reviewed.columns["width_um"],
    )
    return conform(
        "for_review",
        {name: values for name, values in reviewed.columns.items() if name not in _ONLY_PITS}
        | {name: depths[name] for name in ("depth_um", "depth_to_roughness", "measured_fraction")}
        | {"reason": found.review_reason},
    )


def _smallest_depth(settings: HeightPitSettings, found: DeepPits) -> float:
    """Smallest depth in force where the surface is as rough as over the whole map, µm."""
    return max(settings.min_depth_um or 0.0, settings.min_depth_to_roughness * found.surface_sq_um)


def _depth_summary(
    pits: Table,
    found: DeepPits,
    ready: PreparedHeights,
    level: OriginalLevel,
    pit_area_um2: float | None,
    area_px: int,
    pixel_size: tuple[float, float] | None,
) -> tuple[dict[str, Any], list[str]]:
    """Depth and volume figures of the field, and what the reader should know about them."""
    depth, bound = pits["depth_um"], pits["depth_is_lower_bound"]
    hidden = bound & ~deepest_on_frame(pits, found.labels.shape)
    top = deepest(depth, hidden)
    interval = None
    if top.max_um is not None:
        k = int(np.nanargmax(depth))
        half = _Z * float(pits["depth_uncertainty_um"][k])
        low = float(np.fmin(top.max_um, pits["floor_depth_um"][k])) - half
        interval = [max(low, 0.0), None if top.is_lower_bound else top.max_um + half]
    volume = float(np.nansum(pits["volume_um3"])) if pixel_size else None
    per_area = (
        None if volume is None or pixel_size is None else volume / (area_px * pixel_size[0] * pixel_size[1])
    )
    if level.mean_penetration_um is None:
        factor = pitting_factor(top.max_um, per_area, np.nan_to_num(ready.form.level_uncertainty_um))
        denominator = "pit volume per area, below the present surface"
    else:
        factor = pitting_factor(level.max_penetration_um, level.mean_penetration_um, level.uncertainty_um)
        denominator = f"mean penetration from the original level ({level.origin})"
    summary = {
        "measured_fraction": ready.measured_fraction,
        "spike_count": ready.spike_count,
        "form": ready.form.kind,
        "form_text": ready.form.text,
        "roughness_sq_um": found.surface_sq_um,
        "max_depth_um": top.max_um,
        "max_depth_um_ci95": interval,
        "max_depth_is_lower_bound": top.is_lower_bound,
        "mean_depth_10_deepest_um": top.mean_um,
        "deepest_count": top.count,
        "mean_depth_10_deepest_is_lower_bound": top.is_lower_bound,
        "depth_p10_um": censored_quantile(depth, bound, 0.1),
        "median_depth_um": censored_quantile(depth, bound, 0.5),
        "depth_p90_um": censored_quantile(depth, bound, 0.9),
        "lower_bound_depth_count": int(np.count_nonzero(hidden)),
        "total_volume_um3": volume,
        "volume_per_area_um": per_area,
        "original_level": level.origin,
        "mean_penetration_um": level.mean_penetration_um,
        "max_penetration_um": level.max_penetration_um,
        "pitting_factor": factor,
        "pitting_factor_denominator": denominator if factor is not None else None,
        "g46_depth_class": depth_class_of(depth),
    }
    return summary, _remarks(summary, len(depth), level)


def _remarks(summary: dict[str, Any], n: int, level: OriginalLevel) -> list[str]:
    remarks = []
    bounds = summary["lower_bound_depth_count"]
    if bounds:
        remarks.append(hidden_floors_remark(bounds, n))
    if level.mean_penetration_um is None and n:
        remarks.append(
            "Depths and volumes are those below the present surface. Uniform recession cannot be seen on one "
            "map, so the volume per area is a lower bound of the mean penetration: a masked datum or the "
            "registered unexposed surface would show the original level."
        )
    if summary["pitting_factor"] is None:
        why = (
            "there is no pit"
            if not n
            else "the mean penetration is not known"
            if summary["volume_per_area_um"] is None and level.mean_penetration_um is None
            else "the mean penetration cannot be told from none"
        )
        remarks.append(f"No pitting factor: {why}.")
    return remarks

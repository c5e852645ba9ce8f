"""Pits of one image: from pixels to a table, a density with its interval, and a list for review."""

from __future__ import annotations

from dataclasses import replace
from functools import partial

import numpy as np

from surfscan.columns import Table, conform, empty_table
from surfscan.errors import InputError
from surfscan.estimates.counting import edge_weights
from surfscan.images import HeightMap, Micrograph
from surfscan.measurement.objects import Objects, measure_objects
from surfscan.preparation.region import Region, specimen_region
from surfscan.preparation.strip import find_data_strip
from surfscan.procedures.drawn_pits import columns_of_drawn, drawn_pits, measure_dark_one
from surfscan.procedures.field_summary import (
    field_summary,
    near_limit_remark,
    no_pit_remark,
    no_scale_warning,
    smallest_diameter_px,
)
from surfscan.procedures.result import Result
from surfscan.procedures.settings import HeightPitSettings, PitSettings
from surfscan.segmentation.dark_ground import DarkGround
from surfscan.segmentation.pits import DarkPits, search_dark_pits

_MUCH_LEFT, _MUCH_BRIGHT = 0.1, 0.35

_ONLY_PITS = ("nearest_pit_um", "nearest_pit_px", "touches_image_border", "touches_specimen_edge")


def measure_pits(
    image: Micrograph | HeightMap,
    settings: PitSettings | HeightPitSettings | None = None,
    *,
    region: np.ndarray | None = None,
    datum: np.ndarray | None = None,
    unexposed: HeightMap | None = None,
    corrected: np.ndarray | None = None,
) -> Result:
    """Find, outline and count pits: dark ones on a micrograph, deep ones on a height map.

    Parameters
    ----------
    image : Micrograph or HeightMap
    settings : PitSettings or HeightPitSettings, optional
        The first for a micrograph, the second for a height map; documented defaults where not given.
    region : ndarray of shape (M, N), bool, optional
        The specimen, where it is known; on a micrograph it overrules the setting `specimen_region`.
    datum, unexposed : optional
        What the original level of a height map is known from: see
        `surfscan.procedures.height_pits.measure_height_pits`.
    corrected : ndarray of shape (M, N), int, optional
        Pits as a person outlined them: labels above 0 in any order, gaps allowed. They take the place of
        those found; nothing else is counted or listed for review. The picture is searched all the same, for
        the metal by which an outline is judged; one that stands as found keeps its figures to the bit.

    Returns
    -------
    Result
        Tables "pits" (one row per label of mask "pits") and "for_review" (features that were not counted:
        crack-like, soft-edged, just below a limit; labels of mask "for_review"). `pit_count` is the number of
        rows; the edge rule enters the density only, through `edge_weight`. Without a scale, figures in µm are
        None and their twins in pixels are given. With a `corrected` mask the rows follow its labels, numbered
        anew from 1, and the summary says `corrected_by_hand`.

    Raises
    ------
    InputError
        If the picture holds a single grey value or is on average no brighter than black, or if no
        specimen is left, or the corrected mask does not fit.
    TypeError
        If the settings are those of the other kind of image, or a micrograph comes with what only a height
        map can have.
    """
    if isinstance(image, HeightMap):
        if isinstance(settings, PitSettings):
            raise TypeError("a height map takes HeightPitSettings, not PitSettings")
        from surfscan.procedures.height_pits import measure_height_pits

        return measure_height_pits(
            image, settings, region=region, datum=datum, unexposed=unexposed, corrected=corrected
        )
    if isinstance(settings, HeightPitSettings):
        raise TypeError("a micrograph takes PitSettings, not HeightPitSettings")
    if datum is not None or unexposed is not None:
        raise TypeError("datum and unexposed belong to a height map; this is a micrograph")
    return _measure_dark_pits(image, settings or PitSettings(), region, corrected)


def pit_ground(
    image: Micrograph, settings: PitSettings, region: np.ndarray | None = None
) -> tuple[DarkPits, DarkGround, Region]:
    """Search a micrograph: what was found, the metal that outlines are judged by, and where the specimen is.

    Parameters
    ----------
    image : Micrograph
    settings : PitSettings
    region : ndarray of shape (M, N), bool, optional
        As for `measure_pits`, whose errors it raises.
    """
    grey = image.grey
    where = specimen_region(
        grey,
        mode=settings.specimen_region,
        given=region,
        strip=find_data_strip(grey) if settings.data_strip == "auto" else None,
        overlays=image.overlays if settings.data_strip == "auto" else (),
        path=image.source.path,
    )
    _refuse_blank(grey, where, image.source.path)
    found, ground = _find(grey, where, settings, smallest_diameter_px(settings, image.calibration))
    return found, ground, where


def _measure_dark_pits(
    image: Micrograph, settings: PitSettings, region: np.ndarray | None, corrected: np.ndarray | None
) -> Result:
    found, ground, where = pit_ground(image, settings, region)
    said: tuple[str, ...] = ()
    if corrected is not None:
        found, said = _as_drawn(found, ground, where, corrected, image)
    smallest_px = smallest_diameter_px(settings, image.calibration)
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
    row0, row1, col0, col1 = where.frame
    area_px = (row1 - row0) * (col1 - col0) if where.mask is None else int(np.count_nonzero(where.mask))
    summary, doubts = field_summary(
        pits, area_px=area_px, region_origin=where.origin, scale=scale, smallest_px=smallest_px
    )
    summary |= {"image_kind": "micrograph", "for_review_count": len(found.review_reason)}
    if corrected is not None:
        summary["corrected_by_hand"] = True
    remarks = _remarks(found, pits) if corrected is None else no_pit_remark(pits)
    warnings = [*image.warnings, *where.warnings, *said, *weights.warnings, *doubts, *remarks]
    if scale is None:
        warnings.append(no_scale_warning(settings))
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


def _find(
    grey: np.ndarray, where: Region, settings: PitSettings, smallest_px: float
) -> tuple[DarkPits, DarkGround]:
    """Find pits inside the frame, with labels laid over the whole picture."""
    row0, row1, col0, col1 = where.frame
    inside = (slice(row0, row1), slice(col0, col1))
    whole = (row1 - row0, col1 - col0) == grey.shape
    found, ground = search_dark_pits(
        grey if whole else np.ascontiguousarray(grey[inside]),
        region=None if where.mask is None else np.ascontiguousarray(where.mask[inside]),
        min_contrast=settings.min_contrast,
        min_contrast_to_noise=settings.min_contrast_to_noise,
        min_diameter_px=smallest_px,
        max_aspect=settings.max_aspect,
    )
    if not whole:
        found, ground = found.laid_over(grey.shape, inside), replace(ground, origin=(row0, col0))
    return found, ground


def _as_drawn(
    found: DarkPits, ground: DarkGround, where: Region, corrected: np.ndarray, image: Micrograph
) -> tuple[DarkPits, tuple[str, ...]]:
    """A person's pits in the place of those found, and what is to be said of their mask."""
    drawn = drawn_pits(corrected, where.full_mask(image.shape), image.source.path, image.shape)
    columns = columns_of_drawn(
        drawn.labels,
        found.labels,
        {
            "contrast": found.contrast,
            "contrast_to_noise": found.contrast_to_noise,
            "near_limit": found.near_limit,
        },
        partial(measure_dark_one, ground),
    )
    nothing = np.zeros(0)
    as_drawn = replace(
        found,
        labels=drawn.labels,
        contrast=columns["contrast"],
        contrast_to_noise=columns["contrast_to_noise"],
        near_limit=columns["near_limit"],
        review=np.zeros_like(drawn.labels),
        review_contrast=nothing,
        review_contrast_to_noise=nothing,
        review_reason=np.zeros(0, dtype=str),
    )
    return as_drawn, drawn.warnings


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
    remarks += no_pit_remark(pits)
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
    return [*remarks, *near_limit_remark(pits)]

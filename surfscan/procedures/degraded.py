"""Degraded area of a micrograph: the share of the specimen that is corroded or covered by product."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from surfscan.errors import InputError
from surfscan.images import Micrograph
from surfscan.preparation.region import specimen_region
from surfscan.preparation.strip import find_data_strip
from surfscan.procedures.drawn_classes import drawn_classes, moved_interval
from surfscan.procedures.result import Result
from surfscan.procedures.settings import DegradedSettings
from surfscan.segmentation.degraded import DegradedArea, degraded_area

TARNISHED_CLASS, DEGRADED_CLASS = 1, 2
"""Codes of mask "degraded"; 0 is metal, and all that is no specimen."""

_NARROWEST_PX = 5  # the smallest patch kept is 5 px across
_CLIPPED = 0.02  # share of pixels at an end of the grey scale above which a warning is given


def measure_degraded(
    image: Micrograph,
    settings: DegradedSettings | None = None,
    *,
    region: np.ndarray | None = None,
    corrected: np.ndarray | None = None,
) -> Result:
    """Measure the degraded area fraction of one field.

    Parameters
    ----------
    image : Micrograph
        Grey or colour.
    settings : DegradedSettings, optional
        Defaults where None.
    region : ndarray of shape (M, N), optional
        Specimen region drawn elsewhere, non-zero on the specimen; overrules the settings.
    corrected : ndarray of shape (M, N), int, optional
        Class image as a person painted it, classes as in mask "degraded"; it takes the place of the one
        found.

    Returns
    -------
    Result
        Summary: `degraded_area_fraction` and `degraded_area_fraction_ci95` (0 to 1), `region_area_mm2` (None
        without a scale), `scale_relative_uncertainty` (k = 1; twice that holds for the area, none of it for
        fractions), `region_area_px`; with three classes `tarnished_area_fraction` and its interval;
        and what they rest on: `degraded_is`, `told_apart_by` ("grey" or "colour"), `separation` (Ashman's D),
        `class_levels` (grey of each class over that of the metal), `class_boundaries` (share of the step from
        metal to degraded surface), `smoothing_px`. Masks: "degraded" (uint8: 0 metal, 1 tarnished,
        2 degraded) and "region".

    Notes
    -----
    The interval holds the uncertainty of the class boundary alone. How far one field stands for the specimen
    is not in it: that takes several fields (ASTM E562, E1245).

    With a `corrected` class image the fractions are those of its pixels, their intervals as wide as those of
    the map found (`surfscan.procedures.drawn_classes.moved_interval`), and levels, boundaries and separation
    still those of that map; the summary says `corrected_by_hand`.

    Raises
    ------
    InputError
        If the region or corrected mask does not fit, or fewer than 100 recorded pixels of specimen are left.
    """
    settings = settings or DegradedSettings()
    grey = image.grey
    strip = find_data_strip(grey) if settings.data_strip == "auto" else None
    path = image.source.path
    found = specimen_region(
        grey,
        mode=settings.specimen_region,
        given=region,
        strip=strip,
        overlays=image.overlays if settings.data_strip == "auto" else (),
        path=path,
    )
    row0, row1, col0, col1 = found.frame
    inside = (slice(row0, row1), slice(col0, col1))
    pixels = image.pixels[inside]
    mask = None if found.mask is None else np.ascontiguousarray(found.mask[inside])
    region_px = grey[inside].size if mask is None else int(np.count_nonzero(mask))
    values = pixels if mask is None else pixels[mask]
    if values.dtype.kind == "f" and values.size and float(values.mean()) <= 0:
        raise InputError(
            path,
            f"the mean grey of the specimen is {values.mean():.3g}, so no metal is bright enough to judge by",
            "Give grey values that are 0 for black, before any background is subtracted",
        )
    warnings = [*image.warnings, *found.warnings]
    summary: dict[str, Any] = {
        "degraded_area_fraction": None,
        "degraded_area_fraction_ci95": None,
        "region_area_mm2": None,
        "scale_relative_uncertainty": None,
        "region_area_px": region_px,
        "region_origin": found.origin,
    }
    if image.calibration is not None:
        summary["region_area_mm2"] = region_px * image.calibration.pixel_area_um2 * 1e-6
        summary["scale_relative_uncertainty"] = image.calibration.relative_uncertainty
    else:
        warnings.append("No scale: the region's area is given in px only; fractions do not need one.")
    classes = np.zeros(image.shape, np.uint8)
    values = grey[inside] if mask is None else grey[inside][mask]
    narrow = min(row1 - row0, col1 - col0)
    if narrow < _NARROWEST_PX:
        warnings.append(
            f"The field is {narrow} px wide: patches cannot be told from noise in fewer than {_NARROWEST_PX} "
            "px and no fraction is given; take a wider part of the image."
        )
    elif values.min() == values.max():
        warnings.append(
            f"Every pixel of the region has the same grey ({values.flat[0]}): nothing can be told apart and "
            "no fraction is given. Check the exposure of the image."
        )
    else:
        warnings += _clipping(pixels, mask)
        area = degraded_area(
            pixels,
            mask,
            classes=settings.classes,
            degraded_is=settings.degraded_is,
            boundary=settings.boundary,
            min_contrast=settings.min_contrast,
            min_separation=settings.min_separation,
            min_patch_px=_least_patch(image, settings),
        )
        classes[inside] = area.classes
        summary |= _figures(area)
        warnings += area.warnings
    if corrected is not None:
        classes, said = drawn_classes(
            corrected, found.full_mask(image.shape), path, image.shape, DEGRADED_CLASS
        )
        counts = np.bincount(classes.reshape(-1), minlength=DEGRADED_CLASS + 1)
        summary |= corrected_fractions(counts, region_px, summary) | {"corrected_by_hand": True}
        warnings += said
    return Result(
        procedure="degraded",
        source=image.source,
        calibration=image.calibration,
        settings=settings.model_dump(mode="json"),
        summary=summary,
        masks={"degraded": classes, "region": found.full_mask(image.shape)},
        warnings=tuple(warnings),
    )


def corrected_fractions(counts: np.ndarray, region_px: int, automatic: Mapping[str, Any]) -> dict[str, Any]:
    """Fractions of a class image corrected by hand, as the summary has them.

    Parameters
    ----------
    counts : ndarray of shape (3,), int
        Pixels of each class on the specimen.
    region_px : int
        Specimen, px.
    automatic : mapping
        Summary of the map that was found.
    """
    out: dict[str, Any] = {}
    for name, value in (("degraded", DEGRADED_CLASS), ("tarnished", TARNISHED_CLASS)):
        key = f"{name}_area_fraction"
        if name == "tarnished" and key not in automatic and counts[value] == 0:
            continue
        fraction = int(counts[value]) / region_px
        interval = moved_interval(fraction, automatic.get(key), automatic.get(f"{key}_ci95"))
        out |= {key: fraction, f"{key}_ci95": None if interval is None else list(interval)}
    return out


def _least_patch(image: Micrograph, settings: DegradedSettings) -> int:
    """Smallest patch kept, px."""
    if image.calibration is None or settings.min_patch_um2 is None:
        return settings.min_patch_px
    return max(settings.min_patch_px, int(np.ceil(settings.min_patch_um2 / image.calibration.pixel_area_um2)))


def _figures(area: DegradedArea) -> dict[str, Any]:
    """Summary fields of a class map."""
    figures: dict[str, Any] = {
        "degraded_area_fraction": area.fraction,
        "degraded_area_fraction_ci95": [area.fraction_low, area.fraction_high],
    }
    if area.tarnished is not None:
        figures["tarnished_area_fraction"] = area.tarnished
        figures["tarnished_area_fraction_ci95"] = [area.tarnished_low, area.tarnished_high]
    one_class = area.degraded_is is None
    return figures | {
        "degraded_is": area.degraded_is,
        "told_apart_by": None if one_class else "colour" if area.colour_decides else "grey",
        "separation": None if one_class else area.separation,
        "class_levels": list(area.levels),
        "class_boundaries": list(area.boundaries),
        "smoothing_px": area.smoothing_px,
    }


def _clipping(pixels: np.ndarray, mask: np.ndarray | None) -> list[str]:
    """Warnings about pixels at the ends of the grey scale, where classes cannot be told apart."""
    if not np.issubdtype(pixels.dtype, np.integer):
        return []
    ends = {"black": 0, "white": int(np.iinfo(pixels.dtype).max)}
    out = []
    for name, value in ends.items():
        channels = [pixels] if pixels.ndim == 2 else [pixels[..., k] for k in range(pixels.shape[2])]
        at_end = channels[0] == value
        for channel in channels[1:]:
            at_end &= channel == value
        share = float(np.mean(at_end if mask is None else at_end[mask]))
        if share > _CLIPPED:
            out.append(
                f"{100 * share:.1f} % of the region is clipped to {name}: classes may not be told apart "
                "there."
            )
    return out

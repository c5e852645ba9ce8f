"""Where an image lies in the viewer: its scale, its units, its layers. No Qt."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from surfscan.images import Calibration, HeightMap, Micrograph

IMAGE, HEIGHTS = "image", "height map"
"""Names of the layer that shows what was opened."""

OPENED = "surfscan"
"""Key in a layer's metadata under which the opened image lies."""

PART = "surfscan part"
"""Key in the metadata of a layer that is drawn on the open image and goes with it."""

PATH = "surfscan path"
"""Key in the metadata of a layer whose file is not decoded yet."""

_PARTS = (
    "pits",
    "rejected",
    "degraded",
    "section",
    "edges",
    "centreline",
    "stations",
    "scale bar",
)

_ENDS_PERCENT = (0.5, 99.5)
_SAMPLED = 2**20

LayerData = tuple[Any, dict[str, Any], str]


def placement(calibration: Calibration | None) -> dict[str, Any]:
    """Scale and units of every layer of an image, as napari's layers take them.

    Parameters
    ----------
    calibration : Calibration or None

    Returns
    -------
    dict
        `scale` (y, x) in µm a pixel with units of µm; 1 and pixels where the scale is not known.
    """
    if calibration is None:
        return {"scale": (1.0, 1.0), "units": ("pixel", "pixel")}
    size = (calibration.pixel_size_y_um, calibration.pixel_size_x_um)
    return {"scale": size, "units": ("um", "um")}


def pixels_of(image: Micrograph | HeightMap) -> np.ndarray:
    """What is shown of an image: brightness, or heights in µm."""
    return image.heights_um if isinstance(image, HeightMap) else image.pixels


def layer_of(image: Micrograph | HeightMap, *, pixels: Sequence[Any] | None = None) -> LayerData:
    """The layer of an opened image: data, keywords and kind, as a napari reader returns them.

    Parameters
    ----------
    image : Micrograph or HeightMap
    pixels : sequence of arrays, optional
        Levels of a pyramid, largest first, shown in place of the image's own pixels.

    Returns
    -------
    (data, keywords, "image")
        Heights in cividis, single spikes beyond its ends; pictures in grey, or in their colours.
        What was opened stands in the metadata under `OPENED`.
    """
    is_heights = isinstance(image, HeightMap)
    own = pixels_of(image)
    data = own if pixels is None else pixels
    keywords: dict[str, Any] = {
        "name": HEIGHTS if is_heights else IMAGE,
        "metadata": {OPENED: image},
        "multiscale": pixels is not None,
        **placement(image.calibration),
    }
    if is_heights:
        keywords["colormap"] = "cividis"
        shown = _shown_range(own)
        if shown is not None:
            keywords["contrast_limits"] = shown
    elif own.ndim == 3:
        keywords["rgb"] = True
    else:
        keywords["colormap"] = "gray"
    return data, keywords, "image"


def _shown_range(heights: np.ndarray) -> tuple[float, float] | None:
    """Heights between which colours run: single spikes do not take the colours from all others."""
    step = 1 + heights.size // _SAMPLED
    known = heights.reshape(-1)[::step]
    known = known[np.isfinite(known)]
    if not known.size:
        return None
    low, high = (float(v) for v in np.percentile(known, _ENDS_PERCENT))
    return (low, high) if low < high else None


def opened_in(metadata: Mapping[str, Any]) -> Micrograph | HeightMap | None:
    """The opened image that a layer's metadata hold; None where the layer is none of ours."""
    found = metadata.get(OPENED)
    return found if isinstance(found, (Micrograph, HeightMap)) else None


def is_ours(layer: Any) -> bool:
    """Whether a layer belongs to the open image: shows it, or is drawn on it."""
    return (
        layer.name in _PARTS
        or bool({PART, PATH} & set(layer.metadata))
        or opened_in(layer.metadata) is not None
    )

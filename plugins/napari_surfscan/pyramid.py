"""Large images on the screen: levels read from the file as they are looked at, or made for looking. No Qt."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import cv2
import numpy as np

from surfscan.calibration import calibrate
from surfscan.errors import InputError
from surfscan.images import Calibration, HeightMap, Micrograph, Source
from surfscan.loaders.tiff_levels import Levels, open_levels

LARGE_PX = 2**23
"""Pixels from which an image is shown as a pyramid."""

_SMALLEST_SIDE = 512  # of the coarsest level


def early_layer(path: Path, page: int | None = None) -> tuple[list[Any], Calibration | None, str] | None:
    """What can be shown of a large file before it is decoded whole.

    Parameters
    ----------
    path : Path
    page : int, optional

    Returns
    -------
    (levels, calibration, kind) or None
        Levels largest first; of a file that has only one the others are there, empty, for `fill`. None where
        the file is small, or can only be decoded whole. The scale is that of the file's own statement.
    """
    found: Levels | None = open_levels(path, page)
    if found is None or found.arrays[0].shape[0] * found.arrays[0].shape[1] < LARGE_PX:
        return None
    try:
        calibration, _ = calibrate(found.scale_tags, None, path=path)
    except InputError:  # said when the image is read whole
        calibration = None
    levels: list[Any] = list(found.arrays)
    while len(found.arrays) == 1 and min(levels[-1].shape[:2]) >= 2 * _SMALLEST_SIDE:
        rows, cols = levels[-1].shape[:2]
        levels.append(np.zeros((rows // 2, cols // 2, *levels[-1].shape[2:]), levels[0].dtype))
    return levels, calibration, found.kind


def fill(levels: list[Any], pixels: np.ndarray) -> None:
    """Fill the levels that a file lacks from its pixels, in place."""
    for level in levels:
        if isinstance(level, np.ndarray):
            level[...] = _reduced(pixels, level.shape)


def levels_of(pixels: np.ndarray) -> list[np.ndarray] | None:
    """A pyramid for looking at a large image; None where it is small.

    Parameters
    ----------
    pixels : ndarray of shape (M, N) or (M, N, 3)
    """
    if pixels.shape[0] * pixels.shape[1] < LARGE_PX:
        return None
    levels = [pixels]
    while min(levels[-1].shape[:2]) >= 2 * _SMALLEST_SIDE:
        rows, cols = levels[-1].shape[:2]
        levels.append(_reduced(levels[-1], (rows // 2, cols // 2)))
    return levels


def _reduced(pixels: np.ndarray, shape: tuple[int, ...]) -> np.ndarray:
    if pixels.dtype.kind == "f":  # means would spread gaps
        return cv2.resize(pixels, (shape[1], shape[0]), interpolation=cv2.INTER_NEAREST)
    return cv2.resize(pixels, (shape[1], shape[0]), interpolation=cv2.INTER_AREA)


def stand_in(
    path: Path, levels: list[Any], calibration: Calibration | None, kind: str
) -> Micrograph | HeightMap:
    """The image of a layer that is shown before it is decoded: its coarsest level, for its kind and scale."""
    coarse = np.asarray(levels[-1])
    source = Source(str(path))
    if kind == "heightmap":
        return HeightMap(coarse, calibration, source)
    return Micrograph(coarse, calibration, source)

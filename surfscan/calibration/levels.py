"""Pictures of any number type brought to 8 bit, which bars and labels are looked for on."""

from __future__ import annotations

import numpy as np


def as_bytes(pixels: np.ndarray) -> np.ndarray:
    """The picture as uint8.

    Parameters
    ----------
    pixels : ndarray of any shape and real dtype

    Returns
    -------
    ndarray of the same shape, uint8
        The picture itself where it is uint8; else its range spread over 0 to 255, not-a-number being 0. All 0
        where it has but one level, or one that is infinite. False and True are 0 and 255.
    """
    if pixels.dtype == np.uint8:
        return pixels
    if pixels.dtype == bool:
        return pixels.astype(np.uint8) * 255
    low, high = float(np.fmin.reduce(pixels, axis=None)), float(np.fmax.reduce(pixels, axis=None))
    if not (np.isfinite(low) and np.isfinite(high) and high > low):
        return np.zeros(pixels.shape, np.uint8)
    spread = (pixels.astype(np.float32) - np.float32(low)) * np.float32(255 / (high - low))
    return np.clip(np.rint(np.nan_to_num(spread, nan=0.0)), 0, 255).astype(np.uint8)

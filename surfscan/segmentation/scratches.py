"""Scratches that came apart: a pit ends at its outline, a scratch goes on beyond it.

Noise and uneven depth break a scratch into pieces that taken alone could pass for pits. Each object is
therefore asked whether the metal beyond it, along some direction, stays dark in a band about as wide as
the object itself.
"""

from __future__ import annotations

import numpy as np

_DIRECTIONS = 60
_START_PX = 2.0
_STEPS = 8
_MIN_STEP_PX = 2.5
_MOST = 6
_LATERAL = (-0.5, 0.5)
_FLANK_PX = 4.0
_SHARE = 0.4
_THICKER = 1.3


def continues_beyond(
    contrast: np.ndarray,
    thickness: np.ndarray,
    row: np.ndarray,
    col: np.ndarray,
    half_width: np.ndarray,
    half_length: np.ndarray,
    strength: np.ndarray,
    surround: np.ndarray,
) -> np.ndarray:
    """Whether each object goes on as a dark band beyond its outline.

    Parameters
    ----------
    contrast : ndarray of shape (M, N), float32
        Smoothed contrast.
    thickness : ndarray of shape (M, N), uint8
        Half width of the compact object that a pixel belongs to, px; 0 elsewhere. A neighbour clearly thicker
        than the object itself is no continuation of it.
    row, col : ndarray of shape (n,)
        Centres, px.
    half_width, half_length : ndarray of shape (n,)
        Half of each object's extent across and along itself, px.
    strength : ndarray of shape (n,)
        Contrast of each object against its surroundings.
    surround : ndarray of shape (n,)
        Contrast of the surroundings against the metal level.

    Returns
    -------
    ndarray of shape (n,), bool
    """
    n = len(row)
    out = np.zeros(n, bool)
    if n == 0:
        return out
    step = np.maximum(_MIN_STEP_PX, 0.5 * half_width)
    along = (half_length + _START_PX)[:, None] + step[:, None] * np.arange(_STEPS)
    level = surround + _SHARE * strength
    thickest = _THICKER * half_width
    for angle in np.arange(_DIRECTIONS) * (2 * np.pi / _DIRECTIONS):
        sin, cos = np.sin(angle), np.cos(angle)
        near = _sample(contrast, thickness, thickest, row + sin * along[:, 1], col + cos * along[:, 1])
        likely = np.flatnonzero(~out & (near > level))
        r, c = row[likely, None] + sin * along[likely], col[likely, None] + cos * along[likely]
        axis = _sample(contrast, thickness, thickest[likely, None], r, c)
        dark = _band(axis, level[likely])
        likely, r, c, axis = likely[dark], r[dark], c[dark], axis[dark]
        if likely.size == 0:
            continue
        h = half_width[likely, None]
        band = np.ones(likely.size, bool)
        for share in _LATERAL:
            band &= _band(
                _sample(
                    contrast, thickness, thickest[likely, None], r + cos * share * h, c - sin * share * h
                ),
                0.75 * level[likely],
            )
        between = 0.5 * (axis.mean(axis=1) + surround[likely])
        for side in (-1, 1):
            offset = side * (h + _FLANK_PX)
            flank = _sample(contrast, thickness, thickest[likely, None], r + cos * offset, c - sin * offset)
            band &= np.median(flank, axis=1) < between
        out[likely[band]] = True
    return out


def _band(value: np.ndarray, level: np.ndarray) -> np.ndarray:
    """Whether samples along a line, shape (n, steps), are dark on average and mostly."""
    return (value.mean(axis=1) > level) & ((value > 0.75 * level[:, None]).sum(axis=1) >= _MOST)


def _sample(
    contrast: np.ndarray, thickness: np.ndarray, thickest: np.ndarray, row: np.ndarray, col: np.ndarray
) -> np.ndarray:
    """Nearest-pixel contrast; outside the picture, and on objects thicker than `thickest`, that of metal."""
    r, c = np.rint(row).astype(np.intp), np.rint(col).astype(np.intp)
    rows, cols = contrast.shape
    inside = (r >= 0) & (r < rows) & (c >= 0) & (c < cols)
    at = np.clip(r, 0, rows - 1) * cols + np.clip(c, 0, cols - 1)
    return np.where(inside & (thickness.ravel()[at] <= thickest), contrast.ravel()[at], 0.0)

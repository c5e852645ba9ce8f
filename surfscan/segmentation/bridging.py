"""A working copy of a height map in which gaps are bridged, so that outlines can run through them.

Bridged values decide where an outline runs and nothing else: no depth and no volume is ever taken from them.
"""

from __future__ import annotations

import cv2
import numpy as np

_LEVELS = 6
_ENOUGH = 0.25
_STRIP = 512


def bridge_gaps(heights_um: np.ndarray) -> np.ndarray:
    """Heights with every gap of up to about 64 px bridged from what lies round it.

    Parameters
    ----------
    heights_um : ndarray of shape (M, N), float32
        Not-a-number where not measured.

    Returns
    -------
    ndarray of shape (M, N), float32
        A copy. An unmeasured point takes the mean of measured points near it, from the smallest of blocks
        of 2, 4, ... 64 px of which at least a quarter was measured (bilinear between blocks); deep inside
        wider gaps it stays not-a-number.
    """
    rows, cols = heights_um.shape
    out = np.array(heights_um, np.float32)
    gaps = np.flatnonzero(np.isnan(out))
    if gaps.size == 0:
        return out
    block = 2**_LEVELS
    half = (-(-rows // block) * block // 2, -(-cols // block) * block // 2)
    value, weight = np.zeros(half, np.float32), np.zeros(half, np.float32)
    for first in range(0, rows, _STRIP):
        last = min(first + _STRIP, rows)
        strip = np.zeros((last - first + (last - first) % 2, 2 * half[1]), np.float32)
        seen = np.zeros_like(strip)
        strip[: last - first, :cols] = out[first:last]
        seen[: last - first, :cols] = out[first:last] == out[first:last]
        cv2.patchNaNs(strip, 0.0)
        here = slice(first // 2, first // 2 + strip.shape[0] // 2)
        size = (half[1], strip.shape[0] // 2)
        value[here] = cv2.resize(strip, size, interpolation=cv2.INTER_AREA)
        weight[here] = cv2.resize(seen, size, interpolation=cv2.INTER_AREA)
    row, col = np.divmod(gaps, cols)
    flat = out.reshape(-1)
    for level in range(1, _LEVELS + 1):
        if level > 1:
            size = (value.shape[1] // 2, value.shape[0] // 2)
            value = cv2.resize(value, size, interpolation=cv2.INTER_AREA)
            weight = cv2.resize(weight, size, interpolation=cv2.INTER_AREA)
        total, share = _between(value, weight, (row + 0.5) / 2**level - 0.5, (col + 0.5) / 2**level - 0.5)
        known = share >= _ENOUGH
        flat[gaps[known]] = total[known] / share[known]
        gaps, row, col = gaps[~known], row[~known], col[~known]
        if gaps.size == 0:
            break
    return out


def _between(
    value: np.ndarray, weight: np.ndarray, y: np.ndarray, x: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Bilinear samples of two arrays at the same positions."""
    y, x = np.clip(y, 0, value.shape[0] - 1), np.clip(x, 0, value.shape[1] - 1)
    r, c = y.astype(np.intp), x.astype(np.intp)
    down = np.where(r + 1 < value.shape[0], value.shape[1], 0)
    right = np.where(c + 1 < value.shape[1], 1, 0)
    v, u = (y - r).astype(np.float32), (x - c).astype(np.float32)
    at = r * value.shape[1] + c
    corners = (
        (at, (1 - v) * (1 - u)),
        (at + right, (1 - v) * u),
        (at + down, v * (1 - u)),
        (at + down + right, v * u),
    )
    a, b = value.reshape(-1), weight.reshape(-1)
    total, share = np.zeros(len(y), np.float32), np.zeros(len(y), np.float32)
    for where, part in corners:
        total += a[where] * part
        share += b[where] * part
    return total, share

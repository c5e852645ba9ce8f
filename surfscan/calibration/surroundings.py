"""The box that some bars and labels are drawn on."""

from __future__ import annotations

import numpy as np

from surfscan.calibration.bars import Bar, Box

_FLAT = 6  # grey levels of 255 within which the box is one level
_FILLED = 0.45  # share of its outline's area that has that level: text and bar take the rest
_LARGEST = 0.2  # of the picture


def box_behind(pixels: np.ndarray, bar: Bar) -> Box | None:
    """The flat box that a bar lies on.

    Parameters
    ----------
    pixels : ndarray of shape (M, N) or (M, N, 3), uint8
    bar : Bar

    Returns
    -------
    Box or None
        (row0, row1, col0, col1), ends excluded; None where the bar lies on the picture itself, or on a strip
        that runs across all of it.
    """
    import cv2

    rows, cols = pixels.shape[:2]
    row0, row1, col0, col1 = bar.box
    beside = [r for r in (row0 - 3, row1 + 2) if 0 <= r < rows]
    if not beside:
        return None
    lines = np.stack([pixels[r, col0:col1] for r in beside]).reshape(-1, *pixels.shape[2:]).astype(np.int16)
    ground = np.median(lines, axis=0)
    away = np.abs(lines - ground).reshape(len(lines), -1).max(axis=1)
    if np.mean(away <= _FLAT) < 0.6:
        return None
    reach = max(col1 - col0, round(0.3 * rows))
    window = (max(0, row0 - reach), min(rows, row1 + reach), max(0, col0 - reach), min(cols, col1 + reach))
    part = pixels[window[0] : window[1], window[2] : window[3]]
    low, high = np.clip(ground - _FLAT, 0, 255), np.clip(ground + _FLAT, 0, 255)
    same = cv2.inRange(np.ascontiguousarray(part), low.reshape(-1), high.reshape(-1))
    _, parts, stats, _ = cv2.connectedComponentsWithStats(same, connectivity=4)
    near = parts[beside[0] - window[0], col0 - window[2] : col1 - window[2]]
    counts = np.bincount(near[near > 0], minlength=1)
    if counts.size < 2:
        return None
    left, top, wide, high_px, area = (int(v) for v in stats[int(np.argmax(counts))])
    box = (window[0] + top, window[0] + top + high_px, window[2] + left, window[2] + left + wide)
    across = any(
        side == end and end != limit for side, end, limit in zip(box, window, (0, rows, 0, cols), strict=True)
    )
    across |= box[3] - box[2] >= 0.95 * cols or box[1] - box[0] >= 0.95 * rows
    holds = box[2] <= col0 and box[3] >= col1
    if across or not holds or area < _FILLED * wide * high_px or wide * high_px > _LARGEST * rows * cols:
        return None
    return box

"""Where in a picture a scale bar may lie: short flat layers, looked for on blocks of columns.

A drawn bar is flat along its rows and differs from what lies above and below. Each row is reduced to the
smallest and largest level of each block of columns; on these, sixteen or so times fewer, layers thinner than
a bar can be stand out by the difference from a vertical opening (light bars) or closing (dark ones). What
passes here is only worth a look: `surfscan.calibration.bar_evidence` judges it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from surfscan.calibration.levels import as_bytes

THICKEST = 0.035  # of the picture's height: more is no bar
THICKEST_FLOOR_PX = 6  # but in small pictures at least this thick is allowed
SHORTEST = 0.025  # of the picture's width
SHORTEST_FLOOR_PX = 20
_BLOCKS = (8, 16, 32)  # columns to a block, by the picture's width
_STEPS = (
    25,
    60,
    120,
)  # grey levels of 255 by which a bar differs from what is above and below, in turn: where
# flat ground joins a bar at one level they part at the next
_FLAT_SHARE, _FLAT = (
    0.45,
    14,
)  # spread allowed within a block: that share of the step, at least so many levels
_COLOURED = 40  # difference of largest and smallest channel from which a picture counts as coloured
_MOST = 60  # candidates looked at per plane and polarity, the longest and strongest first
_CHUNK = 256  # rows reduced at a time


@dataclass(frozen=True)
class Plane:
    """One scalar picture to look for bars on.

    Attributes
    ----------
    levels : ndarray of shape (M, N), uint8
    kind : {"luminance", "saturation"}
        Saturation is the largest less the smallest channel: coloured bars are light on it, whatever is below.
    """

    levels: np.ndarray
    kind: Literal["luminance", "saturation"]


@dataclass(frozen=True)
class Candidate:
    """A flat layer: rows `row0:row1` and columns `col0:col1` (ends excluded) lie wholly inside it.

    `light` says whether it is lighter than what lies above and below on plane number `plane`.
    """

    plane: int
    light: bool
    row0: int
    row1: int
    col0: int
    col1: int


def planes_of(pixels: np.ndarray) -> list[Plane]:
    """The scalar pictures that bars are looked for on.

    Parameters
    ----------
    pixels : ndarray of shape (M, N), (M, N, 3) or (M, N, 4), any real dtype
        Grey, or red, green, blue and perhaps opacity, which is not looked at. Other than 8 bit is brought
        from its own range to 0-255; not-a-number counts as its least value.

    Raises
    ------
    ValueError
        When the shape is none of these, or the picture is empty.
    """
    import cv2

    if pixels.size == 0 or not (pixels.ndim == 2 or (pixels.ndim == 3 and pixels.shape[2] in (1, 3, 4))):
        raise ValueError(f"expected (M, N), (M, N, 3) or (M, N, 4) pixels, got {pixels.shape}")
    eight = as_bytes(pixels)
    if eight.ndim == 2 or eight.shape[2] == 1:
        return [Plane(np.ascontiguousarray(eight.reshape(eight.shape[:2])), "luminance")]
    red, green, blue = (np.ascontiguousarray(eight[..., i]) for i in range(3))
    largest, smallest = cv2.max(cv2.max(red, green), blue), cv2.min(cv2.min(red, green), blue)
    saturation = cv2.subtract(largest, smallest)
    if int(saturation.max()) < _COLOURED:
        return [Plane(green, "luminance")]
    grey = cv2.cvtColor(np.ascontiguousarray(eight[..., :3]), cv2.COLOR_RGB2GRAY)
    return [Plane(grey, "luminance"), Plane(saturation, "saturation")]


def find_candidates(planes: list[Plane]) -> list[Candidate]:
    """Layers flat along the rows, thin, and different from what lies above and below, longest first.

    A bar is passed on when it is at least 2.5 % of the width and 20 px long (strictly: when it covers two
    whole blocks of 8, 16 or 32 columns) and at most 3.5 % of the height (or 6 px) thick.
    """
    found: list[Candidate] = []
    for number, plane in enumerate(planes):
        block = block_columns(plane.levels.shape[1])
        low, high = block_extremes(plane.levels, block)
        found += _layers(low, high, number, True, block)
        if plane.kind == "luminance":
            found += _layers(255 - high, 255 - low, number, False, block)
    return found


def thickest_px(rows: int) -> int:
    """Largest thickness of a bar in a picture of `rows` rows, px."""
    return max(THICKEST_FLOOR_PX, int(THICKEST * rows))


def shortest_px(cols: int) -> int:
    """Least length of a bar in a picture of `cols` columns, px."""
    return max(SHORTEST_FLOOR_PX, int(SHORTEST * cols))


def block_columns(cols: int) -> int:
    """Columns to a block: two whole blocks fit into the shortest bar, wherever it lies."""
    fitting = [b for b in _BLOCKS if 3 * b - 1 <= max(shortest_px(cols), 3 * _BLOCKS[0])]
    return fitting[-1]


def block_extremes(levels: np.ndarray, block: int) -> tuple[np.ndarray, np.ndarray]:
    """Smallest and largest level of each whole block of columns: two arrays of shape (M, N // block)."""
    import cv2

    rows, cols = levels.shape
    n = cols // block
    low, high = np.empty((rows, n), np.uint8), np.empty((rows, n), np.uint8)
    for start in range(0, rows if n else 0, _CHUNK):
        least = most = levels[start : start + _CHUNK, : n * block]
        shift = 1
        while shift < block:
            least = cv2.min(least[:, :-shift], least[:, shift:])
            most = cv2.max(most[:, :-shift], most[:, shift:])
            shift *= 2
        low[start : start + _CHUNK] = least[:, ::block]
        high[start : start + _CHUNK] = most[:, ::block]
    return low, high


def _layers(low: np.ndarray, high: np.ndarray, plane: int, light: bool, block: int) -> list[Candidate]:
    """Candidates lighter than above and below; for dark ones the levels come inverted."""
    import cv2

    rows, n = low.shape
    if n < 2:
        return []
    tallest = thickest_px(rows)
    column = np.ones((tallest + 3, 1), np.uint8)
    step = cv2.morphologyEx(low, cv2.MORPH_TOPHAT, column)
    spread = cv2.subtract(high, low)
    flat = spread <= np.maximum(_FLAT, _FLAT_SHARE * step.astype(np.float32))
    out: list[Candidate] = []
    for least in _STEPS:
        mask = ((step >= least) & flat).astype(np.uint8)
        _, labels, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=4)
        numbers = 1 + np.flatnonzero(stats[1:, cv2.CC_STAT_WIDTH] >= 2)
        size = stats[numbers, cv2.CC_STAT_AREA] / stats[numbers, cv2.CC_STAT_HEIGHT]
        for i in numbers[np.argsort(-size, kind="stable")][:_MOST]:
            x, y, w, h = (int(v) for v in stats[i, :4])
            inside = labels[y : y + h, x : x + w] == i
            out += _rectangle(inside, y, x, plane, light, block, tallest)
    return list(dict.fromkeys(out))


def _rectangle(
    inside: np.ndarray, row: int, col: int, plane: int, light: bool, block: int, tallest: int
) -> list[Candidate]:
    """The rows on which a component is longest, with the columns they share; none where that is no layer."""
    per_row = inside.sum(axis=1)
    longest = int(np.argmax(per_row))
    enough = per_row >= 0.7 * per_row[longest]
    top = bottom = longest
    while top > 0 and enough[top - 1]:
        top -= 1
    while bottom + 1 < len(enough) and enough[bottom + 1]:
        bottom += 1
    if bottom - top + 1 > tallest:
        return []
    columns = np.flatnonzero(inside[longest])
    breaks = np.flatnonzero(np.diff(columns) > 1)
    starts, ends = np.r_[0, breaks + 1], np.r_[breaks, len(columns) - 1]
    best = int(np.argmax(ends - starts))
    first, last = int(columns[starts[best]]), int(columns[ends[best]])
    if last == first:
        return []
    return [
        Candidate(plane, light, row + top, row + bottom + 1, (col + first) * block, (col + last + 1) * block)
    ]

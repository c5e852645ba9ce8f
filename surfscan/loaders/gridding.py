"""Points with coordinates of their own: whether they lie on an even grid, and the heights over it."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from surfscan.errors import InputError
from surfscan.loaders.base import check_size

GRID_TOLERANCE = 0.05
"""How far a coordinate may be off its place on an even grid, in steps (common practice, no source)."""

SMALLEST_FILLING = 0.05
"""Least share of a grid's places that hold a point (common practice, no source)."""

_REMEDY = "Export the surface as heights on an even grid"
_SHARES = (0.999, 0.98, 0.85)  # of the span that gaps between neighbouring lines make up


def points_to_grid(
    path: Path, x: np.ndarray, y: np.ndarray, z: np.ndarray
) -> tuple[np.ndarray, tuple[float, float]]:
    """Heights over the even grid that points in any order lie on.

    Parameters
    ----------
    path : Path
        The file, for messages.
    x, y : ndarray of shape (n,), float64
        Coordinates in any unit. Points without both are left out.
    z : ndarray of shape (n,), float

    Returns
    -------
    heights : ndarray of shape (M, N), type of `z`
        Rows along rising y, columns along rising x; not-a-number where no point is.
    pitch : (float, float)
        Steps in x and y, in the unit of the coordinates.

    Raises
    ------
    InputError
        If they lie on no even grid, on a line, on less than `SMALLEST_FILLING` of a grid, or two in one
        place.
    """
    known = np.isfinite(x) & np.isfinite(y)
    x, y, z = x[known], y[known], z[known]
    if not x.size:
        raise InputError(path, "no point has coordinates", _REMEDY)
    places = []
    for name, values in (("x", x), ("y", y)):
        found = _places(values)
        if found is None:
            raise InputError(
                path,
                f"the {x.size} points lie on no even grid: the steps of their {name} coordinates differ",
                _REMEDY,
            )
        places.append(found)
    (col, pitch_x), (row, pitch_y) = places
    rows, cols = int(row.max()) + 1, int(col.max()) + 1
    if rows == 1 or cols == 1:
        raise InputError(path, f"the {x.size} points lie on a line: a profile and not a surface", _REMEDY)
    if rows * cols * SMALLEST_FILLING > x.size:
        raise InputError(
            path,
            f"the {x.size} points fill too little of the grid of {rows} x {cols} places that they lie on",
            _REMEDY,
        )
    check_size(path, rows, cols, z.dtype.itemsize)
    place = row * cols + col
    heights = np.full(rows * cols, np.nan, z.dtype)
    heights[place] = z
    if np.count_nonzero(np.bincount(place, minlength=rows * cols) > 1):
        raise InputError(path, f"several points share a place of the grid of {rows} x {cols} places", _REMEDY)
    return heights.reshape(rows, cols), (pitch_x, pitch_y)


def evenly_spaced(values: np.ndarray) -> float | None:
    """Step along a row of coordinates that depend on the column only.

    Parameters
    ----------
    values : ndarray of shape (M, N), float64
        Not-a-number where unknown.

    Returns
    -------
    float or None
        Above 0; None where columns are not evenly spaced within `GRID_TOLERANCE`.
    """
    known = np.isfinite(values)
    count = known.sum(axis=0)
    used = np.flatnonzero(count)
    if used.size < 2:
        return None
    with np.errstate(all="ignore"):
        means = np.where(known, values, 0.0).sum(axis=0)[used] / count[used]
        pitch, origin = _line(used, means)
        off = np.abs(values - (origin + pitch * np.arange(values.shape[1])))[known]
    return abs(pitch) if off.max() <= GRID_TOLERANCE * abs(pitch) and pitch != 0 else None


def _line(index: np.ndarray, values: np.ndarray) -> tuple[float, float]:
    """Slope and value at index 0 of the least-squares line."""
    centre, level = index.mean(), values.mean()
    spread = index - centre
    slope = float(np.dot(spread, values - level) / np.dot(spread, spread))
    return slope, float(level - slope * centre)


def _places(values: np.ndarray) -> tuple[np.ndarray, float] | None:
    """Index of each value on an even scale, and its step; None where there is no such scale.

    One value repeated is a scale of one place, with step 0.
    """
    ordered = np.sort(values)
    with np.errstate(all="ignore"):
        gaps = np.diff(ordered)
        span = float(ordered[-1] - ordered[0])
        if not np.isfinite(span):
            return None
        if span == 0:
            return np.zeros(values.size, np.int64), 0.0
        falling = -np.sort(-gaps)
        reached = np.cumsum(falling)
        for share in _SHARES:
            at = min(int(np.searchsorted(reached, share * span)), falling.size - 1)
            found = _scale(values, ordered, gaps, 0.3 * float(falling[at]))
            if found is not None:
                return found
    return None


def _scale(
    values: np.ndarray, ordered: np.ndarray, gaps: np.ndarray, parting: float
) -> tuple[np.ndarray, float] | None:
    """As `_places`, where gaps above `parting` are known to part one place from the next."""
    starts = np.concatenate(([0], np.flatnonzero(gaps > parting) + 1))
    counts = np.diff(np.concatenate((starts, [ordered.size])))
    centres = np.add.reduceat(ordered - ordered[0], starts) / counts
    if centres.size < 2:
        return None
    steps = np.diff(centres)
    step = float(steps.min())
    if not step > 0 or not (centres[-1] - centres[0]) / step < 2**31:
        return None
    index = np.concatenate(([0], np.cumsum(np.rint(steps / step))))
    pitch, origin = _line(index, centres)
    if not pitch > 0:
        return None
    place = np.rint((values - ordered[0] - origin) / pitch)
    off = np.abs(values - ordered[0] - origin - place * pitch)
    if not off.max() <= GRID_TOLERANCE * pitch or place.min() != 0:
        return None
    return place.astype(np.int64), pitch

"""Heights and pitch of an X3P matrix, also where points carry coordinates of their own."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from surfscan.errors import InputError
from surfscan.loaders.x3p_data import Points
from surfscan.loaders.x3p_xml import X3pRecord

GRID_TOLERANCE = 0.05
"""How far a stored coordinate may be off its place on an even grid, in steps (common practice, no source)."""


def to_matrix(
    path: Path, record: X3pRecord, points: Points, rows: int, cols: int, warnings: list[str]
) -> tuple[np.ndarray, tuple[float | None, float | None]]:
    """Put points in rows and columns.

    Parameters
    ----------
    path : Path
        For messages.
    record : X3pRecord
    points : Points
        In the order of the file, ``rows * cols`` of them.
    rows, cols : int
    warnings : list of str
        Added to where points were written y fastest.

    Returns
    -------
    heights : ndarray of shape (rows, cols)
    pitch : (float or None, float or None)
        In x and y, metres; None where it is not known.

    Raises
    ------
    InputError
        If stored coordinates are not those of an even grid, within `GRID_TOLERANCE`.
    """
    if points.x is None and points.y is None:
        return points.z.reshape(rows, cols), (record.x.increment, record.y.increment)
    missing = np.isnan(points.z)
    x, y = (None if v is None else np.where(missing, np.nan, v) for v in (points.x, points.y))
    for x_fastest in (True, False):
        shape = (rows, cols) if x_fastest else (cols, rows)
        by_rows, by_cols = (
            None if v is None else (v.reshape(shape) if x_fastest else v.reshape(shape).T) for v in (y, x)
        )
        pitch_x = _step(by_cols, record.x.increment)
        pitch_y = _step(None if by_rows is None else by_rows.T, record.y.increment)
        if any(pitch is not None and math.isnan(pitch) for pitch in (pitch_x, pitch_y)):
            continue
        heights = points.z.reshape(shape)
        if not x_fastest:
            heights = np.ascontiguousarray(heights.T)
            warnings.append(
                "The stored coordinates show that points were written y fastest, against the format; they "
                "were turned round."
            )
        return heights, (pitch_x, pitch_y)
    raise InputError(
        path,
        "the stored x or y coordinates are not those of an even grid, in rows along x",
        "Export the surface on an even grid",
    )


def _step(coordinates: np.ndarray | None, increment: float | None) -> float | None:
    """Pitch along the columns of an array of coordinates, or the increment where none are stored.

    Not-a-number where they are not even; None where it is not known.
    """
    if coordinates is None:
        return increment
    if coordinates.shape[1] < 2:
        return None
    step = evenly_spaced(coordinates)
    return math.nan if step is None else step


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

"""Scattered x, y, z points put on the regular grid that they came from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

OFF_GRID = 0.2
"""How far a point may lie off its grid position, in pitches: rounding in print, no more (common practice, no
source)."""

MIN_FILL = 0.2
"""Least share of the positions of a grid, and of its rows and columns, that have a point (common practice, no
source)."""

MAX_SHARING = 4
"""Most points for each position that has any, on average: repeated lines of a list, no more (common practice,
no source). One stray point far away would otherwise make all others a single position."""

_EXACT = 1e-12  # of the span: coordinates that differ by less are the same number
_JITTER_RATIO = 3.0


@dataclass(frozen=True)
class Lattice:
    """Points on a regular grid.

    Attributes
    ----------
    z : ndarray of shape (M, N), float64
        x rises along a row, y from row to row; not-a-number where there was no point.
    pitch_x, pitch_y : float
        In the unit of x and of y.
    """

    z: np.ndarray
    pitch_x: float
    pitch_y: float


def to_lattice(x: np.ndarray, y: np.ndarray, z: np.ndarray) -> Lattice:
    """Find the grid that points lie on, in whatever order they come, and fill it.

    The result does not depend on the order: the smallest y makes the first row, the smallest x the first
    column. Along each axis, coordinates nearer to each other than the pitch are one position; positions must
    lie within `OFF_GRID` pitches of whole steps.

    Parameters
    ----------
    x, y, z : ndarray of shape (n,)

    Raises
    ------
    ValueError
        If coordinates are not numbers, lie on no regular grid, leave it nearly empty, crowd a few positions
        of it, or two points at the same position differ in z.
    """
    for name, values in (("x", x), ("y", y)):
        missing = int(np.count_nonzero(~np.isfinite(values)))
        if missing:
            raise ValueError(f"{missing} of {values.size} {name} coordinates are not numbers")
    cols, pitch_x, col = _find_axis(x, "x")
    rows, pitch_y, row = _find_axis(y, "y")
    if z.size < MIN_FILL * rows * cols:
        raise ValueError(
            f"the points lie on no regular grid: {z.size} points would fill {z.size / (rows * cols):.2g} of "
            f"{rows} x {cols} positions"
        )
    filled = np.full(rows * cols, np.nan)
    place = row * cols + col
    used = int(np.count_nonzero(np.bincount(place)))
    if z.size > MAX_SHARING * used:
        raise ValueError(
            f"the points lie on no regular grid: {z.size} points would share {used} of "
            f"{rows} x {cols} positions"
        )
    filled[place] = z
    kept = filled[place]
    clash = np.flatnonzero((kept != z) & ~(np.isnan(kept) & np.isnan(z)))
    if clash.size:
        first = int(clash[0])
        raise ValueError(
            f"two points lie at the same position and differ in height (x {x[first]:.6g}, y {y[first]:.6g}: "
            f"{z[first]:.6g} and {kept[first]:.6g})"
        )
    return Lattice(filled.reshape(rows, cols), pitch_x, pitch_y)


def _find_axis(values: np.ndarray, name: str) -> tuple[int, float, np.ndarray]:
    """Number of positions along an axis, their pitch, and the position of each point."""
    ordered = np.sort(values)
    with np.errstate(over="ignore"):
        span = float(ordered[-1] - ordered[0])
    if not 0 < span < np.inf:
        raise ValueError(f"all points have the same {name}, so that they make no area")
    gaps = np.diff(ordered)
    for threshold in _thresholds(gaps, span):
        found = _fit_axis(ordered, gaps > threshold)
        if found is None:
            continue
        origin, pitch, count = found
        steps = (values - origin) / pitch
        position = np.rint(steps)
        if (
            float(np.abs(steps - position).max()) <= OFF_GRID
            and position.min() >= 0
            and position.max() < count
        ):
            return count, float(f"{pitch:.10g}"), position.astype(np.int64)
    raise ValueError(
        f"the points lie on no regular grid: their {name} coordinates are not whole steps of one pitch"
    )


def _thresholds(gaps: np.ndarray, span: float) -> list[float]:
    """Gaps below which neighbours are one position: none but rounding; then where gaps part in size."""
    exact = _EXACT * span
    sizes = np.sort(gaps[gaps > exact])
    thresholds = [exact]
    if sizes.size > 1:
        ratios = sizes[1:] / sizes[:-1]
        at = int(np.argmax(ratios))
        if ratios[at] > _JITTER_RATIO:
            thresholds.append(float(np.sqrt(sizes[at] * sizes[at + 1])))
    return thresholds


def _fit_axis(ordered: np.ndarray, parted: np.ndarray) -> tuple[float, float, int] | None:
    """First position, pitch and number of positions by least squares; None where there is no one pitch."""
    starts = np.concatenate(([0], np.flatnonzero(parted) + 1))
    if not 2 <= starts.size <= ordered.size / 2:  # in a grid, points share rows and columns
        return None
    centres = np.add.reduceat(ordered, starts) / np.diff(np.append(starts, ordered.size))
    gaps = np.diff(centres)
    pitch = float(gaps[gaps < 1.5 * gaps.min()].mean())
    steps = np.rint(gaps / pitch)
    count = float(steps.sum()) + 1
    if count * MIN_FILL > starts.size:
        return None
    index = np.concatenate(([0.0], np.cumsum(steps)))
    middle, mean = index.mean(), centres.mean()
    pitch = float(((index - middle) * (centres - mean)).sum() / ((index - middle) ** 2).sum())
    return float(mean - middle * pitch), pitch, int(count)

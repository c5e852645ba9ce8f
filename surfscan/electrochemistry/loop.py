"""The loop of a cyclic sweep: its reverse run against its forward run, where it closes, and its size.

Both runs are compared as log10 of reverse over forward current at the points of the forward run, smoothed by
a running median over 10 mV (three points at least), so that neither single points nor the scatter near the
vertex, where both runs carry the same, make or close a loop (span and limits: common practice, no source).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

Interval = tuple[float, float]

_FEWEST = 8
_SMOOTH_V, _FEWEST_SMOOTH = 0.01, 3
_SIGMA, _LEAST_DECADES = 4.0, 0.02
_FLOOR = 1e-3
_AT_TOP = 0.9  # share of the largest current from which both runs are at the vertex or at a limit
_BESIDE_V = 0.05
_NORMAL_MEDIAN, _SECOND_DIFFERENCE, _MEDIAN_LOSS = 0.6744897501960817, math.sqrt(6), 1.2533


@dataclass(frozen=True)
class Comparison:
    """Forward and reverse run at the potentials of the forward run that both have.

    Attributes
    ----------
    potential_V : ndarray of shape (n,)
        Rising; where the forward run is anodic and no rise that healed.
    forward, reverse : ndarray of shape (n,)
        Currents, any unit.
    decades : ndarray of shape (n,)
        log10 of reverse over forward current, no less than -3.
    smooth : ndarray of shape (n,)
        Its running median.
    points : int
        Points of that median: as many in a row make a stretch.
    doubt_decades : float
        Smoothed values within it are as good as 0.
    uA_V_per_cm2 : float
        Integral of reverse less forward current over all potentials that both have, in the unit of the
        currents times V.
    """

    potential_V: np.ndarray
    forward: np.ndarray
    reverse: np.ndarray
    decades: np.ndarray
    smooth: np.ndarray
    points: int
    doubt_decades: float
    uA_V_per_cm2: float


@dataclass(frozen=True)
class Closing:
    """Where a loop closes.

    Attributes
    ----------
    potential_V : float or None
        None where it stays open down to the end of the overlap, or there is no loop.
    bracket_V : (float, float) or None
        Highest potential at which the runs have met, lowest at which they clearly differ.
    is_open : bool
        Whether there is a loop that does not close.
    """

    potential_V: float | None
    bracket_V: Interval | None = None
    is_open: bool = False


def compare_runs(
    forward_V: np.ndarray,
    forward: np.ndarray,
    reverse_V: np.ndarray,
    reverse: np.ndarray,
    healed_V: Sequence[Interval] = (),
) -> Comparison | None:
    """Both runs where both have potentials; None where they share too few.

    Parameters
    ----------
    forward_V, forward : ndarray of shape (n,)
        Potential rising.
    reverse_V, reverse : ndarray of shape (m,)
        Potential rising.
    healed_V : sequence of (float, float), optional
        Stretches of the forward run that are left out: short rises that healed.
    """
    inside = (forward_V >= reverse_V[0]) & (forward_V <= reverse_V[-1])
    if np.count_nonzero(inside) < _FEWEST:
        return None
    at, up = forward_V[inside], forward[inside]
    down = np.interp(at, reverse_V, reverse)
    excess = down - up
    area = float((np.diff(at) * (excess[1:] + excess[:-1]) / 2).sum())
    kept = up > 0
    for low, high in healed_V:
        kept &= (at < low) | (at > high)
    if np.count_nonzero(kept) < _FEWEST:
        return None
    at, up, down = at[kept], up[kept], down[kept]
    decades = np.log10(np.maximum(down / up, _FLOOR))
    step = float(at[-1] - at[0]) / (at.size - 1)
    points = min(max(_FEWEST_SMOOTH, round(_SMOOTH_V / step) if step > 0 else 0) | 1, at.size)
    smooth = running_median(decades, points)
    scatter = float(np.median(np.abs(np.diff(decades, 2)))) / _NORMAL_MEDIAN / _SECOND_DIFFERENCE
    doubt = max(_SIGMA * _MEDIAN_LOSS * scatter / math.sqrt(points), _LEAST_DECADES)
    return Comparison(at, up, down, decades, smooth, points, doubt, area)


def running_median(values: np.ndarray, points: int) -> np.ndarray:
    """Median over `points` about each value, the ends repeated; shape of `values`."""
    before = points // 2
    wide = np.pad(values, (before, points - 1 - before), mode="edge")
    return np.median(np.lib.stride_tricks.sliding_window_view(wide, points), axis=1)


def hysteresis_decades(
    runs: Comparison, from_V: float, *, has_rise: bool
) -> tuple[float | None, float | None]:
    """How much more the reverse run carries, decades, over a stretch and beside it; positive for pits.

    The means of log10 of reverse over forward current from a potential to the vertex, and over 50 mV beside
    it: pits that go on show below the rise where both runs are at a limit of cell or instrument above it.
    Points above a rise at which both carry nearly the largest current are left out: there they are the same
    at any vertex and any limit.

    Parameters
    ----------
    runs : Comparison
    from_V : float
        The rise, or where the passive stretch begins.
    has_rise : bool
        Whether it is a rise: the 50 mV beside it are those below it; else those below the vertex.

    Returns
    -------
    (float or None, float or None)
        None where too few points are left.
    """
    top = _AT_TOP * max(float(runs.forward.max()), float(runs.reverse.max()))
    free = (runs.forward < top) | (runs.reverse < top) | (not has_rise)
    beside = (from_V if has_rise else float(runs.potential_V[-1])) - _BESIDE_V
    stretches = [
        runs.potential_V >= from_V,
        (runs.potential_V >= beside) & ((runs.potential_V < from_V) | (not has_rise)),
    ]
    first, second = (
        float(np.mean(runs.decades[part & free])) if np.count_nonzero(part & free) >= 2 else None
        for part in stretches
    )
    return first, second


def carries(runs: Comparison, limit: np.ndarray, low_V: float, high_V: float) -> bool:
    """Whether the reverse run exceeds a limit, and the forward run, over a stretch between two potentials.

    Parameters
    ----------
    runs : Comparison
    limit : ndarray of shape (n,)
        In the unit of the currents, at the potentials of the comparison.
    low_V, high_V : float
    """
    above = (runs.reverse > limit) & (runs.smooth > runs.doubt_decades)
    above &= (runs.potential_V > low_V) & (runs.potential_V <= high_V)
    return any(stop - start >= runs.points for start, stop in _stretches(above))


def find_closing(runs: Comparison, least_decades: float) -> Closing:
    """Where the reverse run falls to the forward run below the loop.

    The loop is the stretch, three points and about 10 mV at least, in which the reverse run carries clearly
    more, whose area in decades times V is largest; shorter gaps in it are bridged.

    Parameters
    ----------
    runs : Comparison
    least_decades : float
        What the smoothed ratio reaches at least in a loop.
    """
    above = runs.smooth > runs.doubt_decades
    for start, stop in _stretches(~above):
        if start > 0 and stop < above.size and stop - start < runs.points:
            above[start:stop] = True
    weights = np.maximum(runs.smooth, 0) * np.gradient(runs.potential_V)
    loops = [
        (float(weights[start:stop].sum()), start)
        for start, stop in _stretches(above)
        if stop - start >= runs.points and float(runs.smooth[start:stop].max()) >= least_decades
    ]
    if not loops:
        return Closing(None)
    first = max(loops)[1]
    met = np.flatnonzero(runs.smooth[:first] <= 0)
    if not met.size:
        return Closing(None, is_open=True)
    k = int(met[-1])
    low, high = (float(v) for v in runs.smooth[[k, k + 1]])
    share = -low / (high - low)
    at = runs.potential_V
    return Closing(float(at[k] + share * (at[k + 1] - at[k])), (float(at[k]), float(at[first])))


def _stretches(chosen: np.ndarray) -> list[tuple[int, int]]:
    """Start and stop of the stretches of true values."""
    edges = np.flatnonzero(np.diff(np.concatenate(([0], chosen.astype(np.int8), [0]))))
    return [(int(start), int(stop)) for start, stop in edges.reshape(-1, 2)]

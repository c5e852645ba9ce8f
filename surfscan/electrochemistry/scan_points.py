"""Points of one scan made ready for a fit: in order, free of lone spikes, averaged, zero current found."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

MOST_POINTS = 600
"""More points than this are averaged in runs of neighbours, so that every sweep takes about the same time."""

SPIKE_FACTOR = 10.0
"""A lone point this many times further from the curve of its neighbours than is usual is a spike."""

_SAME_CROSSING_V = 0.03
_FIT_BEYOND_V = 0.003
_LEAST_SPIKE = 0.02
_NEIGHBOURHOOD = 10
_MOST_SPIKES_SHARE = 0.02
_NORMAL_MEDIAN = 0.6744897501960817


@dataclass(frozen=True)
class ScanPoints:
    """Points of one scan.

    Attributes
    ----------
    potential_V, density_uA_per_cm2 : ndarray of shape (n,)
        Potential rising.
    zero_V : float
        Potential at which the current changes from cathodic to anodic.
    crossings : int
        How often it does so, more than 30 mV apart; the lowest counts.
    spikes : int
        Lone points left out, as a switched current range leaves them.
    """

    potential_V: np.ndarray
    density_uA_per_cm2: np.ndarray
    zero_V: float
    crossings: int
    spikes: int


def _averaged(values: np.ndarray, run: int) -> np.ndarray:
    edges = np.arange(0, len(values), run)
    counts = np.diff(np.append(edges, len(values)))
    return np.add.reduceat(values, edges) / counts


def scan_points(potential_V: np.ndarray, density_uA_per_cm2: np.ndarray) -> ScanPoints | None:
    """Order and average the points of one scan.

    Parameters
    ----------
    potential_V, density_uA_per_cm2 : array_like of shape (n,)
        One run of the potential, rising or falling; points that are not finite are left out.

    Returns
    -------
    ScanPoints or None
        None where the current does not change from cathodic to anodic with rising potential.

    Raises
    ------
    ValueError
        If the arrays differ in shape or fewer than 2 points are finite.
    """
    potential = np.asarray(potential_V, dtype=float)
    density = np.asarray(density_uA_per_cm2, dtype=float)
    if potential.ndim != 1 or potential.shape != density.shape:
        raise ValueError("potential and current density must be one-dimensional and of one length")
    kept = np.isfinite(potential) & np.isfinite(density)
    if kept.sum() < 2:
        raise ValueError("fewer than 2 points of the sweep are numbers")
    potential, density = potential[kept], density[kept]
    if potential[-1] < potential[0]:
        potential, density = potential[::-1], density[::-1]
    order = np.argsort(potential, kind="stable")
    potential, density = potential[order], density[order]
    spikes = _spikes(density)
    potential, density = potential[~spikes], density[~spikes]
    run = -(-len(potential) // MOST_POINTS)
    potential, density = _averaged(potential, run), _averaged(density, run)
    found = _crossings_V(potential, density)
    return ScanPoints(potential, density, found[0], len(found), int(spikes.sum())) if found else None


def _spikes(density: np.ndarray) -> np.ndarray:
    """Lone points far from the cubic through two neighbours on either side, shape (n,), bool.

    Distances are judged on an arsinh scale that turns linear below a few steps of the current at zero. Beside
    a step of the current they are smaller than the jump between the two neighbours: no spike. The largest of
    each neighbourhood is replaced by what its neighbours say, and these are judged anew. Where more than 2 %
    of the points stand out they are no spikes, and all stay.
    """
    spikes = np.zeros(len(density), dtype=bool)
    smallest = np.sort(np.abs(np.diff(density)))[: max(1, len(density) // 4)]
    level = 5 * float(np.median(smallest)) if len(smallest) else 0.0
    if len(density) < 4 * _NEIGHBOURHOOD or level == 0:
        return spikes
    scaled = np.arcsinh(density / (2 * level))
    while True:
        expected = scaled.copy()
        expected[2:-2] = (4 * (scaled[1:-3] + scaled[3:-1]) - scaled[:-4] - scaled[4:]) / 6
        off = np.abs(scaled - expected)
        around = np.lib.stride_tricks.sliding_window_view(
            np.pad(off, _NEIGHBOURHOOD, mode="reflect"), 2 * _NEIGHBOURHOOD + 1
        )
        usual = np.maximum(np.median(around, axis=1), float(np.median(off))) / _NORMAL_MEDIAN
        largest = np.lib.stride_tricks.sliding_window_view(np.pad(off, 3), 7).max(axis=1)
        jump = np.abs(np.append(scaled[1:], scaled[-1]) - np.append(scaled[0], scaled[:-1]))
        least = np.maximum(np.maximum(SPIKE_FACTOR * usual, _LEAST_SPIKE), jump)
        found = (off > least) & (off == largest) & ~spikes
        if not found.any():
            return spikes
        spikes |= found
        scaled = np.where(spikes, expected, scaled)
        if spikes.sum() > _MOST_SPIKES_SHARE * len(density) + 1:
            return np.zeros(len(density), dtype=bool)


def _crossings_V(potential: np.ndarray, density: np.ndarray) -> list[float]:
    """Potentials of the changes from cathodic to anodic; changes close together (noise) count as one."""
    change = np.flatnonzero((density[:-1] <= 0) != (density[1:] <= 0))
    if len(change) == 0:
        return []
    gaps = np.flatnonzero(np.diff(potential[change]) > _SAME_CROSSING_V) + 1
    found = []
    for group in np.split(change, gaps):
        if len(group) % 2 == 0 or density[group[0]] > 0:
            continue
        first, last = int(group[0]), int(group[-1]) + 1
        if len(group) == 1:
            share = density[first] / (density[first] - density[last])
            found.append(float(potential[first] + share * (potential[last] - potential[first])))
            continue
        near = (potential >= potential[first] - _FIT_BEYOND_V) & (
            potential <= potential[last] + _FIT_BEYOND_V
        )
        e, i = potential[near], density[near]
        slope = float((e - e.mean()) @ (i - i.mean()) / ((e - e.mean()) @ (e - e.mean())))
        level = float(e.mean() - i.mean() / slope) if slope > 0 else float(e.mean())
        found.append(min(max(level, float(potential[first])), float(potential[last])))
    return found

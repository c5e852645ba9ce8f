"""Points of one scan made ready for a fit: ordered by potential, averaged where they are many, zero current found."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

MOST_POINTS = 800
"""More points than this are averaged in runs of neighbours, so that every sweep is fitted in the same time."""

_SAME_CROSSING_V = 0.03
_FIT_BEYOND_V = 0.003


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
    """

    potential_V: np.ndarray
    density_uA_per_cm2: np.ndarray
    zero_V: float
    crossings: int


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
    run = -(-len(potential) // MOST_POINTS)
    potential, density = _averaged(potential, run), _averaged(density, run)
    found = _crossings_V(potential, density)
    return ScanPoints(potential, density, found[0], len(found)) if found else None


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

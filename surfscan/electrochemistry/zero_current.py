"""Potential of zero net current of one run, through noise, and how far it drifts."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

NEAR_V = 0.005
"""The crossing is taken from the points within this distance of it, where there are enough."""

_FEWEST, _FURTHEST_V = 7, 0.015
_SIGMA = 3.0
_LEAST_RUN = 2
_LEAST_SURE = 0.1  # fewer points clearly off zero, as a fraction, and the run is noise
_SECOND_DIFFERENCE = np.sqrt(6.0)
_NORMAL_MEDIAN = 0.6744897501960817


@dataclass(frozen=True)
class ZeroCurrent:
    """Where the current of one run changes from cathodic to anodic with rising potential.

    Attributes
    ----------
    Ecorr_V : float or None
    ci95 : (float, float) or None
    others_V : tuple of float
        Further crossings, of either direction, in the order of the potential.
    refused : str
        Why there is none; empty where there is one.
    warnings : tuple of str
    """

    Ecorr_V: float | None
    ci95: tuple[float, float] | None
    others_V: tuple[float, ...] = ()
    refused: str = ""
    warnings: tuple[str, ...] = ()


def rising(potential_V: np.ndarray, density: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Finite points of one run in the order of rising potential.

    Parameters
    ----------
    potential_V, density : array_like of shape (n,)

    Returns
    -------
    potential_V, density : ndarray of shape (m,)

    Raises
    ------
    ValueError
        If the arrays differ in shape or fewer than 3 points are finite.
    """
    potential, current = np.asarray(potential_V, np.float64), np.asarray(density, np.float64)
    if potential.ndim != 1 or potential.shape != current.shape:
        raise ValueError("potential and current density must be one-dimensional and of one length")
    kept = np.isfinite(potential) & np.isfinite(current)
    potential, current = potential[kept], current[kept]
    if potential.size < 3:
        raise ValueError("fewer than 3 points of the run are numbers")
    if potential[-1] < potential[0]:
        potential, current = potential[::-1], current[::-1]
    order = np.argsort(potential, kind="stable")
    return potential[order], current[order]


def find_zero_current(
    potential_V: np.ndarray, density_uA_per_cm2: np.ndarray, *, near_V: float | None = None
) -> ZeroCurrent:
    """Zero-current potential of one run.

    A crossing lies between runs of points whose current differs from zero by more than three times its local
    noise; single points do not make one. It is read from a polynomial through the points within 5 mV (7
    points at least, none beyond 15 mV), by straight interpolation where the points are fewer.

    Parameters
    ----------
    potential_V : ndarray of shape (n,)
        One run, rising or falling.
    density_uA_per_cm2 : ndarray of shape (n,)
        Anodic positive; any unit.
    near_V : float, optional
        Of several changes from cathodic to anodic the one nearest to it is taken; without it the lowest.

    Returns
    -------
    ZeroCurrent
        The interval is that of the reading alone, not of the electrode.

    Raises
    ------
    ValueError
        As `rising`.
    """
    potential, current = rising(potential_V, density_uA_per_cm2)
    brackets = _brackets(current, _noise(current))
    upward = [(a, b) for a, b, up in brackets if up]
    if not upward:
        return ZeroCurrent(None, None, (), _why_none(current, brackets))
    found = [_read(potential, current, a, b) for a, b in upward]
    at = 0 if near_V is None else int(np.argmin([abs(zero - near_V) for zero, _ in found]))
    zero, half = found[at]
    others = [value for k, (value, _) in enumerate(found) if k != at]
    others += [_read(potential, current, a, b)[0] for a, b, up in brackets if not up]
    warnings: tuple[str, ...] = ()
    if others:
        listed = ", ".join(f"{value:.3f}" for value in sorted(others))
        rule = "the lowest" if near_V is None else "the one nearest to the rest potential"
        more = "" if len(upward) == 1 else f", {rule} at which it turns anodic is taken"
        warnings = (f"The current also passes zero at {listed} V{more}.",)
    return ZeroCurrent(zero, (zero - half, zero + half), tuple(sorted(others)), "", warnings)


def _noise(current: np.ndarray) -> np.ndarray:
    """Local standard deviation of single points, from second differences; shape of `current`."""
    if current.size < 8:
        return np.zeros(current.size)
    bends = np.abs(np.diff(current, 2))
    width = min(15, bends.size)
    pad = width // 2
    wide = np.pad(bends, (pad, width - 1 - pad), mode="edge")
    local = np.median(np.lib.stride_tricks.sliding_window_view(wide, width), axis=1)
    return np.pad(local / _NORMAL_MEDIAN / _SECOND_DIFFERENCE, 1, mode="edge")


def _brackets(current: np.ndarray, noise: np.ndarray) -> list[tuple[int, int, bool]]:
    """Last point clearly before and first clearly after each change of sign, and whether it turns anodic."""
    sure = np.flatnonzero(np.abs(current) > _SIGMA * noise)
    if sure.size < max(2, _LEAST_SURE * current.size):
        return []
    signs = np.sign(current[sure])
    edges = np.flatnonzero(np.diff(signs)) + 1
    runs = [
        run for run in np.split(np.arange(sure.size), edges) if run.size >= min(_LEAST_RUN, sure.size // 2)
    ]
    return [
        (int(sure[before[-1]]), int(sure[after[0]]), bool(signs[after[0]] > 0))
        for before, after in pairwise(runs)
        if signs[before[0]] != signs[after[0]]
    ]


def _why_none(current: np.ndarray, brackets: list[tuple[int, int, bool]]) -> str:
    if brackets:
        return (
            "the current turns from anodic to cathodic with rising potential and never back: check its sign"
        )
    share = np.count_nonzero(current > 0) / current.size
    if share > 0.95:
        return "the run is anodic throughout: start it below the rest potential"
    if share < 0.05:
        return "the run is cathodic throughout: end it above the rest potential"
    return "the current does not leave its noise on both sides of zero"


def _read(potential: np.ndarray, current: np.ndarray, before: int, after: int) -> tuple[float, float]:
    """Zero of a polynomial near a bracket, and half its 95 % interval."""
    slope = (current[after] - current[before]) / (potential[after] - potential[before] or np.inf)
    middle = float(
        potential[before] - current[before] / slope if slope else (potential[before] + potential[after]) / 2
    )
    distance = np.abs(potential - middle)
    reach = max(NEAR_V, float(potential[after] - potential[before]) / 2)
    if np.count_nonzero(distance <= reach) < _FEWEST:
        reach = min(float(np.sort(distance)[min(_FEWEST, distance.size) - 1]), max(_FURTHEST_V, reach))
    near = distance <= reach
    if np.count_nonzero(near) < _FEWEST:
        step = float(potential[after] - potential[before])
        return middle, step / 10
    x, y = potential[near] - middle, current[near]
    scale = float(np.abs(x).max()) or 1.0
    powers = np.vander(x / scale, 3, increasing=True)
    terms, *_ = np.linalg.lstsq(powers, y, rcond=None)
    at = 0.0
    for _ in range(20):
        gradient = terms[1] + 2 * terms[2] * at
        if gradient * slope <= 0:
            return middle, scale
        at -= (terms[0] + terms[1] * at + terms[2] * at * at) / gradient
    if abs(at) > 1:
        return middle, scale
    left = y - powers @ terms
    variance = float(left @ left) / max(y.size - 3, 1)
    row = np.array([1.0, at, at * at])
    spread = float(row @ np.linalg.inv(powers.T @ powers) @ row) * variance
    gradient = terms[1] + 2 * terms[2] * at
    return middle + scale * float(at), 2.0 * scale * float(np.sqrt(spread)) / abs(float(gradient))


def drift_warnings(
    zero_V: float, others_V: tuple[float, ...], rest_V: float | None, largest_V: float
) -> tuple[str, ...]:
    """What to say of a zero-current potential that moves.

    Parameters
    ----------
    zero_V : float
        Of the run that is analysed.
    others_V : tuple of float
        Of the other runs.
    rest_V : float or None
        Stated rest potential.
    largest_V : float
        Distance from the rest potential beyond which no corrosion current is given; a fifth is warned about.
    """
    warnings = []
    shift = 0.0 if rest_V is None else zero_V - rest_V
    if abs(shift) > largest_V / 5:
        warnings.append(
            f"The current is zero {1000 * shift:+.0f} mV from the stated rest potential: the electrode "
            "changed, or "
            "the sweep was too quick for it."
        )
    moved = max((value - zero_V for value in others_V), key=abs, default=0.0)
    if abs(moved) > largest_V / 5:
        warnings.append(
            f"The zero-current potential moves by {1000 * moved:+.0f} mV between runs: the surface "
            "changed during "
            "the sweep, or it was too quick."
        )
    return tuple(warnings)

"""Forward run over a passive metal: the passive current density, and where the current rises for good.

Passive is the flattest stretch of log10 of the current over a stated span of potential, above the
zero-current potential, if it is flat enough. A rise starts where the current exceeds the passive one by a
stated factor and stays above it to the end of the run; its potential is where the line through the passive
stretch meets the line through the rising branch (usual construction; factor, span and flatness are common
practice, no source).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from surfscan.electrochemistry.correlated import correlation_length

Interval = tuple[float, float]

_GRID = 400
_FEWEST = 8
_CLEAR_OF_ZERO_V = 0.05
_SAME_LEVEL_DECADES = 1.0  # flat stretches this far above the lowest are limits of cell or instrument
_BRANCH_DECADES = 1.0
_FEWEST_OF_BRANCH = 4
_TRANSIENT_SIGMA, _TRANSIENT_DECADES = 5.0, 0.08
_NORMAL_MEDIAN = 0.6744897501960817


@dataclass(frozen=True)
class PassiveStretch:
    """The flattest stretch of a forward run.

    Attributes
    ----------
    window_V : (float, float)
    density_uA_per_cm2 : float
        10 to the median of the logarithm.
    ci95 : (float, float)
        Of that median, residuals taken as worth what their correlation leaves.
    level, per_V : float
        Line of log10 of the density: at 0 V, and decades per V.
    """

    window_V: Interval
    density_uA_per_cm2: float
    ci95: Interval
    level: float
    per_V: float

    def log_density(self, potential_V: np.ndarray) -> np.ndarray:
        """log10 of the density in µA/cm² that the line has, shape of `potential_V`."""
        return self.level + self.per_V * np.asarray(potential_V, np.float64)


@dataclass(frozen=True)
class CurrentRise:
    """Where the current leaves the passive one for good.

    Attributes
    ----------
    rise_V : float or None
        Where the passive line meets that of the rising branch; None where there is no rise.
    exceeds_V : float or None
        Where the current first exceeds the passive one by the factor for good.
    fixed_V : float or None
        Where it first exceeds the fixed density for good, whatever the passive one.
    """

    rise_V: float | None
    exceeds_V: float | None
    fixed_V: float | None


@dataclass(frozen=True)
class Transients:
    """Short rises of the passive current that heal: metastable pits.

    Attributes
    ----------
    count : int
    first_V, largest_V : float or None
        Potential of the first, and of the largest.
    largest_factor : float or None
        Current over that around it.
    """

    count: int
    first_V: float | None = None
    largest_V: float | None = None
    largest_factor: float | None = None


def find_passive_stretch(
    potential_V: np.ndarray,
    density_uA_per_cm2: np.ndarray,
    zero_V: float,
    *,
    span_V: float = 0.1,
    least_slope_V_per_decade: float = 0.5,
) -> PassiveStretch | str:
    """The flattest stretch of a forward run, or why there is none.

    Parameters
    ----------
    potential_V, density_uA_per_cm2 : ndarray of shape (n,)
        Potential rising.
    zero_V : float
        Zero-current potential; the stretch starts 50 mV above it or higher.
    span_V : float, optional
        Its length.
    least_slope_V_per_decade : float, optional
        Change of the potential in a decade of current that counts as passive.

    Returns
    -------
    PassiveStretch or str
    """
    at = np.flatnonzero((potential_V >= zero_V + _CLEAR_OF_ZERO_V) & (density_uA_per_cm2 > 0))
    reach = float(potential_V[-1]) - zero_V - _CLEAR_OF_ZERO_V
    if at.size < _FEWEST or reach < span_V:
        return (
            f"the run ends {1000 * max(reach + _CLEAR_OF_ZERO_V, 0):.0f} mV above the zero-current "
            "potential; "
            f"{1000 * (span_V + _CLEAR_OF_ZERO_V):.0f} mV are needed to see a passive stretch"
        )
    x, y = potential_V[at], np.log10(density_uA_per_cm2[at])
    starts = np.unique(np.linspace(0, at.size - 1, min(_GRID, at.size)).astype(int))
    starts = starts[x[starts] + span_V <= x[-1] + 1e-9]
    stops = np.searchsorted(x, x[starts] + span_V, side="right")
    enough = (stops - starts >= _FEWEST) & (x[np.maximum(stops - 1, 0)] - x[starts] >= 0.8 * span_V)
    starts, stops = starts[enough], stops[enough]
    if not starts.size:
        return "the points above the zero-current potential lie too far apart to see a passive stretch"
    lines = [_line(x[a:b], y[a:b]) for a, b in zip(starts.tolist(), stops.tolist(), strict=True)]
    departs, slopes, levels, heights = (np.array(column) for column in zip(*lines, strict=True))
    flat = np.abs(slopes) <= 1 / least_slope_V_per_decade
    if not flat.any():
        rising = slopes[slopes > 0]
        return (
            f"no passive stretch: over the flattest {1000 * span_V:.0f} mV the potential rises by "
            f"{1000 / (rising.min() if rising.size else np.abs(slopes).min()):.0f} mV a decade "
            f"({1000 * least_slope_V_per_decade:.0f} mV are needed)"
        )
    low = flat & (heights <= heights[flat].min() + _SAME_LEVEL_DECADES)
    best = int(np.argmin(np.where(low, departs, np.inf)))
    start, stop, slope, level = int(starts[best]), int(stops[best]), float(slopes[best]), float(levels[best])
    middle_log = float(np.median(y[start:stop]))
    left = y[start:stop] - level - slope * x[start:stop]
    n = stop - start
    spread = float(np.sqrt(left @ left / max(n - 2, 1) * correlation_length(left) / n * math.pi / 2))
    return PassiveStretch(
        (float(x[start]), float(x[stop - 1])),
        10**middle_log,
        (10 ** (middle_log - 1.96 * spread), 10 ** (middle_log + 1.96 * spread)),
        level,
        slope,
    )


def _line(potential: np.ndarray, logs: np.ndarray) -> tuple[float, float, float, float]:
    """Scatter about the mean, slope, level at 0 V, and mean of the logarithm of the current of a stretch."""
    middle, mean = float(potential.mean()), float(logs.mean())
    away = potential - middle
    slope = float(away @ logs / (away @ away))
    return float(np.sqrt(np.mean((logs - mean) ** 2))), slope, mean - slope * middle, mean


def find_rise(
    potential_V: np.ndarray,
    density_uA_per_cm2: np.ndarray,
    passive: PassiveStretch,
    *,
    factor: float = 10.0,
    fixed_uA_per_cm2: float | None = 100.0,
) -> CurrentRise:
    """Where the current of a forward run leaves the passive one for good.

    Parameters
    ----------
    potential_V, density_uA_per_cm2 : ndarray of shape (n,)
        Potential rising.
    passive : PassiveStretch
    factor : float, optional
        Current over the passive one.
    fixed_uA_per_cm2 : float, optional
        The fixed density; None where the area is not known.

    Returns
    -------
    CurrentRise
    """
    beyond = potential_V > passive.window_V[0]
    e, i = potential_V[beyond], density_uA_per_cm2[beyond]
    fixed = None if fixed_uA_per_cm2 is None else _for_good(e, i > fixed_uA_per_cm2)
    fixed_V = None if fixed is None else float(e[fixed])
    start = _for_good(e, i > factor * 10 ** passive.log_density(e))
    if start is None:
        return CurrentRise(None, None, fixed_V)
    branch = np.arange(start, e.size)
    top = math.log10(i[start]) + _BRANCH_DECADES
    ended = np.flatnonzero(np.log10(i[branch]) > top)
    if ended.size:
        branch = branch[: max(int(ended[0]), min(_FEWEST_OF_BRANCH, branch.size))]
    exceeds = float(e[start])
    if branch.size < 2 or np.ptp(e[branch]) == 0:
        return CurrentRise(exceeds, exceeds, fixed_V)
    steepness, level = (float(v) for v in np.polyfit(e[branch], np.log10(i[branch]), 1))
    if steepness <= passive.per_V:
        return CurrentRise(exceeds, exceeds, fixed_V)
    meets = (passive.level - level) / (steepness - passive.per_V)
    return CurrentRise(min(max(meets, passive.window_V[0]), exceeds), exceeds, fixed_V)


def _for_good(potential: np.ndarray, above: np.ndarray) -> int | None:
    """First point from which all are above to the end; None where the run does not end above."""
    if not above.size or not above[-3:].all():
        return None
    below = np.flatnonzero(~above)
    return int(below[-1]) + 1 if below.size else 0


def find_transients(
    potential_V: np.ndarray, density_uA_per_cm2: np.ndarray, from_V: float, to_V: float
) -> Transients:
    """Short rises of the current between two potentials that heal: metastable pits, or a poor contact.

    A transient rises above the running median of log10 of the current by more than 0.08 decades and five
    times the scatter about it, over two points or more (common practice, no source).

    Parameters
    ----------
    potential_V, density_uA_per_cm2 : ndarray of shape (n,)
        Potential rising.
    from_V, to_V : float

    Returns
    -------
    Transients
    """
    inside = (potential_V >= from_V) & (potential_V <= to_V) & (density_uA_per_cm2 > 0)
    e, y = potential_V[inside], np.log10(density_uA_per_cm2[inside])
    if e.size < 3 * _FEWEST:
        return Transients(0)
    width = min(2 * (e.size // 10) + 1, 101)
    wide = np.pad(y, width // 2, mode="edge")
    around = np.median(np.lib.stride_tricks.sliding_window_view(wide, width), axis=1)
    left = y - around
    scatter = float(np.median(np.abs(left))) / _NORMAL_MEDIAN
    high = left > max(_TRANSIENT_SIGMA * scatter, _TRANSIENT_DECADES)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], high.astype(np.int8), [0]))))
    events = [(a, b) for a, b in edges.reshape(-1, 2).tolist() if b - a >= 2 and b < e.size]
    if not events:
        return Transients(0)
    tops = [a + int(np.argmax(left[a:b])) for a, b in events]
    largest = max(tops, key=lambda k: float(left[k]))
    return Transients(len(events), float(e[events[0][0]]), float(e[largest]), float(10 ** left[largest]))

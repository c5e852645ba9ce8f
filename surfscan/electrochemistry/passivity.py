"""Forward run over a passive metal: the passive current density, and where the current rises for good.

Passive is the flattest stretch of log10 of the current over a stated span of potential, above the
zero-current potential, if it is flat enough. A rise starts where the current exceeds the passive one by a
stated factor and stays above it to the end of the run; its potential is where the line through the passive
stretch meets the line through the first 30 mV of the rising branch (usual construction; factor, span and
flatness are common practice, no source). It never leaves the bracket that the points themselves set: from
the last one still on the passive line to the first beyond the factor.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from surfscan.electrochemistry.correlated import correlation_length
from surfscan.electrochemistry.loop import running_median

Interval = tuple[float, float]

_GRID = 400
_FEWEST = 8
_CLEAR_OF_ZERO_V = 0.05
_SAME_LEVEL_DECADES = 1.0  # flat stretches this far above the lowest are limits of cell or instrument
_BRANCH_DECADES, _BRANCH_V = 1.0, 0.03
_ON_LINE_SIGMA, _ON_LINE_DECADES = 3.0, 0.05
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
    scatter_decades : float
        Standard deviation of single points about the line.
    per_V_uncertainty : float
        Standard uncertainty of `per_V`, decades per V.
    """

    window_V: Interval
    density_uA_per_cm2: float
    ci95: Interval
    level: float
    per_V: float
    scatter_decades: float
    per_V_uncertainty: float

    def log_density(self, potential_V: np.ndarray) -> np.ndarray:
        """log10 of the density in µA/cm² that the line has, shape of `potential_V`."""
        return self.level + self.per_V * np.asarray(potential_V, np.float64)

    def is_left(self, potential_V: np.ndarray, density_uA_per_cm2: np.ndarray) -> np.ndarray:
        """Whether points lie above the line by more than their scatter and its doubt, bool of shape (n,).

        Three standard deviations of a point about the extended line, 0.05 decades at least.
        """
        away = potential_V - sum(self.window_V) / 2
        doubt = _ON_LINE_SIGMA * np.hypot(self.scatter_decades, away * self.per_V_uncertainty)
        allowed = self.log_density(potential_V) + np.maximum(doubt, _ON_LINE_DECADES)
        return np.asarray(density_uA_per_cm2 > 10**allowed)


@dataclass(frozen=True)
class CurrentRise:
    """Where the current leaves the passive one for good.

    Attributes
    ----------
    rise_V : float or None
        Where the passive line meets that of the rising branch, within `bracket_V`; None where there is no
        rise.
    exceeds_V : float or None
        Where the current first exceeds the passive one by the factor for good.
    fixed_V : float or None
        Where it first exceeds the fixed density for good, whatever the passive one.
    bracket_V : (float, float) or None
        Last point on the passive line, and `exceeds_V`: what the points themselves say of the rise.
    """

    rise_V: float | None
    exceeds_V: float | None
    fixed_V: float | None
    bracket_V: Interval | None = None


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
    spans_V : tuple of (float, float)
        First and last potential of each.
    """

    count: int
    first_V: float | None = None
    largest_V: float | None = None
    largest_factor: float | None = None
    spans_V: tuple[Interval, ...] = ()


def find_passive_stretch(
    potential_V: np.ndarray,
    density_uA_per_cm2: np.ndarray,
    zero_V: float,
    *,
    span_V: float = 0.1,
    least_slope_V_per_decade: float = 0.5,
    largest_uA_per_cm2: float | None = None,
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
    largest_uA_per_cm2 : float, optional
        Current density that no passive film lets through: flat stretches above it are limits of transport,
        cell or instrument. None where the area is not known.

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
    if largest_uA_per_cm2 is not None:
        lowest = 10 ** float(heights[flat].min())
        flat &= heights <= math.log10(largest_uA_per_cm2)
        if not flat.any():
            return (
                f"no passive stretch: where the current is flat it is {lowest:.3g} µA/cm² or more, and no "
                f"passive film lets {largest_uA_per_cm2:.4g} µA/cm² through: a limit of transport, cell or "
                "instrument"
            )
    low = flat & (heights <= heights[flat].min() + _SAME_LEVEL_DECADES)
    best = int(np.argmin(np.where(low, departs, np.inf)))
    start, stop, slope, level = int(starts[best]), int(stops[best]), float(slopes[best]), float(levels[best])
    middle_log = float(np.median(y[start:stop]))
    left = y[start:stop] - level - slope * x[start:stop]
    n = stop - start
    scatter = float(np.sqrt(left @ left / max(n - 2, 1)))
    length = correlation_length(left)
    spread = scatter * math.sqrt(length / n * math.pi / 2)
    reach = float(np.sqrt(np.sum((x[start:stop] - x[start:stop].mean()) ** 2)))
    return PassiveStretch(
        (float(x[start]), float(x[stop - 1])),
        10**middle_log,
        (10 ** (middle_log - 1.96 * spread), 10 ** (middle_log + 1.96 * spread)),
        level,
        slope,
        scatter,
        scatter * math.sqrt(length) / reach,
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
    fixed = None if fixed_uA_per_cm2 is None else _for_good(i > fixed_uA_per_cm2)
    fixed_V = None if fixed is None else float(e[fixed])
    start = _for_good(i > factor * 10 ** passive.log_density(e))
    if start is None:
        return CurrentRise(None, None, fixed_V)
    exceeds = float(e[start])
    on_line = np.flatnonzero(~passive.is_left(e[:start], i[:start]))
    bracket = (float(e[on_line[-1]]) if on_line.size else passive.window_V[0], exceeds)
    meets = _meeting(e[start:], np.log10(i[start:]), passive)
    rise = exceeds if meets is None else min(max(meets, bracket[0]), exceeds)
    return CurrentRise(rise, exceeds, fixed_V, bracket)


def find_departure(
    potential_V: np.ndarray, density_uA_per_cm2: np.ndarray, passive: PassiveStretch
) -> float | None:
    """Last potential on the passive line, where the run ends above it; None where it ends on it.

    Parameters
    ----------
    potential_V, density_uA_per_cm2 : ndarray of shape (n,)
        Potential rising.
    passive : PassiveStretch
    """
    beyond = potential_V > passive.window_V[0]
    e, i = potential_V[beyond], density_uA_per_cm2[beyond]
    first = _for_good(passive.is_left(e, i))
    return None if first is None else float(e[max(first - 1, 0)])


def _meeting(potential: np.ndarray, logs: np.ndarray, passive: PassiveStretch) -> float | None:
    """Where the line through the start of a branch meets the passive line; None where it is too short."""
    near = (potential <= potential[0] + _BRANCH_V) & (logs <= logs[0] + _BRANCH_DECADES)
    stop = max(int(np.argmin(near)) if not near.all() else near.size, 2)
    potential, logs = potential[:stop], logs[:stop]
    if potential.size < 2 or np.ptp(potential) == 0:
        return None
    steepness, level = (float(v) for v in np.polyfit(potential, logs, 1))
    if steepness <= passive.per_V:
        return None
    return (passive.level - level) / (steepness - passive.per_V)


def _for_good(above: np.ndarray) -> int | None:
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
    left = y - running_median(y, width)
    scatter = float(np.median(np.abs(left))) / _NORMAL_MEDIAN
    high = left > max(_TRANSIENT_SIGMA * scatter, _TRANSIENT_DECADES)
    edges = np.flatnonzero(np.diff(np.concatenate(([0], high.astype(np.int8), [0]))))
    events = [(a, b) for a, b in edges.reshape(-1, 2).tolist() if b - a >= 2 and b < e.size]
    if not events:
        return Transients(0)
    tops = [a + int(np.argmax(left[a:b])) for a, b in events]
    largest = max(tops, key=lambda k: float(left[k]))
    return Transients(
        len(events),
        float(e[events[0][0]]),
        float(e[largest]),
        float(10 ** left[largest]),
        tuple((float(e[a]), float(e[b - 1])) for a, b in events),
    )

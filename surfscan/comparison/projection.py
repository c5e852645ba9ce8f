"""Time at which the mean loss over specimens reaches a limit, with its interval, no further than stated."""

from __future__ import annotations

import math
from dataclasses import dataclass

from surfscan.comparison.over_time import Law, OverTime, TimeFit
from surfscan.estimates.groups import t_factor

LARGEST_EXTRAPOLATION = 2.0
"""Longest projected time over the longest exposure (common practice, no source)."""

CAUTION = (
    "A projection of the mean over specimens by laws fitted to this exposure alone. Single parts get there "
    "earlier or later; attack that changes its course is not foreseen. It is no statement on service life."
)


@dataclass(frozen=True)
class Projection:
    """Time at which the mean loss reaches a limit, or why none is given.

    Attributes
    ----------
    hours : float or None
        By the best law.
    hours_ci95 : (float, float or None) or None
        Over all laws as good as the best and the power law of free exponent; an end of None lies beyond the
        furthest time allowed.
    by_law : mapping of str to float
        Of each law as good as the best that gets there within the furthest time.
    furthest_h : float
        Furthest time allowed.
    sentence : str
        With the caution, wherever there is a time.
    refused : str
    """

    hours: float | None
    hours_ci95: tuple[float, float | None] | None
    by_law: dict[Law, float]
    furthest_h: float
    sentence: str
    refused: str = ""


def time_to(
    fitted: OverTime,
    loss: float,
    *,
    largest_extrapolation: float = LARGEST_EXTRAPOLATION,
    name: str = "the loss",
    unit: str = "",
) -> Projection:
    """Time at which the mean loss reaches a limit.

    Parameters
    ----------
    fitted : OverTime
    loss : float
        The limit, in the unit of the losses, above 0. A least section is turned into penetration by
        `surfscan.comparison.shrinkage.penetration_of_section`.
    largest_extrapolation : float, optional
        Furthest time over the longest exposure.
    name, unit : str, optional
        For the sentence.

    Returns
    -------
    Projection
        Interval of each law by Fieller's construction on logarithms, which takes factor and exponent
        together; the union over laws as good as the best and the power law of free exponent. Without the
        latter the interval says that the exponent is one of two for certain, and misses times of any other.

    Raises
    ------
    ValueError
        If `loss` or `largest_extrapolation` is not above 0.
    """
    if not (loss > 0 and math.isfinite(loss) and largest_extrapolation > 0):
        raise ValueError(f"limit and extrapolation must be above 0, got {loss!r}, {largest_extrapolation!r}")
    if not fitted.fits:
        return _no_projection(fitted.refused, 0.0)
    furthest = largest_extrapolation * fitted.hours[-1]
    if not fitted.fits_the_means:
        return _no_projection("no law goes through the mean losses", furthest)
    by_law = {fit.law: _reached(fit, loss) for fit in fitted.as_good}
    when = by_law[fitted.best.law]
    if when > furthest:
        times = f"{largest_extrapolation:g} times the longest exposure"
        return _no_projection(f"it lies beyond {furthest:.4g} h, {times}, the furthest allowed", furthest)
    by_law = {law: hours for law, hours in by_law.items() if hours <= furthest}
    free = [] if fitted.free is None else [fitted.free]
    ends = [_interval(fit, loss) for fit in (*fitted.as_good, *free)]
    low = min(end[0] for end in ends)
    high = max(end[1] for end in ends)
    upper = high if high <= furthest else None
    limit = f"{loss:.3g}{' ' + unit if unit else ''}"
    end = f"beyond {furthest:.4g} h" if upper is None else _hours(upper)
    told = f"95 % interval {_hours(low)} to {end}"
    fits = f"{' and '.join(by_law)} fit{'s' if len(by_law) > 1 else ''}"
    sentence = f"By the {fits} {name} reaches {limit} at {_hours(when)} ({told}). "
    return Projection(when, (low, upper), by_law, furthest, sentence + CAUTION)


def _hours(hours: float) -> str:
    return f"{hours:.0f} h" if hours >= 100 else f"{hours:.3g} h"


def _reached(fit: TimeFit, loss: float) -> float:
    return math.exp((math.log(loss) - math.log(fit.factor)) / fit.exponent)


def _interval(fit: TimeFit, loss: float) -> tuple[float, float]:
    """Fieller: the times about the estimate at which the law's interval holds the limit.

    Where the exponent cannot be told from 0 they have no end on one side, or on both.
    """
    q = t_factor(fit.degrees_of_freedom) ** 2
    (v_a, v_an), (_, v_n) = fit.covariance
    gap = math.log(fit.factor) - math.log(loss)
    a, b, c = fit.exponent**2 - q * v_n, fit.exponent * gap - q * v_an, gap**2 - q * v_a
    inside = b * b - a * c
    if a == 0 or inside <= 0:
        return (0.0, math.inf) if a <= 0 else (_exp(-b / a), _exp(-b / a))
    ends = sorted(((-b - math.sqrt(inside)) / a, (-b + math.sqrt(inside)) / a))
    if a > 0:
        return _exp(ends[0]), _exp(ends[1])
    return (_exp(ends[1]), math.inf) if -gap / fit.exponent >= ends[1] else (0.0, _exp(ends[0]))


def _exp(x: float) -> float:
    return math.exp(min(x, 700.0))


def _no_projection(why: str, furthest: float) -> Projection:
    return Projection(None, None, {}, furthest, f"No time is projected: {why}.", why)

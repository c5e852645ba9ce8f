"""One mean over methods, only where they agree by a stated rule."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

from surfscan.comparison.agreement import Agreement, Context, as_penetration, covariance, pairs
from surfscan.comparison.rates import NORMAL_FACTOR, OF_EDGES, Interval, PenetrationRate, in_order
from surfscan.comparison.reasons import measured_on
from surfscan.comparison.york import chi_square_above

LEAST_PROBABILITY = 0.05
"""Rates are consistent where chi-square about their weighted mean is exceeded with this probability or more
(procedure A of M. G. Cox, Metrologia 39 (2002) 589; from memory)."""

BLEND_RULE = (
    "One mean of several methods is given only where every two like rates agree by E_n, chi-square about "
    "their weighted mean is consistent (5 %), and at least two of them have no known bias. Its interval is "
    "widened by the Birge ratio where that is above 1."
)


@dataclass(frozen=True)
class Blend:
    """One mean of several methods, or why there is none.

    Attributes
    ----------
    mm_per_y : float or None
    mm_per_y_ci95 : (float, float) or None
    methods : tuple of str
        That it rests on.
    left_out : tuple of str
        Methods that agree, but are left out for a known bias.
    over : {"", "penetration", "starting area"}
        Whether rates over the starting area were turned into penetration.
    chi_square, probability, birge_ratio : float or None
        Of the rates about their weighted mean.
    refused : str
        Why there is no mean; empty where there is one.
    """

    mm_per_y: float | None
    mm_per_y_ci95: Interval | None
    methods: tuple[str, ...]
    left_out: tuple[str, ...] = ()
    over: Literal["", "penetration", "starting area"] = ""
    chi_square: float | None = None
    probability: float | None = None
    birge_ratio: float | None = None
    refused: str = ""


@dataclass(frozen=True)
class WeightedMean:
    """Weighted mean of results that may share causes of uncertainty.

    Attributes
    ----------
    mean, standard_uncertainty : float
        Before any widening.
    chi_square, probability, birge_ratio : float
        Of what the results do not share; the probability is of a chi-square as large or larger.
    """

    mean: float
    standard_uncertainty: float
    chi_square: float
    probability: float
    birge_ratio: float


def blend(rates: Sequence[PenetrationRate], context: Context | None = None) -> Blend:
    """One mean over methods by `BLEND_RULE`, or why there is none.

    Parameters
    ----------
    rates : sequence of PenetrationRate
        Of one specimen; those measured on others, bounds, instants and worst places are passed over.
    context : Context, optional

    Returns
    -------
    Blend
    """
    known = context or Context()
    found = pairs(rates, known)
    refused = _why_not(found)
    if refused:
        return Blend(None, None, (), refused=refused)
    alike = {(pair.first.method, pair.second.method) for pair in found if pair.e_n is not None}
    methods = {method for pair in alike for method in pair}
    own = [
        rate
        for rate in in_order(rates)
        if rate.method in methods and rate.measurand == "mean" and measured_on(rate) == {rate.specimen}
    ]
    biased = tuple(rate.method for rate in own if rate.bias)
    kept = [rate for rate in own if not rate.bias]
    if len(kept) < 2:
        after = f"; {' and '.join(biased)} left out for a known bias" if biased else ""
        return Blend(None, None, (), refused=f"fewer than two methods of its own without a known bias{after}")
    for first, second in combinations(kept, 2):
        if (first.method, second.method) not in alike:
            why = f"{first.method} and {second.method} do not speak of the same thing and time"
            return Blend(None, None, (), refused=why)
    if known.drawn is None and not any(rate.method in OF_EDGES for rate in kept):
        return _blended(kept, biased, "starting area")
    as_depth = [as_penetration(rate, known) for rate in kept]
    why = next((why for _, _, why in as_depth if why), "")
    if why:
        return Blend(None, None, (), refused=f"a rate over the starting area cannot be corrected: {why}")
    return _blended([rate for rate, _, _ in as_depth], biased, "penetration")


def weighted_mean(rates: Sequence[PenetrationRate]) -> WeightedMean:
    """Weighted mean of rates with intervals, two or more.

    Parameters
    ----------
    rates : sequence of PenetrationRate

    Returns
    -------
    WeightedMean
        Weights are the inverse squares of what each does not share with another (`shared_relative`): weights
        from the full covariance may lie outside the data. What they share enters the uncertainty in full
        (JCGM 100:2008, 5.2.2, from memory). The Birge ratio is the root of chi-square over n - 1.

    Raises
    ------
    ValueError
        If there are fewer than two, or one has no interval or one without width.
    """
    if len(rates) < 2 or any(rate.mm_per_y is None or not rate.standard_uncertainty for rate in rates):
        raise ValueError("a weighted mean needs two rates or more, each with an interval")
    values = [rate.mm_per_y or 0.0 for rate in rates]
    spreads = [rate.standard_uncertainty or 0.0 for rate in rates]
    own = []
    for i, rate in enumerate(rates):
        others = {cause for j, other in enumerate(rates) if j != i for cause in other.shared_relative}
        shared = math.fsum(
            (values[i] * share) ** 2
            for cause, share in sorted(rate.shared_relative.items())
            if cause in others
        )
        own.append(max(spreads[i] ** 2 - shared, (1e-3 * spreads[i]) ** 2))
    total = math.fsum(1 / variance for variance in own)
    weights = [1 / variance / total for variance in own]
    mean = math.fsum(w * x for w, x in zip(weights, values, strict=True))
    variance = math.fsum((w * u) ** 2 for w, u in zip(weights, spreads, strict=True)) + 2 * math.fsum(
        weights[i] * weights[j] * covariance(rates[i], rates[j])
        for i, j in combinations(range(len(rates)), 2)
    )
    chi_square = math.fsum((x - mean) ** 2 / v for x, v in zip(values, own, strict=True))
    free = len(rates) - 1
    return WeightedMean(
        mean,
        math.sqrt(variance),
        chi_square,
        chi_square_above(chi_square, free),
        math.sqrt(chi_square / free),
    )


def _why_not(found: Sequence[Agreement]) -> str:
    """Why the pairs of a specimen allow no mean; empty where they do."""
    apart = next((pair for pair in found if pair.agree is False), None)
    if apart is not None:
        return f"{apart.first.method} and {apart.second.method} do not agree"
    if not any(pair.e_n is not None for pair in found):
        return "no two methods measure the same thing over the same time with an interval"
    return ""


def _blended(
    rates: Sequence[PenetrationRate],
    left_out: tuple[str, ...],
    over: Literal["penetration", "starting area"],
) -> Blend:
    found = weighted_mean(rates)
    methods = tuple(rate.method for rate in rates)
    about = (found.chi_square, found.probability, found.birge_ratio)
    if found.probability < LEAST_PROBABILITY:
        why = f"they scatter more than their intervals say (chi-square, probability {found.probability:.2g})"
        return Blend(None, None, methods, left_out, over, *about, why)
    half = NORMAL_FACTOR * found.standard_uncertainty * max(1.0, found.birge_ratio)
    return Blend(found.mean, (found.mean - half, found.mean + half), methods, left_out, over, *about)

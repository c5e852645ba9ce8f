"""Whether rates of different methods agree: their ratio, and the normalised error between like measurands.

The normalised error E_n is the difference over the root of the sum of squares of both expanded uncertainties
(95 %); within ±1 the two agree (ISO/IEC 17043 and ISO 13528). It stands only between like measurands: both of
the mean over the surface, both averages over much the same stretch of time, neither known as a bound alone.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations

from surfscan.comparison.rates import (
    NORMAL_FACTOR,
    OF_EDGES,
    OVER_STARTING_AREA,
    Interval,
    Measurand,
    PenetrationRate,
    in_order,
)
from surfscan.comparison.reasons import SHRINKS, Reason, measured_on, reasons_for
from surfscan.comparison.shrinkage import factor_uncertainty, most_apparent_um, shrinkage
from surfscan.measurement.strut_sections import DrawnSection

LEAST_OVERLAP = 0.8
"""Two averages are of much the same stretch where it is so much of the time that they cover together (common
practice, no source)."""


_MEASURANDS: dict[Measurand, str] = {
    "mean": "the mean",
    "worst place": "the worst place",
    "local": "places picked for their pits",
}


@dataclass(frozen=True)
class Context:
    """What is known of a specimen beside its rates.

    Attributes
    ----------
    base_metal : str
        Symbol of the element that there is most of; empty where not known.
    drawn : DrawnSection or None
        Section of its struts as drawn, in µm: lets rates over the starting area be turned into penetration.
    between_specimens_relative : float or None
        Relative standard deviation between specimens of its group: without it, rates of different specimens
        have no E_n.
    """

    base_metal: str = ""
    drawn: DrawnSection | None = None
    between_specimens_relative: float | None = None


@dataclass(frozen=True)
class Agreement:
    """Two rates beside each other.

    Attributes
    ----------
    first, second : PenetrationRate
        As compared: a rate over the starting area is turned into penetration where `corrected_by` is above 1.
    ratio : float or None
        First over second; None where either is not above 0.
    ratio_ci95 : (float, float) or None
        With the scatter between specimens where they were measured on different ones; None where that is not
        known.
    e_n : float or None
        First less second over their expanded uncertainties; None between unlike measurands.
    agree : bool or None
        None where neither can be said.
    sentence : str
    reasons : tuple of Reason
        Known reasons for a gap such as this one; none where the two agree.
    corrected_by : float
        Factor on the rate over the starting area; 1 where nothing was corrected.
    not_corrected : str
        Why a rate over the starting area stands uncorrected beside penetration; else empty.
    """

    first: PenetrationRate
    second: PenetrationRate
    ratio: float | None
    ratio_ci95: Interval | None
    e_n: float | None
    agree: bool | None
    sentence: str
    reasons: tuple[Reason, ...]
    corrected_by: float = 1.0
    not_corrected: str = ""


def normalised_error(first: float, second: float, first_expanded: float, second_expanded: float) -> float:
    """E_n of two independent results with expanded uncertainties (95 %).

    Raises
    ------
    ValueError
        If an uncertainty is below 0 or both are 0.
    """
    if min(first_expanded, second_expanded) < 0 or max(first_expanded, second_expanded) == 0:
        raise ValueError(f"expanded uncertainties {first_expanded!r} and {second_expanded!r} cannot be")
    return (first - second) / math.hypot(first_expanded, second_expanded)


def ratio_interval(
    first: float, second: float, first_u: float, second_u: float, covariance: float = 0.0
) -> Interval | None:
    """95 % interval of a ratio (Fieller, normal distribution).

    Parameters
    ----------
    first, second : float
    first_u, second_u : float
        Standard uncertainties.
    covariance : float, optional

    Returns
    -------
    (float, float) or None
        None where the second cannot be told from 0: the interval then has no end.
    """
    k = NORMAL_FACTOR**2
    bottom = second**2 - k * second_u**2
    if bottom <= 0:
        return None
    middle = first * second - k * covariance
    inside = middle**2 - bottom * (first**2 - k * first_u**2)
    root = math.sqrt(max(inside, 0.0))
    return (middle - root) / bottom, (middle + root) / bottom


def pairs(rates: Sequence[PenetrationRate], context: Context | None = None) -> list[Agreement]:
    """Every two rates of different methods beside each other, in the order of the page.

    Parameters
    ----------
    rates : sequence of PenetrationRate
        Of one specimen; refused ones are passed over.
    context : Context, optional

    Returns
    -------
    list of Agreement

    Raises
    ------
    ValueError
        If they are of several specimens.
    """
    known = [rate for rate in in_order(rates) if rate.mm_per_y is not None]
    if len({rate.specimen for rate in known}) > 1:
        raise ValueError("rates are compared within one specimen")
    return [
        compare(first, second, context or Context())
        for first, second in combinations(known, 2)
        if first.method != second.method
    ]


def compare(first: PenetrationRate, second: PenetrationRate, context: Context) -> Agreement:
    """Two rates beside each other; as `pairs`, which see."""
    one, two, factor, uncorrected = _alike(first, second, context)
    assert one.mm_per_y is not None and two.mm_per_y is not None
    unlike = _why_unlike(one, two, context)
    e_n = None if unlike else _e_n(one, two, context)
    agree: bool | None = None if e_n is None else abs(e_n) <= 1
    reasons = reasons_for(one, two, context.base_metal)
    if agree is False and uncorrected and _reads_lower(one, two):
        agree = None
        reasons = (SHRINKS, *reasons)
    if _beyond_bound(one, two):
        agree = False
    ratio = one.mm_per_y / two.mm_per_y if one.mm_per_y > 0 and two.mm_per_y > 0 else None
    limits = None if ratio is None else _ratio_limits(one, two, context)
    sentence = _sentence(one, two, ratio, limits, e_n, agree, unlike, factor, uncorrected)
    return Agreement(
        one, two, ratio, limits, e_n, agree, sentence, () if agree else reasons, factor, uncorrected
    )


def _alike(
    first: PenetrationRate, second: PenetrationRate, context: Context
) -> tuple[PenetrationRate, PenetrationRate, float, str]:
    """Both, the rate over the starting area as penetration; the factor; why that could not be done."""
    methods = (first.method, second.method)
    for k, (one, other) in enumerate((methods, methods[::-1])):
        if one in OVER_STARTING_AREA and other in OF_EDGES:
            rate, factor, why = as_penetration((first, second)[k], context)
            return (rate, second, factor, why) if k == 0 else (first, rate, factor, why)
    return first, second, 1.0, ""


def as_penetration(rate: PenetrationRate, context: Context) -> tuple[PenetrationRate, float, str]:
    """A rate over the starting area as penetration; others as they are.

    Returns
    -------
    rate : PenetrationRate
    factor : float
        1 where nothing was corrected.
    why_not : str
        Why a rate over the starting area was left as it is; else empty.
    """
    if rate.method not in OVER_STARTING_AREA or rate.mm_per_y is None:
        return rate, 1.0, ""
    if context.drawn is None:
        return rate, 1.0, "the drawn sizes of the part are not stated"
    apparent = rate.penetration_um
    if apparent is None:
        return rate, 1.0, "its stretch of time is not known"
    most = most_apparent_um(context.drawn)
    if not 0 <= apparent < most:
        return rate, 1.0, f"by the drawn sizes it stands for more metal than there was ({most:.3g} µm)"
    found = shrinkage(apparent, context.drawn)
    limits = rate.mm_per_y_ci95
    if limits is not None:
        value = rate.mm_per_y * found.factor
        ends = []
        for limit in limits:
            there = min(max(apparent * limit / rate.mm_per_y, 0.0), most * (1 - 1e-9)) if apparent else 0.0
            ends.append(limit * shrinkage(there, context.drawn).factor)
        drawn = NORMAL_FACTOR * rate.mm_per_y * factor_uncertainty(apparent, context.drawn)
        limits = (value - math.hypot(value - ends[0], drawn), value + math.hypot(ends[1] - value, drawn))
    return replace(rate, mm_per_y=rate.mm_per_y * found.factor, mm_per_y_ci95=limits), found.factor, ""


def _why_unlike(one: PenetrationRate, two: PenetrationRate, context: Context) -> str:
    """Why there is no E_n; empty where there is one."""
    if one.measurand != two.measurand:
        return f"{_MEASURANDS[one.measurand]} and {_MEASURANDS[two.measurand]} are not the same thing"
    if one.measurand != "mean":
        return "neither is of the mean over the surface"
    if one.kind != two.kind:
        return "an average over the exposure and a moment are not the same thing"
    if one.kind == "instant":
        return "both speak of a moment and share current and area"
    bounded = next((rate for rate in (one, two) if rate.bound), None)
    if bounded is not None:
        return f"{bounded.method} is known as '{bounded.bound}' only"
    overlap = _overlap(one, two)
    if overlap is None:
        return "the time of one of them is not known"
    if overlap < LEAST_OVERLAP:
        return f"they share {100 * overlap:.0f} % of the time that they cover together"
    if measured_on(one) != measured_on(two) and context.between_specimens_relative is None:
        return "they are of different specimens, and the scatter between specimens is not known"
    if one.expanded is None or two.expanded is None:
        return "one of them has no interval"
    return "neither interval has a width" if one.expanded == two.expanded == 0 else ""


def _overlap(one: PenetrationRate, two: PenetrationRate) -> float | None:
    if one.starts_h is None or one.ends_h is None or two.starts_h is None or two.ends_h is None:
        return None
    together = max(one.ends_h, two.ends_h) - min(one.starts_h, two.starts_h)
    shared = min(one.ends_h, two.ends_h) - max(one.starts_h, two.starts_h)
    return max(shared, 0.0) / together if together > 0 else 0.0


def covariance(one: PenetrationRate, two: PenetrationRate, cause: str | None = None) -> float:
    """Covariance, (mm/y)², of all shared causes or of one."""
    causes = set(one.shared_relative) & set(two.shared_relative)
    if cause is not None:
        causes &= {cause}
    product = (one.mm_per_y or 0.0) * (two.mm_per_y or 0.0)
    return product * math.fsum(one.shared_relative[c] * two.shared_relative[c] for c in sorted(causes))


def _e_n(one: PenetrationRate, two: PenetrationRate, context: Context) -> float:
    """E_n, each interval by the side that faces the other rate, shared causes taken out, scatter put in."""
    assert one.mm_per_y is not None and two.mm_per_y is not None
    assert one.mm_per_y_ci95 is not None and two.mm_per_y_ci95 is not None
    low, high = (one, two) if one.mm_per_y <= two.mm_per_y else (two, one)
    assert low.mm_per_y is not None and high.mm_per_y is not None
    assert low.mm_per_y_ci95 is not None and high.mm_per_y_ci95 is not None
    above = low.mm_per_y_ci95[1] - low.mm_per_y
    below = high.mm_per_y - high.mm_per_y_ci95[0]
    squared = above**2 + below**2 - 2 * NORMAL_FACTOR**2 * covariance(one, two)
    middle = (one.mm_per_y + two.mm_per_y) / 2
    squared += sum((NORMAL_FACTOR * _scatter(r, one, two, context) * middle) ** 2 for r in (one, two))
    least = (1e-3 * max(above, below)) ** 2
    gap = one.mm_per_y - two.mm_per_y
    if gap == 0:
        return 0.0
    return gap / math.sqrt(max(squared, least)) if max(squared, least) > 0 else math.copysign(math.inf, gap)


def _reads_lower(one: PenetrationRate, two: PenetrationRate) -> bool:
    """Whether the one of the two that is over the starting area is the lower one."""
    low = one if (one.mm_per_y or 0.0) < (two.mm_per_y or 0.0) else two
    return low.method in OVER_STARTING_AREA


def _beyond_bound(one: PenetrationRate, two: PenetrationRate) -> bool:
    """Whether a bound excludes the other rate of the same measurand and kind, both with interval."""
    if one.kind != two.kind or one.measurand != two.measurand:
        return False
    if one.mm_per_y_ci95 is None or two.mm_per_y_ci95 is None or measured_on(one) != measured_on(two):
        return False
    for bounded, other in ((one, two), (two, one)):
        assert bounded.mm_per_y_ci95 is not None and other.mm_per_y_ci95 is not None
        above = bounded.mm_per_y_ci95[0] > other.mm_per_y_ci95[1]
        below = bounded.mm_per_y_ci95[1] < other.mm_per_y_ci95[0]
        if (bounded.bound == "at least" and other.bound != "at least" and above) or (
            bounded.bound == "at most" and other.bound != "at most" and below
        ):
            return True
    return False


def _scatter(rate: PenetrationRate, one: PenetrationRate, two: PenetrationRate, context: Context) -> float:
    """Relative scatter between specimens that a rate of one adds where the other is of others."""
    alone = measured_on(one) != measured_on(two) and len(measured_on(rate)) == 1
    return (context.between_specimens_relative or 0.0) if alone else 0.0


def _ratio_limits(one: PenetrationRate, two: PenetrationRate, context: Context) -> Interval | None:
    """Fieller's limits, each from the sides of both intervals that face it."""
    if measured_on(one) != measured_on(two) and context.between_specimens_relative is None:
        return None
    if one.mm_per_y_ci95 is None or two.mm_per_y_ci95 is None:
        return None
    assert one.mm_per_y is not None and two.mm_per_y is not None
    shared = covariance(one, two)
    found = []
    for top, bottom in ((0, 1), (1, 0)):
        first = (one.mm_per_y_ci95[top] - one.mm_per_y) / NORMAL_FACTOR
        second = (two.mm_per_y_ci95[bottom] - two.mm_per_y) / NORMAL_FACTOR
        limits = ratio_interval(
            one.mm_per_y,
            two.mm_per_y,
            math.hypot(first, _scatter(one, one, two, context) * one.mm_per_y),
            math.hypot(second, _scatter(two, one, two, context) * two.mm_per_y),
            shared,
        )
        if limits is None:
            return None
        found.append(limits[top])
    low = found[0] if one.mm_per_y_ci95[0] < 0 else max(found[0], 0.0)
    return low, found[1]


def _times(ratio: float) -> str:
    return f"{ratio:.2f}" if 0.095 <= abs(ratio) < 9.995 else f"{ratio:.3g}"


def _named(rate: PenetrationRate) -> str:
    bound = f"{rate.bound} " if rate.bound else ""
    where = " at the worst place" if rate.measurand == "worst place" else ""
    joined = {"own": "", "twin": " (of a twin)", "group": " (of its group)"}[rate.joined]
    return f"{rate.method}{where}{joined} {bound}{rate.mm_per_y:.3g} mm/y"


def _sentence(
    one: PenetrationRate,
    two: PenetrationRate,
    ratio: float | None,
    limits: Interval | None,
    e_n: float | None,
    agree: bool | None,
    unlike: str,
    factor: float,
    uncorrected: str,
) -> str:
    both = f"{_named(one)} and {_named(two)}"
    both = both[0].upper() + both[1:]
    said = ""
    if ratio is not None:
        said = f"ratio {_times(ratio)}"
        said += f" ({_times(limits[0])} to {_times(limits[1])})" if limits is not None else ""
    if e_n is not None:
        said += f"{', ' if said else ''}E_n {abs(e_n):.2g}"
    said = f": {said}" if said else ""
    if agree:
        text = f"{both} agree{said}."
    elif agree is False and unlike:
        text = f"{both} contradict each other{said}: the bound excludes the other."
    elif agree is False:
        text = f"{both} do not agree{said}."
    elif e_n is not None:
        text = f"{both} differ{said}; part of the gap may be the shrinking surface, and {uncorrected}."
    else:
        text = f"{both}{said}; agreement is not judged: {unlike}."
    if factor > 1:
        over = one if one.method in OVER_STARTING_AREA else two
        text += f" {over.method.capitalize()} was multiplied by {factor:.4g} for the surface that shrank."
    return text

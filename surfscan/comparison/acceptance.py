"""Pass, fail or undecided against a limit, with the uncertainty of the figure (JCGM 106).

JCGM 106:2012, "The role of measurement uncertainty in conformity assessment" (also ISO/IEC Guide 98-4):
clause 7, probability of conformity; 8.2, simple acceptance; 8.3, acceptance and rejection with guard bands.
Clauses from memory; the arithmetic is checked in tests.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from surfscan.comparison.rates import NORMAL_FACTOR

Rule = Literal["guarded", "simple"]
Outcome = Literal["pass", "fail", "undecided"]
Bound = Literal["", "at least", "at most"]

CAUTION = (
    "A laboratory comparison against the limit stated in the study. It does not say how a part performs in "
    "service, and is no release."
)


@dataclass(frozen=True)
class Limits:
    """What a figure must not leave; None on a side without limit.

    Raises
    ------
    ValueError
        Without any limit, with one that is not finite, or with the lower one not below the upper one.
    """

    at_least: float | None = None
    at_most: float | None = None

    def __post_init__(self) -> None:
        stated = [limit for limit in (self.at_least, self.at_most) if limit is not None]
        if not stated or not all(math.isfinite(limit) for limit in stated):
            raise ValueError(f"one finite limit at least is needed, got {self}")
        if len(stated) == 2 and not stated[0] < stated[1]:
            raise ValueError(f"the lower limit must lie below the upper one, got {self}")

    def hold(self, value: float, below: float = 0.0, above: float = 0.0) -> bool:
        """Whether a value lies within them with `below` and `above` to spare on its two sides."""
        return (self.at_least is None or value - below >= self.at_least) and (
            self.at_most is None or value + above <= self.at_most
        )

    def words(self, unit: str = "") -> str:
        """ "at most 0.5 mm/y", "between 1 and 2"."""
        after = f" {unit}" if unit and unit != "1" else ""
        if self.at_least is None:
            return f"at most {self.at_most:g}{after}"
        if self.at_most is None:
            return f"at least {self.at_least:g}{after}"
        return f"between {self.at_least:g} and {self.at_most:g}{after}"


@dataclass(frozen=True)
class Verdict:
    """Outcome for one figure.

    Attributes
    ----------
    outcome : {"pass", "fail", "undecided"}
    guard_band : float or None
        Distance within the limit from which it is a pass; the wider one of two limits. 0 by the simple rule,
        None where the guarded rule finds no uncertainty.
    probability : float or None
        That the true value lies within the limits, for a normal distribution about the figure; None where
        there is no uncertainty.
    sentence : str
        The outcome in words, with why.
    """

    outcome: Outcome
    guard_band: float | None
    probability: float | None
    sentence: str


def conformance_probability(
    value: float, standard_uncertainty: float | tuple[float, float], limits: Limits
) -> float:
    """Probability that the true value lies within the limits.

    Parameters
    ----------
    value : float
        Middle of a normal distribution.
    standard_uncertainty : float or (float, float)
        Its standard deviation; or one below and one above the value, each limit then being seen from the side
        that faces it. With 0 it is certain on that side.
    limits : Limits

    Returns
    -------
    float
        JCGM 106:2012, clauses 7.3 and 7.4.

    Raises
    ------
    ValueError
        If an uncertainty is below 0 or anything is not finite.
    """
    given = standard_uncertainty
    below, above = given if isinstance(given, tuple) else (given, given)
    if not all(math.isfinite(n) for n in (value, below, above)) or min(below, above) < 0:
        raise ValueError(f"finite value and uncertainty are needed, got {value!r} ± {given!r}")

    def under(limit: float) -> float:
        spread = above if limit > value else below
        return _normal((limit - value) / spread) if spread else float(value < limit)

    too_high = 0.0 if limits.at_most is None else 1.0 - under(limits.at_most)
    too_low = 0.0 if limits.at_least is None else under(limits.at_least)
    if above == below == 0:
        return float(limits.hold(value))
    return max(0.0, 1.0 - too_high - too_low)


def judge(
    value: float | None,
    limits: Limits,
    *,
    standard_uncertainty: float | None = None,
    ci95: tuple[float, float] | None = None,
    rule: Rule = "guarded",
    guard_factor: float = 1.0,
    bound: Bound = "",
    name: str = "The figure",
    unit: str = "",
) -> Verdict:
    """Judge a figure against limits.

    Parameters
    ----------
    value : float or None
        None where the study has no such figure.
    limits : Limits
    standard_uncertainty : float, optional
    ci95 : (float, float), optional
        In place of it; taken as 1.96 standard uncertainties to either side, whatever it rests on. Uneven
        intervals are judged by the side that faces the limit.
    rule : {"guarded", "simple"}
        Guarded: pass where the figure lies within the limits by the guard band or more, fail where beyond one
        by more than that, else undecided. Simple: pass or fail by the figure alone.
    guard_factor : float, optional
        Guard band over the expanded uncertainty (95 %).
    bound : {"", "at least", "at most"}
        Where the true value is known to lie on one side of the figure: it decides only what that allows.
    name, unit : str, optional
        For the sentence.

    Returns
    -------
    Verdict

    Raises
    ------
    ValueError
        If both or uneven nonsense is given, or the guard factor is below 0.
    """
    if rule not in ("guarded", "simple"):
        raise ValueError(f"rule must be guarded or simple, got {rule!r}")
    if not (math.isfinite(guard_factor) and guard_factor >= 0):
        raise ValueError(f"guard_factor must be 0 or above, got {guard_factor!r}")
    if standard_uncertainty is not None and ci95 is not None:
        raise ValueError("give standard_uncertainty or ci95, not both")
    wanted = limits.words(unit)
    if value is None or math.isnan(value):
        return Verdict("undecided", None, None, f"{name} is not known; it is to be {wanted}.")
    sides = _sides(value, standard_uncertainty, ci95)
    shown = _rounded(value, sides, limits)
    said = f"{name} is {bound + ' ' if bound else ''}{shown}{_after(unit)}, to be {wanted}"
    if rule == "guarded" and sides is None:
        return Verdict(
            "undecided",
            None,
            None,
            f"{said}: without an interval it cannot be decided. Measure more fields or specimens.",
        )
    probability = None
    if sides is not None:
        spread = (sides[0] / NORMAL_FACTOR, sides[1] / NORMAL_FACTOR)
        probability = conformance_probability(value, spread, limits)
    lower, upper = (0.0, 0.0) if rule == "simple" or sides is None else sides
    guards = (guard_factor * lower, guard_factor * upper)
    outcome = _decide(value, limits, guards, bound)
    guard = max(
        g for g, limit in zip(guards, (limits.at_least, limits.at_most), strict=True) if limit is not None
    )
    return Verdict(
        outcome, guard, probability, _sentence(said, outcome, rule, guard, probability, bound, unit)
    )


def _sides(
    value: float, standard_uncertainty: float | None, ci95: tuple[float, float] | None
) -> tuple[float, float] | None:
    """Expanded uncertainty below and above; None where there is none."""
    if standard_uncertainty is not None:
        if not (math.isfinite(standard_uncertainty) and standard_uncertainty >= 0):
            raise ValueError(f"the uncertainty must be 0 or above, got {standard_uncertainty!r}")
        return NORMAL_FACTOR * standard_uncertainty, NORMAL_FACTOR * standard_uncertainty
    if ci95 is None or not all(math.isfinite(limit) for limit in ci95):
        return None
    low, high = ci95
    if not low <= value <= high:
        raise ValueError(f"the interval {ci95!r} does not hold {value!r}")
    return value - low, high - value


def _decide(value: float, limits: Limits, guards: tuple[float, float], bound: Bound) -> Outcome:
    below, above = guards
    passes = limits.hold(value, below, above)
    too_low = limits.at_least is not None and value < limits.at_least - above
    too_high = limits.at_most is not None and value > limits.at_most + below
    if bound == "at least":  # the true value may be anything above
        passes, too_low = passes and limits.at_most is None, False
    elif bound == "at most":
        passes, too_high = passes and limits.at_least is None, False
    return "pass" if passes else "fail" if too_low or too_high else "undecided"


def _sentence(
    said: str,
    outcome: Outcome,
    rule: Rule,
    guard: float,
    probability: float | None,
    bound: Bound,
    unit: str,
) -> str:
    parts = [f"{said}: {outcome}"]
    if rule == "simple":
        parts.append("by the figure alone, whatever its uncertainty")
    else:
        parts.append(f"guard band {guard:.3g}{_after(unit)}")
    if bound and outcome == "undecided":
        parts.append(f"the true value may lie {'above' if bound == 'at least' else 'below'} the figure")
    elif probability is not None and not bound:
        parts.append(f"probability of conformity {_percent(probability)}")
    return "; ".join(parts) + "."


def _rounded(value: float, sides: tuple[float, float] | None, limits: Limits) -> str:
    """The figure to two digits of its expanded uncertainty, and more where it would seem to be on a limit."""
    narrow = min((side for side in sides or () if side > 0), default=0.0)
    digits = 4
    if narrow and value:
        digits = math.floor(math.log10(abs(value))) - math.floor(math.log10(narrow)) + 2
    digits = min(max(digits, 2), 4)
    while digits < 17 and any(
        limit is not None and (float(f"{value:.{digits}g}") - limit) * (value - limit) <= 0 and value != limit
        for limit in (limits.at_least, limits.at_most)
    ):
        digits += 1
    text = f"{value:.{digits}g}"
    return f"{float(text):.0f}" if "e+" in text and abs(value) < 1e6 else text


def _percent(probability: float) -> str:
    if probability > 0.999:
        return "above 99.9 %"
    return "below 0.1 %" if probability < 0.001 else f"{100 * probability:.3g} %"


def _after(unit: str) -> str:
    return f" {unit}" if unit and unit != "1" else ""


def _normal(z: float) -> float:
    """Standard normal distribution function."""
    return 0.5 * math.erfc(-z / math.sqrt(2))

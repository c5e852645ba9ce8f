"""Uncertainty budgets: what a figure's doubt is made of, what dominates it, and what would make it surer.

First order after the Guide to the Expression of Uncertainty in Measurement (JCGM 100). Where the model bends
too much for that, `surfscan.estimates.monte_carlo` propagates whole distributions.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from surfscan.estimates.groups import welch_satterthwaite
from surfscan.estimates.planning import needed_scale, needed_to_average

Evaluation = Literal["A", "B"]

SOURCES = {
    "scale": "scale",
    "edge": "where edges and thresholds lie",
    "levelling": "levelling of the height map",
    "fields": "differences between fields",
    "specimens": "differences between specimens",
    "counting": "counting of few objects",
    "hand": "correction by hand",
    "fit window": "choice of the fit window",
    "reading": "scatter and resolution of readings",
    "area": "wetted area",
    "time": "hours of exposure",
    "material": "density, valence and composition",
    "cleaning": "what cleaning took away",
    "other": "other causes",
}
"""Where a contribution comes from -> the same in words."""

_REMEDIES = {
    "edge": "Take pictures at higher magnification or with sharper edges",
    "levelling": "Map a wider field with bare metal round the pits, or give a datum",
    "hand": "Let the reviewers agree on the doubtful objects, or let a third decide",
    "fit window": "Repeat the sweep over a wider range, or state the window",
    "reading": "Repeat the readings, or read with a finer instrument",
    "area": "Measure the wetted area anew, or mask it to a known one",
    "time": "Log when the specimens go in and come out",
    "material": "State the composition and density of this very lot",
    "cleaning": "Clean more blanks, and more often",
    "other": "Look into its largest contribution",
}
_AVERAGED = {"fields": "field", "counting": "field", "specimens": "specimen"}


@dataclass(frozen=True)
class Contribution:
    """What one cause adds to the uncertainty of a figure.

    Attributes
    ----------
    name : str
        In words, unique within a budget.
    source : str
        One of `SOURCES`.
    sensitivity : float
        Change of the figure per change of the cause.
    standard_uncertainty : float
        Of the cause, 0 or above (k = 1).
    degrees_of_freedom : float
        Of that; infinite where it is taken as known.
    evaluation : str
        "A" by statistics of readings, "B" by other means.
    note : str
        What it rests on.
    """

    name: str
    source: str
    sensitivity: float
    standard_uncertainty: float
    degrees_of_freedom: float = math.inf
    evaluation: Evaluation = "B"
    note: str = ""

    def __post_init__(self) -> None:
        check_source(self.name, self.source, self.standard_uncertainty, self.degrees_of_freedom)
        if not math.isfinite(self.sensitivity):
            raise ValueError(f"{self.name}: the sensitivity must be finite, got {self.sensitivity!r}")

    @property
    def part(self) -> float:
        """Sensitivity times standard uncertainty, with its sign, in the unit of the figure."""
        return self.sensitivity * self.standard_uncertainty

    @classmethod
    def from_half_width(
        cls,
        name: str,
        source: str,
        half_width: float,
        *,
        degrees_of_freedom: float = math.inf,
        evaluation: Evaluation = "A",
        note: str = "",
    ) -> Contribution:
        """Contribution of sensitivity 1 from half of a 95 % interval, in the unit of the figure."""
        u = half_width / coverage_factor(degrees_of_freedom)
        return cls(name, source, 1.0, u, degrees_of_freedom, evaluation, note)

    @classmethod
    def from_range(cls, name: str, source: str, low: float, high: float, *, note: str = "") -> Contribution:
        """Contribution of sensitivity 1 from a range that the figure may lie in, nowhere more likely.

        Of what two reviewers, two thresholds or several fit windows make of it: the range over √12 (JCGM 100,
        4.3.7).

        Raises
        ------
        ValueError
            If `high` lies below `low`.
        """
        return cls(name, source, 1.0, (high - low) / math.sqrt(12), math.inf, "B", note)


@dataclass(frozen=True)
class Budget:
    """Uncertainty budget of one figure.

    Attributes
    ----------
    figure : str
        In words.
    unit : str
    value : float
    contributions : tuple of Contribution
    correlations : mapping of (name, name) to float
        Correlation coefficients of causes, -1 to 1, one entry a pair; pairs not named are independent.

    Raises
    ------
    ValueError
        If names repeat, or a correlation is out of range or names no contribution.

    References
    ----------
    JCGM 100:2008, 5.1.2 (independent), 5.2.2 (correlated), G.4 (degrees of freedom).
    """

    figure: str
    unit: str
    value: float
    contributions: tuple[Contribution, ...]
    correlations: Mapping[tuple[str, str], float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        names = [c.name for c in self.contributions]
        if len(set(names)) < len(names):
            raise ValueError(f"contributions must have names of their own, got {names}")
        _correlation_matrix(names, self.correlations)

    @property
    def standard_uncertainty(self) -> float:
        """Combined standard uncertainty, unit of the figure; 0 without contributions."""
        return math.sqrt(max(float(self._covariances().sum()), 0.0))

    @property
    def effective_degrees_of_freedom(self) -> float:
        """Welch-Satterthwaite over independent contributions, not rounded; infinite without uncertainty.

        Contributions that are correlated enter as one, with the fewest degrees of freedom among them: the
        formula knows none for their sum, and this errs on the wide side.
        """
        parts, freedoms = [], []
        for members in self._correlated_sets():
            variance = float(self._covariances()[np.ix_(members, members)].sum())
            parts.append(math.sqrt(max(variance, 0.0)))
            shared = [self.contributions[i] for i in members if self.contributions[i].part]
            freedoms.append(min((c.degrees_of_freedom for c in shared), default=math.inf))
        return welch_satterthwaite(parts, freedoms) if any(parts) else math.inf

    def expanded(self, probability: float = 0.95) -> float:
        """Expanded uncertainty: half of the interval that holds the value with this probability.

        Raises
        ------
        ValueError
            If the probability is not between 0 and 1.
        """
        u = self.standard_uncertainty
        return coverage_factor(self.effective_degrees_of_freedom, probability) * u if u else 0.0

    def interval(self, probability: float = 0.95) -> tuple[float, float]:
        """Value minus and plus the expanded uncertainty."""
        half = self.expanded(probability)
        return self.value - half, self.value + half

    def shares(self) -> dict[str, float]:
        """Share of every contribution in the variance; they sum to 1. Empty where there is no uncertainty.

        A correlation is split evenly between its two causes, so that a share can be below 0 where one takes
        off what another adds.
        """
        covariances = self._covariances()
        total = float(covariances.sum())
        if total <= 0:
            return {}
        each = covariances.sum(axis=1) / total
        return {c.name: float(share) for c, share in zip(self.contributions, each, strict=True)}

    def shares_by_source(self) -> dict[str, float]:
        """Shares summed over the contributions of one source, largest first."""
        out: dict[str, float] = {}
        sources = {c.name: c.source for c in self.contributions}
        for name, share in self.shares().items():
            out[sources[name]] = out.get(sources[name], 0.0) + share
        return dict(sorted(out.items(), key=lambda item: -item[1]))

    def dominant(self) -> Contribution | None:
        """The contribution with the largest share, the first of several alike; None without uncertainty."""
        shares = self.shares()
        if not shares:
            return None
        return max(self.contributions, key=lambda c: shares[c.name])

    def without(self, *sources: str) -> Budget:
        """The same budget as if some sources had no uncertainty."""
        kept = tuple(c for c in self.contributions if c.source not in sources)
        names = {c.name for c in kept}
        pairs = {pair: r for pair, r in self.correlations.items() if names.issuperset(pair)}
        return Budget(self.figure, self.unit, self.value, kept, pairs)

    def _covariances(self) -> np.ndarray:
        parts = np.array([c.part for c in self.contributions])
        names = [c.name for c in self.contributions]
        return _correlation_matrix(names, self.correlations) * np.outer(parts, parts)

    def _correlated_sets(self) -> list[list[int]]:
        """Places of the contributions, those that hang together by a correlation in one list."""
        linked = _correlation_matrix([c.name for c in self.contributions], self.correlations) != 0
        left, out = set(range(len(self.contributions))), []
        while left:
            members, border = set(), {min(left)}
            while border:
                members |= border
                border = {int(j) for i in border for j in np.flatnonzero(linked[i])} - members
            out.append(sorted(members))
            left -= members
        return out


def coverage_factor(degrees_of_freedom: float, probability: float = 0.95) -> float:
    """Student t that leaves half of 1 - `probability` on each side.

    Parameters
    ----------
    degrees_of_freedom : float
        Above 0; need not be whole; infinite for the normal distribution.
    probability : float
        Above 0 and below 1.

    Raises
    ------
    ValueError
        If one is out of range.

    References
    ----------
    JCGM 100:2008, G.3 and Table G.2.
    """
    from scipy.special import ndtri, stdtrit

    if not 0 < probability < 1:
        raise ValueError(f"probability must lie between 0 and 1, got {probability!r}")
    if not degrees_of_freedom > 0:
        raise ValueError(f"degrees of freedom must be above 0, got {degrees_of_freedom!r}")
    upper = (1 + probability) / 2
    if math.isinf(degrees_of_freedom):
        return float(ndtri(upper))
    return float(stdtrit(degrees_of_freedom, upper))


def advice(
    budget: Budget,
    *,
    relative_accuracy_percent: float = 10.0,
    fields: int | None = None,
    specimens: int | None = None,
    expanded: float | None = None,
) -> str:
    """One plain line: how well a figure is known, what dominates, and what would make it surer.

    Parameters
    ----------
    budget : Budget
    relative_accuracy_percent : float
        Wanted half width of the 95 % interval, in percent of the figure; above 0.
    fields, specimens : int, optional
        How many the contributions of source "fields" and "specimens" rest on; without them no count is given.
    expanded : float, optional
        Half of the interval that is stated, where that is not the budget's own to first order.

    Returns
    -------
    str
        Ends on a full stop.

    Raises
    ------
    ValueError
        If the wanted accuracy is not above 0.

    References
    ----------
    ASTM E562-19, Eq. 7, for the counts (see `surfscan.estimates.planning`).
    """
    if not relative_accuracy_percent > 0:
        raise ValueError(f"relative_accuracy_percent must be above 0, got {relative_accuracy_percent!r}")
    shares = budget.shares_by_source()
    if not shares:
        return f"No uncertainty of the {budget.figure} is known, so nothing can be planned."
    source, share = next(iter(shares.items()))
    cause = f"{SOURCES[source]} ({100 * share:.0f} % of the variance)"
    if budget.value == 0:
        return f"The {budget.figure} is 0, so it has no relative accuracy; its doubt is mostly {cause}."
    reached = 100 * (budget.expanded() if expanded is None else expanded) / abs(budget.value)
    goal = f"{relative_accuracy_percent:g} %"
    known = f"Known to {_percent(reached)} (95 %), mostly {cause}"
    if reached <= relative_accuracy_percent:
        return f"{known}: better than {goal}, nothing more is needed."
    rest = budget.without(*_averaged_with(source))
    if source in _AVERAGED:
        have = fields if _AVERAGED[source] == "field" else specimens
        return f"{known}. {_more_replicates(budget, rest, source, relative_accuracy_percent, have)}"
    least = 100 * rest.expanded() / abs(budget.value)
    if least > relative_accuracy_percent:
        beside = (
            f" It would still leave {_percent(least)}, mostly {SOURCES[next(iter(rest.shares_by_source()))]}."
        )
    else:
        beside = f" That can bring {goal}."
    if source == "scale":
        return f"{known}. {_better_scale(budget, rest, relative_accuracy_percent)}"
    return f"{known}. {_REMEDIES[source]}.{beside}"


def _averaged_with(source: str) -> tuple[str, ...]:
    """Sources that one more replicate of this one makes smaller too: a specimen brings its own fields."""
    if source == "specimens":
        return ("specimens", "fields", "counting")
    return ("fields", "counting") if source in ("fields", "counting") else (source,)


def _more_replicates(
    budget: Budget, rest: Budget, source: str, relative_accuracy_percent: float, have: int | None
) -> str:
    noun = _AVERAGED[source]
    floor = 100 * rest.expanded() / abs(budget.value)
    if floor >= relative_accuracy_percent:
        return (
            f"More {noun}s alone cannot bring {relative_accuracy_percent:g} %: {_first_cause(rest)} would "
            f"still leave {_percent(floor)}."
        )
    if have is None:
        return f"Take more {noun}s."
    deviation = math.sqrt(have * (budget.standard_uncertainty**2 - rest.standard_uncertainty**2))
    needed = needed_to_average(
        abs(budget.value),
        deviation,
        relative_accuracy_percent,
        common_uncertainty=rest.standard_uncertainty,
        least=have + 1,
    )
    if needed is None:
        return f"No practicable number of {noun}s brings {relative_accuracy_percent:g} %."
    return (
        f"For {relative_accuracy_percent:g} % take about {needed} {noun}s in place of {have}: "
        f"{needed - have} more."
    )


def _better_scale(budget: Budget, rest: Budget, relative_accuracy_percent: float) -> str:
    share = math.sqrt(max(budget.standard_uncertainty**2 - rest.standard_uncertainty**2, 0.0))
    factor = needed_scale(abs(budget.value), share, rest.standard_uncertainty, relative_accuracy_percent)
    if factor is None:
        return (
            f"A better scale alone cannot bring {relative_accuracy_percent:g} %: {_first_cause(rest)} "
            f"would still leave {_percent(100 * rest.expanded() / abs(budget.value))}."
        )
    return (
        f"For {relative_accuracy_percent:g} % the scale must be {factor:.2g} times as sure: calibrate with a "
        "certified standard, over a longer distance."
    )


def _first_cause(budget: Budget) -> str:
    return SOURCES[next(iter(budget.shares_by_source()))]


def _percent(value: float) -> str:
    return f"{value:.2g} %" if value < 100 else f"{value:.0f} %"


def check_source(name: str, source: str, standard_uncertainty: float, degrees_of_freedom: float) -> None:
    """Refuse a source that is not one of `SOURCES`, and nonsense as uncertainty or degrees of freedom.

    Raises
    ------
    ValueError
    """
    if source not in SOURCES:
        raise ValueError(f"{name}: source must be one of {', '.join(SOURCES)}, got {source!r}")
    if not (math.isfinite(standard_uncertainty) and standard_uncertainty >= 0):
        raise ValueError(
            f"{name}: the standard uncertainty must be finite and not below 0, got {standard_uncertainty!r}"
        )
    if not degrees_of_freedom > 0:
        raise ValueError(f"{name}: degrees of freedom must be above 0, got {degrees_of_freedom!r}")


def _correlation_matrix(names: Sequence[str], correlations: Mapping[tuple[str, str], float]) -> np.ndarray:
    place = {name: i for i, name in enumerate(names)}
    matrix = np.eye(len(names))
    for (first, second), r in correlations.items():
        if first not in place or second not in place or first == second:
            raise ValueError(f"correlation of {first!r} with {second!r}: no such pair of contributions")
        if not -1 <= r <= 1:
            raise ValueError(f"correlation of {first!r} with {second!r} must lie between -1 and 1, got {r!r}")
        matrix[place[first], place[second]] = matrix[place[second], place[first]] = r
    if correlations and float(np.linalg.eigvalsh(matrix).min()) < -1e-9:
        raise ValueError("these correlations contradict one another: no variables can have them all")
    return matrix

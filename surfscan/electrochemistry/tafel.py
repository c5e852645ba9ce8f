"""Tafel extrapolation: straight stretches of log current found by a stated rule, and carried back to Ecorr.

A region starts 50 mV or more from the zero-current potential, spans a decade of current or more, and the
slope of each of its quarters lies within a tenth of that of the whole (all settings; the first two are the
usual advice of ASTM G102 and textbooks, from memory, the last common practice, no source). The longest
such stretch of a branch is its region; shorter ones that also pass say how much the choice matters.

Near Ecorr the opposite reaction still takes part of the current: it is added back, from the line of the
other branch where that is straight, else as the corrosion current falling off with the slope of this
branch, and how much that matters enters the uncertainty (closed form: both partial currents are the
corrosion current at Ecorr). No region reaches across a step of the current (`range_steps`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from surfscan.electrochemistry.correlated import correlation_length
from surfscan.electrochemistry.range_steps import RangeStep, find_range_steps
from surfscan.electrochemistry.zero_current import rising
from surfscan.estimates.groups import t_factor

Interval = tuple[float, float]

_QUARTERS = 4
_FEWEST_A_QUARTER = 4
_GRID = 48
_PLAUSIBLE_SHARE = 0.7
_MEETS_WITHIN_V = 0.01
_NEARLY_ALL = 0.95
_LEAST_FREEDOM = (
    4.0  # smooth misfit of a stretch that passes is bounded by its rule (common practice, no source)
)
_ROUNDS = 5
_OPPOSITE_DOUBT = (
    0.3  # standard uncertainty of the opposite reaction, as a fraction (common practice, no source)
)
_NORMAL_MEDIAN = 0.6744897501960817
_SECOND_DIFFERENCE = math.sqrt(6.0)


@dataclass(frozen=True)
class TafelRules:
    """What makes a Tafel region; see the settings of the same names.

    Attributes
    ----------
    least_distance_V, least_decades, slope_constancy : float
    slope_limits_V : (float, float)
        V per decade.
    largest_noise : float
        Fraction of the current.
    largest_interval_ratio : float
        Upper over lower end of the interval of the corrosion current.
    """

    least_distance_V: float = 0.05
    least_decades: float = 1.0
    slope_constancy: float = 0.1
    slope_limits_V: Interval = (0.025, 0.5)
    largest_noise: float = 0.2
    largest_interval_ratio: float = 2.0


@dataclass(frozen=True)
class TafelBranch:
    """One branch, log10 of the size of the current against the distance from the zero-current potential.

    Attributes
    ----------
    side : int
        1 anodic, -1 cathodic.
    slope_V : float or None
        Tafel slope, V per decade, positive; where refused for being short, that of a straight stretch at
        whose end the run ends.
    slope_ci95 : (float, float) or None
    level : float or None
        log10 of the density in µA/cm² where the line meets the zero-current potential.
    level_uncertainty : float or None
        Standard uncertainty of it, with that of the choice of region.
    window_V : (float, float) or None
        Potentials of the region, lower first.
    decades : float
        Span of the region, or of the longest straight stretch where refused.
    regions : int
        Stretches that pass and are at least 0.7 as long.
    covariance : ndarray of shape (2, 2) or None
        Of level and reciprocal slope (decades per V).
    refused : str
    """

    side: int
    slope_V: float | None = None
    slope_ci95: Interval | None = None
    level: float | None = None
    level_uncertainty: float | None = None
    window_V: Interval | None = None
    decades: float = 0.0
    regions: int = 0
    covariance: np.ndarray | None = None
    refused: str = ""

    @property
    def name(self) -> str:
        """ "anodic" or "cathodic"."""
        return "anodic" if self.side > 0 else "cathodic"


@dataclass(frozen=True)
class TafelExtrapolation:
    """Corrosion current density by Tafel extrapolation.

    Attributes
    ----------
    icorr_uA_per_cm2 : float or None
    ci95 : (float, float) or None
    anodic, cathodic : TafelBranch
    meets : str
        What was made to meet: "both branches", "anodic branch and Ecorr", "cathodic branch and Ecorr" or "".
    meets_at_V : float or None
        Potential at which they meet.
    refused : str
    warnings : tuple of str
    """

    icorr_uA_per_cm2: float | None
    ci95: Interval | None
    anodic: TafelBranch
    cathodic: TafelBranch
    meets: str = ""
    meets_at_V: float | None = None
    refused: str = ""
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class _Line:
    """Least-squares line through points `start` to `stop` - 1."""

    start: int
    stop: int
    level: float
    per_V: float
    decades: float


class _Sums:
    """Running sums, so that the line of any stretch costs a few operations."""

    def __init__(self, x: np.ndarray, y: np.ndarray) -> None:
        self.x, self.y = x, y
        columns = np.stack([np.ones_like(x), x, y, x * x, x * y])
        self.sums = np.concatenate([np.zeros((5, 1)), np.cumsum(columns, axis=1)], axis=1)

    def lines(self, start: np.ndarray, stop: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Levels at x = 0 and slopes of stretches, shape as `start`."""
        n, sx, sy, sxx, sxy = self.sums[:, stop] - self.sums[:, start]
        with np.errstate(divide="ignore", invalid="ignore"):
            slope = (n * sxy - sx * sy) / (n * sxx - sx * sx)
            return (sy - slope * sx) / n, slope


def extrapolate_tafel(
    potential_V: np.ndarray,
    density_uA_per_cm2: np.ndarray,
    zero_V: float,
    rules: TafelRules | None = None,
    *,
    zero_uncertainty_V: float = 0.0,
    steps: tuple[RangeStep, ...] = (),
) -> TafelExtrapolation:
    """Corrosion current density from the straight stretches of both branches.

    Both straight: the density at which the two lines meet. One straight: that of its line at the zero-current
    potential; so the cathodic branch serves where the anodic one is not straight, as over dissolving and
    passivating metals. Where both lines are straight but meet more than 10 mV from the zero-current
    potential, that is warned about and enters the interval.

    Parameters
    ----------
    potential_V, density_uA_per_cm2 : ndarray of shape (n,)
        One run, rising or falling, anodic positive.
    zero_V : float
        Zero-current potential.
    rules : TafelRules, optional
    zero_uncertainty_V : float, optional
        Standard uncertainty of it.
    steps : tuple of RangeStep, optional
        Steps of the current known beside those found here, as a fit finds them nearer to zero current.

    Returns
    -------
    TafelExtrapolation

    Raises
    ------
    ValueError
        As `rising`.
    """
    rules = rules or TafelRules()
    potential, density = rising(potential_V, density_uA_per_cm2)
    steps = (*steps, *find_range_steps(potential, density, zero_V))
    anodic, cathodic = TafelBranch(1), TafelBranch(-1)
    for _ in range(_ROUNDS):
        anodic, cathodic = (
            find_branch(potential, density, zero_V, side, rules, _opposite(other, own), steps)
            for side, own, other in ((1, anodic, cathodic), (-1, cathodic, anodic))
        )
    straight = [branch for branch in (anodic, cathodic) if not branch.refused]
    if not straight:
        return TafelExtrapolation(
            None, None, anodic, cathodic, refused=f"anodic: {anodic.refused}; cathodic: {cathodic.refused}"
        )
    warnings: list[str] = []
    if len(straight) == 2:
        level, uncertainty, offset = _intersection(anodic, cathodic)
        meets = "both branches"
        if abs(offset) > _MEETS_WITHIN_V:
            warnings.append(
                f"The two Tafel lines meet {1000 * offset:+.0f} mV from the zero-current potential: one "
                "of the "
                "branches is not the activation branch of the reaction at rest, or current is lost elsewhere."
            )
    else:
        (branch,) = straight
        assert branch.level is not None and branch.slope_V is not None
        assert branch.level_uncertainty is not None
        level, offset, meets = branch.level, 0.0, f"{branch.name} branch and Ecorr"
        uncertainty = math.hypot(branch.level_uncertainty, zero_uncertainty_V / branch.slope_V)
    half = 1.96 * uncertainty
    if 10 ** (2 * half) > rules.largest_interval_ratio:
        reason = (
            f"the 95 % interval spans a factor of {10 ** (2 * half):.1f} "
            f"({rules.largest_interval_ratio:g} allowed): "
            "regions that pass do not agree, or noise is large"
        )
        return TafelExtrapolation(
            None, None, anodic, cathodic, meets, zero_V + offset, reason, tuple(warnings)
        )
    return TafelExtrapolation(
        10**level,
        (10 ** (level - half), 10 ** (level + half)),
        anodic,
        cathodic,
        meets,
        zero_V + offset,
        "",
        tuple(warnings),
    )


def _opposite(other: TafelBranch, own: TafelBranch) -> Interval | None:
    """Level and slope, decades per V, of the opposite reaction; None where nothing is known of it."""
    known = other if other.slope_V is not None else own
    if known.slope_V is None or known.level is None:
        return None
    return known.level, 1 / known.slope_V


def _intersection(anodic: TafelBranch, cathodic: TafelBranch) -> tuple[float, float, float]:
    """Level where the lines meet, its standard uncertainty, and where, V from the zero-current potential.

    The uncertainty holds, besides that of the lines, how far apart they pass the zero-current potential,
    as the half width of an even distribution.
    """
    assert anodic.level is not None and cathodic.level is not None
    assert anodic.slope_V is not None and cathodic.slope_V is not None
    assert anodic.covariance is not None and cathodic.covariance is not None
    a, c = 1 / anodic.slope_V, 1 / cathodic.slope_V
    offset = (cathodic.level - anodic.level) / (a + c)
    level = anodic.level + a * offset
    gradient_a = np.array([c / (a + c), c * offset / (a + c)])
    gradient_c = np.array([a / (a + c), -a * offset / (a + c)])
    variance = float(
        gradient_a @ anodic.covariance @ gradient_a + gradient_c @ cathodic.covariance @ gradient_c
    )
    apart = max(abs(anodic.level - level), abs(cathodic.level - level))
    return level, math.sqrt(variance + apart**2 / 3), offset


def find_branch(
    potential_V: np.ndarray,
    density_uA_per_cm2: np.ndarray,
    zero_V: float,
    side: int,
    rules: TafelRules,
    opposite: Interval | None = None,
    steps: tuple[RangeStep, ...] = (),
) -> TafelBranch:
    """The Tafel region of one branch, or why it has none.

    Parameters
    ----------
    potential_V, density_uA_per_cm2 : ndarray of shape (n,)
        Potential rising, all finite.
    zero_V : float
    side : {1, -1}
        Anodic or cathodic.
    rules : TafelRules
    opposite : (float, float), optional
        log10 of the density of the opposite reaction at the zero-current potential, and the decades per V
        by which it falls off; it is added back. None adds nothing.
    steps : tuple of RangeStep, optional
        Points beyond the nearest of this branch are not used: a line cannot be carried across it.

    Returns
    -------
    TafelBranch
    """
    mine = [each for each in steps if each.side == side]
    if mine:
        step = min(mine, key=lambda each: side * each.potential_V)
        inner = side * (potential_V - step.potential_V) < 0
        found = find_branch(potential_V[inner], density_uA_per_cm2[inner], zero_V, side, rules, opposite)
        if found.refused:
            said = f"{found.refused}; the current steps by {step.said}, as where a range is switched"
            found = replace(found, refused=f"{said}, and what lies beyond is not used")
        return found
    distance = side * (potential_V - zero_V)
    at = np.flatnonzero((distance >= rules.least_distance_V) & (side * density_uA_per_cm2 > 0))
    at = at[np.argsort(distance[at], kind="stable")]
    reach = float(distance.max())
    if at.size < _QUARTERS * _FEWEST_A_QUARTER:
        return TafelBranch(
            side,
            refused=f"the run reaches {1000 * max(reach, 0.0):.0f} mV from Ecorr with {at.size} points "
            "beyond "
            f"{1000 * rules.least_distance_V:g} mV: {_QUARTERS * _FEWEST_A_QUARTER} are needed",
        )
    x, net = distance[at], side * density_uA_per_cm2[at]
    y = np.log10(net)
    noise = float(np.median(np.abs(np.diff(y, 2)))) / _NORMAL_MEDIAN / _SECOND_DIFFERENCE * math.log(10)
    if noise > rules.largest_noise:
        return TafelBranch(
            side,
            refused=f"noise of {100 * noise:.0f} % from point to point ({100 * rules.largest_noise:g} % "
            "allowed)",
        )
    if opposite is not None:
        y = np.log10(net + 10 ** (opposite[0] - opposite[1] * x))
    straight = _straight_stretches(x, y, rules)
    if not straight:
        return TafelBranch(side, refused=f"no part is straight from {_range(x)}")
    first = max(straight, key=lambda line: (line.decades, -line.start))
    if first.decades < rules.least_decades:
        to_the_end = first.stop >= _NEARLY_ALL * x.size
        return TafelBranch(
            side,
            1 / first.per_V if to_the_end else None,
            level=first.level if to_the_end else None,
            decades=first.decades,
            refused=f"the straight part spans {first.decades:.2g} decades from {_range(x)} "
            f"({rules.least_decades:g} needed)",
        )
    others = [
        line
        for line in straight
        if line.decades >= max(rules.least_decades, _PLAUSIBLE_SHARE * first.decades)
    ]
    return _judged(x, y, np.log10(net), first, others, zero_V, side)


def _range(x: np.ndarray) -> str:
    return f"{1000 * x[0]:.0f} to {1000 * x[-1]:.0f} mV from Ecorr"


def _straight_stretches(x: np.ndarray, y: np.ndarray, rules: TafelRules) -> list[_Line]:
    """All stretches between points of a grid whose quarters have the slope of the whole."""
    marks = np.unique(np.linspace(0, x.size, min(_GRID, x.size // _FEWEST_A_QUARTER) + 1).astype(int))
    first, last = np.triu_indices(marks.size, 1)
    start, stop = marks[first], marks[last]
    enough = stop - start >= _QUARTERS * _FEWEST_A_QUARTER
    start, stop = start[enough], stop[enough]
    sums = _Sums(x, y)
    level, slope = sums.lines(start, stop)
    low, high = rules.slope_limits_V
    with np.errstate(divide="ignore", invalid="ignore"):
        passes = (slope >= 1 / high) & (slope <= 1 / low)
        edges = np.linspace(x[start], x[stop - 1], _QUARTERS + 1)
        for k in range(_QUARTERS):
            a = np.maximum(np.searchsorted(x, edges[k], side="left"), start)
            b = np.minimum(np.searchsorted(x, edges[k + 1], side="right"), stop)
            part = sums.lines(np.minimum(a, b), b)[1]
            passes &= (b - a >= _FEWEST_A_QUARTER) & (np.abs(part / slope - 1) <= rules.slope_constancy)
    return [
        _Line(int(a), int(b), float(c), float(s), float(s * (x[b - 1] - x[a])))
        for a, b, c, s in zip(start[passes], stop[passes], level[passes], slope[passes], strict=True)
    ]


def _judged(
    x: np.ndarray,
    y: np.ndarray,
    as_measured: np.ndarray,
    line: _Line,
    others: list[_Line],
    zero_V: float,
    side: int,
) -> TafelBranch:
    """A region and its uncertainty: correlated residuals, choice of region, opposite reaction."""
    inside = slice(line.start, line.stop)
    powers = np.stack([np.ones(line.stop - line.start), x[inside]], axis=1)
    left = y[inside] - powers @ np.array([line.level, line.per_V])
    length = correlation_length(left)
    freedom = max(left.size / length - 2, _LEAST_FREEDOM)
    regression = float(left @ left) / freedom * np.linalg.inv(powers.T @ powers)
    values = np.array([[each.level, each.per_V] for each in others]) - [line.level, line.per_V]
    spread = values.T @ values / len(values)
    factor = (t_factor(freedom) / 1.96) ** 2
    shift = np.linalg.lstsq(powers, y[inside] - as_measured[inside], rcond=None)[0]
    covariance = factor * regression + spread + np.outer(shift, shift) * _OPPOSITE_DOUBT**2
    half = 1.96 * math.sqrt(covariance[1, 1])
    ends = sorted((zero_V + side * float(x[line.start]), zero_V + side * float(x[line.stop - 1])))
    steepest, flattest = line.per_V + half, max(line.per_V - half, 1e-3)
    return TafelBranch(
        side,
        1 / line.per_V,
        (1 / steepest, 1 / flattest),
        line.level,
        math.sqrt(covariance[0, 0]),
        (ends[0], ends[1]),
        line.decades,
        len(others),
        covariance,
    )

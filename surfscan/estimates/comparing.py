"""Groups of specimens compared: how large the difference is first, and only then whether chance explains it.

One value a specimen: fields and pits are subsamples (see `surfscan.estimates.groups`). Below three specimens
in a group nothing is compared, and the points stand for themselves.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from surfscan.estimates.effect_size import EffectSize, hedges_g, known_values
from surfscan.estimates.groups import MIN_SPECIMENS, specimen_mean, subtract_baseline, t_factor
from surfscan.estimates.uncertainty import coverage_factor

Test = Literal["Welch", "permutation"]
Correction = Literal["Games-Howell", "Holm"]

MOST_SPLITS = 50_000
"""Up to so many ways of dealing specimens into two groups all are counted; above, as many are drawn."""

SEED = 20260207


@dataclass(frozen=True)
class TwoGroups:
    """Second group less first.

    Attributes
    ----------
    names : (str, str)
    points : (tuple of float, tuple of float)
        One value a specimen: what a chart shows whether or not anything could be compared.
    difference : float or None
        Mean of the second less mean of the first; None where refused.
    ci95 : (float, float) or None
        Of the difference, by Welch.
    effect : EffectSize or None
    test : str
        "Welch" or "permutation".
    statistic, degrees_of_freedom : float or None
        Of Welch's t; None for the permutation test.
    p : float or None
        Two-sided.
    refused : str
        Why nothing is compared; empty where it is.
    sentence : str
        Effect first, p second, in plain words; the refusal where there is one.
    """

    names: tuple[str, str]
    points: tuple[tuple[float, ...], tuple[float, ...]]
    difference: float | None
    ci95: tuple[float, float] | None
    effect: EffectSize | None
    test: str
    statistic: float | None
    degrees_of_freedom: float | None
    p: float | None
    refused: str
    sentence: str


@dataclass(frozen=True)
class Pair:
    """Two of several groups, second less first, allowing for all the pairs that were looked at.

    Attributes
    ----------
    names : (str, str)
    difference : float
    ci95 : (float, float)
        Simultaneous: all pairs hold together with 95 %.
    effect : EffectSize
    p : float
        Adjusted for the number of pairs.
    """

    names: tuple[str, str]
    difference: float
    ci95: tuple[float, float]
    effect: EffectSize
    p: float


@dataclass(frozen=True)
class SeveralGroups:
    """Several groups by one-way analysis without equal variances, and all their pairs.

    Attributes
    ----------
    points : dict of str to tuple of float
        Of every group, compared or not.
    compared : tuple of str
        Groups with three specimens or more and some scatter.
    omega_squared : float or None
        Share of the variance between specimens that lies between groups; below 0 is shown as 0.
    statistic : float or None
        Welch's F.
    degrees_of_freedom : (float, float) or None
    p : float or None
    correction : str
        "Games-Howell" or "Holm".
    pairs : tuple of Pair
    refused : str
    left_out : tuple of str
        Why a group is not compared, one text a group.
    sentence : str
    """

    points: dict[str, tuple[float, ...]]
    compared: tuple[str, ...]
    omega_squared: float | None
    statistic: float | None
    degrees_of_freedom: tuple[float, float] | None
    p: float | None
    correction: str
    pairs: tuple[Pair, ...]
    refused: str
    left_out: tuple[str, ...]
    sentence: str


def compare_two(
    first: ArrayLike,
    second: ArrayLike,
    *,
    names: tuple[str, str] = ("first", "second"),
    unit: str = "",
    test: Test = "Welch",
    seed: int = SEED,
) -> TwoGroups:
    """Two groups: difference with interval, Hedges' g with interval, then p.

    Parameters
    ----------
    first, second : array_like of shape (n,)
        One value a specimen; not-a-number means it has none and is left out.
    names : (str, str)
    unit : str
        For the sentence.
    test : str
        "Welch", or "permutation" where the values may be far from normal.
    seed : int
        Of the permutations drawn where there are too many to count (`MOST_SPLITS`).

    Returns
    -------
    TwoGroups

    Raises
    ------
    ValueError
        If a value is infinite or the test unknown.

    References
    ----------
    Welch, Biometrika 34 (1947) 28, https://doi.org/10.1093/biomet/34.1-2.28. Hedges, J. Educ. Stat. 6 (1981)
    107, https://doi.org/10.3102/10769986006002107.
    """
    if test not in ("Welch", "permutation"):
        raise ValueError(f"test must be 'Welch' or 'permutation', got {test!r}")
    a, b = known_values(first), known_values(second)
    points = (tuple(a.tolist()), tuple(b.tolist()))
    reasons = [text for name, x in zip(names, (a, b), strict=True) if (text := _too_few(name, x))]
    if not reasons and np.ptp(a) == 0 and np.ptp(b) == 0:
        reasons = ["neither group shows any scatter, so no difference can be judged"]
    if reasons:
        refused = "; ".join(reasons)
        return TwoGroups(
            names, points, None, None, None, test, None, None, None, refused, f"Not compared: {refused}."
        )
    mean = subtract_baseline(specimen_mean(b), specimen_mean(a))
    low, high = mean.ci95 or (math.nan, math.nan)
    effect = hedges_g(a, b)
    if test == "Welch":
        statistic: float | None = mean.value / mean.standard_uncertainty
        freedom: float | None = mean.degrees_of_freedom
        p, remark = _t_p(mean.value / mean.standard_uncertainty, mean.degrees_of_freedom), ""
    else:
        statistic = freedom = None
        p, remark = permutation_p(a, b, seed=seed), _permutation_remark(len(a), len(b))
    unit = f" {unit}" if unit else ""
    sentence = (
        f"{names[1]} less {names[0]}: {mean.value:.3g}{unit} (95 % {low:.3g} to {high:.3g}), a "
        f"{effect.words} effect (Hedges' g {effect.hedges_g:.2g}, {effect.ci95[0]:.2g} to "
        f"{effect.ci95[1]:.2g}); {test} {_p_words(p)}.{remark}"
    )
    return TwoGroups(
        names, points, mean.value, (low, high), effect, test, statistic, freedom, p, "", sentence
    )


def compare_several(
    groups: Mapping[str, ArrayLike], *, unit: str = "", correction: Correction = "Games-Howell"
) -> SeveralGroups:
    """Several groups: share of the variance between them and every pair, then p.

    Parameters
    ----------
    groups : mapping of str to array_like
        Name -> one value a specimen; not-a-number means it has none.
    unit : str
        For the sentence.
    correction : str
        "Games-Howell" (studentized range, unequal variances), or "Holm" (Welch's p stepped down; intervals
        after Bonferroni, for Holm has none).

    Returns
    -------
    SeveralGroups
        Groups below three specimens, or without scatter, are named and left out.

    Raises
    ------
    ValueError
        If a value is infinite or the correction unknown.

    References
    ----------
    Welch, Biometrika 38 (1951) 330, https://doi.org/10.1093/biomet/38.3-4.330. Games & Howell, J. Educ.
    Stat. 1 (1976) 113, https://doi.org/10.3102/10769986001002113. Holm, Scand. J. Stat. 6 (1979) 65.
    """
    if correction not in ("Games-Howell", "Holm"):
        raise ValueError(f"correction must be 'Games-Howell' or 'Holm', got {correction!r}")
    values = {name: known_values(x) for name, x in groups.items()}
    points = {name: tuple(x.tolist()) for name, x in values.items()}
    left_out = []
    for name, x in values.items():
        reason = _too_few(name, x) or (f"{name}: all specimens gave the same value" if np.ptp(x) == 0 else "")
        if reason:
            left_out.append(reason)
    kept = {n: x for n, x in values.items() if len(x) >= MIN_SPECIMENS and np.ptp(x) > 0}
    if len(kept) < 2:
        refused = "; ".join(left_out) or "fewer than two groups"
        return SeveralGroups(
            points,
            tuple(kept),
            None,
            None,
            None,
            None,
            correction,
            (),
            refused,
            tuple(left_out),
            f"Not compared: {refused}.",
        )
    statistic, freedoms, p = welch_anova(list(kept.values()))
    total = sum(len(x) for x in kept.values())
    omega = freedoms[0] * (statistic - 1) / (freedoms[0] * (statistic - 1) + total)
    pairs = _pairs(kept, correction)
    clear = sum(pair.p < 0.05 for pair in pairs)
    widest = max(pairs, key=lambda pair: abs(pair.effect.hedges_g))
    unit = f" {unit}" if unit else ""
    sentence = (
        f"Groups hold {100 * max(omega, 0):.0f} % of the variance between specimens (ω²); largest effect "
        f"{widest.names[1]} less {widest.names[0]}: {widest.difference:.3g}{unit} (95 % "
        f"{widest.ci95[0]:.3g} to {widest.ci95[1]:.3g}, Hedges' g {widest.effect.hedges_g:.2g}). One-way "
        f"after Welch {_p_words(p)}; {clear} of {len(pairs)} pairs differ at 5 % ({correction})."
    )
    if left_out:
        sentence += f" Left out: {'; '.join(left_out)}."
    return SeveralGroups(
        points,
        tuple(kept),
        max(omega, 0.0),
        statistic,
        freedoms,
        p,
        correction,
        pairs,
        "",
        tuple(left_out),
        sentence,
    )


def permutation_p(
    first: ArrayLike, second: ArrayLike, *, seed: int = SEED, most_splits: int = MOST_SPLITS
) -> float:
    """Two-sided p of a difference of means: share of ways to deal the specimens that differ as much.

    Parameters
    ----------
    first, second : array_like of shape (n,)
    seed : int
        Used only where there are more than `most_splits` ways.
    most_splits : int
        Ways that are counted one by one.

    Returns
    -------
    float
        Twice the smaller of the two one-sided shares, at most 1. Exact where all ways are counted; else the
        share is (hits + 1) / (draws + 1), which never promises too much.

    References
    ----------
    Fisher (1935) The Design of Experiments. Phipson & Smyth, Stat. Appl. Genet. Mol. Biol. 9 (2010) 39,
    https://doi.org/10.2202/1544-6115.1585.
    """
    a, b = known_values(first), known_values(second)
    pooled, n = np.concatenate([a, b]), len(a)
    total = len(pooled)
    ways = math.comb(total, n)
    if ways <= most_splits:
        rows = np.array(list(combinations(range(total), n)))
    else:
        order = np.random.default_rng(seed).random((most_splits, total))
        rows = np.argsort(order, axis=1)[:, :n]
    sums = pooled[rows].sum(axis=1)
    slack = 1e-12 * max(1.0, float(np.abs(pooled).sum()))
    below = int(np.sum(sums <= a.sum() + slack))
    above = int(np.sum(sums >= a.sum() - slack))
    hits = min(below, above)
    share = hits / ways if ways <= most_splits else (hits + 1) / (most_splits + 1)
    return min(1.0, 2 * share)


def welch_anova(groups: Sequence[np.ndarray]) -> tuple[float, tuple[float, float], float]:
    """One-way comparison of means without equal variances.

    Parameters
    ----------
    groups : sequence of ndarray
        Two or more, each with two values or more that scatter.

    Returns
    -------
    statistic : float
        Welch's F.
    degrees_of_freedom : (float, float)
    p : float

    References
    ----------
    Welch, Biometrika 38 (1951) 330, https://doi.org/10.1093/biomet/38.3-4.330.
    """
    from scipy.special import fdtrc

    k = len(groups)
    n = np.array([len(x) for x in groups], dtype=float)
    means = np.array([x.mean() for x in groups])
    weight = n / np.array([x.var(ddof=1) for x in groups])
    mean = float(weight @ means / weight.sum())
    spread = float(np.sum((1 - weight / weight.sum()) ** 2 / (n - 1)))
    between = float(weight @ (means - mean) ** 2) / (k - 1)
    statistic = between / (1 + 2 * (k - 2) / (k**2 - 1) * spread)
    freedoms = (k - 1.0, (k**2 - 1) / (3 * spread))
    return statistic, freedoms, float(fdtrc(*freedoms, statistic))


def holm(p_values: Sequence[float]) -> list[float]:
    """p adjusted for their number by stepping down, in the order given.

    References
    ----------
    Holm, Scand. J. Stat. 6 (1979) 65.
    """
    order = sorted(range(len(p_values)), key=lambda i: p_values[i])
    out, running = [0.0] * len(p_values), 0.0
    for rank, i in enumerate(order):
        running = max(running, (len(p_values) - rank) * p_values[i])
        out[i] = min(running, 1.0)
    return out


def _pairs(groups: Mapping[str, np.ndarray], correction: Correction) -> tuple[Pair, ...]:
    named = list(combinations(groups, 2))
    means = [subtract_baseline(specimen_mean(groups[b]), specimen_mean(groups[a])) for a, b in named]
    statistics = [abs(m.value) / m.standard_uncertainty for m in means]
    freedoms = [m.degrees_of_freedom for m in means]
    if correction == "Games-Howell":
        p = [_range_p(t, len(groups), f) for t, f in zip(statistics, freedoms, strict=True)]
        factors = [_range_factor(len(groups), f) for f in freedoms]
    else:
        p = holm([_t_p(t, f) for t, f in zip(statistics, freedoms, strict=True)])
        factors = [coverage_factor(f, 1 - 0.05 / len(named)) for f in freedoms]
    out = []
    for (a, b), mean, factor, adjusted in zip(named, means, factors, p, strict=True):
        half = factor * mean.standard_uncertainty
        limits = (mean.value - half, mean.value + half)
        out.append(Pair((a, b), mean.value, limits, hedges_g(groups[a], groups[b]), adjusted))
    return tuple(out)


def _range_p(t: float, groups: int, freedom: float) -> float:
    """p of a pair from the studentized range, whose q is √2 t."""
    if groups == 2:
        return _t_p(t, freedom)
    from scipy.stats import studentized_range

    return min(1.0, max(0.0, float(studentized_range.sf(math.sqrt(2) * t, groups, freedom))))


def _range_factor(groups: int, freedom: float) -> float:
    """What the standard uncertainty of a pair is multiplied with for simultaneous 95 % intervals."""
    if groups == 2:
        return t_factor(freedom)
    from scipy.optimize import brentq
    from scipy.stats import studentized_range

    low = t_factor(freedom)
    high = coverage_factor(freedom, 1 - 0.05 / math.comb(groups, 2)) * 1.01
    excess = lambda factor: float(studentized_range.sf(math.sqrt(2) * factor, groups, freedom)) - 0.05  # noqa: E731
    return float(brentq(excess, low, high, xtol=1e-6))


def _t_p(t: float, freedom: float) -> float:
    from scipy.special import stdtr

    return float(2 * stdtr(freedom, -abs(t)))


def _too_few(name: str, x: np.ndarray) -> str:
    if len(x) >= MIN_SPECIMENS:
        return ""
    have = {0: "no specimen", 1: "1 specimen"}.get(len(x), f"{len(x)} specimens")
    return f"{name} has {have}, at least {MIN_SPECIMENS} are needed; its points are shown"


def _permutation_remark(n: int, m: int) -> str:
    """What the smallest p is that so few specimens can give, where it is no small one."""
    ways = math.comb(n + m, n)
    least = 2 / ways
    if least <= 0.05:
        return ""
    return f" With {n} and {m} specimens p cannot fall below {least:.2g}."


def _p_words(p: float) -> str:
    return "p < 0.001" if p < 0.001 else f"p = {p:.2g}"

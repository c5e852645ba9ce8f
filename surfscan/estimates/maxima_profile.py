"""Intervals of return levels by profile likelihood, calibrated for few blocks by simulation.

Compared with the chi-squared table, the profile likelihood of 20 blocks gives intervals that hold the truth
in 93 to 94 % of sets instead of 95 %, and most of the misses lie above the interval: the dangerous side. So
the signed root of the likelihood ratio is held against its own distribution, simulated with a stated seed for
the same number of blocks, the same censoring and the same return period. For Gumbel and complete data that
distribution depends on nothing else, and the interval is exact but for the number of simulations. Elsewhere
the simulated quantiles may widen the interval and never narrow it: taken at a shape estimated from few or
censored maxima they follow its error, and were seen to bring the coverage down to 80 %.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from surfscan.estimates.maxima_likelihood import (
    AT_LEAST,
    AT_MOST,
    MEASURED,
    BatchFit,
    fit_batch,
    level_factor,
)

SEED = 20
"""Seed of every simulation here."""

SIMULATED_SETS = 2000
"""Sets simulated for a calibration: the 2.5 % tails are then known to 0.35 % (one standard deviation)."""

_TAILS = (0.025, 0.975)
_MANY_BLOCKS = 500
_NORMAL = 1.959963984540054
_ROOT_TOLERANCE = 1e-7
_MOST_ROUNDS = 200


@dataclass(frozen=True)
class CensoringPattern:
    """What simulated sets must share with the measured one, besides the shape.

    Attributes
    ----------
    at_most : int
        Blocks of which only an upper bound is known; simulated as the smallest of the set.
    withdrawn : tuple of int
        For each measured maximum, in ascending order, how many lower bounds lie between it and the next.
    """

    at_most: int
    withdrawn: tuple[int, ...]

    @property
    def complete(self) -> bool:
        """Whether every maximum was measured."""
        return self.at_most == 0 and not any(self.withdrawn)


def pattern_of(values: np.ndarray, kinds: np.ndarray) -> CensoringPattern:
    """Censoring pattern of one set.

    Parameters
    ----------
    values, kinds : ndarray of shape (n,)

    Notes
    -----
    Lower bounds below every measured maximum say next to nothing and are left out of simulated sets.
    """
    measured = np.sort(values[kinds == MEASURED])
    place = np.searchsorted(measured, values[kinds == AT_LEAST], side="right")
    withdrawn = np.bincount(place, minlength=len(measured) + 1)[1:]
    return CensoringPattern(int((kinds == AT_MOST).sum()), tuple(withdrawn.tolist()))


def simulated_sets(
    pattern: CensoringPattern, sets: int, seed: int, shape: float = 0.0
) -> tuple[np.ndarray, np.ndarray]:
    """Values and kinds, each of shape (sets, n), from the family with location 0 and scale 1.

    Parameters
    ----------
    pattern : CensoringPattern
    sets, seed : int
    shape : float, optional

    Notes
    -----
    Progressive type II censoring: just after each measured maximum, so many of the larger ones are withdrawn
    at random, known only to exceed it. Algorithm of Balakrishnan & Sandhu (1995) Am. Statist. 49, 229-230
    (from memory).
    """
    withdrawn = np.array((0,) * pattern.at_most + pattern.withdrawn)
    m = len(withdrawn)
    exponents = np.arange(1, m + 1) + np.cumsum(withdrawn[::-1])
    uniform = 1.0 - np.random.default_rng(seed).random((sets, m))
    survival = np.exp(np.cumsum((np.log(uniform) / exponents)[:, ::-1], axis=1))
    survival = np.clip(survival, 1e-300, 1 - 1e-16)
    values = level_factor(-np.log(-np.log1p(-survival)), shape)
    kinds = np.full(m, MEASURED)
    if pattern.at_most:
        values[:, : pattern.at_most] = values[:, pattern.at_most, None]
        kinds[: pattern.at_most] = AT_MOST
    values = np.concatenate([values, np.repeat(values, withdrawn, axis=1)], axis=1)
    kinds = np.concatenate([kinds, np.full(int(withdrawn.sum()), AT_LEAST)])
    return values, np.broadcast_to(kinds, values.shape)


@lru_cache(maxsize=8)
def _simulated(pattern: CensoringPattern, gumbel: bool) -> tuple[np.ndarray, np.ndarray, BatchFit]:
    values, kinds = simulated_sets(pattern, SIMULATED_SETS, SEED)
    return values, kinds, fit_batch(values, kinds, gumbel=gumbel)


def signed_roots(
    values: np.ndarray,
    kinds: np.ndarray,
    variate: np.ndarray | float,
    level: np.ndarray,
    fit: BatchFit,
    *,
    gumbel: bool,
) -> np.ndarray:
    """Signed root of the profile likelihood ratio at hypothetical return levels.

    Parameters
    ----------
    values, kinds : ndarray of shape (S, n)
    variate : ndarray of shape (S,) or float
        Reduced variate of the return level.
    level : ndarray of shape (S,)
        Return levels to try.
    fit : BatchFit
        Unrestricted fits of the same sets with the same variate.
    gumbel : bool

    Returns
    -------
    ndarray of shape (S,)
        sqrt(2 (l_max - l_profile)), positive where the level lies below the estimate.
    """
    y = np.broadcast_to(np.asarray(variate, dtype=np.float64), level.shape)
    held = fit_batch(values, kinds, y, gumbel=gumbel, level=level, near=fit)
    drop = np.maximum(fit.log_likelihood - held.log_likelihood, 0.0)
    return np.sign(fit.level - level) * np.sqrt(2 * drop)


@lru_cache(maxsize=4096)
def signed_root_limits(pattern: CensoringPattern, variate: float, gumbel: bool) -> tuple[float, float]:
    """2.5 and 97.5 % quantiles of the signed root at the true return level, by simulation.

    Parameters
    ----------
    pattern : CensoringPattern
    variate : float
        Reduced variate of the return level.
    gumbel : bool

    Returns
    -------
    (float, float)
        About -1.96 and 1.96 for many blocks. Simulated at shape 0; with GEV, or with censored maxima, not
        nearer to 0 than -1.96 and 1.96. Beyond 500 measured maxima, where simulation adds nothing, these.
    """
    if len(pattern.withdrawn) > _MANY_BLOCKS:
        return -_NORMAL, _NORMAL
    values, kinds, fit = _simulated(pattern, gumbel)
    at = BatchFit(
        fit.level + fit.scale * level_factor(variate, fit.shape),
        fit.scale,
        fit.shape,
        fit.log_likelihood,
        fit.level_error,
        fit.converged,
    )
    truth = np.full(len(values), variate)
    low, high = np.quantile(signed_roots(values, kinds, variate, truth, at, gumbel=gumbel), _TAILS)
    if gumbel and pattern.complete:
        return float(low), float(high)
    return min(float(low), -_NORMAL), max(float(high), _NORMAL)


def profile_limits(
    values: np.ndarray,
    kinds: np.ndarray,
    variate: np.ndarray | float,
    fit: BatchFit,
    target: np.ndarray,
    *,
    gumbel: bool,
) -> np.ndarray:
    """Return levels at which the signed root takes given values: ends of profile intervals.

    Parameters
    ----------
    values, kinds : ndarray of shape (S, n)
    variate : ndarray of shape (S,) or float
    fit : BatchFit
        Unrestricted fits with the same variate.
    target : ndarray of shape (S,)
        Signed root wanted: below 0 for the upper end, above 0 for the lower.

    Returns
    -------
    ndarray of shape (S,)

    Notes
    -----
    Bracketed by widening steps, then found by the Illinois form of the secant rule.
    """
    y = np.broadcast_to(np.asarray(variate, dtype=np.float64), target.shape)
    aim = np.abs(target)
    unit = np.where(np.isfinite(fit.level_error), fit.level_error, fit.scale) * -np.sign(target)

    def excess(u: np.ndarray, at: np.ndarray) -> np.ndarray:
        part = fit.part(at)
        level = part.level + unit[at] * u
        return np.abs(signed_roots(values[at], kinds[at], y[at], level, part, gumbel=gumbel)) - aim[at]

    inner, outer = np.zeros(len(aim)), aim.copy()
    at_inner, at_outer = -aim, np.full(len(aim), -1.0)
    at = np.arange(len(aim))
    for _ in range(_MOST_ROUNDS):
        at_outer[at] = excess(outer[at], at)
        at = at[at_outer[at] < 0]
        if at.size == 0:
            break
        inner[at], at_inner[at] = outer[at], at_outer[at]
        outer[at] *= 1.6
    new, went = outer.copy(), np.zeros(len(aim), dtype=np.int8)
    at = np.nonzero(at_outer > _ROOT_TOLERANCE)[0]
    for _ in range(_MOST_ROUNDS):
        if at.size == 0:
            break
        new[at] = inner[at] - at_inner[at] * (outer[at] - inner[at]) / (at_outer[at] - at_inner[at])
        found = excess(new[at], at)
        side = np.where(found >= 0, 1, -1).astype(np.int8)
        over, under = at[side > 0], at[side < 0]
        at_inner[over[went[over] > 0]] /= 2
        at_outer[under[went[under] < 0]] /= 2
        outer[over], at_outer[over] = new[over], found[side > 0]
        inner[under], at_inner[under] = new[under], found[side < 0]
        went[at] = side
        at = at[np.abs(found) > _ROOT_TOLERANCE]
    return fit.level + unit * new


def gumbel_p_value(values: np.ndarray, kinds: np.ndarray, statistic: float) -> float:
    """Chance that Gumbel sets of the same pattern give a likelihood ratio against GEV at least as large.

    Parameters
    ----------
    values, kinds : ndarray of shape (n,)
    statistic : float
        2 (l_GEV - l_Gumbel).

    Returns
    -------
    float
        (1 + exceedances) / (1 + simulated sets); the chi-squared table, which few blocks do not follow, only
        beyond 500 measured maxima.
    """
    pattern = pattern_of(values, kinds)
    if len(pattern.withdrawn) > _MANY_BLOCKS:
        return math.erfc(math.sqrt(statistic / 2))
    ratio = _null_ratios(pattern)
    return float((1 + (ratio >= statistic).sum()) / (1 + len(ratio)))


@lru_cache(maxsize=64)
def _null_ratios(pattern: CensoringPattern) -> np.ndarray:
    _, _, narrow = _simulated(pattern, True)
    _, _, wide = _simulated(pattern, False)
    return 2 * (wide.log_likelihood - narrow.log_likelihood)

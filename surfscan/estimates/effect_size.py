"""How large a difference of two groups is, measured by the scatter of their specimens."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

_SIZES = ((0.2, "negligible"), (0.5, "small"), (0.8, "medium"), (1.2, "large"))
"""Limits of |g| and their words (Cohen 1988, with "very large" above; rules of thumb)."""

_VERY_LARGE = 1e3


@dataclass(frozen=True)
class EffectSize:
    """Standardised difference of two groups.

    Attributes
    ----------
    hedges_g : float
        Difference over pooled standard deviation, freed of its small-sample bias.
    ci95 : (float, float)
        Of the true difference over the true standard deviation; with few specimens not in the middle of it.
    words : str
        "negligible", "small", "medium", "large" or "very large" (rule of thumb).
    """

    hedges_g: float
    ci95: tuple[float, float]
    words: str


def hedges_g(first: ArrayLike, second: ArrayLike) -> EffectSize:
    """Standardised difference, second less first, with its 95 % interval.

    Parameters
    ----------
    first, second : array_like of shape (n,)
        Two values or more each, not all equal.

    Returns
    -------
    EffectSize
        Interval from the noncentral t distribution; it takes the two variances as equal. The factor that
        frees the estimate of its bias does not enter: it would move the interval off what it is of.

    Raises
    ------
    ValueError
        If there are too few values or none scatters.

    References
    ----------
    Hedges, J. Educ. Stat. 6 (1981) 107: exact factor J(ν) = Γ(ν/2) / [√(ν/2) Γ((ν - 1)/2)]. Interval by
    inversion: Steiger & Fouladi (1997), in What if there were no significance tests?
    """
    from scipy.special import gammaln

    a, b = known_values(first), known_values(second)
    freedom = len(a) + len(b) - 2
    if min(len(a), len(b)) < 2:
        raise ValueError(f"two values or more are needed in each group, got {len(a)} and {len(b)}")
    squares = float(np.sum((a - a.mean()) ** 2) + np.sum((b - b.mean()) ** 2))
    if squares == 0:
        raise ValueError("neither group scatters, so there is nothing to measure the difference by")
    d = float(b.mean() - a.mean()) / math.sqrt(squares / freedom)
    bias = math.exp(gammaln(freedom / 2) - gammaln((freedom - 1) / 2)) / math.sqrt(freedom / 2)
    per_t = math.sqrt(1 / len(a) + 1 / len(b))
    low, high = _noncentral_limits(d / per_t, freedom)
    g = bias * d
    words = next((text for limit, text in _SIZES if abs(g) < limit), "very large")
    return EffectSize(g, (low * per_t, high * per_t), words)


def known_values(x: ArrayLike) -> np.ndarray:
    """Values as a flat array of float64 without the not-a-numbers, which stand for specimens without one.

    Raises
    ------
    ValueError
        If one is infinite.
    """
    values = np.asarray(x, dtype=np.float64).ravel()
    values = values[~np.isnan(values)]
    if not np.isfinite(values).all():
        raise ValueError("values must be finite; leave out specimens that have none")
    return values


def _noncentral_limits(t: float, freedom: int) -> tuple[float, float]:
    """Noncentralities for which `t` is the upper and the lower 2.5 % point.

    Where t is very large only the doubt of the standard deviation counts: δ = t √(χ² / ν).
    """
    from scipy.optimize import brentq
    from scipy.special import gammaincinv, nctdtr

    if t < 0:
        low, high = _noncentral_limits(-t, freedom)
        return -high, -low
    if t > _VERY_LARGE:
        low, high = np.sqrt(2 * gammaincinv(freedom / 2, np.array([0.025, 0.975])) / freedom).tolist()
        return t * low, t * high

    def limit(share: float) -> float:
        def excess(noncentrality: float) -> float:
            return float(nctdtr(freedom, noncentrality, t)) - share

        reach = 4 + t  # √(χ² / ν) lies below 2 even for the fewest degrees of freedom
        return float(brentq(excess, t - reach, t + reach, xtol=1e-10))

    return limit(0.975), limit(0.025)

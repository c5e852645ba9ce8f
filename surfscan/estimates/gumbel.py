"""Gumbel distribution of maxima: F(x) = exp(-exp(-(x - location) / scale))."""

from __future__ import annotations

import math

import numpy as np

from surfscan.estimates.lmoments import sample_lmoments

_A = math.pi**2 / 6
_G = 1 - np.euler_gamma


def reduced_variate(probability: np.ndarray | float) -> np.ndarray:
    """-ln(-ln p): where a quantile lies along a Gumbel probability plot.

    Parameters
    ----------
    probability : ndarray or float
        Above 0 and below 1.
    """
    return -np.log(-np.log(np.asarray(probability, dtype=np.float64)))


def return_variate(return_period: float) -> float:
    """Reduced variate of the level that one block in `return_period` exceeds: p = 1 - 1/T.

    Parameters
    ----------
    return_period : float
        Above 1.

    Raises
    ------
    ValueError
        If `return_period` is not above 1: no level is exceeded by more than every block.
    """
    if not return_period > 1:
        raise ValueError(f"the return period must be above 1, got {return_period!r}")
    return -math.log(-math.log1p(-1 / return_period))


def gumbel_from_lmoments(values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Location and scale of each sample, from its first two L-moments.

    Parameters
    ----------
    values : ndarray of shape (..., n)

    Returns
    -------
    tuple of two ndarray of shape (...)
        scale = l2 / ln 2, location = l1 - 0.5772 scale (Hosking 1990, table 2).
    """
    first, second, _ = sample_lmoments(values)
    scale = second / math.log(2)
    return first - np.euler_gamma * scale, scale


def quantile_standard_error(scale: float, variate: float, blocks: int) -> float:
    """Standard error of a Gumbel quantile fitted by maximum likelihood to complete data.

    Parameters
    ----------
    scale : float
    variate : float
        Reduced variate y of the quantile.
    blocks : int
        Number of maxima fitted.

    Returns
    -------
    float
        scale sqrt((1.109 + 0.514 y + 0.608 y²) / n), the form of ASTM E2283-08 (from memory). The
        coefficients follow from the expected information: 1 + (1 - gamma)² / A, 2 (1 - gamma) / A and 1 / A
        with A = pi² / 6 and Euler's gamma.
    """
    a, b, c = ERROR_COEFFICIENTS
    return scale * math.sqrt((a + b * variate + c * variate**2) / blocks)


ERROR_COEFFICIENTS = (1 + _G**2 / _A, 2 * _G / _A, 1 / _A)
"""Coefficients of 1, y and y² in the variance of a quantile, in units of scale² / n."""

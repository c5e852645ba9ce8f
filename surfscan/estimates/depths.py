"""Depth statistics of pits, some of which are deeper than could be measured, and the pitting factor.

A pit whose floor was not measured has a depth that is a lower bound: a right-censored value. It is neither
dropped nor taken at its face value.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

TEN = 10
"""Number of deepest pits averaged (ASTM G46, from memory)."""


@dataclass(frozen=True)
class Deepest:
    """The deepest pits of a surface.

    Attributes
    ----------
    max_um : float or None
        Greatest depth, µm; None where no depth is known.
    mean_um : float or None
        Mean of the ten deepest, or of all where there are fewer, µm.
    count : int
        How many entered the mean.
    is_lower_bound : bool
        Whether any pit's depth is a lower bound: then so are both figures, since that pit may in truth be
        the deepest.
    """

    max_um: float | None
    mean_um: float | None
    count: int
    is_lower_bound: bool


def deepest(depths_um: np.ndarray, is_lower_bound: np.ndarray, count: int = TEN) -> Deepest:
    """Greatest depth and mean of the ten deepest pits.

    Parameters
    ----------
    depths_um : ndarray of shape (n,)
        µm; not-a-number where nothing of a pit was measured: it enters no figure, and makes lower bounds of
        them where it is marked as one.
    is_lower_bound : ndarray of shape (n,), bool
    count : int, optional
        How many to average.

    Returns
    -------
    Deepest
    """
    depths = np.asarray(depths_um, dtype=np.float64)
    depths = np.sort(depths[~np.isnan(depths)])[::-1][:count]
    is_bound = bool(np.any(is_lower_bound))
    if depths.size == 0:
        return Deepest(None, None, 0, is_bound)
    return Deepest(float(depths[0]), float(depths.mean()), len(depths), is_bound)


def censored_quantile(values: np.ndarray, is_lower_bound: np.ndarray, share: float) -> float | None:
    """Quantile of values some of which are lower bounds, by the product-limit estimate.

    Parameters
    ----------
    values : ndarray of shape (n,)
    is_lower_bound : ndarray of shape (n,), bool
        True where the true value is at least the given one (right-censored).
    share : float
        0 to 1, ends excluded.

    Returns
    -------
    float or None
        Smallest value at which the estimated distribution reaches `share`; midway to the next where it
        meets it exactly, so that without lower bounds the median is the ordinary one. None where there is
        no value, or lower bounds keep the estimate below `share`.

    Raises
    ------
    ValueError
        If `share` is not between 0 and 1 or the arrays differ in length.

    References
    ----------
    Kaplan, E. L. & Meier, P. (1958) J. Am. Stat. Assoc. 53, 457-481, doi 10.1080/01621459.1958.10501452.
    """
    if not 0 < share < 1:
        raise ValueError(f"share must lie between 0 and 1, got {share!r}")
    at, reached = product_limit(values, is_lower_bound)
    tolerance = 1e-12
    k = int(np.searchsorted(reached, share - tolerance))
    if k >= len(at):
        return None
    if abs(reached[k] - share) <= tolerance and k + 1 < len(at):
        return float(at[k] + at[k + 1]) / 2
    return float(at[k])


def product_limit(values: np.ndarray, is_lower_bound: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Distribution of values some of which are lower bounds: the product-limit estimate.

    Parameters
    ----------
    values : ndarray of shape (n,)
        Not-a-number where nothing is known, not even a bound: left out, as the estimate does with what is
        censored before the first value.
    is_lower_bound : ndarray of shape (n,), bool
        True where the true value is at least the given one (right-censored).

    Returns
    -------
    at, reached : ndarray of shape (k,)
        Where the estimate steps, ascending, and the share of values not larger. The last share is below 1
        where a lower bound is the largest.

    Raises
    ------
    ValueError
        If the arrays differ in length.

    References
    ----------
    Kaplan, E. L. & Meier, P. (1958) J. Am. Stat. Assoc. 53, 457-481, doi 10.1080/01621459.1958.10501452.
    """
    values, censored = np.asarray(values, dtype=np.float64), np.asarray(is_lower_bound, dtype=bool)
    if values.shape != censored.shape:
        raise ValueError(f"values {values.shape} and is_lower_bound {censored.shape} differ in length")
    known = ~np.isnan(values)
    values, censored = values[known], censored[known]
    at, place, count = np.unique(values, return_inverse=True, return_counts=True)
    at_risk = len(values) - np.cumsum(count) + count
    seen = np.bincount(place, ~censored, len(at))
    reached = 1 - np.cumprod(1 - seen / at_risk)
    steps = seen > 0
    return at[steps], reached[steps]


def pitting_factor(
    max_penetration_um: float | None, mean_penetration_um: float | None, uncertainty_um: float = 0.0
) -> float | None:
    """Deepest over mean penetration, both from the same level.

    Parameters
    ----------
    max_penetration_um, mean_penetration_um : float or None
        µm.
    uncertainty_um : float, optional
        Standard uncertainty of the mean penetration, µm.

    Returns
    -------
    float or None
        None where it is undefined: without a pit, or where the mean is not above twice its uncertainty
        (the ratio then tends to infinity and says nothing; ASTM G46, from memory).
    """
    if max_penetration_um is None or mean_penetration_um is None:
        return None
    if not (math.isfinite(max_penetration_um) and math.isfinite(mean_penetration_um)):
        return None
    if max_penetration_um <= 0 or mean_penetration_um <= 2 * uncertainty_um or mean_penetration_um <= 0:
        return None
    return max_penetration_um / mean_penetration_um


def hidden_floors_remark(hidden: int, n: int) -> str:
    """What it means that the floors of `hidden` of `n` pits were not measured."""
    floors = "1 pit has a floor that was" if hidden == 1 else f"{hidden} pits have floors that were"
    depths = "its depth is a lower bound" if hidden == 1 else "their depths are lower bounds"
    return (
        f"Of {n} pits {floors} not measured: {depths}, and so are the greatest depth and the mean of the ten "
        "deepest. Quantiles allow for it (product limit)."
    )

"""Means over specimens and differences from a baseline: the specimen is the replicate, never the pit.

Pits and fields of one specimen share its surface, melt and cell: they are subsamples, and counting
them as replicates makes an interval far too narrow (Hurlbert, Ecol. Monogr. 54 (1984) 187,
https://doi.org/10.2307/1942661).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

MIN_SPECIMENS = 3
"""Fewest specimens that get an interval; with two, t is 12.7 and the band says nothing (common practice,
no source)."""


@dataclass(frozen=True)
class GroupEstimate:
    """A mean over specimens, or a difference of two such means.

    Attributes
    ----------
    value : float
        Mean or difference, in the unit of the input; NaN where there is no specimen.
    sd : float
        Standard deviation between specimens (n - 1); NaN below two specimens and for a difference.
    n : int
        Specimens behind the value (for a difference: of the group, not of the baseline).
    standard_uncertainty : float
        Standard uncertainty of the value; NaN where it cannot be estimated.
    degrees_of_freedom : float
        Of the standard uncertainty; NaN where that is.
    ci95 : tuple of float or None
        95 % interval; None where refused.
    refused : str
        Why no interval is given; empty where one is.
    """

    value: float
    sd: float
    n: int
    standard_uncertainty: float
    degrees_of_freedom: float
    ci95: tuple[float, float] | None
    refused: str


def t_factor(degrees_of_freedom: float) -> float:
    """Student t that leaves 2.5 % on each side.

    Parameters
    ----------
    degrees_of_freedom : float
        Above 0; need not be whole.
    """
    from scipy.special import stdtrit

    return float(stdtrit(degrees_of_freedom, 0.975))


def specimen_mean(
    values: ArrayLike, *, lowest: float = -math.inf, highest: float = math.inf
) -> GroupEstimate:
    """Mean of one figure over the specimens of a group, with a t-interval.

    Parameters
    ----------
    values : array_like of shape (n,)
        One value a specimen; not-a-number means the specimen has no such figure and is left out.
    lowest, highest : float, optional
        Limits of what the figure can be (0 for a density; 0 and 1 for a fraction): the interval is cut
        there, which cannot lower its coverage.

    Returns
    -------
    GroupEstimate
        Interval mean ± t(n - 1) s / √n; refused below three specimens and where all values are equal.

    Notes
    -----
    ASTM G16, Standard Guide for Applying Statistics to Analysis of Corrosion Data; JCGM 100:2008, 4.2.
    """
    x = np.asarray(values, dtype=float).ravel()
    x = x[~np.isnan(x)]
    n = int(x.size)
    if n == 0:
        return GroupEstimate(math.nan, math.nan, 0, math.nan, math.nan, None, "no specimen has this figure")
    mean = float(x.mean())
    if n == 1:
        return GroupEstimate(
            mean, math.nan, 1, math.nan, math.nan, None, f"1 specimen, at least {MIN_SPECIMENS} are needed"
        )
    same = bool(np.all(x == x[0]))
    sd = 0.0 if same else float(x.std(ddof=1))
    u = sd / math.sqrt(n)
    if n < MIN_SPECIMENS:
        return GroupEstimate(
            mean, sd, n, u, n - 1.0, None, f"{n} specimens, at least {MIN_SPECIMENS} are needed"
        )
    if same:
        return GroupEstimate(
            mean, sd, n, u, n - 1.0, None, f"all {n} specimens gave the same value: their scatter is unknown"
        )
    half = t_factor(n - 1.0) * u
    return GroupEstimate(mean, sd, n, u, n - 1.0, (max(mean - half, lowest), min(mean + half, highest)), "")


def subtract_baseline(group: GroupEstimate, baseline: GroupEstimate) -> GroupEstimate:
    """Group mean less the mean of its controls, both uncertainties in the interval.

    Parameters
    ----------
    group, baseline : GroupEstimate
        From `specimen_mean`, of separate specimens.

    Returns
    -------
    GroupEstimate
        Difference; u² = u(group)² + u(baseline)²; degrees of freedom by `welch_satterthwaite`. A negative
        difference is kept as it is and its interval is not cut at 0. Refused where either side has fewer
        than three specimens, or where neither side shows any scatter.

    Notes
    -----
    JCGM 100:2008, 5.1.2 and G.4; Welch, Biometrika 34 (1947) 28, https://doi.org/10.1093/biomet/34.1-2.28.
    """
    difference = group.value - baseline.value
    for name, side in (("group", group), ("baseline", baseline)):
        if side.n < MIN_SPECIMENS:
            return GroupEstimate(
                difference,
                math.nan,
                group.n,
                math.nan,
                math.nan,
                None,
                f"{name} has too few specimens, {side.n}; at least {MIN_SPECIMENS} are needed",
            )
    parts = np.array([group.standard_uncertainty, baseline.standard_uncertainty])
    u = math.hypot(*parts)
    if u == 0:
        return GroupEstimate(
            difference, math.nan, group.n, 0.0, math.nan, None, "neither group shows any scatter"
        )
    freedom = welch_satterthwaite(parts, np.array([group.degrees_of_freedom, baseline.degrees_of_freedom]))
    half = t_factor(freedom) * u
    return GroupEstimate(
        difference, math.nan, group.n, u, freedom, (difference - half, difference + half), ""
    )


def welch_satterthwaite(uncertainties: ArrayLike, degrees_of_freedom: ArrayLike) -> float:
    """Effective degrees of freedom of a combined standard uncertainty.

    Parameters
    ----------
    uncertainties : array_like of shape (k,)
        Standard uncertainties of the independent parts, already times their sensitivity; not all 0.
    degrees_of_freedom : array_like of shape (k,)
        Of each part; infinity where a part is taken as known.

    Returns
    -------
    float
        (Σ u²)² / Σ (u⁴ / ν); infinite where every part with a share is known.

    Raises
    ------
    ValueError
        If all uncertainties are 0.

    Notes
    -----
    JCGM 100:2008, G.4.1, formula (G.2b); not rounded down to a whole number.
    """
    u2 = np.square(np.asarray(uncertainties, dtype=float))
    nu = np.asarray(degrees_of_freedom, dtype=float)
    total = float(u2.sum())
    if total <= 0:
        raise ValueError("uncertainties must not all be 0: there is nothing to combine")
    share = u2 / total
    weight = float((np.square(share) / nu).sum())
    return math.inf if weight == 0 else 1.0 / weight

"""Extreme values: a Gumbel or GEV distribution fitted to block maxima, its levels and their intervals."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np

from surfscan.estimates.gev import gev_from_lmoments, gev_quantile
from surfscan.estimates.gumbel import gumbel_from_lmoments, quantile_standard_error
from surfscan.estimates.maxima_likelihood import (
    MEASURED,
    SHAPE_LIMITS,
    BatchFit,
    covariance,
    fit_batch,
    log_likelihood,
)
from surfscan.estimates.maxima_profile import (
    SEED,
    CensoringPattern,
    gumbel_p_value,
    pattern_of,
    profile_limits,
    signed_root_limits,
    simulated_sets,
)

Model = Literal["gumbel", "gev"]
Method = Literal["likelihood", "lmoments"]

BOOTSTRAP_SETS = 5000
"""Sets simulated for an interval of L-moments."""

_CALIBRATED_VARIATES = (-1.0, 1.5)


@dataclass(frozen=True)
class MaximaFit:
    """Distribution fitted to block maxima.

    Attributes
    ----------
    model : str
        "gumbel" or "gev".
    method : str
        "likelihood" or "lmoments".
    location, scale, shape : float
        Shape sign as in Coles (2001); 0 for Gumbel.
    log_likelihood : float
        Minus infinity where L-moments give a distribution that rules out one of the values.
    covariance : ndarray of shape (3, 3) or (2, 2), or None
        Of location, scale and (GEV) shape, from the observed information; None with L-moments, and where the
        likelihood gives none.
    """

    model: Model
    method: Method
    location: float
    scale: float
    shape: float
    log_likelihood: float
    covariance: np.ndarray | None

    def level(self, variate: np.ndarray | float) -> np.ndarray:
        """Quantile at a reduced variate."""
        return gev_quantile(variate, self.location, self.scale, self.shape)


@dataclass(frozen=True)
class GumbelTest:
    """Likelihood-ratio test of shape 0.

    Attributes
    ----------
    statistic : float
        2 (l_GEV - l_Gumbel).
    p_value : float
        From simulated Gumbel sets of the same size and censoring.
    """

    statistic: float
    p_value: float


def fit_maxima(values: np.ndarray, kinds: np.ndarray, model: Model, method: Method) -> MaximaFit:
    """Fit one set of block maxima.

    Parameters
    ----------
    values, kinds : ndarray of shape (n,)
        Maxima, and what each is (`surfscan.estimates.maxima_likelihood`).
    model : {"gumbel", "gev"}
    method : {"likelihood", "lmoments"}

    Raises
    ------
    ValueError
        If L-moments are asked for where some values are bounds, or the likelihood has no maximum.
    """
    gumbel = model == "gumbel"
    if method == "likelihood":
        fit = fit_batch(values[None], kinds[None], gumbel=gumbel)
        if not fit.converged[0]:
            raise ValueError("the likelihood of these maxima has no maximum that could be found")
        location, scale, shape = float(fit.level[0]), float(fit.scale[0]), float(fit.shape[0])
        spread = covariance(values, kinds, location, scale, shape, gumbel=gumbel)
        return MaximaFit(model, method, location, scale, shape, float(fit.log_likelihood[0]), spread)
    if (kinds != MEASURED).any():
        raise ValueError("L-moments take measured maxima only, not bounds")
    where, width, bend = _from_lmoments(values[None], gumbel)
    reached = log_likelihood(values[None], kinds[None], where, width, bend)
    return MaximaFit(model, method, float(where[0]), float(width[0]), float(bend[0]), float(reached[0]), None)


def gumbel_test(values: np.ndarray, kinds: np.ndarray) -> GumbelTest:
    """Test whether Gumbel is enough, against GEV.

    Parameters
    ----------
    values, kinds : ndarray of shape (n,)
    """
    narrow, wide = (fit_batch(values[None], kinds[None], gumbel=g).log_likelihood[0] for g in (True, False))
    statistic = max(2 * float(wide - narrow), 0.0)
    return GumbelTest(statistic, gumbel_p_value(values, kinds, statistic))


def level_intervals(
    values: np.ndarray, kinds: np.ndarray, fit: MaximaFit, variates: np.ndarray, main_variate: float
) -> np.ndarray:
    """95 % intervals of fitted levels.

    Parameters
    ----------
    values, kinds : ndarray of shape (n,)
    fit : MaximaFit
        Fit of the same values.
    variates : ndarray of shape (k,)
        Reduced variates of the levels.
    main_variate : float
        The one that matters most: its calibration is exact; between it, -1 and 1.5 others are interpolated.

    Returns
    -------
    ndarray of shape (k, 2)
        Calibrated profile likelihood (`surfscan.estimates.maxima_profile`), or for L-moments a parametric
        bootstrap of (estimate - truth) / scale with a fixed seed.
    """
    nodes = np.unique([*_CALIBRATED_VARIATES, main_variate])
    if fit.method == "likelihood":
        return _profile_intervals(values, kinds, fit, variates, nodes)
    low, high = np.array([_bootstrap_pivots(len(values), fit.model, fit.shape, float(y)) for y in variates]).T
    level = fit.level(variates)
    return np.column_stack([level - fit.scale * high, level - fit.scale * low])


def level_standard_error(
    values: np.ndarray, kinds: np.ndarray, fit: MaximaFit, variate: float
) -> float | None:
    """Standard error of a fitted level; for people who combine uncertainties, the interval being lopsided.

    Parameters
    ----------
    values, kinds : ndarray of shape (n,)
    fit : MaximaFit
    variate : float
        Reduced variate of the level.

    Returns
    -------
    float or None
        Gumbel by likelihood on complete data: the form of ASTM E2283. Else by likelihood: the observed
        information. None with L-moments, and where the information gives none.
    """
    if fit.method != "likelihood" or fit.covariance is None:
        return None
    gumbel = fit.model == "gumbel"
    if gumbel and (kinds == MEASURED).all():
        return quantile_standard_error(fit.scale, variate, len(values))
    error = float(fit_batch(values[None], kinds[None], variate, gumbel=gumbel).level_error[0])
    return error if np.isfinite(error) else None


def _profile_intervals(
    values: np.ndarray, kinds: np.ndarray, fit: MaximaFit, variates: np.ndarray, nodes: np.ndarray
) -> np.ndarray:
    gumbel, count = fit.model == "gumbel", len(variates)
    pattern = pattern_of(values, kinds)
    limits = np.array([signed_root_limits(pattern, float(y), gumbel) for y in nodes])
    x, what = np.broadcast_to(values, (count, len(values))), np.broadcast_to(kinds, (count, len(values)))
    batch = fit_batch(x, what, variates, gumbel=gumbel)
    ends = [
        profile_limits(x, what, variates, batch, np.interp(variates, nodes, limits[:, side]), gumbel=gumbel)
        for side in (1, 0)
    ]
    return np.column_stack(ends)


def _from_lmoments(values: np.ndarray, gumbel: bool) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    if gumbel:
        location, scale = gumbel_from_lmoments(values)
        return location, scale, np.zeros_like(location)
    return gev_from_lmoments(values)


@lru_cache(maxsize=8)
def _bootstrap_fits(blocks: int, model: Model, shape: float) -> BatchFit:
    values, _ = simulated_sets(CensoringPattern(0, (0,) * blocks), BOOTSTRAP_SETS, SEED, shape)
    location, scale, bend = _from_lmoments(values, model == "gumbel")
    nothing = np.full(len(location), np.nan)
    return BatchFit(location, scale, bend, nothing, nothing, np.ones(len(location), dtype=bool))


def _bootstrap_pivots(blocks: int, model: Model, shape: float, variate: float) -> tuple[float, float]:
    """2.5 and 97.5 % quantiles of (estimated level - true level) / estimated scale."""
    shape = float(np.clip(shape, *SHAPE_LIMITS))
    fits = _bootstrap_fits(blocks, model, shape)
    truth = float(gev_quantile(variate, 0.0, 1.0, shape))
    pivots = (gev_quantile(variate, fits.level, fits.scale, fits.shape) - truth) / fits.scale
    low, high = np.quantile(pivots, (0.025, 0.975))
    return float(low), float(high)

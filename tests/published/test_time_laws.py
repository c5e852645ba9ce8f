"""Choice between laws of loss against time.

AICc: "AIC + 2 k (k + 1) / (n - k - 1)", read in manuals of several R packages that quote N. Sugiura (1978)
and C. M. Hurvich and C.-L. Tsai (1989); against statsmodels. Straight line and lack of fit against
statsmodels and SciPy.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from surfscan.comparison.over_time import aicc, fit_over_time

HOURS = np.repeat([24.0, 72.0, 168.0, 336.0], 3)


def _losses() -> np.ndarray:
    return 0.1 * HOURS + np.random.default_rng(5).normal(0, 1.0, 12)


def test_aicc_in_closed_form() -> None:
    """Example call of a manual: negative log likelihood 736.47, k = 6, n = 15: 12 + 1472.94 + 84 / 8."""
    assert aicc(-736.47, 6, 15) == pytest.approx(1495.44)


def test_aicc_against_statsmodels() -> None:
    import statsmodels.api as sm
    from statsmodels.tools.eval_measures import aicc as reference

    y = _losses()
    found = fit_over_time(HOURS, y)
    linear = next(fit for fit in found.fits if fit.law == "linear")
    ols = sm.OLS(y, HOURS).fit()
    assert found.scatter == "constant"
    assert linear.factor == pytest.approx(ols.params[0])
    assert linear.factor * linear.factor_relative_uncertainty == pytest.approx(ols.bse[0])
    assert linear.aicc == pytest.approx(reference(ols.llf, 12, 2))


def test_lack_of_fit_against_scipy() -> None:
    """Pure error by hand from the groups, F-distribution of SciPy."""
    y = _losses()
    found = fit_over_time(HOURS, y)
    fit = found.best
    groups = y.reshape(4, 3)
    curve = fit.factor * np.array([24.0, 72.0, 168.0, 336.0]) ** fit.exponent
    parameters = 2 if fit.exponent_ci95 else 1
    pure = ((groups - groups.mean(axis=1, keepdims=True)) ** 2).sum() / 8
    apart = 3 * ((groups.mean(axis=1) - curve) ** 2).sum() / (4 - parameters)
    assert found.lack_of_fit == pytest.approx(stats.f.sf(apart / pure, 4 - parameters, 8))


def test_weights_of_laws() -> None:
    """exp(-difference / 2) over its sum (Burnham and Anderson, from memory)."""
    found = fit_over_time(HOURS, _losses())
    shares = [math.exp(-(fit.aicc - found.best.aicc) / 2) for fit in found.fits]
    assert [fit.weight for fit in found.fits] == pytest.approx([s / sum(shares) for s in shares])

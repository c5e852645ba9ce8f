"""Extreme values against published fits and formulas.

Sources, each named at its check: Coles, S. (2001) An Introduction to Statistical Modeling of Extreme Values,
Springer, section 3.4.1 (annual maximum sea levels at Port Pirie, m, 1923 to 1987; fit, covariance and 10-year
and 100-year levels as reprinted in open test code; figures that came from memory say so). ASTM E2283-08 (from
memory). Hosking (1990). scipy.stats as an independent implementation.
"""

import math

import numpy as np
import pytest

from surfscan.estimates.extremes import fit_maxima, gumbel_test
from surfscan.estimates.gev import gev_from_lmoments, gev_quantile
from surfscan.estimates.gumbel import (
    ERROR_COEFFICIENTS,
    gumbel_from_lmoments,
    quantile_standard_error,
    return_variate,
)
from surfscan.estimates.lmoments import sample_lmoments
from surfscan.estimates.maxima_likelihood import MEASURED, fit_batch
from surfscan.estimates.maxima_profile import pattern_of, profile_limits, signed_root_limits
from surfscan.procedures.extremes import analyse_maxima

# fmt: off
PORT_PIRIE = np.array([
    4.03, 3.83, 3.65, 3.88, 4.01, 4.08, 4.18, 3.80, 4.36, 3.96, 3.98, 4.69, 3.85,
    3.96, 3.85, 3.93, 3.75, 3.63, 3.57, 4.25, 3.97, 4.05, 4.24, 4.22, 3.73, 4.37,
    4.06, 3.71, 3.96, 4.06, 4.55, 3.79, 3.89, 4.11, 3.85, 3.86, 3.86, 4.21, 4.01,
    4.11, 4.24, 3.96, 4.21, 3.74, 3.85, 3.88, 3.66, 4.11, 3.71, 4.18, 3.90, 3.78,
    3.91, 3.72, 4.00, 3.66, 3.62, 4.33, 4.55, 3.75, 4.08, 3.90, 3.88, 3.94, 4.33,
])
# fmt: on
COMPLETE = np.full(65, MEASURED)


def test_port_pirie_gev():
    """Coles p. 59: 3.87, 0.198, -0.050; digits and log-likelihood 4.339058 as reprinted in open test code."""
    fit = fit_maxima(PORT_PIRIE, COMPLETE, "gev", "likelihood")
    assert fit.location == pytest.approx(3.87474692, abs=2e-5)
    assert fit.scale == pytest.approx(0.19804120, abs=2e-5)
    assert fit.shape == pytest.approx(-0.05008773, abs=1e-4)
    assert fit.log_likelihood >= 4.339058
    assert fit.log_likelihood == pytest.approx(4.339058, abs=1e-6)


def test_port_pirie_covariance():
    """Coles p. 59, to the digits printed."""
    fit = fit_maxima(PORT_PIRIE, COMPLETE, "gev", "likelihood")
    printed = [
        [0.000780, 0.000197, -0.00107],
        [0.000197, 0.000410, -0.000778],
        [-0.00107, -0.000778, 0.00965],
    ]
    assert fit.covariance == pytest.approx(np.array(printed), rel=6e-3)


def test_port_pirie_return_levels():
    """Coles p. 60: 4.30 m in 10 years, 4.69 m in 100 years."""
    for years, level in ((10, 4.30), (100, 4.69)):
        result = analyse_maxima(PORT_PIRIE, block_area_mm2=1, part_area_mm2=years, model="gev", unit="m")
        assert result.return_period == years
        assert result.return_level == pytest.approx(level, abs=5e-3)
        assert result.return_level_ci95[0] < level < result.return_level_ci95[1]


@pytest.mark.parametrize(("years", "low", "high"), [(10, 4.21, 4.45), (100, 4.50, 5.27)])
def test_port_pirie_profile_intervals(years, low, high):
    """Coles p. 60 gives these 95 % profile-likelihood intervals (from memory), by the chi-squared table."""
    values, kinds, y = PORT_PIRIE[None], COMPLETE[None], return_variate(years)
    fit = fit_batch(values, kinds, y, gumbel=False)
    ends = [profile_limits(values, kinds, y, fit, np.array([r]), gumbel=False)[0] for r in (1.96, -1.96)]
    assert ends == pytest.approx([low, high], abs=0.011)


def test_port_pirie_gumbel():
    """Coles: 3.87, 0.195, negative log-likelihood -4.22 (from memory); more digits computed independently."""
    fit = fit_maxima(PORT_PIRIE, COMPLETE, "gumbel", "likelihood")
    assert fit.location == pytest.approx(3.86944, abs=5e-6)
    assert fit.scale == pytest.approx(0.19489, abs=5e-6)
    assert fit.log_likelihood == pytest.approx(4.21768, abs=5e-6)
    assert fit.level(return_variate(10)) == pytest.approx(4.30802, abs=5e-6)
    assert fit.level(return_variate(100)) == pytest.approx(4.76596, abs=1e-5)


def test_port_pirie_gumbel_is_enough():
    """Coles p. 60: the likelihood-ratio statistic, 0.24, gives no reason to leave Gumbel."""
    test = gumbel_test(PORT_PIRIE, COMPLETE)
    assert test.statistic == pytest.approx(2 * (4.339058 - 4.21768), abs=2e-4)
    assert test.p_value > 0.5
    assert analyse_maxima(PORT_PIRIE, block_area_mm2=1, part_area_mm2=100).fit.model == "gumbel"


def test_coefficients_of_the_standard_error_of_a_quantile():
    """ASTM E2283 prints 1.109, 0.514 and 0.608 (from memory); digits from the information matrix."""
    assert pytest.approx((1.10866, 0.51404, 0.60793), abs=5e-6) == ERROR_COEFFICIENTS


def test_reduced_variate_of_the_inclusion_standard():
    """ASTM E2283-08 (from memory): areas of 150 and 150 000 mm² give T = 1000 and y(0.999) = 6.907255."""
    assert return_variate(150_000 / 150) == pytest.approx(6.907255, abs=5e-7)


def test_standard_error_against_the_observed_information():
    """Expected information of large sets: the observed one agrees with ASTM E2283's form."""
    rng = np.random.default_rng(4)
    values = rng.gumbel(size=(200, 400))
    fit = fit_batch(values, np.full(values.shape, MEASURED), 4.6, gumbel=True)
    expected = quantile_standard_error(1.0, 4.6, 400)
    assert fit.level_error.mean() == pytest.approx(expected, rel=0.02)
    assert fit.level.std() == pytest.approx(expected, rel=0.12)


@pytest.mark.parametrize("shape", [-0.3, -0.1, 0.15, 0.3])
def test_likelihood_against_scipy(shape):
    """scipy.stats fits the same family with c = -shape; no fit of ours is less likely."""
    from scipy.stats import genextreme

    values = 30 + 5 * gev_quantile(np.random.default_rng(8).gumbel(size=60), 0, 1, shape)
    c, location, scale = genextreme.fit(values, 0.0, loc=values.mean(), scale=values.std())
    fit = fit_maxima(values, np.full(60, MEASURED), "gev", "likelihood")
    assert fit.log_likelihood >= genextreme.logpdf(values, c, location, scale).sum() - 1e-9
    assert (fit.location, fit.scale, fit.shape) == pytest.approx((location, scale, -c), abs=5e-3)
    own = genextreme.logpdf(values, -fit.shape, fit.location, fit.scale).sum()
    assert fit.log_likelihood == pytest.approx(own, abs=1e-9)


def test_gumbel_likelihood_against_scipy():
    from scipy.stats import gumbel_r

    values = 30 + 5 * np.random.default_rng(9).gumbel(size=25)
    location, scale = gumbel_r.fit(values)
    fit = fit_maxima(values, np.full(25, MEASURED), "gumbel", "likelihood")
    assert (fit.location, fit.scale) == pytest.approx((location, scale), rel=1e-5)


def test_censored_likelihood_against_scipy():
    """scipy.stats fits right- and left-censored data by its own optimiser."""
    from scipy.stats import CensoredData, gumbel_r

    rng = np.random.default_rng(10)
    values = 30 + 5 * rng.gumbel(size=30)
    kinds = np.zeros(30, dtype=int)
    kinds[[2, 9, 20]], kinds[[4, 11]] = 1, -1
    values[[2, 9, 20]] -= 3
    values[[4, 11]] += 2
    data = CensoredData(values[kinds == 0], left=values[kinds == -1], right=values[kinds == 1])
    location, scale = gumbel_r.fit(data)
    fit = fit_maxima(values, kinds, "gumbel", "likelihood")
    assert (fit.location, fit.scale) == pytest.approx((location, scale), rel=2e-4)


def test_lmoments_of_port_pirie():
    """The open package lmoments3 (1.0.8), run by hand: L-moments, then GEV by a rational approximation."""
    first, second, t3 = sample_lmoments(PORT_PIRIE)
    assert (first, second, t3) == pytest.approx((3.98061538, 0.13464423, 0.13743314), abs=1e-8)
    assert gev_from_lmoments(PORT_PIRIE) == pytest.approx((3.87314761, 0.20322227, -0.05121183), abs=1e-6)
    assert gumbel_from_lmoments(PORT_PIRIE) == pytest.approx((3.86849092, 0.19425056), abs=5e-9)


@pytest.mark.parametrize("shape", [-0.4, -0.1, 0.0, 0.2])
def test_lmoments_of_the_distribution_itself(shape):
    """Hosking (1990) table 2, against scipy's quantiles: a very fine sample gives the parameters back."""
    from scipy.stats import genextreme

    n = 200_000
    values = genextreme.ppf((np.arange(n) + 0.5) / n, -shape, 7.0, 2.0)
    assert gev_from_lmoments(values) == pytest.approx((7.0, 2.0, shape), abs=3e-3)


def test_interval_of_gumbel_is_exact():
    """A pivot: 2000 sets of 12 blocks hold the truth as often as promised, whatever location and scale."""
    sets, y = 2000, return_variate(100)
    values = 50 + 9 * np.random.default_rng(12).gumbel(size=(sets, 12))
    kinds = np.full(values.shape, MEASURED)
    fit = fit_batch(values, kinds, y, gumbel=True)
    low, high = (
        profile_limits(values, kinds, y, fit, np.full(sets, root), gumbel=True)
        for root in reversed(signed_root_limits(pattern_of(values[0], kinds[0]), y, True))
    )
    truth = 50 + 9 * y
    assert abs(np.mean((low <= truth) & (truth <= high)) - 0.95) < 3 * math.sqrt(2 * 0.95 * 0.05 / sets)
    assert np.mean(truth > high) == pytest.approx(0.025, abs=0.015)

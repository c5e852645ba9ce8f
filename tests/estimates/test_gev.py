"""GEV quantiles, limit and L-moments."""

import numpy as np
import pytest

from surfscan.estimates.gev import gev_from_lmoments, gev_quantile, upper_limit


def test_quantile_by_the_definition():
    """F(quantile) = p, with the sign of the shape as stated."""
    y, shape = 3.0, -0.2
    x = float(gev_quantile(y, 10.0, 2.0, shape))
    assert np.exp(-((1 + shape * (x - 10) / 2) ** (-1 / shape))) == pytest.approx(np.exp(-np.exp(-y)))


def test_quantile_passes_smoothly_through_gumbel():
    assert gev_quantile(4.0, 0.0, 1.0, 1e-9) == pytest.approx(4.0)
    assert gev_quantile(4.0, 0.0, 1.0, 0.0) == 4.0


def test_negative_shape_has_a_limit():
    limit = upper_limit(10.0, 2.0, -0.25)
    assert limit == 18.0
    assert gev_quantile(40.0, 10.0, 2.0, -0.25) < limit
    assert gev_quantile(40.0, 10.0, 2.0, -0.25) == pytest.approx(limit, rel=1e-4)
    assert upper_limit(10.0, 2.0, 0.0) is None
    assert upper_limit(10.0, 2.0, 0.1) is None


def test_lmoments_of_several_samples_at_once():
    samples = np.random.default_rng(0).gumbel(size=(3, 30))
    together = np.array(gev_from_lmoments(samples))
    one_by_one = np.array([gev_from_lmoments(sample) for sample in samples]).T
    assert together == pytest.approx(one_by_one)


def test_lmoments_near_gumbel():
    """A sample whose L-skewness is that of Gumbel gives Gumbel's scale: the formulas meet."""
    n = 50_000
    values = -np.log(-np.log((np.arange(n) + 0.5) / n))
    location, scale, shape = gev_from_lmoments(values)
    assert (location, scale, shape) == pytest.approx((0, 1, 0), abs=2e-3)

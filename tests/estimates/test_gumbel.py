"""Gumbel helpers: variates, L-moments, standard error."""

import math

import numpy as np
import pytest

from surfscan.estimates.gumbel import (
    gumbel_from_lmoments,
    quantile_standard_error,
    reduced_variate,
    return_variate,
)


def test_reduced_variate_turns_the_distribution_round():
    y = np.array([-1.0, 0.0, 4.0])
    assert reduced_variate(np.exp(-np.exp(-y))) == pytest.approx(y)


def test_return_variate_is_that_of_one_minus_one_over_t():
    assert return_variate(50) == pytest.approx(float(reduced_variate(0.98)))
    assert return_variate(1e12) == pytest.approx(math.log(1e12))


@pytest.mark.parametrize("period", [1.0, 0.5, -2.0, math.nan])
def test_return_period_up_to_one_is_refused(period):
    with pytest.raises(ValueError, match="above 1"):
        return_variate(period)


def test_lmoments_give_parameters_back():
    n = 100_000
    location, scale = gumbel_from_lmoments(5 + 2 * reduced_variate((np.arange(n) + 0.5) / n))
    assert (location, scale) == pytest.approx((5, 2), abs=1e-3)


def test_standard_error_falls_with_the_root_of_blocks():
    few, many = quantile_standard_error(3.0, 4.6, 20), quantile_standard_error(3.0, 4.6, 80)
    assert few == pytest.approx(2 * many)
    assert few == pytest.approx(3 * math.sqrt((1.109 + 0.514 * 4.6 + 0.608 * 4.6**2) / 20), rel=1e-3)

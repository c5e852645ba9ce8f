"""Gamma quantiles against scipy's."""

from __future__ import annotations

import pytest
from scipy.special import gammainc, gammaincinv

from surfscan.estimates.quantiles import gamma_probability, gamma_quantile

SHAPES = [0.5, 1, 2, 3.7, 10, 47.2, 300, 4000, 12_345.6, 1e6]


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("p", [0.025, 0.3, 0.5, 0.975, 0.999])
def test_quantile_equals_scipys(shape, p):
    """The inverse agrees with scipy's over the range that counts of pits can take."""
    assert gamma_quantile(shape, p) == pytest.approx(gammaincinv(shape, p), rel=1e-9)


@pytest.mark.parametrize("shape", SHAPES)
@pytest.mark.parametrize("share", [0.2, 0.9, 1.0, 1.1, 2.5])
def test_probability_equals_scipys(shape, share):
    """Series and continued fraction meet at shape + 1 and agree with scipy on both sides."""
    x = share * shape + 0.1
    assert gamma_probability(shape, x) == pytest.approx(gammainc(shape, x), rel=1e-8, abs=1e-12)


def test_nothing_lies_below_zero():
    """The probability at 0 is 0."""
    assert gamma_probability(3.0, 0.0) == 0.0


@pytest.mark.parametrize(("shape", "p"), [(0, 0.5), (-1, 0.5), (1, 0), (1, 1), (float("nan"), 0.5)])
def test_out_of_range_is_refused(shape, p):
    """No quantile exists for shapes of 0 or less, nor at probabilities 0 and 1."""
    with pytest.raises(ValueError, match="shape must be above 0"):
        gamma_quantile(shape, p)

"""Plotting positions: complete, product-limit, and with upper bounds."""

import numpy as np
import pytest

from surfscan.estimates.maxima_likelihood import AT_LEAST, AT_MOST, MEASURED
from surfscan.estimates.plotting_positions import plotting_positions


def test_complete_data():
    values = np.array([3.0, 1.0, 2.0, 2.0])
    positions = plotting_positions(values, np.full(4, MEASURED))
    assert positions == pytest.approx([4 / 5, 1 / 5, 2 / 5, 3 / 5])


def test_lower_bounds_by_the_product_limit():
    """Herd and Johnson: survival falls by r / (r + 1) at each measured maximum, r its reverse rank."""
    values = np.arange(1.0, 8.0)
    kinds = np.full(7, MEASURED)
    kinds[[1, 4]] = AT_LEAST
    positions = plotting_positions(values, kinds)
    survival = 1.0
    for i in range(7):
        if kinds[i] == MEASURED:
            survival *= (7 - i) / (8 - i)
            assert positions[i] == pytest.approx(1 - survival, abs=1e-9)
        else:
            assert np.isnan(positions[i])


def test_measured_at_the_value_of_a_bound_comes_first():
    values, kinds = np.array([5.0, 5.0, 6.0]), np.array([AT_LEAST, MEASURED, MEASURED])
    positions = plotting_positions(values, kinds)
    assert positions[1] == pytest.approx(1 / 4)
    assert positions[2] == pytest.approx(1 - 3 / 4 * 1 / 2)


def test_upper_bounds_below_everything_take_the_lowest_ranks():
    values = np.array([1.0, 1.0, 3.0, 4.0, 5.0])
    kinds = np.array([AT_MOST, AT_MOST, MEASURED, MEASURED, MEASURED])
    assert plotting_positions(values, kinds)[2:] == pytest.approx([3 / 6, 4 / 6, 5 / 6])


def test_upper_bound_in_the_midst_is_shared_out_below():
    """Its weight goes below it; what lies above keeps its rank."""
    values = np.array([1.0, 2.5, 3.0, 4.0])
    kinds = np.array([MEASURED, AT_MOST, MEASURED, MEASURED])
    positions = plotting_positions(values, kinds)
    assert positions[2:] == pytest.approx([3 / 5, 4 / 5])
    assert 1 / 5 < positions[0] <= 2 / 5

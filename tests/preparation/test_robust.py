"""Centre and spread of the densest class, whatever stands beside it."""

import numpy as np
import pytest

from surfscan.preparation.robust import densest


def normal(rows, size, seed=0):
    return np.random.default_rng(seed).normal(0, 1, (rows, size))


@pytest.mark.parametrize("size", [64, 200, 441, 2000])
def test_mean_over_normal_samples(size):
    """On average the true centre, and the true standard deviation within 4 %."""
    centre, spread = densest(normal(400, size))
    assert centre.mean() == pytest.approx(0, abs=0.06)
    assert spread.mean() == pytest.approx(1, abs=0.04)


@pytest.mark.parametrize("other, sigma", [(-8.0, 1.0), (8.0, 3.0)])
def test_other_classes_hardly_move_it(other, sigma):
    """A third of the values far away, darker or brighter: the centre stays, where the median moves by half a
    sigma; the spread becomes that of the 60 % of the class that are 40 % of all, and not that of the mixture.
    """
    values = normal(50, 900)
    values[:, :300] = other + sigma * values[:, :300]
    centre, spread = densest(values)
    assert abs(np.median(values, axis=1).mean()) > 0.4
    assert abs(centre.mean()) < 0.1
    assert spread.mean() == pytest.approx(0.8416 / 0.5244, abs=0.06)
    assert values.std(axis=1).min() > 3.5


def test_shift_and_scale():
    """Adding and multiplying go straight through."""
    values = normal(20, 300)
    centre, spread = densest(values)
    moved, stretched = densest(5 + 3 * values)
    np.testing.assert_allclose(moved, 5 + 3 * centre)
    np.testing.assert_allclose(stretched, 3 * spread)


def test_not_a_number_is_left_out():
    """A row with gaps is the same as the row without them, also beside a full one."""
    values = normal(3, 500)
    values[1, ::3] = np.nan
    centre, spread = densest(values)
    for row in range(3):
        alone = values[row][~np.isnan(values[row])][None]
        np.testing.assert_allclose((centre[row], spread[row]), np.ravel(densest(alone)))


def test_rows_without_values():
    """Nothing known is not-a-number, and does not disturb the other rows."""
    values = normal(2, 100)
    values[0] = np.nan
    centre, spread = densest(values)
    assert np.isnan(centre[0]) and np.isnan(spread[0])
    assert np.isfinite(centre[1]) and np.isfinite(spread[1])


def test_equal_values_have_no_spread():
    """More than 40 % of one value: that value, spread 0."""
    values = np.concatenate([np.full(50, 7.0), np.arange(50.0)])[None]
    assert np.ravel(densest(values)).tolist() == [7.0, 0.0]


def test_shortest_interval_by_hand():
    """Of ten values the shortest interval with four of them is 4.0 to 4.3."""
    values = np.array([[0.0, 1.0, 2.0, 4.3, 4.1, 4.0, 4.2, 6.0, 7.0, 9.0]])
    assert densest(values)[0][0] == pytest.approx(4.15)


def test_a_single_value():
    """One value is its own centre."""
    assert densest(np.array([[3.5]]))[0].tolist() == [3.5]

"""Depth statistics: lower bounds are neither dropped nor believed, and no pitting factor without a base."""

import numpy as np
import pytest

from surfscan.estimates.depths import (
    censored_quantile,
    deepest,
    hidden_floors_remark,
    pitting_factor,
    product_limit,
)

NONE = np.zeros(5, bool)


def test_deepest_and_mean_of_the_ten_deepest():
    depths = np.arange(1.0, 13.0)
    found = deepest(depths, np.zeros(12, bool))
    assert (found.max_um, found.mean_um, found.count) == (12.0, 7.5, 10)
    assert not found.is_lower_bound


def test_fewer_than_ten_and_none():
    found = deepest(np.array([3.0, 1.0]), np.zeros(2, bool))
    assert (found.max_um, found.mean_um, found.count) == (3.0, 2.0, 2)
    assert deepest(np.zeros(0), np.zeros(0, bool)).max_um is None


def test_any_unmeasured_floor_makes_the_deepest_a_lower_bound():
    """Also one that looks shallow: it may in truth be the deepest."""
    assert deepest(np.array([9.0, 1.0]), np.array([False, True])).is_lower_bound


def test_without_lower_bounds_the_median_is_the_ordinary_one():
    assert censored_quantile(np.array([5.0, 1, 3, 2, 4]), NONE, 0.5) == 3.0
    assert censored_quantile(np.array([1.0, 2, 3, 4]), NONE[:4], 0.5) == 2.5


def test_lower_bounds_push_the_median_up():
    values, floor = np.array([1.0, 2, 3, 4, 5]), np.array([False, True, False, False, False])
    assert censored_quantile(values, floor, 0.5) == 4.0


def test_the_estimate_stays_below_1_where_a_lower_bound_is_the_largest():
    at, reached = product_limit(np.array([1.0, 2, 3]), np.array([False, False, True]))
    assert at.tolist() == [1, 2]
    assert reached == pytest.approx([1 / 3, 2 / 3])
    assert product_limit(np.zeros(0), NONE[:0])[0].size == 0


def test_a_quantile_that_lower_bounds_hide_is_not_given():
    assert censored_quantile(np.array([1.0, 2, 3]), np.array([False, True, True]), 0.5) is None
    assert censored_quantile(np.zeros(0), NONE[:0], 0.5) is None


def test_equal_values_seen_and_censored():
    """At one value those seen count first, and the censored are still at risk there."""
    values, floor = np.array([2.0, 2, 2, 2]), np.array([False, False, True, True])
    assert censored_quantile(values, floor, 0.5) == 2.0


def test_bad_arguments():
    with pytest.raises(ValueError, match="between 0 and 1"):
        censored_quantile(np.ones(2), NONE[:2], 1.0)
    with pytest.raises(ValueError, match="differ in length"):
        censored_quantile(np.ones(2), NONE, 0.5)


def test_pitting_factor():
    assert pitting_factor(30.0, 10.0) == 3.0
    assert pitting_factor(10.0, 10.0) == 1.0


@pytest.mark.parametrize(
    ("deepest_um", "mean_um", "uncertainty_um"),
    [(None, 1.0, 0), (1.0, None, 0), (1.0, 0.0, 0), (1.0, -0.2, 0), (1.0, 0.1, 0.06), (0.0, 1.0, 0)],
)
def test_pitting_factor_is_refused_where_undefined(deepest_um, mean_um, uncertainty_um):
    assert pitting_factor(deepest_um, mean_um, uncertainty_um) is None


def test_hidden_floors_in_words():
    assert hidden_floors_remark(1, 4).startswith(
        "Of 4 pits 1 pit has a floor that was not measured: its depth"
    )
    assert hidden_floors_remark(3, 9).startswith("Of 9 pits 3 pits have floors that were not measured: their")


def test_pits_of_unknown_depth_enter_no_figure_but_bound_them():
    depths, bounds = np.array([3.0, np.nan, 5.0]), np.array([False, True, False])
    top = deepest(depths, bounds)
    assert (top.max_um, top.mean_um, top.count, top.is_lower_bound) == (5.0, 4.0, 2, True)
    assert censored_quantile(depths, bounds, 0.5) == 4.0
    nothing = deepest(np.array([np.nan]), np.array([True]))
    assert (nothing.max_um, nothing.count, nothing.is_lower_bound) == (None, 0, True)
    assert censored_quantile(np.array([np.nan]), np.array([True]), 0.5) is None

"""Between-field estimates: definitions, limits and what is refused."""

import math

import numpy as np
import pytest

from surfscan.estimates.fields import area_weighted_mean, field_mean, fields_needed, planned_fields


def test_two_fields_by_hand_and_flagged():
    e = field_mean([10.0, 12.0])
    assert e.mean == 11
    assert e.standard_deviation == pytest.approx(math.sqrt(2))
    assert e.half_width == pytest.approx(12.7062, rel=1e-5)
    assert e.ci95 == (0.0, pytest.approx(11 + 12.7062))
    assert e.relative_accuracy_percent == pytest.approx(100 * 12.7062 / 11, rel=1e-5)
    assert "12.7" in e.warnings[0]


def test_one_field_has_no_interval_and_says_why():
    e = field_mean([0.2])
    assert (e.mean, e.fields) == (0.2, 1)
    assert e.standard_deviation is e.half_width is e.ci95 is e.relative_accuracy_percent is None
    assert "One field only" in e.warnings[0]


def test_interval_is_cut_at_the_limits_of_the_figure():
    low = field_mean([0.0, 0.0, 0.3], upper=1.0)
    high = field_mean([1.0, 1.0, 0.7], upper=1.0)
    assert low.ci95[0] == 0
    assert high.ci95[1] == 1
    assert low.half_width == pytest.approx(high.half_width)
    assert low.warnings == ()


def test_equal_values_are_not_certainty():
    e = field_mean([0.0, 0.0, 0.0])
    assert e.ci95 == (0, 0)
    assert e.relative_accuracy_percent is None
    assert "no width" in e.warnings[0]


@pytest.mark.parametrize("values", [[], [[1.0, 2.0]], [1.0, float("nan")], [float("inf")]])
def test_unusable_fields_are_refused(values):
    with pytest.raises(ValueError, match="field"):
        field_mean(values)


def test_equal_areas_reduce_to_the_plain_mean():
    values = np.array([0.1, 0.14, 0.08, 0.11])
    plain, weighted = field_mean(values), area_weighted_mean(values * 2.5, np.full(4, 2.5))
    assert weighted.mean == pytest.approx(plain.mean)
    assert weighted.standard_deviation == pytest.approx(plain.standard_deviation)
    assert weighted.ci95 == pytest.approx(plain.ci95)


def test_a_large_field_counts_for_more():
    e = area_weighted_mean([1.0, 30.0], [1.0, 10.0])
    assert e.mean == pytest.approx(31 / 11)
    # Residuals are -20/11 and 20/11, so s = sqrt(2) 20/11 over the mean area 5.5.
    assert e.standard_deviation == pytest.approx(math.sqrt(2) * 20 / 11 / 5.5)


def test_ratio_interval_holds_the_truth_as_often_as_promised():
    rng = np.random.default_rng(21)
    held, trials = 0, 2000
    for _ in range(trials):
        area = rng.uniform(0.5, 2.0, 12)
        e = area_weighted_mean(rng.poisson(30 * area), area)
        held += e.ci95[0] <= 30 <= e.ci95[1]
    assert abs(held / trials - 0.95) < 0.025  # five standard errors of the share


@pytest.mark.parametrize(
    ("amounts", "areas", "message"),
    [([1.0], [1.0, 2.0], "one area per field"), ([1.0], [0.0], "above 0"), ([], [], "per field")],
)
def test_unusable_areas_are_refused(amounts, areas, message):
    with pytest.raises(ValueError, match=message):
        area_weighted_mean(amounts, areas)


def test_fields_needed_is_exact_where_whole_and_never_below_two():
    assert fields_needed(10.0, 2.0, 10.0) == 16
    assert fields_needed(10.0, 2.01, 10.0) == 17
    assert fields_needed(10.0, 0.0, 10.0) == 2


@pytest.mark.parametrize(
    "bad", [(0.0, 1.0, 10.0), (1.0, -1.0, 10.0), (1.0, 1.0, 0.0), (float("nan"), 1.0, 10.0)]
)
def test_fields_needed_refuses_nonsense(bad):
    with pytest.raises(ValueError, match="above 0"):
        fields_needed(*bad)


@pytest.mark.parametrize("bad", [(0.0, 16, 10.0), (1.2, 16, 10.0), (0.1, 0, 10.0), (0.1, 16, 0.0)])
def test_planned_fields_refuses_nonsense(bad):
    with pytest.raises(ValueError, match="expected_fraction"):
        planned_fields(*bad)

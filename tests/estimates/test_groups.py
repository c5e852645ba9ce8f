"""Group means and baseline subtraction."""

import math

import numpy as np
import pytest

from surfscan.estimates.groups import specimen_mean, subtract_baseline, t_factor, welch_satterthwaite


def test_t_factor_against_printed_table():
    # Student t, 97.5 %, as printed in any table (e.g. JCGM 100:2008, Table G.2, column 95 %).
    for freedom, printed in ((1, 12.71), (2, 4.30), (3, 3.18), (4, 2.78), (9, 2.26), (20, 2.09)):
        assert t_factor(freedom) == pytest.approx(printed, abs=0.005)
    assert t_factor(math.inf) == pytest.approx(1.96, abs=0.001)


def test_mean_and_interval_by_hand():
    # mean 4, s = 2, s/sqrt(4) = 1, t(3) = 3.1824
    estimate = specimen_mean([2.0, 4.0 - math.sqrt(2), 4.0 + math.sqrt(2), 6.0])
    assert estimate.value == pytest.approx(4.0)
    assert estimate.sd == pytest.approx(2.0)
    assert estimate.standard_uncertainty == pytest.approx(1.0)
    assert estimate.ci95 == pytest.approx((4 - 3.18245, 4 + 3.18245), abs=1e-4)
    assert estimate.refused == ""


@pytest.mark.parametrize("values, n", [([], 0), ([3.0], 1), ([3.0, 5.0], 2), ([np.nan, 3.0, np.nan], 1)])
def test_too_few_specimens_refuse_the_interval(values, n):
    estimate = specimen_mean(values)
    assert estimate.n == n
    assert estimate.ci95 is None
    assert "specimen" in estimate.refused


def test_two_specimens_still_give_mean_and_sd():
    estimate = specimen_mean([3.0, 5.0])
    assert (estimate.value, estimate.sd) == (4.0, pytest.approx(math.sqrt(2)))


def test_equal_values_refuse_a_zero_width_interval():
    estimate = specimen_mean([0.1, 0.1, 0.1])
    assert estimate.sd == 0.0
    assert estimate.ci95 is None
    assert "same value" in estimate.refused


def test_interval_is_cut_at_what_can_be():
    low, high = specimen_mean([0.0, 0.0, 0.9], lowest=0.0, highest=1.0).ci95
    assert low == 0.0
    assert high == 1.0


def test_scaling_law():
    values = np.array([1.0, 2.5, 3.0, 7.0])
    one, ten = specimen_mean(values), specimen_mean(10 * values)
    assert np.allclose(np.array(ten.ci95), 10 * np.array(one.ci95))


def test_interval_covers_the_mean_in_95_of_100_groups():
    rng = np.random.default_rng(7)
    hits = 0
    for _ in range(2000):
        low, high = specimen_mean(rng.normal(10.0, 2.0, 4)).ci95
        hits += low <= 10.0 <= high
    assert 0.935 <= hits / 2000 <= 0.965


def test_difference_combines_both_uncertainties():
    group, baseline = specimen_mean([10.0, 12.0, 14.0]), specimen_mean([1.0, 2.0, 3.0, 2.0])
    difference = subtract_baseline(group, baseline)
    assert difference.value == pytest.approx(10.0)
    assert difference.standard_uncertainty == pytest.approx(
        math.sqrt(group.standard_uncertainty**2 + baseline.standard_uncertainty**2)
    )
    assert 2.0 < difference.degrees_of_freedom < 5.0
    low, high = difference.ci95
    assert high - difference.value == pytest.approx(
        t_factor(difference.degrees_of_freedom) * difference.standard_uncertainty
    )
    assert low < difference.value


def test_difference_against_scipy_welch():
    from scipy.stats import ttest_ind

    a, b = [10.0, 12.5, 14.0, 11.0], [1.0, 2.0, 3.5]
    ours = subtract_baseline(specimen_mean(a), specimen_mean(b))
    reference = ttest_ind(a, b, equal_var=False)
    interval = reference.confidence_interval(0.95)
    assert ours.degrees_of_freedom == pytest.approx(reference.df)
    assert ours.ci95 == pytest.approx((interval.low, interval.high))


def test_negative_difference_is_kept_whole():
    difference = subtract_baseline(
        specimen_mean([0.0, 1.0, 2.0], lowest=0.0), specimen_mean([3.0, 4.0, 5.0], lowest=0.0)
    )
    assert difference.value == pytest.approx(-3.0)
    assert difference.ci95[0] < -3.0


def test_difference_refused_when_either_side_is_too_small():
    full, pair = specimen_mean([1.0, 2.0, 3.0]), specimen_mean([0.0, 0.5])
    assert "baseline has too few specimens, 2;" in subtract_baseline(full, pair).refused
    assert "group has too few specimens, 2;" in subtract_baseline(pair, full).refused
    assert subtract_baseline(full, pair).value == pytest.approx(1.75)


def test_baseline_without_scatter_leaves_the_groups_own_interval():
    group = specimen_mean([4.0, 5.0, 6.0])
    difference = subtract_baseline(group, specimen_mean([0.0, 0.0, 0.0]))
    assert difference.ci95 == pytest.approx(group.ci95)
    assert difference.degrees_of_freedom == pytest.approx(2.0)
    still = specimen_mean([0.0, 0.0, 0.0])
    assert "scatter" in subtract_baseline(still, still).refused


def test_welch_satterthwaite_against_the_guide():
    # JCGM 100:2008, G.4.1 example: relative u 0.25 %, 0.57 %, 0.82 % with 9, 4, 14 d.f. give 19.0.
    assert welch_satterthwaite([0.25, 0.57, 0.82], [9, 4, 14]) == pytest.approx(19.0, abs=0.1)


def test_welch_satterthwaite_edges():
    assert welch_satterthwaite([1.0, 1.0], [4, math.inf]) == pytest.approx(16.0)
    assert welch_satterthwaite([1.0], [math.inf]) == math.inf
    with pytest.raises(ValueError, match="nothing to combine"):
        welch_satterthwaite([0.0, 0.0], [3, 3])

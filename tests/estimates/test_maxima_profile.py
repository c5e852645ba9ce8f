"""Profile intervals and their calibration."""

import numpy as np
import pytest

from surfscan.estimates.maxima_likelihood import AT_LEAST, AT_MOST, MEASURED, fit_batch, level_factor
from surfscan.estimates.maxima_profile import (
    CensoringPattern,
    gumbel_p_value,
    pattern_of,
    profile_limits,
    signed_root_limits,
    signed_roots,
    simulated_sets,
)


def test_pattern_counts_what_lies_between():
    values = np.array([5.0, 1.0, 3.0, 0.5, 3.0, 9.0, 0.7])
    kinds = np.array([MEASURED, MEASURED, AT_LEAST, AT_LEAST, MEASURED, AT_LEAST, AT_MOST])
    pattern = pattern_of(values, kinds)  # measured 1, 3, 5; bounds 3 and 9 above the second and the third
    assert pattern == CensoringPattern(1, (0, 1, 1))
    assert not pattern.complete
    assert pattern_of(values, np.full(7, MEASURED)).complete


def test_simulated_sets_have_the_pattern():
    pattern = CensoringPattern(2, (0, 3, 0, 1))
    values, kinds = simulated_sets(pattern, 50, seed=3)
    assert values.shape == kinds.shape == (50, 10)
    for x, what in zip(values, kinds, strict=True):
        assert pattern_of(x, what) == pattern
        assert (x[what == AT_MOST] == x[what == MEASURED].min()).all()
    again, _ = simulated_sets(pattern, 50, seed=3)
    assert (values == again).all()


def test_simulated_complete_sets_follow_the_distribution():
    """Mean 0.5772 and standard deviation pi / sqrt 6 for Gumbel; quantiles of GEV by the definition."""
    pattern = CensoringPattern(0, (0,) * 20)
    values, _ = simulated_sets(pattern, 4000, seed=1)
    assert (np.diff(values, axis=1) >= 0).all()
    assert values.mean() == pytest.approx(np.euler_gamma, abs=0.02)
    assert values.std() == pytest.approx(np.pi / 6**0.5, rel=0.02)
    bent, _ = simulated_sets(pattern, 4000, seed=1, shape=-0.2)
    assert bent == pytest.approx(level_factor(values, -0.2))


def test_withdrawal_leaves_the_rest_right():
    """Sets with 30 % withdrawn at random still give location 0 and scale 1 on average."""
    pattern = CensoringPattern(0, (0, 1) * 15)
    values, kinds = simulated_sets(pattern, 2000, seed=2)
    fit = fit_batch(values, kinds, gumbel=True)
    assert fit.level.mean() == pytest.approx(0.0, abs=0.03)
    assert fit.scale.mean() == pytest.approx(1.0, abs=0.04)


@pytest.mark.parametrize("gumbel", [True, False])
@pytest.mark.parametrize("variate", [-1.2, 0.4, 2.3, 6.9])
def test_limits_are_where_the_root_is(gumbel, variate):
    values = np.random.default_rng(4).gumbel(size=(30, 35))
    kinds = np.full(values.shape, MEASURED)
    kinds[:, 2] = AT_LEAST
    fit = fit_batch(values, kinds, variate, gumbel=gumbel)
    for root in (2.1, -2.3):
        level = profile_limits(values, kinds, variate, fit, np.full(30, root), gumbel=gumbel)
        assert ((level < fit.level) == (root > 0)).all()
        assert signed_roots(values, kinds, variate, level, fit, gumbel=gumbel) == pytest.approx(
            np.full(30, root), abs=1e-6
        )


def test_limits_of_gumbel_for_complete_data_are_lopsided():
    """Few blocks underrate the scale, so the upper end needs a larger root than the table's 1.96."""
    low, high = signed_root_limits(CensoringPattern(0, (0,) * 20), 4.6, True)
    assert -2.4 < low < -2.1
    assert 1.7 < high < 1.96


@pytest.mark.parametrize(
    ("pattern", "gumbel"),
    [
        (CensoringPattern(0, (0,) * 30), False),
        (CensoringPattern(0, (0, 1) * 15), True),
        (CensoringPattern(3, (0,) * 12), True),
    ],
)
def test_other_limits_never_narrow_the_interval(pattern, gumbel):
    low, high = signed_root_limits(pattern, 4.6, gumbel)
    assert low <= -1.959 and high >= 1.959


def test_many_blocks_come_near_the_table():
    low, high = signed_root_limits(CensoringPattern(0, (0,) * 300), 4.6, True)
    assert (low, high) == pytest.approx((-1.96, 1.96), abs=0.15)


def test_the_table_is_taken_beyond_500_blocks():
    """Where simulation ends, it has come near enough to the table for nobody to see a step."""
    at, beyond = (signed_root_limits(CensoringPattern(0, (0,) * n), 4.6, True) for n in (500, 501))
    assert beyond == pytest.approx((-1.96, 1.96), abs=1e-3)
    assert at == pytest.approx(beyond, abs=0.12)
    values = np.random.default_rng(1).gumbel(size=501)
    kinds = np.full(501, MEASURED)
    assert gumbel_p_value(values, kinds, 3.841459) == pytest.approx(0.05, abs=1e-6)
    assert gumbel_p_value(values[:500], kinds[:500], 3.841459) == pytest.approx(0.05, abs=0.02)


def test_p_value_is_uniform_under_gumbel():
    """5 % of Gumbel sets are rejected at 5 %, few as they are; a heavy tail nearly always is."""
    values = np.random.default_rng(7).gumbel(size=(400, 15))
    kinds = np.full(values.shape, MEASURED)
    ratio = [fit_batch(values, kinds, gumbel=g).log_likelihood for g in (False, True)]
    p = [gumbel_p_value(values[i], kinds[i], 2 * float(ratio[0][i] - ratio[1][i])) for i in range(400)]
    assert np.mean(np.array(p) < 0.05) == pytest.approx(0.05, abs=0.033)
    assert np.mean(p) == pytest.approx(0.5, abs=0.05)
    assert gumbel_p_value(values[0], kinds[0], 30.0) < 0.001
    assert gumbel_p_value(values[0], kinds[0], 0.0) == 1.0

"""Fits and intervals of one set of block maxima."""

import numpy as np
import pytest

from surfscan.estimates.extremes import fit_maxima, gumbel_test, level_intervals, level_standard_error
from surfscan.estimates.gumbel import quantile_standard_error
from surfscan.estimates.maxima_likelihood import AT_LEAST, MEASURED

VALUES = 20 + 4 * np.random.default_rng(1).gumbel(size=40)
COMPLETE = np.full(40, MEASURED)
CENSORED = np.where(np.arange(40) % 4 == 0, AT_LEAST, MEASURED)
VARIATES = np.array([-1.2, 0.0, 0.8, 2.0, 4.6])


@pytest.mark.parametrize("model", ["gumbel", "gev"])
@pytest.mark.parametrize("method", ["likelihood", "lmoments"])
def test_intervals_hold_the_line(model, method):
    """At every level the fitted line lies inside, and the band opens towards high levels."""
    fit = fit_maxima(VALUES, COMPLETE, model, method)
    ends = level_intervals(VALUES, COMPLETE, fit, VARIATES, 4.6)
    assert (ends[:, 0] < fit.level(VARIATES)).all() and (fit.level(VARIATES) < ends[:, 1]).all()
    assert (np.diff(ends[2:, 1] - ends[2:, 0]) > 0).all()
    again = level_intervals(VALUES, COMPLETE, fit, VARIATES, 4.6)
    assert (ends == again).all()


@pytest.mark.parametrize("method", ["likelihood", "lmoments"])
def test_shift_and_scale(method):
    """Depths in mm give the same as depths in µm."""
    fit, small = (fit_maxima(v, COMPLETE, "gumbel", method) for v in (VALUES, VALUES / 1000))
    ends, small_ends = (
        level_intervals(v, COMPLETE, f, VARIATES, 4.6) for v, f in ((VALUES, fit), (VALUES / 1000, small))
    )
    assert small_ends * 1000 == pytest.approx(ends, rel=1e-6)


def test_likelihood_is_never_below_that_of_lmoments():
    for model in ("gumbel", "gev"):
        best, other = (fit_maxima(VALUES, COMPLETE, model, m) for m in ("likelihood", "lmoments"))
        assert best.log_likelihood >= other.log_likelihood
        assert best.level(4.6) == pytest.approx(other.level(4.6), rel=0.15)
        assert other.covariance is None


def test_bounds_move_the_level_up():
    """The same values known only to be bounds speak for deeper pits, less surely."""
    known, bounded = (fit_maxima(VALUES, kinds, "gumbel", "likelihood") for kinds in (COMPLETE, CENSORED))
    assert bounded.level(4.6) > known.level(4.6)
    width = [
        np.ptp(level_intervals(VALUES, kinds, fit, np.array([4.6]), 4.6))
        for kinds, fit in ((COMPLETE, known), (CENSORED, bounded))
    ]
    assert width[1] > width[0]


def test_standard_errors():
    gumbel = fit_maxima(VALUES, COMPLETE, "gumbel", "likelihood")
    assert level_standard_error(VALUES, COMPLETE, gumbel, 4.6) == pytest.approx(
        quantile_standard_error(gumbel.scale, 4.6, 40)
    )
    censored = fit_maxima(VALUES, CENSORED, "gumbel", "likelihood")
    spread = censored.covariance
    by_hand = spread[0, 0] + 2 * 4.6 * spread[0, 1] + 4.6**2 * spread[1, 1]
    assert level_standard_error(VALUES, CENSORED, censored, 4.6) == pytest.approx(by_hand**0.5)
    lmoments = fit_maxima(VALUES, COMPLETE, "gumbel", "lmoments")
    assert level_standard_error(VALUES, COMPLETE, lmoments, 4.6) is None


def test_test_of_gumbel():
    """Gumbel data pass; the same data with a stretched tail do not, and GEV says by how much."""
    assert gumbel_test(VALUES, COMPLETE).p_value > 0.05
    heavy = np.exp(0.7 * (VALUES - 20) / 4)
    test = gumbel_test(heavy, COMPLETE)
    assert test.p_value < 0.01
    assert test.gev.shape > 0.2
    assert test.statistic == pytest.approx(
        2 * (test.gev.log_likelihood - fit_maxima(heavy, COMPLETE, "gumbel", "likelihood").log_likelihood)
    )


def test_what_cannot_be_fitted():
    with pytest.raises(ValueError, match="bounds"):
        fit_maxima(VALUES, CENSORED, "gumbel", "lmoments")
    with pytest.raises(ValueError, match="all equal"):
        fit_maxima(np.ones(10), np.full(10, MEASURED), "gumbel", "likelihood")
    with pytest.raises(ValueError, match="at least 3"):
        fit_maxima(VALUES[:6], np.array([0, 0, 1, 1, 1, 1]), "gumbel", "likelihood")

"""Laws of loss against time over specimens."""

from __future__ import annotations

import math

import numpy as np
import pytest

from surfscan.comparison.over_time import OverTime, aicc, fit_over_time
from surfscan.estimates.groups import t_factor

HOURS = np.repeat([24.0, 72.0, 168.0], 4)
NOISE = np.array([1.0, -1.0, 0.6, -0.6] * 3)  # no effect on any mean


def _fitted(exponent: float, sd: float, *, share: bool = False) -> OverTime:
    curve = 20 * (HOURS / 168) ** exponent
    return fit_over_time(HOURS, curve * (1 + sd * NOISE) if share else curve + sd * NOISE)


@pytest.mark.parametrize(("exponent", "law"), [(1.0, "linear"), (0.5, "parabolic"), (0.75, "power law")])
@pytest.mark.parametrize(("sd", "share"), [(0.3, False), (0.03, True)])
def test_the_law_that_made_the_losses_is_best(exponent: float, law: str, sd: float, share: bool) -> None:
    found = _fitted(exponent, sd, share=share)
    assert found.best.law == law and found.scatter == ("proportional" if share else "constant")
    assert found.best.exponent == pytest.approx(exponent, rel=0.01)
    assert found.best.factor * 168**found.best.exponent == pytest.approx(20.0, rel=0.01)
    assert found.fits_the_means and found.refused == ""
    assert [fit.difference for fit in found.fits] == sorted(fit.difference for fit in found.fits)
    assert sum(fit.weight for fit in found.fits) == pytest.approx(1.0)


def test_linear_fit_is_least_squares_through_the_origin() -> None:
    y = 20 * HOURS / 168 + np.random.default_rng(1).normal(0, 1.0, 12)
    fit = next(f for f in fit_over_time(HOURS, y).fits if f.law == "linear")
    slope = float((HOURS * y).sum() / (HOURS**2).sum())
    rss = float(((y - slope * HOURS) ** 2).sum())
    error = math.sqrt(rss / 11 / float((HOURS**2).sum()))
    assert fit.factor == pytest.approx(slope)
    assert fit.residual_sd == pytest.approx(math.sqrt(rss / 11))
    assert fit.factor_relative_uncertainty == pytest.approx(error / slope)
    middle, low, high = fit.at([100.0])
    assert middle[0] == pytest.approx(100 * slope)
    assert math.log(high[0] / low[0]) == pytest.approx(2 * t_factor(11) * error / slope)


def test_proportional_fit_is_the_mean_of_ratios() -> None:
    y = 20 * HOURS / 168 * (1 + 0.1 * np.random.default_rng(2).normal(size=12))
    found = fit_over_time(HOURS, y)
    fit = next(f for f in found.fits if f.law == "linear")
    assert found.scatter == "proportional"
    assert fit.factor == pytest.approx(float((y / HOURS).mean()))
    ratio = y / HOURS / fit.factor
    log_likelihood = sum(
        -0.5 * math.log(2 * math.pi * ratio.var()) - math.log(c) - 0.5 * (r - 1) ** 2 / ratio.var()
        for r, c in zip(ratio, fit.factor * HOURS, strict=True)
    )
    assert fit.aicc == pytest.approx(aicc(log_likelihood, 2, 12))


def test_free_exponent_against_a_general_fit() -> None:
    from scipy.optimize import curve_fit

    y = 20 * (HOURS / 168) ** 0.8 + np.random.default_rng(3).normal(0, 0.5, 12)
    found = fit_over_time(HOURS, y)
    fit = next(f for f in found.fits if f.law == "power law")
    (factor, exponent), cov = curve_fit(lambda t, k, n: k * t**n, HOURS, y, p0=[0.3, 0.8])
    assert found.scatter == "constant"
    assert fit.factor == pytest.approx(factor, rel=1e-4)
    assert fit.exponent == pytest.approx(exponent, rel=1e-5)
    assert fit.exponent_ci95 is not None
    half = t_factor(10) * math.sqrt(cov[1, 1])
    assert fit.exponent_ci95 == pytest.approx((exponent - half, exponent + half), rel=1e-3)


def test_interval_of_the_law_covers_the_mean() -> None:
    rng = np.random.default_rng(7)
    held = 0
    for _ in range(150):
        fit = fit_over_time(HOURS, 20 * (HOURS / 168) + rng.normal(0, 1.5, 12)).best
        _, low, high = fit.at(168.0)
        held += bool(low <= 20 <= high)
    assert held >= 136


def test_common_uncertainty_widens_and_changes_no_choice() -> None:
    y = 20 * HOURS / 168 + 0.3 * NOISE
    plain, common = fit_over_time(HOURS, y), fit_over_time(HOURS, y, common_relative=0.05)
    assert [f.law for f in plain.fits] == [f.law for f in common.fits]
    assert common.best.factor_relative_uncertainty == pytest.approx(
        math.hypot(plain.best.factor_relative_uncertainty, 0.05)
    )


def test_order_of_specimens_does_not_matter() -> None:
    y = 20 * (HOURS / 168) ** 0.7 + NOISE
    shuffled = np.random.default_rng(0).permutation(12)
    assert fit_over_time(HOURS[shuffled], y[shuffled]) == fit_over_time(HOURS, y)


def test_two_times_fix_the_exponent() -> None:
    found = fit_over_time(HOURS[:8], 20 * HOURS[:8] / 168 + 0.1 * NOISE[:8])
    assert [f.law for f in found.fits] == ["linear", "parabolic"] and found.hours == (24.0, 72.0)
    assert any("3 different exposures" in note for note in found.notes)


def test_lack_of_fit_is_an_f_test() -> None:
    """Means 0, 10, 10: an incubation that no law through the origin follows."""
    y = np.repeat([0.2, 10.0, 10.0], 4) + 0.3 * NOISE
    found = fit_over_time(HOURS, y)
    assert found.lack_of_fit is not None and found.lack_of_fit < 0.01
    assert not found.fits_the_means and "No law goes through the means" in found.notes[-1]


def test_one_specimen_a_time_cannot_test_the_law() -> None:
    found = fit_over_time([24, 48, 96, 168, 336], [2.1, 3.9, 8.2, 13.8, 28.1])
    assert found.lack_of_fit is None and found.fits_the_means


@pytest.mark.parametrize(
    ("hours", "losses", "why"),
    [
        ([168] * 6, [1.0] * 6, "1 exposure above 0 h"),
        ([0] * 6, [1.0] * 6, "no exposure above 0 h"),
        ([24, 24, 168, 168], [1, 1, 2, 2], "4 specimens"),
        ([24, 24, 24, 168, 168], [-1.0] * 5, "no loss to fit"),
        ([24, 24, 24, 168, 168], [9, -8, 0, 9, -7], "cannot be told from none"),
    ],
)
def test_too_little_is_refused(hours: list[float], losses: list[float], why: str) -> None:
    found = fit_over_time(hours, losses)
    assert found.fits == () and why in found.refused
    with pytest.raises(ValueError, match="there is no fit"):
        _ = found.best


def test_as_received_and_unknown_specimens_are_left_out() -> None:
    y = 20 * HOURS / 168 + 0.3 * NOISE
    more = fit_over_time([0.0, 24.0, math.nan, *HOURS], [0.5, math.nan, 4.0, *y])
    assert more == fit_over_time(HOURS, y)


def test_losses_on_a_law_to_rounding() -> None:
    found = fit_over_time(HOURS, 20 * HOURS / 168)
    assert found.best.law == "linear" and found.best.residual_sd == pytest.approx(0.0, abs=1e-12)


def test_exponent_outside_the_search_is_said() -> None:
    found = fit_over_time(HOURS, 5.0 + NOISE * 0.01)
    assert any("lies outside" in note for note in found.notes)


def test_nonsense_is_refused() -> None:
    with pytest.raises(ValueError, match="one time for each loss"):
        fit_over_time([1.0, 2.0], [1.0])
    with pytest.raises(ValueError, match="0 or above"):
        fit_over_time([-1.0] * 5, [1.0] * 5)
    with pytest.raises(ValueError, match="too few"):
        aicc(0.0, 3, 4)

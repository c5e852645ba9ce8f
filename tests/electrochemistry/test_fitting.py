"""One fit to one window: convergence, what is held, and a covariance that simulation confirms."""

import numpy as np
import pytest

from surfscan.electrochemistry.current_scale import scale_of
from surfscan.electrochemistry.fitting import FitModel, fit_window
from surfscan.electrochemistry.mixed_control import MixedControl, current_density_uA_per_cm2

CURVE = MixedControl(-0.42, 3.0, 0.09, 0.13, 0.12)
POTENTIAL = -0.42 + np.arange(-0.2497, 0.25, 0.002)
CLEAN = current_density_uA_per_cm2(POTENTIAL, CURVE)


def fitted(seed, model=FitModel(limited=True, resistive=False), start=CURVE):
    """A fit to the curve with 1 % noise."""
    current = CLEAN * (1 + 0.01 * np.random.default_rng(seed).standard_normal(len(CLEAN)))
    scale = scale_of(POTENTIAL, current, -0.42)
    return fit_window(POTENTIAL, current, scale, start, model, largest_resistance_ohm_cm2=100.0)


def test_far_start_gives_the_same():
    """Another start, the same minimum."""
    far = MixedControl(-0.415, 6.0, 0.15, 0.08, 0.4)
    near, again = fitted(1), fitted(1, start=far)
    assert near.converged and again.converged
    assert again.kinetics.icorr_uA_per_cm2 == pytest.approx(near.kinetics.icorr_uA_per_cm2, rel=1e-5)
    assert again.chi_squared == pytest.approx(near.chi_squared, rel=1e-9)


def test_held_parameters_stay():
    """Without limit the ratio is 0; a resistance that is not fitted stays; neither has a variance."""
    start = MixedControl(-0.42, 3.0, 0.09, 0.13, 0.12, 7.0)
    fit = fitted(1, FitModel(limited=False, resistive=False), start)
    assert fit.kinetics.limiting_ratio == 0 and fit.kinetics.series_resistance_ohm_cm2 == 7.0
    assert np.all(fit.covariance[4:] == 0) and fit.covariance[1, 1] > 0


def test_covariance_is_the_scatter_of_repeated_sweeps():
    """Standard deviations of 80 fits against the mean of their stated ones: within a quarter.

    Ecorr, whose points carry an allowance for noise of the potential that is not there, is stated wider.
    """
    fits = [fitted(seed) for seed in range(80)]
    for column, value in (
        (1, lambda k: np.log(k.icorr_uA_per_cm2)),
        (2, lambda k: np.log(k.anodic_slope_V)),
        (3, lambda k: np.log(k.cathodic_slope_V)),
        (4, lambda k: k.limiting_ratio),
    ):
        scatter = np.std([value(f.kinetics) for f in fits], ddof=1)
        stated = np.sqrt(np.mean([f.covariance[column, column] for f in fits]))
        assert stated == pytest.approx(scatter, rel=0.25), column
    scatter = np.std([f.kinetics.Ecorr_V for f in fits], ddof=1)
    assert scatter < np.sqrt(fits[0].covariance[0, 0]) < 3 * scatter


def test_criteria_prefer_the_truth():
    """A limit that shows is worth its parameter, by either criterion."""
    with_limit, without = fitted(1), fitted(1, FitModel(limited=False, resistive=False))
    assert with_limit.criterion(1.0) < without.criterion(1.0)
    assert with_limit.probability_criterion(1.0) < without.probability_criterion(1.0)

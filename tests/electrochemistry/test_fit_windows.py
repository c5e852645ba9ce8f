"""Choice of model and window, and the spread between windows."""

from dataclasses import replace

import numpy as np
import pytest

from surfscan.electrochemistry.current_scale import scale_of
from surfscan.electrochemistry.fit_rules import FitRules
from surfscan.electrochemistry.fit_windows import (
    FITS_WELL,
    SUB_WINDOWS,
    Fitter,
    choose_model,
    choose_window,
    misfit_of,
    vector_of,
    window_spread,
)
from surfscan.electrochemistry.mixed_control import PARAMETERS, MixedControl, current_density_uA_per_cm2
from surfscan.electrochemistry.scan_points import scan_points

CURVE = MixedControl(-0.42, 3.0, 0.06, 0.12, 0.1)
OVER = np.arange(-0.2497, 0.25, 0.001)


def fitter(onset_V=None, curve=CURVE, resistance=0.0, seed=2):
    """A curve with 1 % noise, passivating above an overpotential where one is given."""
    current = current_density_uA_per_cm2(curve.Ecorr_V + OVER, curve)
    current = current * (1 + 0.01 * np.random.default_rng(seed).standard_normal(len(OVER)))
    if onset_V is not None:
        falling = 1 + np.exp(np.clip((OVER - onset_V) / 0.012, -50, 50))
        current = np.where(current > 0, current / falling, current)
    points = scan_points(curve.Ecorr_V + OVER, current)
    scale = scale_of(points.potential_V, points.density_uA_per_cm2, points.zero_V)
    return Fitter(points, scale, resistance, FitRules())


def test_whole_sweep_where_it_is_described():
    """A curve of the model is fitted from end to end, and no other window is met."""
    chosen, others = choose_window(fitter())
    assert chosen.inside.all() and chosen.fit.model.limited and chosen.misfit < FITS_WELL and others == ()


def test_one_branch_is_cut():
    """Passivation at 130 mV: the anodic side goes, the cathodic stays."""
    chosen, others = choose_window(fitter(0.13))
    assert chosen.window_V[1] < -0.42 + 0.13 and chosen.window_V[0] < -0.42 - 0.24
    assert all(other.misfit <= FitRules().largest_misfit for other in others)


def test_resistance_does_not_stand_in_for_passivation():
    """Free to fit a resistance, a window cut short has none."""
    chosen, _ = choose_window(fitter(0.13, resistance=None))
    assert not chosen.inside.all() and chosen.fit.kinetics.series_resistance_ohm_cm2 == 0


def test_spread_is_nil_where_noise_explains_it():
    """Shorter windows of a curve of the model differ by noise alone; of a bent one by more."""
    plain = fitter()
    chosen, others = choose_window(plain)
    spread = window_spread(plain, chosen, others)
    assert len(spread.windows_V) == len(SUB_WINDOWS) and spread.excess.shape == (len(PARAMETERS),)
    assert spread.excess[1] < chosen.fit.covariance[1, 1]
    bent = fitter(0.13)
    chosen, others = choose_window(bent)
    assert window_spread(bent, chosen, others).excess[1] > chosen.fit.covariance[1, 1]


def test_too_few_points_are_not_fitted():
    """A window of a few points gives nothing."""
    assert choose_model(fitter(), (-0.425, -0.415)) is None


def test_misfit_of_a_coarse_sweep():
    """Seven points to one side and eight to the other still make blocks of two, so that a misfit is seen."""
    coarse = CURVE.Ecorr_V + np.arange(-0.0805, 0.071, 0.0101)
    points = scan_points(coarse, current_density_uA_per_cm2(coarse, CURVE))
    sweep = Fitter(
        points, scale_of(points.potential_V, points.density_uA_per_cm2, points.zero_V), 0.0, FitRules()
    )
    inside = np.ones(points.potential_V.size, bool)
    chosen = choose_model(sweep, (float(coarse[0]), float(coarse[-1])))
    off = replace(
        chosen.fit, residuals=np.full(inside.size, 0.1) / sweep.scale.sigma(points.density_uA_per_cm2)
    )
    assert inside.size == 15
    assert misfit_of(sweep, inside, off) == pytest.approx(0.1)


def test_doubt_about_the_model_never_narrows():
    """The covariance with doubt is at least that of the chosen model, in the order of the parameters."""
    chosen, _ = choose_window(fitter(resistance=None))
    assert np.all(np.diag(chosen.covariance()) >= np.diag(chosen.fit.covariance))
    assert vector_of(CURVE)[1] == np.log(3.0) and PARAMETERS[1] == "ln_icorr"

"""Fits of polarization curves against a general optimizer run independently, and against closed forms.

Sources: SciPy's trust-region least squares, with a model written anew here and differences for derivatives,
as the independent implementation; Stern and Geary's relation between slopes, polarization resistance and
corrosion current (J. Electrochem. Soc. 104 (1957) 56; ASTM G102 Eq. 9 and 10) as the closed form at the
corrosion potential.
"""

import math

import numpy as np
import pytest
from scipy.optimize import brentq, least_squares

from surfscan.electrochemistry.current_scale import scale_of
from surfscan.electrochemistry.fitting import FitModel, fit_window
from surfscan.electrochemistry.mixed_control import MixedControl, current_density_uA_per_cm2
from surfscan.electrochemistry.starting_values import start_of

LN10 = math.log(10)


def net_current(over, icorr, anodic, cathodic, ratio):
    """The model, written from 1/ic = 1/iact + 1/ilim with iact = k 10^(-h/bc)."""
    limit = icorr / ratio if ratio > 0 else math.inf
    exchange = icorr / (1 - ratio)
    activation = exchange * 10 ** (-over / cathodic)
    return icorr * 10 ** (over / anodic) - 1 / (1 / activation + 1 / limit)


def with_resistance(potential, zero, icorr, anodic, cathodic, ratio, resistance):
    """The same through a series resistance, by bisection point by point."""

    def one(total):
        def excess(over):
            return over + 1e-6 * resistance * net_current(over, icorr, anodic, cathodic, ratio) - total

        over = brentq(excess, min(total, 0.0) - 1e-9, max(total, 0.0) + 1e-9, xtol=1e-15)
        return net_current(over, icorr, anodic, cathodic, ratio)

    return np.array([one(total) for total in potential - zero])


def sweep(curve, step, seed):
    """A curve with 1 % noise."""
    potential = curve.Ecorr_V + np.arange(-0.2497, 0.25, step)
    rng = np.random.default_rng(seed)
    current = current_density_uA_per_cm2(potential, curve)
    return potential, current * (1 + 0.01 * rng.standard_normal(len(potential)))


CURVES = [
    MixedControl(-0.42, 0.02, 0.06, 0.11, 0.2),
    MixedControl(-0.42, 3.0, 0.12, 0.18, 1 / 15),
    MixedControl(0.11, 700.0, 0.25, 0.09, 0.1),
    MixedControl(-0.9, 40.0, 0.08, 0.28, 0.25),
]


@pytest.mark.parametrize("curve", CURVES)
@pytest.mark.parametrize("limited", [True, False])
def test_against_scipy(curve, limited):
    """Every parameter within 1e-4 of SciPy's, from another start, for either model; chi² within 1e-8."""
    potential, current = sweep(curve, 0.002, seed=4)
    zero = curve.Ecorr_V
    scale = scale_of(potential, current, zero)
    ours = fit_window(
        potential,
        current,
        scale,
        start_of(potential, current, zero),
        FitModel(limited, resistive=False),
        largest_resistance_ohm_cm2=1.0,
    )

    def residuals(x):
        fitted = net_current(potential - x[0], *np.exp(x[1:4]), x[4] if limited else 0.0)
        return (
            np.arcsinh(fitted / (2 * scale.linear_below_uA_per_cm2)) - scale.value(current)
        ) / scale.sigma(current)

    other = [zero + 1e-3, math.log(1.2 * curve.icorr_uA_per_cm2), math.log(0.1), math.log(0.13)]
    low, high = [-2.0, -12.0, -4.0, -4.0], [2.0, 12.0, 0.1, 0.1]
    if limited:
        other, low, high = [*other, 0.12], [*low, 0.0], [*high, 0.999]
    theirs = least_squares(
        residuals,
        other,
        bounds=(low, high),
        x_scale="jac",
        jac="3-point",
        xtol=1e-14,
        ftol=1e-14,
        gtol=1e-14,
        max_nfev=500,
    )
    assert ours.chi_squared == pytest.approx(2 * theirs.cost, rel=1e-8)
    found = ours.kinetics
    assert found.Ecorr_V == pytest.approx(theirs.x[0], abs=1e-7)
    assert found.icorr_uA_per_cm2 == pytest.approx(math.exp(theirs.x[1]), rel=1e-4)
    assert found.anodic_slope_V == pytest.approx(math.exp(theirs.x[2]), rel=1e-4)
    assert found.cathodic_slope_V == pytest.approx(math.exp(theirs.x[3]), rel=1e-4)
    if limited:
        assert found.limiting_ratio == pytest.approx(theirs.x[4], rel=1e-4)


def test_against_scipy_with_resistance():
    """The resistance fitted too: within 1e-4 of SciPy's, whose model solves the drop by bisection."""
    curve = MixedControl(-0.42, 150.0, 0.07, 0.12, 0.15, 15.0)
    potential, current = sweep(curve, 0.008, seed=4)
    scale = scale_of(potential, current, curve.Ecorr_V)
    ours = fit_window(
        potential,
        current,
        scale,
        curve,
        FitModel(limited=True, resistive=True),
        largest_resistance_ohm_cm2=60.0,
    )

    def residuals(x):
        fitted = with_resistance(potential, x[0], *np.exp(x[1:4]), x[4], x[5])
        return (scale.value(fitted) - scale.value(current)) / scale.sigma(current)

    other = [-0.421, math.log(160.0), math.log(0.075), math.log(0.13), 0.14, 14.0]
    theirs = least_squares(
        residuals, other, x_scale=[1e-3, 0.1, 0.1, 0.1, 0.1, 1.0], xtol=1e-12, ftol=1e-14, gtol=1e-14
    )
    found = ours.kinetics
    assert ours.chi_squared == pytest.approx(2 * theirs.cost, rel=1e-7)
    assert found.icorr_uA_per_cm2 == pytest.approx(math.exp(theirs.x[1]), rel=1e-4)
    assert found.anodic_slope_V == pytest.approx(math.exp(theirs.x[2]), rel=1e-4)
    assert found.cathodic_slope_V == pytest.approx(math.exp(theirs.x[3]), rel=1e-4)
    assert found.limiting_ratio == pytest.approx(theirs.x[4], rel=1e-4)
    assert found.series_resistance_ohm_cm2 == pytest.approx(theirs.x[5], rel=1e-4)


@pytest.mark.parametrize(("anodic", "cathodic", "constant_mV"), [(0.12, 0.12, 26.06), (0.1, 0.1, 21.71)])
def test_slope_at_zero_is_stern_geary(anodic, cathodic, constant_mV):
    """dE/di at Ecorr is ba bc / (ln 10 (ba + bc) icorr): B is 26.06 mV for 120/120, 21.71 for 100/100."""
    curve = MixedControl(-0.4, 5.0, anodic, cathodic)
    ends = current_density_uA_per_cm2(np.array([-0.4 - 1e-6, -0.4 + 1e-6]), curve)
    resistance_ohm_cm2 = 2e-6 / (1e-6 * (ends[1] - ends[0]))
    assert 1e-3 * 5.0 * resistance_ohm_cm2 == pytest.approx(constant_mV, rel=1e-3)
    assert resistance_ohm_cm2 == pytest.approx(
        anodic * cathodic / (LN10 * (anodic + cathodic)) / 5e-6, rel=1e-6
    )


def test_slope_at_zero_under_transport():
    """All-transport cathodic branch: B = ba / ln 10, 43.43 mV for 100 mV/decade (G102, one slope endless)."""
    curve = MixedControl(-0.4, 5.0, 0.1, 0.12, 1.0)
    ends = current_density_uA_per_cm2(np.array([-0.4 - 1e-6, -0.4 + 1e-6]), curve)
    assert 2e-6 / (ends[1] - ends[0]) * 5.0 == pytest.approx(0.1 / LN10, rel=1e-5)
    assert pytest.approx(0.04343, abs=1e-5) == 0.1 / LN10

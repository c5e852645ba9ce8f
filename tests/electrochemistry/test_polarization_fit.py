"""Corrosion current from a whole curve: truth, intervals, and every reason for no value."""

import math

import numpy as np
import pytest

from surfscan.electrochemistry.fit_rules import FitRules
from surfscan.electrochemistry.mixed_control import MixedControl, current_density_uA_per_cm2
from surfscan.electrochemistry.polarization_fit import fit_polarization

OVER = np.arange(-0.2497, 0.25, 0.001)


def measured(curve, over=OVER, noise=0.01, seed=1, floor=0.0):
    """Potential and noisy current density of a curve."""
    rng = np.random.default_rng(seed)
    potential = curve.Ecorr_V + over
    current = current_density_uA_per_cm2(potential, curve)
    current = current * (1 + noise * rng.standard_normal(len(over)))
    return potential, current + floor * rng.standard_normal(len(over))


@pytest.mark.parametrize("icorr", [0.005, 1.0, 1000.0])
@pytest.mark.parametrize(("anodic", "cathodic"), [(0.05, 0.15), (0.12, 0.12), (0.3, 0.06)])
@pytest.mark.parametrize("ratio", [0.0, 1 / 15, 1 / 4])
def test_truth_is_found(icorr, anodic, cathodic, ratio):
    """Within 3 %, over the range of corrosion currents, slopes and limits; the model is told."""
    curve = MixedControl(-0.42, icorr, anodic, cathodic, ratio)
    fit = fit_polarization(*measured(curve), series_resistance_ohm_cm2=0.0)
    assert fit.refused == ""
    assert fit.model == ("mixed control" if ratio else "activation")
    assert fit.icorr_uA_per_cm2 == pytest.approx(icorr, rel=0.03)
    assert fit.Ecorr_V == pytest.approx(-0.42, abs=3e-4)
    assert fit.anodic_slope_mV_per_decade == pytest.approx(1e3 * anodic, rel=0.03)
    assert fit.cathodic_slope_mV_per_decade == pytest.approx(1e3 * cathodic, rel=0.06)
    if ratio:
        assert fit.limiting_current_uA_per_cm2 == pytest.approx(icorr / ratio, rel=0.1)
        assert fit.criterion_mixed_control < fit.criterion_activation
    else:
        assert fit.limiting_current_uA_per_cm2 is None
    low, high = fit.icorr_uA_per_cm2_ci95
    assert low < fit.icorr_uA_per_cm2 < high < 1.1 * low
    assert fit.anodic_is_straight and fit.window_spread_ratio < 1.1


def test_intervals_hold_the_truth():
    """Of 40 intervals (0.95 expected) at least 34 hold it, and not by being wide."""
    curve = MixedControl(-0.42, 3.0, 0.09, 0.13, 0.12)
    held = widths = 0.0
    for seed in range(40):
        fit = fit_polarization(*measured(curve, seed=100 + seed), series_resistance_ohm_cm2=0.0)
        low, high = fit.icorr_uA_per_cm2_ci95
        held += low <= 3.0 <= high
        widths += math.log(high / low) / 40
    assert held >= 34 and widths < 0.02


def test_correlated_noise_widens_the_interval():
    """The same size of noise, each value remembering the one before: fewer points' worth."""
    curve = MixedControl(-0.42, 3.0, 0.09, 0.13, 0.12)
    potential, white = measured(curve)
    clean = current_density_uA_per_cm2(potential, curve)
    noise, slow = white / clean - 1, np.empty(len(white))
    slow[0] = noise[0]
    for k in range(1, len(noise)):
        slow[k] = 0.8 * slow[k - 1] + 0.6 * noise[k]
    plain = fit_polarization(potential, white)
    followed = fit_polarization(potential, clean * (1 + slow))
    assert followed.independent_points < plain.independent_points / 4

    def width(fit):
        return np.log(fit.icorr_uA_per_cm2_ci95[1] / fit.icorr_uA_per_cm2_ci95[0])

    assert width(followed) > 2 * width(plain)


def test_direction_and_repetition_change_nothing():
    """A run down gives the run up's figures, and a second call the first one's."""
    potential, current = measured(MixedControl(-0.42, 3.0, 0.09, 0.13, 0.12))
    up, again = fit_polarization(potential, current), fit_polarization(potential, current)
    down = fit_polarization(potential[::-1], current[::-1])
    assert up.icorr_uA_per_cm2 == again.icorr_uA_per_cm2 == down.icorr_uA_per_cm2
    assert up.icorr_uA_per_cm2_ci95 == again.icorr_uA_per_cm2_ci95 == down.icorr_uA_per_cm2_ci95


def test_series_resistance_found_stated_and_denied():
    """Found from the data; held where stated; denied, the curve does not fit as a whole."""
    curve = MixedControl(-0.42, 200.0, 0.09, 0.13, 0.1, 20.0)
    found = fit_polarization(*measured(curve))
    assert found.series_resistance_ohm_cm2 == pytest.approx(20.0, rel=0.05)
    assert found.series_resistance_ohm_cm2_ci95[0] < 20.0 < found.series_resistance_ohm_cm2_ci95[1]
    assert found.icorr_uA_per_cm2 == pytest.approx(200.0, rel=0.05)
    stated = fit_polarization(*measured(curve), series_resistance_ohm_cm2=20.0)
    assert stated.series_resistance_ohm_cm2 == 20.0 and stated.series_resistance_ohm_cm2_ci95 is None
    assert stated.icorr_uA_per_cm2 == pytest.approx(200.0, rel=0.03)
    denied = fit_polarization(*measured(curve), series_resistance_ohm_cm2=0.0)
    assert denied.refused or "left out" in " ".join(denied.warnings)


@pytest.mark.parametrize("resistance", [0.3, 300.0, 3e5])
def test_resistance_of_any_size_is_found(resistance):
    """5 mV at the corrosion current, from a molten salt to damp concrete; said to matter."""
    curve = MixedControl(-0.42, 5e3 / resistance, 0.09, 0.13, 0.1, resistance)
    fit = fit_polarization(*measured(curve))
    assert fit.refused == "" and fit.series_resistance_ohm_cm2 == pytest.approx(resistance, rel=0.1)
    assert fit.icorr_uA_per_cm2_ci95[0] <= 5e3 / resistance <= fit.icorr_uA_per_cm2_ci95[1]
    assert any("state the solution resistance" in each for each in fit.warnings)


def test_unstated_resistance_is_held():
    """Of 40 intervals, the resistance drawn over two decades and not stated, at least 35 hold the truth."""
    rng, held = np.random.default_rng(6), 0
    for seed in range(40):
        drop = 0.09 * 10 ** rng.uniform(-3, -0.7)
        fit = fit_polarization(*measured(MixedControl(-0.42, 2.0, 0.09, 0.13, 0.1, drop / 2e-6), seed=seed))
        low, high = fit.icorr_uA_per_cm2_ci95
        held += low <= 2.0 <= high
    assert held >= 35


@pytest.mark.parametrize("how", ["gain", "zero"])
def test_switched_range_is_held(how):
    """A range 10 % or 0.9 µA/cm² high above 9 µA/cm²: told, and the truth is held."""
    curve = MixedControl(-0.42, 3.0, 0.09, 0.13, 0.1)
    for seed in range(4):
        potential, current = measured(curve, seed=seed)
        wrong = 1.1 * current if how == "gain" else current + 0.9
        fit = fit_polarization(potential, np.where(np.abs(current) > 9, wrong, current))
        assert "range is switched" in " ".join((fit.refused, *fit.warnings))
        if not fit.refused:
            assert fit.icorr_uA_per_cm2_ci95[0] <= 3.0 <= fit.icorr_uA_per_cm2_ci95[1]


def test_all_transport():
    """Corrosion at the limiting current: no cathodic slope is given, and stirring is named."""
    fit = fit_polarization(*measured(MixedControl(-0.3, 20.0, 0.07, 0.12, 0.9995)))
    assert fit.refused == "" and fit.icorr_uA_per_cm2 == pytest.approx(20.0, rel=0.03)
    assert fit.limiting_current_uA_per_cm2 == pytest.approx(20.0, rel=0.03)
    assert any("stirring" in each for each in fit.warnings)


def passivating(curve, onset_V):
    """A curve whose anodic current falls off above an overpotential."""
    potential, current = measured(curve)
    falling = 1 + np.exp(np.clip((OVER - onset_V) / 0.012, -50, 50))
    return potential, np.where(current > 0, current / falling, current)


def test_passivation_limits_the_window():
    """What lies above the onset is left out and said to be; the value is that of the rest."""
    fit = fit_polarization(*passivating(MixedControl(-0.42, 3.0, 0.06, 0.12, 0.1), 0.15))
    assert fit.refused == "" and fit.window_V[1] < -0.42 + 0.15
    assert any("anodic branch are left out" in each for each in fit.warnings)
    assert fit.icorr_uA_per_cm2 == pytest.approx(3.0, rel=0.1)
    assert fit.icorr_uA_per_cm2_ci95[0] < 3.0 < fit.icorr_uA_per_cm2_ci95[1]


def test_passivation_soon_is_refused():
    """Too little of the anodic branch is left."""
    fit = fit_polarization(*passivating(MixedControl(-0.42, 3.0, 0.15, 0.12, 0.1), 0.06))
    assert fit.refused and fit.icorr_uA_per_cm2 is None and not fit.anodic_is_straight


CURVE = MixedControl(-0.42, 3.0, 0.09, 0.13, 0.12)


@pytest.mark.parametrize(
    ("potential", "current", "options", "reason"),
    [
        (*measured(CURVE, OVER[OVER > 0.02]), {}, "does not change from cathodic to anodic"),
        (*measured(CURVE, OVER[np.abs(OVER) < 0.03]), {}, "reaches only"),
        (*measured(CURVE, OVER[::40]), {}, "too few"),
        (*measured(CURVE), {"rest_potential_V": -0.30}, "mV from the rest potential"),
        (*measured(CURVE, noise=0.4), {}, "scatters|crosses|differ"),
        (*measured(CURVE, floor=1.5), {}, "scatters|near zero current"),
        (*measured(MixedControl(-0.42, 3.0, 0.3, 0.3, 0.25), OVER[np.abs(OVER) < 0.06]), {}, "decades|slope"),
    ],
)
def test_reasons_for_no_value(potential, current, options, reason):
    """One-sided, short, sparse, drifted, noisy, and too flat: no number, and the reason."""
    fit = fit_polarization(potential, current, **options)
    assert fit.icorr_uA_per_cm2 is None and fit.icorr_uA_per_cm2_ci95 is None and fit.Ecorr_V is None
    assert any(part in fit.refused for part in reason.split("|")), fit.refused


def test_a_curve_of_another_kind_is_refused():
    """A straight line through zero, as an ohmic dummy cell gives, has no slopes and no corrosion current."""
    fit = fit_polarization(
        -0.42 + OVER, 50 * OVER * (1 + 0.01 * np.random.default_rng(1).standard_normal(len(OVER)))
    )
    assert fit.refused and fit.icorr_uA_per_cm2 is None


def test_rules_are_kept():
    """A narrower rule refuses what a wider one gives."""
    potential, current = measured(CURVE, OVER[np.abs(OVER) < 0.1])
    assert fit_polarization(potential, current).refused == ""
    assert "mV" in fit_polarization(potential, current, rules=FitRules(smallest_reach_mV=150.0)).refused


def test_charging_is_named():
    """10 mV/s at 0.05 µA/cm²: charging exceeds corrosion."""
    slow = MixedControl(-0.42, 0.05, 0.09, 0.13, 0.12)
    fit = fit_polarization(*measured(slow), scan_rate_V_per_s=0.01)
    assert any("double layer" in each for each in fit.warnings)
    assert fit_polarization(*measured(slow), scan_rate_V_per_s=1e-5).warnings == ()


def test_nonsense_is_refused():
    """Negative resistance, lengths that differ."""
    with pytest.raises(ValueError, match="0 or above"):
        fit_polarization(*measured(CURVE), series_resistance_ohm_cm2=-1.0)
    with pytest.raises(ValueError, match="one length"):
        fit_polarization(OVER, OVER[:-1])


def test_residuals_worth_fewer_points_than_parameters():
    """A passive loop that waves through zero: refused, without a stumble over intervals that have no end."""
    over = np.arange(-0.12, 0.12, 0.001)
    current = np.sign(over) * (1 + 0.3 * np.sin(over / 0.012)) * np.minimum(np.abs(over) / 0.01, 1)
    fit = fit_polarization(over - 0.25, current)
    assert fit.refused and fit.icorr_uA_per_cm2 is None

"""Which method is the headline, and what the others say."""

import numpy as np
import pytest

from surfscan.electrochemistry.methods import ASSUMED, FIT, STERN_GEARY, TAFEL, analyse_run, refuse_run
from surfscan.electrochemistry.mixed_control import MixedControl, current_density_uA_per_cm2
from surfscan.electrochemistry.settings import SweepSettings

POTENTIAL = -0.5 + np.arange(-0.2, 0.2003, 0.001)
CURVE = MixedControl(-0.5, 10.0, 0.08, 0.12, 0.1)


def _swept(potential=POTENTIAL, noise=0.01):
    clean = current_density_uA_per_cm2(potential, CURVE)
    return clean * (1 + noise * np.random.default_rng(3).standard_normal(clean.size))


def test_fit_comes_first_and_the_others_agree():
    run = analyse_run(POTENTIAL, _swept())
    assert run.headline.method == FIT
    assert [m.method for m in run.methods] == [FIT, TAFEL, STERN_GEARY]
    for each in run.methods:
        assert each.refused == ""
        assert each.icorr_uA_per_cm2 == pytest.approx(10.0, rel=0.06)
        assert each.ci95[0] < each.icorr_uA_per_cm2 < each.ci95[1]
    # cathodic slope that counts at Ecorr under mixed control: bc / (1 - icorr / ilim)
    assert pytest.approx(1 / (np.log(10) * (1 / 0.08 + 0.9 / 0.12)), rel=0.02) == run.constant.B_V


def test_curved_window_is_warned_about_only_where_the_resistance_counts():
    whole = analyse_run(POTENTIAL, _swept())
    assert whole.resistance.warnings
    assert not any("slope di/dE" in text for text in whole.warnings)
    near = np.abs(POTENTIAL + 0.5) < 0.025
    assert any("slope di/dE" in text for text in analyse_run(POTENTIAL[near], _swept(noise=0)[near]).warnings)


def test_refused_run_keeps_the_zero_current_potential_only():
    run = refuse_run(analyse_run(POTENTIAL, _swept()), "no such current")
    assert run.zero.Ecorr_V == pytest.approx(-0.5, abs=1e-3)
    assert run.headline is None
    assert {each.refused for each in run.methods} == {"no such current"} == {run.resistance.refused}
    assert (run.fit, run.tafel, run.constant) == (None, None, None)


def test_tafel_where_the_fit_is_refused():
    settings = SweepSettings(fit_least_reach_V=0.3)
    run = analyse_run(POTENTIAL, _swept(), settings)
    assert run.methods[0].refused
    assert run.headline.method == TAFEL
    assert run.headline.icorr_uA_per_cm2 == pytest.approx(10.0, rel=0.1)


def test_small_sweep_rests_on_an_assumption_and_says_so():
    near = np.abs(POTENTIAL + 0.5) < 0.025
    run = analyse_run(POTENTIAL[near], _swept()[near])
    assert run.headline.method == ASSUMED
    low, high = run.headline.ci95
    assert low < 10.0 < high
    assert high / low > 4
    assert any("assumption" in text for text in run.warnings)


def test_stated_slopes_take_its_place():
    near = np.abs(POTENTIAL + 0.5) < 0.025
    settings = SweepSettings(anodic_slope_mV_per_decade=80, cathodic_slope_mV_per_decade=133)
    run = analyse_run(POTENTIAL[near], _swept()[near], settings)
    assert run.headline.method == STERN_GEARY
    assert "stated slopes" in run.headline.note
    assert run.headline.icorr_uA_per_cm2 == pytest.approx(10.0, rel=0.05)
    limited = analyse_run(POTENTIAL[near], _swept()[near], SweepSettings(anodic_slope_mV_per_decade=80))
    assert pytest.approx(0.08 / np.log(10)) == limited.constant.B_V


def test_drift_from_rest_refuses_all():
    run = analyse_run(POTENTIAL, _swept(), rest_potential_V=-0.4)
    assert run.headline is None
    assert all("100 mV from the stated rest potential" in each.refused for each in run.methods)
    assert run.resistance.ohm_cm2 is not None


def test_anodic_run_refuses_all():
    run = analyse_run(POTENTIAL[250:], _swept()[250:])
    assert run.headline is None
    assert run.resistance is None
    assert {each.refused for each in run.methods} == {
        "the run is anodic throughout: start it below the rest potential"
    }


def test_same_input_same_output():
    a, b = (analyse_run(POTENTIAL, _swept()) for _ in range(2))
    assert a.methods == b.methods

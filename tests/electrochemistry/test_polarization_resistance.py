"""Polarization resistance against the closed form 1 / (icorr ln 10 (1/ba + 1/bc))."""

import math

import numpy as np
import pytest

from surfscan.electrochemistry.mixed_control import MixedControl, current_density_uA_per_cm2
from surfscan.electrochemistry.polarization_resistance import fit_polarization_resistance

STEP = 0.0005
POTENTIAL = -0.5 + np.arange(-0.05, 0.05 + STEP / 2, STEP)


def _resistance(icorr, ba, bc):
    return 1e6 / (icorr * math.log(10) * (1 / ba + 1 / bc))


@pytest.mark.parametrize(("ba", "bc"), [(0.12, 0.12), (0.05, 0.12), (0.06, 0.3)])
@pytest.mark.parametrize("step", [1, -1], ids=["up", "down"])
def test_slope_at_zero_current(ba, bc, step):
    """The curved window does not bias it: within 0.3 % where a straight line is up to 7 % off."""
    density = current_density_uA_per_cm2(POTENTIAL, MixedControl(-0.5, 5.0, ba, bc))
    found = fit_polarization_resistance(POTENTIAL[::step], density[::step], -0.5)
    assert found.ohm_cm2 == pytest.approx(_resistance(5.0, ba, bc), rel=3e-3)
    assert found.window_V == pytest.approx((-0.51, -0.49))
    assert found.points == 41


def test_change_of_slope_is_that_of_the_curve():
    ba, bc = 0.05, 0.12
    density = current_density_uA_per_cm2(POTENTIAL, MixedControl(-0.5, 5.0, ba, bc))
    found = fit_polarization_resistance(POTENTIAL, density, -0.5)
    h = np.linspace(-0.01, 0.01, 201)
    slope = 10 ** (h / ba) / ba + 10 ** (-h / bc) / bc
    assert found.slope_change == pytest.approx(np.ptp(slope) / (1 / ba + 1 / bc), rel=0.05)
    assert "changes by" in found.warnings[0]
    straight = fit_polarization_resistance(POTENTIAL, 100 * (POTENTIAL + 0.5), -0.5)
    assert straight.slope_change == pytest.approx(0, abs=1e-6)
    assert straight.warnings == ()
    assert straight.ohm_cm2 == pytest.approx(1e4)


@pytest.mark.parametrize("memory", [0.0, 0.7], ids=["independent", "correlated"])
def test_interval_covers(memory):
    """95 % intervals hold the truth in 90 % and more of 150 noisy sweeps, correlated noise or not."""
    truth, held = _resistance(5.0, 0.08, 0.12), 0
    clean = current_density_uA_per_cm2(POTENTIAL, MixedControl(-0.5, 5.0, 0.08, 0.12))
    for seed in range(150):
        white = 0.03 * np.random.default_rng(seed).standard_normal(clean.size)
        noise = white.copy()
        for k in range(1, noise.size):
            noise[k] += memory * noise[k - 1]
        found = fit_polarization_resistance(POTENTIAL, clean + noise, -0.5)
        held += found.ci95[0] <= truth <= found.ci95[1]
    assert held >= (135 if memory == 0 else 124)


def test_series_resistance_comes_off():
    drop = 40.0
    density = current_density_uA_per_cm2(POTENTIAL, MixedControl(-0.5, 5.0, 0.08, 0.12))
    seen = POTENTIAL + drop * 1e-6 * density
    found = fit_polarization_resistance(seen, density, -0.5, series_resistance_ohm_cm2=drop)
    assert found.ohm_cm2 == pytest.approx(_resistance(5.0, 0.08, 0.12), rel=3e-3)
    whole = fit_polarization_resistance(seen, density, -0.5, series_resistance_ohm_cm2=9e6)
    assert "as large as the slope" in whole.refused
    with pytest.raises(ValueError, match="0 or above"):
        fit_polarization_resistance(seen, density, -0.5, series_resistance_ohm_cm2=-1)


def test_refusals_say_why():
    few = fit_polarization_resistance(POTENTIAL[::20], POTENTIAL[::20] + 0.5, -0.5)
    assert "points within 10 mV" in few.refused
    falling = fit_polarization_resistance(POTENTIAL, -(POTENTIAL + 0.5), -0.5)
    assert "does not rise" in falling.refused
    noise = np.random.default_rng(1).standard_normal(POTENTIAL.size)
    noisy = fit_polarization_resistance(POTENTIAL, 20 * (POTENTIAL + 0.5) + noise, -0.5)
    assert noisy.refused
    assert noisy.ohm_cm2 is None
    with pytest.raises(ValueError, match="no polarization resistance"):
        _ = noisy.relative_standard_uncertainty

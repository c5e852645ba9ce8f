"""Passive stretch, rise of the current and transients on made forward runs."""

import numpy as np
import pytest

from surfscan.electrochemistry.passivity import (
    find_departure,
    find_passive_stretch,
    find_rise,
    find_transients,
)

POTENTIAL = np.arange(-0.4, 0.8, 0.001)
ZERO = -0.3


def forward(passive=1.0, breakdown=0.4, decades_per_V=25.0, drift=0.1):
    """Passive from -0.2 V at `passive` µA/cm², rising steeply from `breakdown` on."""
    log = np.log10(passive) + drift * POTENTIAL
    log = np.where(breakdown < POTENTIAL, log + decades_per_V * (POTENTIAL - breakdown), log)
    return np.where(POTENTIAL > ZERO, 10 ** np.minimum(log, 4.0), -passive)


def _noisy(density, share=0.02, seed=0):
    return density * (1 + share * np.random.default_rng(seed).standard_normal(density.size))


def test_passive_density_is_that_of_the_flat_stretch():
    found = find_passive_stretch(POTENTIAL, _noisy(forward(passive=2.5, drift=0.0)), ZERO)
    assert found.density_uA_per_cm2 == pytest.approx(2.5, rel=0.02)
    assert found.ci95[0] <= 2.5 <= found.ci95[1]
    low, high = found.window_V
    assert high - low == pytest.approx(0.1, abs=2e-3)
    assert low >= ZERO + 0.05
    assert high < 0.4


def test_rise_is_where_the_lines_meet():
    density = forward(drift=0.0)
    passive = find_passive_stretch(POTENTIAL, density, ZERO)
    found = find_rise(POTENTIAL, density, passive)
    assert found.rise_V == pytest.approx(0.4, abs=2e-3)
    assert found.exceeds_V == pytest.approx(0.4 + 1 / 25, abs=2e-3)
    assert found.fixed_V == pytest.approx(0.4 + 2 / 25, abs=2e-3)
    assert find_rise(POTENTIAL, density, passive, fixed_uA_per_cm2=None).fixed_V is None


def test_rise_that_heals_is_none():
    density = forward(breakdown=9.0)
    density[700:720] *= 50
    passive = find_passive_stretch(POTENTIAL, density, ZERO)
    found = find_rise(POTENTIAL, density, passive)
    assert (found.rise_V, found.exceeds_V) == (None, None)
    seen = find_transients(POTENTIAL, density, passive.window_V[0], 0.79)
    assert seen.count == 1
    assert seen.first_V == pytest.approx(POTENTIAL[700])
    assert seen.largest_factor == pytest.approx(50, rel=0.1)


def test_noise_makes_no_transients():
    counts = [
        find_transients(POTENTIAL, _noisy(forward(breakdown=9.0), 0.05, seed), -0.2, 0.79).count
        for seed in range(10)
    ]
    assert counts == [0] * 10


def test_active_metal_has_no_passive_stretch():
    active = np.where(POTENTIAL > ZERO, 10 ** ((POTENTIAL - ZERO) / 0.12), -1.0)
    assert "120 mV a decade" in find_passive_stretch(POTENTIAL, active, ZERO)
    short = POTENTIAL < ZERO + 0.1
    assert "150 mV are needed" in find_passive_stretch(POTENTIAL[short], active[short], ZERO)


@pytest.mark.parametrize("step", [0.001, 0.005, 0.012])
@pytest.mark.parametrize("shape", ["jump", "ohmic", "convex", "limit"])
def test_sudden_rise_stays_within_the_points_that_bracket_it(step, shape):
    potential = np.arange(-0.25, 0.6, step)
    away = np.clip(potential - 0.35, 0, None)
    pits = {
        "jump": np.where(away > 1e-9, 20 + 800 * away, 0),
        "ohmic": 4000 * away,
        "convex": 2e4 * away**2,
        "limit": np.minimum(3e5 * away, 500),
    }[shape]
    for seed in range(10):
        density = _noisy(np.where(potential > -0.2, 1.0, -1.0) + pits, 0.02, seed)
        passive = find_passive_stretch(potential, density, -0.2)
        found = find_rise(potential, density, passive)
        low, high = found.bracket_V
        assert found.rise_V == pytest.approx(0.35, abs=max(0.005, 1.01 * step))
        assert low <= found.rise_V <= high == found.exceeds_V
        assert low == pytest.approx(0.35, abs=max(0.005, 1.01 * step))


def test_departure_short_of_a_rise():
    density = np.where(POTENTIAL > 0.78, 4.0, 1.0) * np.where(POTENTIAL > ZERO, 1.0, -1.0)
    passive = find_passive_stretch(POTENTIAL, _noisy(density), ZERO)
    assert find_rise(POTENTIAL, density, passive).rise_V is None
    assert find_departure(POTENTIAL, density, passive) == pytest.approx(0.78, abs=2e-3)
    assert find_departure(POTENTIAL, forward(breakdown=9.0, drift=0.0), passive) is None


def test_current_at_a_limit_is_no_passive_one():
    plateau = forward(passive=9000.0, breakdown=9.0, drift=0.0)
    said = find_passive_stretch(POTENTIAL, plateau, ZERO, largest_uA_per_cm2=1000.0)
    assert "no passive film lets 1000" in said
    assert not isinstance(find_passive_stretch(POTENTIAL, plateau, ZERO), str)
    both = np.where(POTENTIAL > 0.3, 5000.0, 2.0) * np.where(POTENTIAL > ZERO, 1.0, -1.0)
    found = find_passive_stretch(POTENTIAL, both, ZERO, largest_uA_per_cm2=1000.0)
    assert found.density_uA_per_cm2 == pytest.approx(2.0)

"""Tafel extrapolation: regions by the stated rule, refusals, intervals that cover."""

import math

import numpy as np
import pytest

from surfscan.electrochemistry.mixed_control import MixedControl, current_density_uA_per_cm2
from surfscan.electrochemistry.tafel import TafelRules, extrapolate_tafel

POTENTIAL = -0.5 + np.arange(-0.25, 0.2503, 0.001)


def _swept(noise=0.0, seed=0, **more):
    curve = MixedControl(**{"Ecorr_V": -0.5, "icorr_uA_per_cm2": 10.0, "anodic_slope_V": 0.08,
                            "cathodic_slope_V": 0.12, **more})  # fmt: skip
    clean = current_density_uA_per_cm2(POTENTIAL, curve)
    return clean * (1 + noise * np.random.default_rng(seed).standard_normal(clean.size))


@pytest.mark.parametrize("step", [1, -1], ids=["up", "down"])
def test_both_branches_straight(step):
    """The lines meet at the truth: the opposite reaction, 15 % of the current at 50 mV, is added back."""
    found = extrapolate_tafel(POTENTIAL[::step], _swept()[::step], -0.5)
    assert found.icorr_uA_per_cm2 == pytest.approx(10.0, rel=2e-3)
    assert found.anodic.slope_V == pytest.approx(0.08, rel=1e-3)
    assert found.cathodic.slope_V == pytest.approx(0.12, rel=1e-3)
    assert found.meets == "both branches"
    assert found.meets_at_V == pytest.approx(-0.5, abs=2e-4)
    assert found.warnings == ()


def test_region_keeps_its_rules():
    found = extrapolate_tafel(POTENTIAL, _swept(0.01), -0.5, TafelRules(least_distance_V=0.07))
    for branch in (found.anodic, found.cathodic):
        low, high = branch.window_V
        near = min(abs(low + 0.5), abs(high + 0.5))
        assert near >= 0.07 - 1e-9
        assert (high - low) / branch.slope_V == pytest.approx(branch.decades)
        assert branch.decades >= 1


def test_limited_cathodic_branch_leaves_the_anodic():
    found = extrapolate_tafel(POTENTIAL, _swept(0.01, limiting_ratio=0.2), -0.5)
    assert found.meets == "anodic branch and Ecorr"
    assert found.icorr_uA_per_cm2 == pytest.approx(10.0, rel=0.1)
    assert "decades" in found.cathodic.refused or "no part" in found.cathodic.refused


def test_cathodic_only_where_the_anodic_is_not_straight():
    """The anodic current passivates 60 mV above Ecorr."""
    density = _swept(0.01)
    over = POTENTIAL + 0.5
    density = np.where(
        over > 0.06, density[np.argmin(np.abs(over - 0.06))] * np.exp(-(over - 0.06) / 0.05), density
    )
    found = extrapolate_tafel(POTENTIAL, density, -0.5)
    assert found.meets == "cathodic branch and Ecorr"
    assert found.anodic.refused
    assert found.icorr_uA_per_cm2 == pytest.approx(10.0, rel=0.1)


@pytest.mark.parametrize("limited", [False, True], ids=["activation", "limited"])
def test_interval_covers(limited):
    """95 % intervals hold the truth in 90 % and more of 80 sweeps, none is off by more than 20 %."""
    rng, held, done = np.random.default_rng(11), 0, 0
    for seed in range(80):
        ba, bc = rng.uniform(0.05, 0.15, 2)
        density = _swept(
            0.01, seed, anodic_slope_V=ba, cathodic_slope_V=bc, limiting_ratio=0.15 if limited else 0.0
        )
        found = extrapolate_tafel(POTENTIAL, density, -0.5)
        if not found.refused:
            done += 1
            held += found.ci95[0] <= 10.0 <= found.ci95[1]
            assert found.icorr_uA_per_cm2 == pytest.approx(10.0, rel=0.2)
    assert done >= 76
    assert held >= 0.9 * done


def test_short_span_and_noise_and_short_run_are_refused_with_a_reason():
    steep = extrapolate_tafel(POTENTIAL, _swept(anodic_slope_V=0.3, cathodic_slope_V=0.3), -0.5)
    assert steep.icorr_uA_per_cm2 is None
    assert "the straight part spans 0.6" in steep.refused
    assert "1 needed" in steep.refused
    allowed = extrapolate_tafel(
        POTENTIAL, _swept(anodic_slope_V=0.3, cathodic_slope_V=0.3), -0.5, TafelRules(least_decades=0.5)
    )
    assert allowed.icorr_uA_per_cm2 == pytest.approx(10.0, rel=0.02)
    noisy = extrapolate_tafel(POTENTIAL, np.abs(_swept(0.4)) * np.sign(POTENTIAL + 0.5), -0.5)
    assert "noise of" in noisy.refused
    near = np.abs(POTENTIAL + 0.5) < 0.04
    short = extrapolate_tafel(POTENTIAL[near], _swept()[near], -0.5)
    assert "the run reaches 40 mV" in short.refused or "the run reaches 39 mV" in short.refused


def test_lines_that_do_not_meet_at_Ecorr_are_told():
    """The anodic branch belongs to another reaction, ten times faster: the lines meet well below Ecorr."""
    over = POTENTIAL + 0.5
    density = np.where(over > 0, 100 * 10 ** (over / 0.08), -10 * 10 ** (-over / 0.12))
    found = extrapolate_tafel(POTENTIAL, density, -0.5, TafelRules(largest_interval_ratio=1e3))
    assert abs(found.meets_at_V + 0.5) > 0.01
    assert "mV from the zero-current potential" in found.warnings[0]
    assert found.ci95[0] <= 10 * 1.2
    assert extrapolate_tafel(POTENTIAL, density, -0.5).refused


def test_no_region_across_a_switched_range():
    """A gain 10 % high above 40 µA/cm²: within it no branch has its decade, and the refusal says why."""
    density = _swept(0.01)
    found = extrapolate_tafel(POTENTIAL, np.where(np.abs(density) > 40, 1.1 * density, density), -0.5)
    assert found.icorr_uA_per_cm2 is None
    assert found.refused.count("as where a range is switched") == 2
    far = np.where(density > 600, 1.1 * density, density)
    kept = extrapolate_tafel(POTENTIAL, far, -0.5)
    assert kept.anodic.window_V[1] < POTENTIAL[np.argmax(density > 600)]
    assert kept.ci95[0] <= 10 <= kept.ci95[1]


def test_scales_with_the_current():
    a = extrapolate_tafel(POTENTIAL, _swept(0.01), -0.5)
    b = extrapolate_tafel(POTENTIAL, 100 * _swept(0.01), -0.5)
    assert b.icorr_uA_per_cm2 == pytest.approx(100 * a.icorr_uA_per_cm2)
    assert math.log(b.ci95[1] / b.ci95[0]) == pytest.approx(math.log(a.ci95[1] / a.ci95[0]))

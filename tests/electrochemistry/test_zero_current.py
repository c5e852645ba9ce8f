"""Zero-current potential: exact on clean curves, steady in noise, honest about several and none."""

import numpy as np
import pytest

from surfscan.electrochemistry.mixed_control import MixedControl, current_density_uA_per_cm2
from surfscan.electrochemistry.zero_current import drift_warnings, find_zero_current, rising

POTENTIAL = -0.5 + np.arange(-0.2, 0.2003, 0.001)
CURVE = MixedControl(-0.5123, 10.0, 0.07, 0.12)
CLEAN = current_density_uA_per_cm2(POTENTIAL, CURVE)


@pytest.mark.parametrize("step", [1, -1], ids=["up", "down"])
def test_between_points(step):
    found = find_zero_current(POTENTIAL[::step], CLEAN[::step])
    assert found.Ecorr_V == pytest.approx(-0.5123, abs=2e-6)
    assert found.ci95[0] <= found.Ecorr_V <= found.ci95[1]
    assert not found.refused
    assert not found.others_V


def test_coarse_steps_are_interpolated():
    """Five points in 15 mV and fewer: a straight line between neighbours, right to a tenth of the step."""
    coarse = POTENTIAL[::8]
    found = find_zero_current(coarse, CLEAN[::8])
    assert found.Ecorr_V == pytest.approx(-0.5123, abs=8e-4)


def test_noise_makes_one_crossing_with_an_interval_that_holds_it():
    held, worst = 0, 0.0
    for seed in range(40):
        noise = 0.5 * np.random.default_rng(seed).standard_normal(POTENTIAL.size)
        raw = CLEAN + noise
        assert np.count_nonzero(np.diff(np.sign(raw))) >= 1
        found = find_zero_current(POTENTIAL, raw)
        assert not found.others_V
        held += found.ci95[0] <= -0.5123 <= found.ci95[1]
        worst = max(worst, abs(found.Ecorr_V + 0.5123))
    assert held >= 34
    assert worst < 2.5e-3


def test_a_stray_point_makes_no_crossing():
    raw = CLEAN.copy()
    raw[50] = 30.0
    found = find_zero_current(POTENTIAL, raw)
    assert found.Ecorr_V == pytest.approx(-0.5123, abs=1e-5)
    assert not found.others_V


def test_several_crossings_are_said():
    """A cathodic loop: anodic at -0.5 V, cathodic again from -0.42 to -0.36 V."""
    raw = np.interp(POTENTIAL, [-0.7, -0.5, -0.45, -0.42, -0.39, -0.36, -0.3], [-9, 0, 4, 0, -3, 0, 5])
    found = find_zero_current(POTENTIAL, raw)
    assert found.Ecorr_V == pytest.approx(-0.5, abs=1e-3)
    assert found.others_V == pytest.approx((-0.42, -0.36), abs=1e-3)
    assert "also passes zero at -0.420, -0.360 V, the lowest" in found.warnings[0]
    near = find_zero_current(POTENTIAL, raw, near_V=-0.37)
    assert near.Ecorr_V == pytest.approx(-0.36, abs=1e-3)
    assert "nearest to the rest potential" in near.warnings[0]


@pytest.mark.parametrize(
    ("density", "said"),
    [
        (np.abs(CLEAN) + 1, "anodic throughout"),
        (-np.abs(CLEAN) - 1, "cathodic throughout"),
        (-CLEAN, "from anodic to cathodic"),
        (np.random.default_rng(3).standard_normal(CLEAN.size), "noise"),
    ],
    ids=["anodic", "cathodic", "sign", "noise"],
)
def test_none_says_why(density, said):
    found = find_zero_current(POTENTIAL, density)
    assert found.Ecorr_V is None
    assert said in found.refused


def test_drift_is_said_from_a_fifth_of_the_limit():
    assert drift_warnings(-0.5, (-0.505,), -0.505, 0.05) == ()
    said = drift_warnings(-0.5, (-0.505, -0.52), -0.48, 0.05)
    assert "-20 mV from the stated rest potential" in said[0]
    assert "-20 mV between runs" in said[1]


def test_rising_orders_and_refuses():
    potential, current = rising([2.0, 1.0, np.nan, 0.0], [3.0, 2.0, 9.0, 1.0])
    assert potential.tolist() == [0.0, 1.0, 2.0]
    assert current.tolist() == [1.0, 2.0, 3.0]
    with pytest.raises(ValueError, match="one length"):
        rising([1.0, 2.0, 3.0], [1.0, 2.0])
    with pytest.raises(ValueError, match="fewer than 3"):
        rising([1.0, 2.0, np.nan], [1.0, 2.0, 3.0])

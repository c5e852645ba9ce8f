"""Steps where the current range was switched: found with size and place, not found in noise, closed."""

import numpy as np
import pytest

from surfscan.electrochemistry.mixed_control import MixedControl, current_density_uA_per_cm2
from surfscan.electrochemistry.range_steps import closed, find_range_steps

CURVE = MixedControl(-0.5, 10.0, 0.09, 0.13, 0.1)
POTENTIAL = -0.5 + np.arange(-0.2497, 0.25, 0.001)
SMOOTH = current_density_uA_per_cm2(POTENTIAL, CURVE)


def noisy(current, seed=3, size=0.01, memory=0.0):
    """Relative noise, each value remembering the one before."""
    white = np.random.default_rng(seed).standard_normal(current.size)
    noise = white.copy()
    for k in range(1, current.size):
        noise[k] = memory * noise[k - 1] + np.sqrt(1 - memory**2) * white[k]
    return current * (1 + size * noise)


def test_gain_step_on_both_branches():
    """10 % more above 40 µA/cm²: a step of ln 1.1 on either side, where that current is passed."""
    current = noisy(np.where(np.abs(SMOOTH) > 40, 1.1 * SMOOTH, SMOOTH))
    anodic, cathodic = find_range_steps(POTENTIAL, current, -0.5)
    for step, side in ((anodic, 1), (cathodic, -1)):
        place = np.interp(side * 40, SMOOTH, POTENTIAL)
        assert step.side == side
        assert step.potential_V == pytest.approx(place, abs=0.003)
        assert step.log_step == pytest.approx(np.log(1.1), abs=0.03)
        assert step.step_uA_per_cm2 == pytest.approx(side * 4.0, rel=0.35)
    scaled, _ = closed(POTENTIAL, current, (anodic, cathodic))
    assert np.median(scaled[np.abs(SMOOTH) > 50] / SMOOTH[np.abs(SMOOTH) > 50]) == pytest.approx(1, abs=0.03)
    assert "+1" in anodic.said and "% at -0.4" in anodic.said


def test_step_of_the_zero_is_closed_as_a_difference():
    """5 µA/cm² more in the outer range, both signs alike; the points within stay as they are."""
    beyond = np.abs(SMOOTH) > 40
    current = noisy(np.where(beyond, SMOOTH + 5, SMOOTH), size=0.003)
    steps = find_range_steps(POTENTIAL, current, -0.5)
    assert [step.side for step in steps] == [1, -1]
    assert steps[0].log_step > 0 > steps[1].log_step
    assert [step.step_uA_per_cm2 for step in steps] == pytest.approx([5, 5], rel=0.25)
    _, shifted = closed(POTENTIAL, current, steps)
    assert np.array_equal(shifted[np.abs(SMOOTH) < 36], current[np.abs(SMOOTH) < 36])
    assert np.abs(np.median((shifted - SMOOTH)[beyond])) < 1


def test_near_zero_current_with_a_curve():
    """25 mV from zero current only the search beside a fitted curve finds it."""
    current = noisy(np.where(POTENTIAL > -0.475, 1.08 * SMOOTH, SMOOTH))
    assert find_range_steps(POTENTIAL, current, -0.5) == ()
    (step, *_) = find_range_steps(POTENTIAL, current, -0.5, SMOOTH)
    assert step.side == 1
    assert step.potential_V == pytest.approx(-0.475, abs=0.003)


@pytest.mark.parametrize("memory", [0.0, 0.9])
@pytest.mark.parametrize("fitted", [None, SMOOTH], ids=["alone", "beside the curve"])
def test_noise_is_no_step(memory, fitted):
    """Of 60 sweeps without a step at most 2 show one, whether noise remembers itself or not."""
    found = [
        find_range_steps(POTENTIAL, noisy(SMOOTH, seed, 0.02, memory), -0.5, fitted) for seed in range(60)
    ]
    assert sum(bool(steps) for steps in found) <= 2


def test_onset_of_a_reaction_and_few_points_are_no_step():
    """Ten times the current from one point to the next is a pit; twelve points hold no step."""
    assert find_range_steps(POTENTIAL, np.where(POTENTIAL > -0.35, 10 * SMOOTH, SMOOTH), -0.5) == ()
    assert find_range_steps(POTENTIAL[::42], SMOOTH[::42], -0.5) == ()
    assert find_range_steps(POTENTIAL[:1], SMOOTH[:1], -0.5) == ()
    assert find_range_steps(POTENTIAL, SMOOTH, -0.5) == ()

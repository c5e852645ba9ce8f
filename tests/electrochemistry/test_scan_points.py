"""Order, spikes, averages and zero current of one scan."""

import numpy as np
import pytest

from surfscan.electrochemistry.mixed_control import MixedControl, current_density_uA_per_cm2
from surfscan.electrochemistry.scan_points import MOST_POINTS, scan_points

CURVE = MixedControl(-0.5, 10.0, 0.08, 0.12, 0.1)
POTENTIAL = np.arange(-0.7003, -0.3, 0.001)
DENSITY = current_density_uA_per_cm2(POTENTIAL, CURVE)


def test_direction_does_not_matter():
    """A run down gives the points of the run up."""
    up, down = scan_points(POTENTIAL, DENSITY), scan_points(POTENTIAL[::-1], DENSITY[::-1])
    assert np.array_equal(up.potential_V, down.potential_V) and up.zero_V == down.zero_V
    assert up.zero_V == pytest.approx(-0.5, abs=1e-5) and up.crossings == 1 and up.spikes == 0


def test_lone_spikes_are_left_out():
    """Values that a switched range leaves, also near zero current; nothing else goes."""
    noisy = DENSITY * (1 + 0.01 * np.random.default_rng(3).standard_normal(len(DENSITY)))
    for at in (60, 190, 260):
        noisy[at] *= 8
    points = scan_points(POTENTIAL, noisy)
    assert points.spikes == 3
    assert not set(noisy[[60, 190, 260]]) & set(points.density_uA_per_cm2)


def test_a_step_is_no_spike():
    """A current that jumps and stays is data."""
    stepped = np.where(POTENTIAL > -0.4, 3 * DENSITY, DENSITY)
    assert scan_points(POTENTIAL, stepped).spikes == 0


def test_many_points_are_averaged():
    """At most `MOST_POINTS`, of the same mean and zero."""
    fine = np.linspace(-0.7, -0.3, 5000)
    points = scan_points(fine, current_density_uA_per_cm2(fine, CURVE))
    assert MOST_POINTS / 2 < len(points.potential_V) <= MOST_POINTS
    assert points.potential_V.mean() == pytest.approx(fine.mean(), abs=3e-4)
    assert points.zero_V == pytest.approx(-0.5, abs=1e-4)


def test_zero_current_in_noise():
    """Several changes of sign close together are one crossing, in their middle."""
    flat = MixedControl(-0.5, 0.1, 0.2, 0.2)
    current = current_density_uA_per_cm2(POTENTIAL, flat) + 0.01 * np.random.default_rng(5).standard_normal(
        len(POTENTIAL)
    )
    points = scan_points(POTENTIAL, current)
    assert points.crossings == 1 and points.zero_V == pytest.approx(-0.5, abs=0.004)


def test_several_crossings_and_none():
    """A cathodic loop crosses thrice, twice upwards; a one-sided sweep has no zero."""
    looped = DENSITY.copy()
    looped[(POTENTIAL > -0.42) & (POTENTIAL < -0.36)] = -1.0
    points = scan_points(POTENTIAL, looped)
    assert points.crossings == 2 and points.zero_V == pytest.approx(-0.5, abs=1e-4)
    assert scan_points(POTENTIAL, np.abs(DENSITY) + 1) is None


def test_nonsense_is_refused():
    """Lengths that differ, and nothing to see."""
    with pytest.raises(ValueError, match="one length"):
        scan_points(POTENTIAL, DENSITY[:-1])
    with pytest.raises(ValueError, match="fewer than 2"):
        scan_points(POTENTIAL, np.full(len(POTENTIAL), np.nan))

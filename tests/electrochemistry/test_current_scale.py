"""Noise of a sweep and the scale it is fitted on."""

import numpy as np
import pytest

from surfscan.electrochemistry.current_scale import SMALLEST_RELATIVE, noise_of, scale_of
from surfscan.electrochemistry.mixed_control import MixedControl, current_density_uA_per_cm2

CURVE = MixedControl(-0.5, 10.0, 0.08, 0.12, 0.1)
POTENTIAL = -0.5 + np.arange(-0.25, 0.25, 0.001)
CURRENT = current_density_uA_per_cm2(POTENTIAL, CURVE)
RNG = np.random.default_rng(11)


def test_relative_noise():
    """1 % in, 1 % out; near zero current nothing is left over."""
    noise = noise_of(POTENTIAL, CURRENT * (1 + 0.01 * RNG.standard_normal(len(CURRENT))), -0.5)
    assert noise.relative == pytest.approx(0.01, rel=0.15)
    assert noise.absolute_uA_per_cm2 < 0.1
    assert noise.potential_V == pytest.approx(1e-4)


def test_absolute_noise():
    """A floor of 0.3 µA/cm² shows where the current is zero."""
    noise = noise_of(POTENTIAL, CURRENT + 0.3 * RNG.standard_normal(len(CURRENT)), -0.5)
    assert noise.absolute_uA_per_cm2 == pytest.approx(0.3, rel=0.4)


def test_curvature_is_not_noise():
    """A curve without noise has the smallest noise that is assumed."""
    assert noise_of(POTENTIAL, CURRENT, -0.5).relative < 2 * SMALLEST_RELATIVE


def test_scale_is_logarithmic_far_and_linear_near():
    """A factor of ten is ln 10 far from zero; across zero the scale is straight, odd, and its slope dy/di."""
    scale = scale_of(POTENTIAL, CURRENT, -0.5)
    s = scale.linear_below_uA_per_cm2
    assert scale.slope_at_zero == pytest.approx(10 * np.log(10) * (1 / 0.08 + 0.9 / 0.12), rel=0.01)
    assert scale.value(np.array([1e4 * s]))[0] - scale.value(np.array([1e3 * s]))[0] == pytest.approx(
        np.log(10), rel=1e-6
    )
    assert scale.value(np.array([-s]))[0] == -scale.value(np.array([s]))[0]
    step = 1e-4 * s
    for at in (0.0, s, 30 * s):
        slope = (scale.value(np.array([at + step])) - scale.value(np.array([at - step])))[0] / (2 * step)
        assert scale.derivative(np.array([at]))[0] == pytest.approx(slope, rel=1e-5)


def test_points_near_zero_weigh_less():
    """On the scale a point far away has the relative noise, one near zero current the potential's too."""
    scale = scale_of(POTENTIAL, CURRENT * (1 + 0.01 * RNG.standard_normal(len(CURRENT))), -0.5)
    far, near = scale.sigma(np.array([1e4, 0.01]))
    assert far == pytest.approx(scale.noise.relative, rel=0.01) and near > 5 * far

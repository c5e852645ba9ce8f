"""Local parabolas: what they keep, across gaps, at the ends, round a ring."""

import numpy as np
import pytest

from surfscan.measurement.line_smoothing import local_quadratic


def test_a_parabola_comes_back_also_across_a_gap():
    t = np.arange(80.0)
    values = np.stack([3 + 0.5 * t - 0.01 * t**2, 100 - t])
    weight = np.ones(80)
    weight[30:45] = weight[:6] = 0
    broken = np.where(weight > 0, values, 0.0)
    assert np.abs(local_quadratic(broken, weight, 9.0) - values).max() < 0.02


def test_noise_shrinks():
    rng = np.random.default_rng(0)
    noise = rng.normal(size=(1, 2000))
    smooth = local_quadratic(noise, np.ones(2000), 20.0)
    assert smooth.std() < 0.2


def test_what_weighs_little_moves_little():
    values = np.zeros((1, 100))
    values[0, 45:55] = 10
    weight = np.ones(100)
    weight[45:55] = 0.01
    assert np.abs(local_quadratic(values, weight, 12.0)).max() < 0.2


def test_a_ring_has_no_ends():
    t = np.linspace(0, 2 * np.pi, 200, endpoint=False)
    values = np.stack([np.cos(t), np.sin(t)])
    found = local_quadratic(values, np.ones(200), 8.0, closed=True)
    assert np.ptp(np.hypot(*found)) < 1e-6
    turned = local_quadratic(np.roll(values, 50, axis=1), np.ones(200), 8.0, closed=True)
    assert np.roll(found, 50, axis=1) == pytest.approx(turned, abs=1e-9)

"""Level and roughness of the metal on made surfaces whose level is known."""

import cv2
import numpy as np
import pytest

from surfscan.segmentation.local_reference import NodeGrid, local_reference


def _rough(seed, shape=(512, 512), length=3.0):
    rng = np.random.default_rng(seed)
    z = cv2.GaussianBlur(rng.standard_normal(shape).astype(np.float32), (0, 0), length / 2)
    return z / z.std()


def test_node_grid_is_bilinear_and_its_two_readings_agree():
    nodes = np.arange(3)[:, None] * 10.0 + np.arange(4) * 2.0
    grid = NodeGrid(nodes.astype(np.float32), 16, (32, 48))
    rows, cols = np.mgrid[0:32, 0:48]
    expected = (rows + 0.5) / 16 * 10 + (cols + 0.5) / 16 * 2
    assert grid.at(rows, cols) == pytest.approx(expected, abs=1e-5)
    assert grid.rows(5, 21) == pytest.approx(expected[5:21], abs=1e-3)


def test_plane_and_gentle_bend_are_followed():
    y, x = np.mgrid[0:512, 0:512] / 512.0
    shape = 3 * x - 2 * y + 0.3 * x * y
    z = (0.1 * _rough(1) + shape).astype(np.float32)
    found = local_reference(z)
    assert np.abs(found.level.rows(0, 512) - shape).max() < 0.06
    assert found.sq_um == pytest.approx(0.1, rel=0.05)
    assert found.roughness.rows(0, 512).mean() == pytest.approx(0.1, rel=0.08)


def test_pits_over_a_third_of_the_field_do_not_pull_the_level():
    rng = np.random.default_rng(3)
    z = 0.1 * _rough(2)
    y, x = np.mgrid[0:512, 0:512]
    pitted = np.zeros(z.shape, bool)
    while pitted.mean() < 0.33:
        r, c, a = rng.uniform(0, 512), rng.uniform(0, 512), rng.uniform(8, 50)
        rho = np.hypot(y - r, x - c) / a
        z = np.minimum(z, 0.1 * _rough(2) - np.where(rho < 1, 2 * (1 - rho**2), 0).astype(np.float32))
        pitted |= rho < 1
    level = local_reference(z.astype(np.float32)).level.rows(0, 512)
    assert abs(level.mean()) < 0.01
    assert np.abs(level).max() < 0.1


def test_gaps_and_what_lies_off_the_specimen_are_left_out():
    z = (0.1 * _rough(4)).astype(np.float32)
    z[np.random.default_rng(0).random(z.shape) < 0.3] = np.nan
    region = np.ones(z.shape, bool)
    region[:, 300:] = False
    z[:, 300:] += 50
    level = local_reference(z, region).level.rows(0, 512)
    assert np.abs(level[:, :300]).max() < 0.06


def test_nothing_measured_is_refused():
    with pytest.raises(ValueError, match="no height was measured"):
        local_reference(np.full((20, 20), np.nan, np.float32))


@pytest.mark.parametrize("shape", [(1, 1), (3, 200), (65, 130)])
def test_small_and_narrow_fields(shape):
    z = np.random.default_rng(5).normal(1.0, 0.1, shape).astype(np.float32)
    found = local_reference(z)
    assert found.level.rows(0, shape[0]).shape == shape
    assert np.all(np.isfinite(found.level.nodes))
    assert np.all(found.roughness.nodes > 0)

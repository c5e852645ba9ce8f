"""Bridging keeps what was measured and puts what lies round about into gaps."""

import numpy as np
import pytest

from surfscan.segmentation.bridging import bridge_gaps


def test_measured_points_are_untouched_and_the_input_too():
    z = np.random.default_rng(0).normal(size=(70, 91)).astype(np.float32)
    z[np.random.default_rng(1).random(z.shape) < 0.2] = np.nan
    before = z.copy()
    out = bridge_gaps(z)
    seen = ~np.isnan(z)
    assert np.array_equal(out[seen], z[seen])
    assert not np.isnan(out).any()
    np.testing.assert_array_equal(z, before)


def test_single_gaps_on_a_slope_take_the_slope():
    y, x = np.mgrid[0:64, 0:64]
    plane = (0.5 * x + 0.2 * y).astype(np.float32)
    z = plane.copy()
    z[5::9, 4::11] = np.nan
    assert np.abs(bridge_gaps(z) - plane)[8:-8, 8:-8].max() < 0.3


@pytest.mark.parametrize("side", [5, 20, 40])
def test_a_gap_in_a_flat_floor_takes_the_floor(side):
    z = np.zeros((200, 200), np.float32)
    z[60:140, 60:140] = -7
    z[100 - side // 2 : 100 + side // 2 + 1, 100 - side // 2 : 100 + side // 2 + 1] = np.nan
    assert bridge_gaps(z)[100, 100] == pytest.approx(-7, abs=0.01)


def test_deep_inside_a_wide_gap_nothing_is_made_up():
    z = np.zeros((600, 600), np.float32)
    z[100:500, 100:500] = np.nan
    out = bridge_gaps(z)
    assert np.isnan(out[300, 300])
    assert out[102, 300] == 0


def test_without_gaps_a_copy_comes_back():
    z = np.ones((5, 5), np.float32)
    out = bridge_gaps(z)
    assert np.array_equal(out, z)
    assert out is not z

"""Local levels of two classes under light that falls off."""

import numpy as np
import pytest

from surfscan.segmentation.class_levels import local_levels


def picture():
    y, x = np.mgrid[:240, :320].astype(np.float32)
    inside = np.abs(y - 120) < 30
    light = 1 - 0.4 * x / 320
    grey = np.where(inside, 40 * light, 200 * light).astype(np.float32)
    return grey, inside, light


def test_each_level_follows_the_light():
    grey, inside, light = picture()
    levels = local_levels(grey, inside, ~inside, np.ones(inside.shape, bool))
    col = np.array([40.0, 160.0, 280.0])
    found = levels.at(np.full(3, 90.0), col)
    assert found[0] == pytest.approx(40 * light[90, col.astype(int)], rel=0.03)
    assert found[1] == pytest.approx(200 * light[90, col.astype(int)], rel=0.03)
    assert levels.contrast == pytest.approx(160 * 0.8, rel=0.05)


def test_share_is_one_in_metal_and_none_outside_and_half_lies_between():
    grey, inside, light = picture()
    levels = local_levels(grey, inside, ~inside, np.ones(inside.shape, bool))
    share = levels.share_inside(grey)
    assert np.abs(share[inside] - 1).max() < 0.03
    assert np.abs(share[~inside]).max() < 0.05
    half = np.abs(levels.half(grey.shape) / (120 * light) - 1)
    assert (
        half.mean() < 0.02 and half.max() < 0.05
    )  # farthest off in the corners, which no block centre reaches
    assert np.array_equal(levels.swapped().inside, levels.outside)


def test_spots_are_left_out():
    grey, inside, _ = picture()
    spots = np.zeros(inside.shape, bool)
    spots[110:130, 100:200] = True
    grey[spots] = 255
    levels = local_levels(grey, inside, ~inside, np.ones(inside.shape, bool), glints=spots)
    assert float(levels.inside.max()) < 45


def test_a_class_without_pixels_is_refused():
    grey, inside, _ = picture()
    with pytest.raises(ValueError, match="no pixel"):
        local_levels(grey, np.zeros_like(inside), ~inside, np.ones(inside.shape, bool))

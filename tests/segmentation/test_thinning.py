"""Thinning keeps parts and openings, and leaves lines one pixel wide."""

import cv2
import numpy as np
import pytest
from skimage.measure import euler_number

from surfscan.segmentation.thinning import thin


def parts(mask):
    return cv2.connectedComponents(mask.view(np.uint8), connectivity=8)[0] - 1


@pytest.mark.parametrize("seed", range(6))
def test_parts_and_openings_stay(seed):
    rng = np.random.default_rng(seed)
    noise = rng.normal(size=(90, 120)).astype(np.float32)
    mask = cv2.GaussianBlur(noise, (0, 0), 0.5 + 0.6 * seed) > 0
    line = thin(mask)
    assert not (line & ~mask).any()
    assert parts(line) == parts(mask)
    assert euler_number(line, 2) == euler_number(mask, 2)


def test_a_bar_becomes_its_middle_line():
    mask = np.zeros((21, 60), bool)
    mask[5:16, 5:55] = True
    line = thin(mask)
    assert line[:, 15:45].sum(axis=0).tolist() == [1] * 30
    assert set(np.nonzero(line[:, 15:45])[0]) == {10}


def test_an_empty_mask_a_pixel_and_a_full_mask():
    assert not thin(np.zeros((5, 5), bool)).any()
    one = np.zeros((5, 5), bool)
    one[2, 2] = True
    assert np.array_equal(thin(one), one)
    assert parts(thin(np.ones((9, 12), bool))) == 1

"""Masks given with a height map."""

import numpy as np
import pytest

from surfscan import HeightMap, InputError, Source
from surfscan.procedures.given_masks import given_mask, refuse_unmeasured

IMAGE = HeightMap(np.zeros((4, 6)), None, Source("plate.sdf"))


def test_what_is_not_0_is_marked():
    mask = np.zeros((4, 6), np.uint8)
    mask[1:3, 2] = 255
    got = given_mask(IMAGE, mask, "region")
    assert got.dtype == bool
    assert np.argwhere(got).tolist() == [[1, 2], [2, 2]]


@pytest.mark.parametrize(
    ("mask", "why"), [(np.ones((6, 4)), "region mask is 6 x 4 px"), (np.zeros((4, 6)), "marks nothing")]
)
def test_masks_that_do_not_fit(mask, why):
    with pytest.raises(InputError, match=why) as caught:
        given_mask(IMAGE, mask, "region")
    assert "plate.sdf" in str(caught.value)


def test_a_hundred_measured_heights_are_enough():
    heights = np.full((20, 20), np.nan)
    heights[:10, :10] = 1.0
    region = np.ones(heights.shape, bool)
    refuse_unmeasured(heights, None, "plate.sdf")
    region[0, 0] = False
    with pytest.raises(InputError, match="only 99 heights"):
        refuse_unmeasured(heights, region, "plate.sdf")

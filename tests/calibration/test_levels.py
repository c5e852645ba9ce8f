"""Pictures of any number type in 8 bit."""

import numpy as np
import pytest

from surfscan.calibration.levels import as_bytes


def test_the_range_is_spread():
    np.testing.assert_array_equal(as_bytes(np.array([[1.0, np.nan], [2.0, 3.0]])), [[0, 0], [128, 255]])
    assert as_bytes(np.array([100, 65000], np.uint16)).tolist() == [0, 255]
    assert as_bytes(np.array([False, True])).tolist() == [0, 255]


def test_bytes_are_left_alone():
    pixels = np.array([[3, 7]], np.uint8)
    assert as_bytes(pixels) is pixels


@pytest.mark.parametrize("levels", [[7.0, 7.0], [0.0, np.inf], [np.nan, np.nan]])
def test_no_range(levels):
    assert as_bytes(np.array(levels)).tolist() == [0, 0]

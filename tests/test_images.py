import dataclasses
import math

import numpy as np
import pytest

from surfscan.images import Calibration, HeightMap, Micrograph, Source

SOURCE = Source("a.tif", "00", 2, "TIFF")


def calibration(**changes):
    values = {
        "pixel_size_x_um": 0.5,
        "pixel_size_y_um": 0.25,
        "relative_uncertainty": 0.01,
        "origin": "stated",
    }
    return Calibration(**(values | changes))


def test_calibration():
    scale = calibration()
    assert scale.pixel_area_um2 == 0.125
    assert scale.as_dict() == dataclasses.asdict(scale)


@pytest.mark.parametrize("name", ["pixel_size_x_um", "pixel_size_y_um", "relative_uncertainty"])
@pytest.mark.parametrize("value", [0, -1, math.nan, math.inf, None, "1"])
def test_a_calibration_is_never_zero_or_unknown(name, value):
    with pytest.raises(ValueError, match=name):
        calibration(**{name: value})


@pytest.mark.parametrize(("y", "square"), [(0.5, True), (0.5004, True), (0.502, False)])
def test_square_pixels_agree_within_a_thousandth(y, square):
    assert calibration(pixel_size_y_um=y).is_square is square


def test_source():
    assert SOURCE.as_dict() == {"path": "a.tif", "sha256": "00", "page": 2, "file_format": "TIFF"}


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16, np.float32])
def test_grey_of_grey_is_the_pixels_themselves(dtype):
    pixels = np.arange(12).reshape(3, 4).astype(dtype)
    image = Micrograph(pixels, None, SOURCE)
    assert image.shape == (3, 4) and image.grey is pixels


@pytest.mark.parametrize(("dtype", "tolerance"), [(np.uint8, 1), (np.uint16, 1), (np.float32, 1e-3)])
def test_grey_of_colour_is_luminance(dtype, tolerance):
    """ITU-R BT.601: 0.299 red + 0.587 green + 0.114 blue."""
    pixels = np.array([[[200, 0, 0], [0, 200, 0], [0, 0, 200], [200, 200, 200]]], dtype)
    image = Micrograph(pixels, None, SOURCE)
    assert image.shape == (1, 4) and image.grey.dtype == dtype
    np.testing.assert_allclose(image.grey, [[59.8, 117.4, 22.8, 200]], atol=tolerance)


def test_grey_takes_any_memory_layout():
    pixels = np.arange(60, dtype=np.uint8).reshape(4, 5, 3)
    turned = Micrograph(pixels[::-1, ::-1], None, SOURCE).grey
    np.testing.assert_array_equal(turned, Micrograph(pixels, None, SOURCE).grey[::-1, ::-1])


def test_height_map_and_frozen():
    image = HeightMap(np.zeros((3, 4)), calibration(), SOURCE, ("a word",))
    assert image.shape == (3, 4) and image.warnings == ("a word",)
    with pytest.raises(dataclasses.FrozenInstanceError):
        image.calibration = None

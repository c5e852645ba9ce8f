"""Micrograph, height map, calibration and source."""

import json

import numpy as np
import pytest

import surfscan
from surfscan.images import Calibration, HeightMap, Micrograph, Source


def test_pixel_area_and_squareness():
    """The area of a pixel is the product of its sides; sides within 0.1 % count as square."""
    assert Calibration(0.5, 0.4, 0.01, "stated").pixel_area_um2 == pytest.approx(0.2)
    assert not Calibration(0.5, 0.4, 0.01, "stated").is_square
    assert Calibration(0.5, 0.5004, 0.01, "stated").is_square
    assert not Calibration(0.5, 0.5006, 0.01, "stated").is_square


@pytest.mark.parametrize("bad", [0, -1, float("nan"), float("inf"), "0.5", None])
@pytest.mark.parametrize("field", ["pixel_size_x_um", "pixel_size_y_um", "relative_uncertainty"])
def test_impossible_calibration(field, bad):
    """Nothing but a finite number above 0 is a pixel size or an uncertainty."""
    values = {"pixel_size_x_um": 1.0, "pixel_size_y_um": 1.0, "relative_uncertainty": 0.01, field: bad}
    with pytest.raises(ValueError, match=field):
        Calibration(origin="stated", **values)


def test_dictionaries_are_plain():
    """Calibration and source go into JSON as they are, and come back equal."""
    scale = Calibration(0.5, 0.4, 0.01, "stated")
    source = Source("a.tif", "ab", 2, "TIFF")
    assert Calibration(**json.loads(json.dumps(scale.as_dict()))) == scale
    assert Source(**json.loads(json.dumps(source.as_dict()))) == source


def test_grey_of_grey_is_the_picture_itself():
    """No copy and no change for a grey picture, whatever its number type."""
    for dtype in (np.uint8, np.uint16, np.float32):
        pixels = np.arange(12, dtype=dtype).reshape(3, 4)
        assert Micrograph(pixels, None, Source("a")).grey is pixels


def test_grey_of_colour():
    """ITU-R BT.601: 0.299 red, 0.587 green, 0.114 blue."""
    pixels = np.zeros((1, 4, 3), np.float32)
    pixels[0, 0], pixels[0, 1], pixels[0, 2], pixels[0, 3] = (1, 0, 0), (0, 1, 0), (0, 0, 1), (1, 1, 1)
    image = Micrograph(pixels, None, Source("a"))
    assert image.shape == (1, 4)
    assert image.grey[0] == pytest.approx([0.299, 0.587, 0.114, 1.0], abs=1e-6)


def test_shape_of_a_height_map():
    """Rows, then columns."""
    assert HeightMap(np.zeros((3, 5)), None, Source("a")).shape == (3, 5)


def test_shop_window():
    """Every name that surfscan offers is there, and nothing else is."""
    assert all(getattr(surfscan, name) is not None for name in surfscan.__all__)
    assert surfscan.Micrograph is Micrograph
    assert dir(surfscan) == sorted(surfscan.__all__)
    with pytest.raises(AttributeError, match="no_such_name"):
        _ = surfscan.no_such_name

"""What commands open: the right kind of image, or a message that says which."""

import numpy as np
import pytest
import tifffile

from surfscan.cli.options import open_heights, open_input, open_micrograph, open_region
from surfscan.errors import InputError
from surfscan.images import HeightMap, Micrograph


@pytest.fixture
def picture(tmp_path):
    path = tmp_path / "plate.tif"
    tifffile.imwrite(path, np.full((32, 40), 180, np.uint8), metadata=None)
    return path


@pytest.fixture
def heights(tmp_path):
    path = tmp_path / "field.tif"
    tifffile.imwrite(path, np.zeros((32, 40), np.float32), metadata=None)
    return path


def test_each_kind_is_opened_with_the_stated_pixel_size(picture, heights):
    assert isinstance(open_micrograph("degraded", picture, pixel_size_um="0.5"), Micrograph)
    opened = open_heights("texture", heights, pixel_size_um="0.5,0.6", height_unit="nm")
    assert isinstance(opened, HeightMap)
    assert (opened.calibration.pixel_size_x_um, opened.calibration.pixel_size_y_um) == (0.5, 0.6)


def test_the_other_kind_is_refused_with_the_way_out(picture, heights):
    with pytest.raises(
        InputError, match=r"is a picture, and `texture` measures height maps.*--kind heightmap"
    ):
        open_heights("texture", picture)
    with pytest.raises(InputError, match="is a height map, and `degraded` measures pictures"):
        open_micrograph("degraded", heights)


def test_an_output_that_would_replace_the_input_is_refused_first(picture):
    with pytest.raises(InputError, match="would overwrite the image itself"):
        open_input(picture, outputs=(picture,))


def test_region_of_an_image(picture, tmp_path):
    image = open_input(picture)
    assert open_region(None, image) is None
    mask = tmp_path / "mask.tif"
    tifffile.imwrite(mask, np.eye(32, 40, dtype=np.uint8), metadata=None)
    assert open_region(mask, image).sum() == 32

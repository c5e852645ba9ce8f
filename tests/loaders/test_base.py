from pathlib import Path

import pytest

from surfscan.errors import InputError
from surfscan.loaders.base import MAX_DECODED_BYTES, MAX_PIXELS, ScaleTag, check_single_image, check_size

PATH = Path("field.tif")


@pytest.mark.parametrize(("tag", "text"), [
    (ScaleTag("PNG pHYs", "density", 2835, 2835, "m", "m"), "PNG pHYs 2835 x 2835 px/m"),
    (ScaleTag("JPEG density", "density", 1, 1, "", ""), "JPEG density 1 x 1"),
    (ScaleTag("OME physical size", "size", 250, 0.3, "nm", "µm"), "OME physical size 250 nm x 0.3 µm"),
    (ScaleTag("OME physical size", "size", 0.5, None, "µm", "µm"), "OME physical size 0.5 x none µm"),
])  # fmt: skip
def test_a_scale_tag_reads_as_written(tag, text):
    assert str(tag) == text


def test_sizes_up_to_the_limits_pass():
    check_size(PATH, 1, MAX_PIXELS, 1)
    check_size(PATH, 64, 60_000, 8)
    check_size(PATH, 1, 1, MAX_DECODED_BYTES)


@pytest.mark.parametrize(("rows", "cols", "size", "fault"), [
    (0, 5, 1, "empty"),
    (5, -1, 1, "empty"),
    (1, MAX_PIXELS + 1, 1, "limit of 1.07 gigapixels"),
    (MAX_PIXELS, 1, 9, "limit of 8.59 GB"),
])  # fmt: skip
def test_sizes_refused(rows, cols, size, fault):
    with pytest.raises(InputError, match=fault):
        check_size(PATH, rows, cols, size)


def test_single_image():
    check_single_image(PATH, None)
    check_single_image(PATH, 0)
    with pytest.raises(InputError, match="no page 3"):
        check_single_image(PATH, 3)

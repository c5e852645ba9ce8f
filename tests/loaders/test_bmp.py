import struct

import cv2
import numpy as np
import pytest

from surfscan.errors import InputError
from surfscan.loaders.bmp import BmpLoader

GREY_PALETTE = b"".join(bytes([i, i, i, 0]) for i in range(256))


def load(path, page=None):
    return BmpLoader().load(path, page)


def test_recognised_by_content():
    assert BmpLoader().recognises(b"BM" + bytes(12) + struct.pack("<I", 40))
    assert not BmpLoader().recognises(b"BMW is text that starts with the same letters")


def test_grey_palette_is_grey(tmp_path, write_bmp):
    path = write_bmp(tmp_path / "a.bmp", [[0, 10, 255], [7, 8, 9]], width=3, bits=8, palette=GREY_PALETTE)
    loaded = load(path)
    np.testing.assert_array_equal(loaded.pixels, [[0, 10, 255], [7, 8, 9]])
    assert loaded.file_format == "BMP"


def test_colour_palette_is_colour(tmp_path, write_bmp):
    palette = bytes([0, 0, 0, 0, 30, 20, 10, 0])  # blue, green, red, unused
    path = write_bmp(tmp_path / "a.bmp", [[0, 1]], width=2, bits=8, palette=palette)
    np.testing.assert_array_equal(load(path).pixels, [[[0, 0, 0], [10, 20, 30]]])


@pytest.mark.parametrize(("bits", "packed"), [(1, [0b01000000]), (4, [0x01])])
def test_few_bits(tmp_path, write_bmp, bits, packed):
    palette = bytes([9, 9, 9, 0, 200, 200, 200, 0]) + bytes(4) * (2**bits - 2)
    path = write_bmp(tmp_path / "a.bmp", [packed], width=2, bits=bits, palette=palette)
    np.testing.assert_array_equal(load(path).pixels, [[9, 200]])


@pytest.mark.parametrize("top_down", [False, True])
def test_24_bit_is_red_green_blue(tmp_path, write_bmp, top_down):
    rows = [[3, 2, 1, 6, 5, 4], [9, 8, 7, 12, 11, 10]]
    path = write_bmp(tmp_path / "a.bmp", rows, width=2, bits=24, top_down=top_down)
    np.testing.assert_array_equal(load(path).pixels, np.arange(1, 13).reshape(2, 2, 3))


def test_unused_fourth_byte_is_no_transparency(tmp_path, write_bmp):
    path = write_bmp(tmp_path / "a.bmp", [[3, 2, 1, 0]], width=1, bits=32)
    loaded = load(path)
    np.testing.assert_array_equal(loaded.pixels, [[[1, 2, 3]]])
    assert loaded.warnings == ()


def test_a_declared_alpha_is_told(tmp_path, rgb):
    rgba = np.dstack([rgb[..., ::-1], np.full(rgb.shape[:2], 100, np.uint8)])
    cv2.imwrite(str(tmp_path / "a.bmp"), rgba)  # writes the header with masks
    loaded = load(tmp_path / "a.bmp")
    np.testing.assert_array_equal(loaded.pixels, rgb)
    assert "alpha" in loaded.warnings[0]


def test_pixels_per_metre_are_handed_over_raw(tmp_path, write_bmp):
    path = write_bmp(
        tmp_path / "a.bmp", [[1]], width=1, bits=8, palette=GREY_PALETTE, per_metre=(2_000_000, 1_000_000)
    )
    (tag,) = load(path).scale_tags
    assert (tag.kind, tag.x, tag.y, tag.x_unit) == ("density", 2_000_000, 1_000_000, "m")


@pytest.mark.parametrize("kept", [20, 53, 60, 1077, 1081])
def test_cut_is_found(tmp_path, write_bmp, kept):
    path = write_bmp(tmp_path / "a.bmp", [[1], [2]], width=1, bits=8, palette=GREY_PALETTE)
    path.write_bytes(path.read_bytes()[:kept])
    with pytest.raises(InputError, match="truncated"):
        load(path)


def test_damaged_header_is_refused(tmp_path, write_bmp):
    path = write_bmp(tmp_path / "a.bmp", [[1]], width=1, bits=8, palette=GREY_PALETTE)
    data = bytearray(path.read_bytes())
    data[28] = 7  # bits per pixel
    path.write_bytes(data)
    with pytest.raises(InputError, match="cannot be decoded"):
        load(path)


def test_empty_and_huge_are_refused(tmp_path, write_bmp):
    path = write_bmp(tmp_path / "a.bmp", [[1]], width=1, bits=8, palette=GREY_PALETTE)
    data = bytearray(path.read_bytes())
    for width, fault in ((0, "empty"), (2**31 - 1, "limit")):
        struct.pack_into("<ii", data, 18, width, 2)
        path.write_bytes(data)
        with pytest.raises(InputError, match=fault):
            load(path)

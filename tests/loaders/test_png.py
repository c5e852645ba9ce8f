import struct
import zlib

import cv2
import numpy as np
import pytest

from surfscan.errors import InputError
from surfscan.loaders.base import MAX_PIXELS
from surfscan.loaders.png import PngLoader


def load(path, page=None):
    return PngLoader().load(path, page)


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_grey_comes_back_as_written(tmp_path, grey, dtype):
    pixels = grey.astype(dtype) * (257 if dtype == np.uint16 else 1)
    cv2.imwrite(str(tmp_path / "a.png"), pixels)
    loaded = load(tmp_path / "a.png")
    assert loaded.pixels.dtype == dtype
    np.testing.assert_array_equal(loaded.pixels, pixels)
    assert (loaded.file_format, loaded.page, loaded.warnings, loaded.lossy) == ("PNG", None, (), False)


@pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
def test_colour_is_red_green_blue(tmp_path, rgb, dtype):
    pixels = rgb.astype(dtype)
    cv2.imwrite(str(tmp_path / "a.png"), pixels[..., ::-1])
    np.testing.assert_array_equal(load(tmp_path / "a.png").pixels, pixels)


@pytest.mark.parametrize(("alpha", "warned"), [(255, 0), (128, 1)])
def test_alpha_is_dropped_and_told_unless_opaque(tmp_path, rgb, alpha, warned):
    rgba = np.dstack([rgb[..., ::-1], np.full(rgb.shape[:2], alpha, np.uint8)])
    cv2.imwrite(str(tmp_path / "a.png"), rgba)
    loaded = load(tmp_path / "a.png")
    np.testing.assert_array_equal(loaded.pixels, rgb)
    assert len(loaded.warnings) == warned


def test_grey_with_alpha_stays_grey(tmp_path, write_png):
    path = write_png(tmp_path / "a.png", [[10, 255, 20, 255], [30, 255, 40, 0]], width=2, colour_type=4)
    loaded = load(path)
    np.testing.assert_array_equal(loaded.pixels, [[10, 20], [30, 40]])
    assert "alpha" in loaded.warnings[0]


@pytest.mark.parametrize(("bits", "packed", "expected"), [
    (1, [0b10100000], [255, 0, 255]),
    (2, [0b00011000], [0, 85, 170]),
    (4, [0x0F, 0x80], [0, 255, 136]),
])  # fmt: skip
def test_few_bits_fill_the_range(tmp_path, write_png, bits, packed, expected):
    path = write_png(tmp_path / "a.png", [packed], width=3, bit_depth=bits)
    np.testing.assert_array_equal(load(path).pixels, [expected])


def test_palette_becomes_colour(tmp_path, write_png):
    palette = bytes([0, 0, 0, 200, 10, 20])
    path = write_png(tmp_path / "a.png", [[0, 1]], width=2, colour_type=3, extra=[(b"PLTE", palette)])
    np.testing.assert_array_equal(load(path).pixels, [[[0, 0, 0], [200, 10, 20]]])


def test_grey_palette_becomes_grey(tmp_path, write_png):
    palette = bytes([5, 5, 5, 200, 200, 200])
    path = write_png(tmp_path / "a.png", [[0, 1]], width=2, colour_type=3, extra=[(b"PLTE", palette)])
    np.testing.assert_array_equal(load(path).pixels, [[5, 200]])


@pytest.mark.parametrize(("unit", "name"), [(1, "m"), (0, "")])
def test_phys_is_handed_over_raw(tmp_path, write_png, unit, name):
    phys = (b"pHYs", struct.pack(">IIB", 2_000_000, 1_000_000, unit))
    (tag,) = load(write_png(tmp_path / "a.png", [[1, 2]], width=2, extra=[phys])).scale_tags
    assert (tag.kind, tag.x, tag.y, tag.x_unit, tag.y_unit) == ("density", 2e6, 1e6, name, name)


def test_orientation_is_stated_not_applied(tmp_path, write_png):
    exif = b"MM\0*\0\0\0\x08\0\x01" + struct.pack(">HHIHH", 274, 3, 1, 6, 0) + bytes(4)
    path = write_png(tmp_path / "a.png", [[1, 2, 3]], width=3, extra=[(b"eXIf", exif)])
    loaded = load(path)
    assert loaded.pixels.shape == (1, 3)
    assert "orientation 6" in loaded.warnings[0]


def test_cut_at_any_byte_is_found(tmp_path, grey):
    whole = cv2.imencode(".png", grey)[1].tobytes()
    path = tmp_path / "a.png"
    for length in range(8, len(whole), 97):
        path.write_bytes(whole[:length])
        with pytest.raises(InputError, match="truncated"):
            load(path)


def test_any_changed_byte_is_found(tmp_path, grey):
    whole = cv2.imencode(".png", grey)[1].tobytes()
    path = tmp_path / "a.png"
    for at in range(8, len(whole), 53):
        damaged = bytearray(whole)
        damaged[at] ^= 0x40
        path.write_bytes(damaged)
        with pytest.raises(InputError, match="damaged"):
            load(path)


def test_too_few_pixels_under_good_checksums(tmp_path, png_chunk, capfd):
    header = struct.pack(">IIBBBBB", 50, 50, 8, 0, 0, 0, 0)
    chunks = [(b"IHDR", header), (b"IDAT", zlib.compress(bytes(51 * 20))), (b"IEND", b"")]
    path = tmp_path / "a.png"
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + b"".join(png_chunk(*c) for c in chunks))
    with pytest.raises(InputError, match="cannot be decoded"):
        load(path)
    assert capfd.readouterr().err == ""


@pytest.mark.parametrize(("width", "height"), [(0, 4), (4, 0)])
def test_empty_is_refused(tmp_path, png_chunk, width, height):
    chunks = [
        (b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)),
        (b"IDAT", b""),
        (b"IEND", b""),
    ]
    path = tmp_path / "a.png"
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + b"".join(png_chunk(*c) for c in chunks))
    with pytest.raises(InputError, match="empty"):
        load(path)


def test_bomb_is_refused_with_the_limit(tmp_path, png_chunk):
    side = int(MAX_PIXELS**0.5) + 1
    chunks = [(b"IHDR", struct.pack(">IIBBBBB", side, side, 8, 0, 0, 0, 0)), (b"IDAT", b"\0"), (b"IEND", b"")]
    path = tmp_path / "a.png"
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + b"".join(png_chunk(*c) for c in chunks))
    with pytest.raises(InputError, match=r"limit of 1\.07 gigapixels"):
        load(path)


def test_no_pixels_and_animation_are_refused(tmp_path, write_png, png_chunk):
    path = tmp_path / "a.png"
    header = struct.pack(">IIBBBBB", 2, 2, 8, 0, 0, 0, 0)
    path.write_bytes(b"\x89PNG\r\n\x1a\n" + png_chunk(b"IHDR", header) + png_chunk(b"IEND", b""))
    with pytest.raises(InputError, match="no pixels"):
        load(path)
    write_png(path, [[1, 2]], width=2, extra=[(b"acTL", bytes(8))])
    with pytest.raises(InputError, match="animated"):
        load(path)


def test_there_is_one_page(tmp_path, grey):
    cv2.imwrite(str(tmp_path / "a.png"), grey)
    assert load(tmp_path / "a.png", 0).page is None
    with pytest.raises(InputError, match="no page 1"):
        load(tmp_path / "a.png", 1)

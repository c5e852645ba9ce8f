import numpy as np
import pytest
import tifffile

from surfscan.errors import InputError
from surfscan.loaders.tiff import TiffLoader


def load(path):
    return TiffLoader().load(path, None)


@pytest.fixture
def write(tmp_path):
    def write(pixels, **options):
        tifffile.imwrite(tmp_path / "a.tif", pixels, **options)
        return tmp_path / "a.tif"

    return write


@pytest.mark.parametrize("compression", [None, "deflate"])
@pytest.mark.parametrize("planar", ["contig", "separate"])
def test_planes_and_interleaved_give_the_same(write, rgb, planar, compression):
    pixels = rgb if planar == "contig" else np.moveaxis(rgb, -1, 0).copy()
    path = write(pixels, photometric="rgb", planarconfig=planar, compression=compression)
    loaded = load(path)
    np.testing.assert_array_equal(loaded.pixels, rgb)
    assert loaded.pixels.flags.c_contiguous and loaded.warnings == ()


@pytest.mark.parametrize("planar", ["contig", "separate"])
@pytest.mark.parametrize(("alpha", "warned"), [(255, 0), (254, 1)])
def test_alpha_is_dropped_and_told_unless_opaque(write, rgb, planar, alpha, warned):
    rgba = np.dstack([rgb, np.full(rgb.shape[:2], alpha, np.uint8)])
    pixels = rgba if planar == "contig" else np.moveaxis(rgba, -1, 0).copy()
    loaded = load(write(pixels, photometric="rgb", planarconfig=planar, extrasamples=["unassalpha"]))
    np.testing.assert_array_equal(loaded.pixels, rgb)
    assert len(loaded.warnings) == warned


def test_grey_with_alpha_is_grey(write, grey):
    pixels = np.dstack([grey, np.full_like(grey, 255)])
    loaded = load(write(pixels, photometric="minisblack", planarconfig="contig", extrasamples=["unassalpha"]))
    np.testing.assert_array_equal(loaded.pixels, grey)
    assert loaded.warnings == ()


def test_three_grey_channels_are_taken_as_colour_and_told(write, rgb):
    loaded = load(write(rgb, photometric="minisblack", planarconfig="contig"))
    np.testing.assert_array_equal(loaded.pixels, rgb)
    assert "red, green and blue" in loaded.warnings[0]


@pytest.mark.parametrize(("dtype", "top"), [(np.uint8, 255), (np.uint16, 65535), (np.uint32, 2**32 - 1)])
def test_inverted_grey_is_turned(write, grey, dtype, top):
    loaded = load(write(grey.astype(dtype), photometric="miniswhite"))
    np.testing.assert_array_equal(loaded.pixels, top - grey.astype(dtype))


def test_inverted_signed_grey_keeps_its_range(write):
    ends = np.array([[-128, 127, 0]], np.int8)
    np.testing.assert_array_equal(load(write(ends, photometric="miniswhite")).pixels, [[127, -128, -1]])


@pytest.mark.parametrize("photometric", ["minisblack", "miniswhite"])
@pytest.mark.parametrize("dtype", [bool, np.uint8, np.int16, np.uint32, np.float32])
def test_stored_zero_can_still_be_told(write, photometric, dtype):
    stored = np.array([[0, 1, 3], [1, 0, 1]]).astype(dtype)
    loaded = load(write(stored, photometric=photometric))
    np.testing.assert_array_equal(loaded.pixels == loaded.zero, stored == 0)


def test_inverted_float_without_numbers(write):
    assert np.isnan(load(write(np.full((4, 4), np.nan, np.float32), photometric="miniswhite")).pixels).all()


@pytest.mark.parametrize(("photometric", "dark", "bright"), [("minisblack", 0, 255), ("miniswhite", 255, 0)])
def test_one_bit(write, photometric, dark, bright):
    bits = np.eye(16, dtype=bool)
    loaded = load(write(bits, photometric=photometric))
    np.testing.assert_array_equal(loaded.pixels, np.where(bits, bright, dark))
    assert loaded.pixels.dtype == np.uint8


@pytest.mark.parametrize("photometric", ["minisblack", "miniswhite"])
def test_four_bits_fill_the_range(write, photometric):
    steps = np.arange(16, dtype=np.uint8).reshape(1, 16)
    loaded = load(write(steps, bitspersample=4, photometric=photometric))
    expected = np.arange(16) * 17 if photometric == "minisblack" else np.arange(15, -1, -1) * 17
    np.testing.assert_array_equal(loaded.pixels[0], expected)


def test_twelve_bits_keep_their_values(write):
    steps = np.array([[0, 1, 4094, 4095]], np.uint16)
    np.testing.assert_array_equal(load(write(steps, bitspersample=12)).pixels, steps)
    turned = load(write(steps, bitspersample=12, photometric="miniswhite")).pixels
    np.testing.assert_array_equal(turned, 4095 - steps)


def palette_of(entries):
    table = np.zeros((3, 256), np.uint16)
    table[:, : len(entries)] = np.array(entries, np.uint16).T
    return table


def test_palette_becomes_colour(write):
    colours = palette_of([(0, 0, 0), (65535, 257, 514)])
    loaded = load(write(np.array([[0, 1]], np.uint8), photometric="palette", colormap=colours))
    np.testing.assert_array_equal(loaded.pixels, [[[0, 0, 0], [255, 1, 2]]])


def test_grey_palette_becomes_grey(write):
    colours = palette_of([(0, 0, 0), (51400, 51400, 51400)])
    loaded = load(write(np.array([[0, 1]], np.uint8), photometric="palette", colormap=colours))
    np.testing.assert_array_equal(loaded.pixels, [[0, 200]])


def test_palette_with_8_bit_entries(write):
    colours = palette_of([(0, 0, 0), (200, 100, 50)])
    loaded = load(write(np.array([[0, 1]], np.uint8), photometric="palette", colormap=colours))
    np.testing.assert_array_equal(loaded.pixels, [[[0, 0, 0], [200, 100, 50]]])


def test_marked_gaps_in_heights_are_no_numbers(write):
    heights = np.array([[1.5, -9999], [2.5, 3.5]], np.float32)
    loaded = load(write(heights, extratags=[(42113, 2, 0, "-9999", True)]))
    np.testing.assert_array_equal(loaded.pixels, [[1.5, np.nan], [2.5, 3.5]])


def test_what_is_not_read_is_refused(write):
    with pytest.raises(InputError, match="volume of 3 slices"):
        load(write(np.zeros((3, 16, 16), np.uint8), volumetric=True, photometric="minisblack"))
    with pytest.raises(InputError, match="complex64"):
        load(write(np.zeros((4, 4), np.complex64)))
    with pytest.raises(InputError, match="5 channels"):
        load(write(np.zeros((4, 4, 5), np.uint8), photometric="minisblack", planarconfig="contig"))
    with pytest.raises(InputError, match="SEPARATED"):
        load(write(np.zeros((4, 4, 4), np.uint8), photometric="separated"))

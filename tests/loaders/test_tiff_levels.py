"""Pyramids and tiles read in parts: the same pixels as read whole, and None where that cannot be."""

import numpy as np
import pytest
import tifffile

from surfscan.loaders.tiff import TiffLoader
from surfscan.loaders.tiff_levels import open_levels

GREY = np.random.default_rng(1).integers(0, 256, (700, 900), np.uint8)
TILES = {"tile": (256, 256), "compression": "zlib"}


@pytest.fixture
def pyramid(tmp_path):
    path = tmp_path / "pyramid.ome.tif"
    size = {"PhysicalSizeX": 0.5, "PhysicalSizeXUnit": "µm", "PhysicalSizeY": 0.5, "PhysicalSizeYUnit": "µm"}
    with tifffile.TiffWriter(path, ome=True) as file:
        file.write(GREY, subifds=1, metadata={"axes": "YX", **size}, **TILES)
        file.write(GREY[::2, ::2], subfiletype=1, **TILES)
    return path


def test_levels_of_a_pyramid(pyramid):
    """Both levels are there, largest first, with what the file says of scale and kind."""
    levels = open_levels(pyramid)
    assert [a.shape for a in levels.arrays] == [(700, 900), (350, 450)]
    assert levels.kind == "micrograph"
    assert (levels.scale_tags[0].x, levels.scale_tags[0].x_unit) == (0.5, "µm")
    np.testing.assert_array_equal(np.asarray(levels.arrays[1]), GREY[::2, ::2])


@pytest.mark.parametrize(
    "key",
    [
        (slice(250, 260), slice(500, 900)),
        (slice(None, None, 7), slice(3, 800, 5)),
        (5, slice(None)),
        (slice(690, 2000), -1),
        (Ellipsis, 17),
        (slice(4, 4), slice(None)),
        slice(100, 300),
    ],
)
def test_parts_are_those_of_the_whole(pyramid, key):
    """Any forward part, over the borders of tiles, is the same as of the decoded image."""
    np.testing.assert_array_equal(open_levels(pyramid).arrays[0][key], GREY[key])


def test_backwards_is_refused(pyramid):
    """A negative step is an error, not a wrong picture."""
    with pytest.raises(IndexError, match="forwards"):
        open_levels(pyramid).arrays[0][::-1, :]


def test_only_the_tiles_asked_for_are_decoded(pyramid, monkeypatch):
    """A corner costs one tile, and nothing the second time."""
    level = open_levels(pyramid).arrays[0]
    decoded = []
    real = level.decode
    monkeypatch.setattr(level, "decode", lambda index, file: decoded.append(index) or real(index, file))
    for _ in range(2):
        level[:200, 300:500]
    assert decoded == [1]


@pytest.mark.parametrize("compression", [None, "lzw", "jpeg"])
def test_colour_tiles(tmp_path, compression):
    """Colour in tiles, JPEG with its tables too, as the loader reads it whole."""
    path = tmp_path / "colour.tif"
    pixels = np.random.default_rng(2).integers(0, 256, (300, 400, 3), np.uint8)
    tifffile.imwrite(path, pixels, tile=(128, 128), photometric="rgb", compression=compression)
    whole = TiffLoader().load(path, None).pixels
    np.testing.assert_array_equal(open_levels(path).arrays[0][100:200, 90:300], whole[100:200, 90:300])


def test_heights_in_strips_of_a_pyramid(tmp_path):
    """Floating-point strips with a reduced page behind are a height map."""
    path = tmp_path / "heights.tif"
    heights = np.random.default_rng(3).random((200, 300)).astype(np.float32)
    with tifffile.TiffWriter(path) as file:
        file.write(heights, rowsperstrip=16)
        file.write(heights[::2, ::2], subfiletype=1)
    levels = open_levels(path)
    assert levels.kind == "heightmap"
    np.testing.assert_array_equal(levels.arrays[0][30:50, 7], heights[30:50, 7])


@pytest.mark.parametrize(
    "pages",
    [
        [(GREY, {})],  # neither tiles nor levels
        [(GREY, TILES), (GREY, TILES)],  # several pages and none named
        [(GREY, {**TILES, "photometric": "miniswhite"})],
    ],
)
def test_what_is_read_whole(tmp_path, pages):
    """Files that are not for reading in parts give None, and are left to the loader."""
    path = tmp_path / "whole.tif"
    with tifffile.TiffWriter(path) as file:
        for pixels, options in pages:
            file.write(pixels, **options)
    assert open_levels(path) is None


def test_a_named_page_of_several(tmp_path):
    """The page asked for is the one read."""
    path = tmp_path / "pages.tif"
    with tifffile.TiffWriter(path) as file:
        for k in range(2):
            file.write(GREY // (k + 1), **TILES)
    np.testing.assert_array_equal(open_levels(path, 1).arrays[0][:50, :60], GREY[:50, :60] // 2)


def test_no_tiff(tmp_path):
    """Any other file gives None."""
    path = tmp_path / "note.txt"
    path.write_text("no image")
    assert open_levels(path) is None


def test_damaged_tile_looks_empty(tmp_path):
    """The rest of the picture can be looked at; reading the file whole says what is wrong."""
    path = tmp_path / "cut.tif"
    tifffile.imwrite(path, np.full((128, 64), 9, np.uint8), tile=(64, 64))
    path.write_bytes(path.read_bytes()[:-1000])
    level = open_levels(path).arrays[0]
    assert (level[:64] == 9).all()
    assert (level[64:] == 0).all()

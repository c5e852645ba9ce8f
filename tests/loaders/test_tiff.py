import logging
import struct

import numpy as np
import pytest
import tifffile

from surfscan.errors import InputError
from surfscan.loaders import registry
from surfscan.loaders.base import MAX_PIXELS
from surfscan.loaders.tiff import TiffLoader

LAYOUTS = {
    "one strip": {},
    "strips": {"rowsperstrip": 7},
    "tiles": {"tile": (16, 32)},
    "BigTIFF": {"bigtiff": True},
    "big-endian": {"byteorder": ">"},
    "deflate": {"compression": "deflate", "rowsperstrip": 9},
    "deflate, predictor": {"compression": "deflate", "predictor": True},
    "LZW": {"compression": "lzw"},
    "PackBits": {"compression": "packbits"},
    "Zstandard, tiles": {"compression": "zstd", "tile": (16, 16)},
}


def load(path, page=None):
    return TiffLoader().load(path, page)


def patch_tag(path, code, value, page=0):
    """Overwrite the value of a tag that sits in the directory itself, whatever the file holds."""
    with tifffile.TiffFile(path) as file:
        tag = file.pages[page].tags[code]
        at, kind = tag.valueoffset, tag.dtype.name
    with path.open("r+b") as file:
        file.seek(at)
        file.write(struct.pack({"SHORT": "<H", "LONG": "<I"}[kind], value))


@pytest.mark.parametrize("name", LAYOUTS)
@pytest.mark.parametrize("dtype", [np.uint8, np.uint16, np.int32, np.float32])
def test_every_layout_comes_back_as_written(tmp_path, grey, name, dtype):
    pixels = grey.astype(dtype)
    tifffile.imwrite(tmp_path / "a.tif", pixels, **LAYOUTS[name])
    loaded = load(tmp_path / "a.tif")
    assert loaded.pixels.dtype == dtype and loaded.pixels.dtype.isnative
    np.testing.assert_array_equal(loaded.pixels, pixels)
    assert loaded.file_format == ("BigTIFF" if name == "BigTIFF" else "TIFF")
    assert (loaded.page, loaded.warnings, loaded.lossy) == (None, (), False)


def test_jpeg_compression_is_lossy(tmp_path, grey):
    tifffile.imwrite(tmp_path / "a.tif", grey, compression="jpeg")
    loaded = load(tmp_path / "a.tif")
    assert loaded.lossy
    assert np.abs(loaded.pixels.astype(int) - grey).mean() < 3


def test_pyramid_gives_full_resolution(tmp_path, grey):
    """Levels as sub-directories and as pages flagged as reduced: neither is a page to choose from."""
    with tifffile.TiffWriter(tmp_path / "sub.tif") as writer:
        writer.write(grey, subifds=1, tile=(16, 16))
        writer.write(grey[::2, ::2].copy(), subfiletype=1, tile=(16, 16))
    with tifffile.TiffWriter(tmp_path / "flagged.tif") as writer:
        writer.write(grey[::4, ::4].copy(), subfiletype=1, metadata=None)  # a thumbnail first
        writer.write(grey, metadata=None)
        writer.write(grey[::2, ::2].copy(), subfiletype=1, metadata=None)
    for name in ("sub.tif", "flagged.tif"):
        loaded = load(tmp_path / name)
        np.testing.assert_array_equal(loaded.pixels, grey)
        assert loaded.page is None
    with pytest.raises(InputError, match="page 2 is a reduced copy"):
        load(tmp_path / "flagged.tif", 2)


def test_unlike_pages_are_listed_not_guessed(tmp_path, grey, rgb):
    with tifffile.TiffWriter(tmp_path / "a.tif") as writer:
        writer.write(grey, metadata=None)
        writer.write(rgb[:30].astype(np.uint16), photometric="rgb", metadata=None)
    with pytest.raises(InputError) as caught:
        load(tmp_path / "a.tif")
    text = str(caught.value)
    assert "unlike" in text and "page 0: 40 x 60 px, uint8" in text and "--page" in text
    assert "page 1: 30 x 60 px, uint16, 3 channels" in text
    loaded = load(tmp_path / "a.tif", 1)
    assert loaded.page == 1
    np.testing.assert_array_equal(loaded.pixels, rgb[:30])


def test_like_pages_are_not_guessed_either(tmp_path, grey):
    stack = np.stack([grey + i for i in range(10)])
    tifffile.imwrite(tmp_path / "a.tif", stack)
    with pytest.raises(InputError, match=r"10 pages alike.*and 2 more"):
        load(tmp_path / "a.tif")
    for page in (0, 9):
        loaded = load(tmp_path / "a.tif", page)
        assert loaded.page == page
        np.testing.assert_array_equal(loaded.pixels, stack[page])
    with pytest.raises(InputError, match="no page 10: the last one is 9"):
        load(tmp_path / "a.tif", 10)


def test_broken_chain_of_pages_is_not_one_page(tmp_path, grey):
    """The second directory lies behind the end of a cut file: whoever asks for page 0 may still have it."""
    with tifffile.TiffWriter(tmp_path / "a.tif") as writer:
        writer.write(grey, metadata=None)
        first_end = writer.filehandle.tell()
        writer.write(grey, metadata=None)
    path = tmp_path / "a.tif"
    path.write_bytes(path.read_bytes()[:first_end])
    with pytest.raises(InputError, match="list of pages is damaged after page 0"):
        load(path)
    np.testing.assert_array_equal(load(path, 0).pixels, grey)


@pytest.mark.parametrize("layout", ["one strip", "strips", "tiles", "LZW", "big-endian"])
def test_cut_pixels_are_found(tmp_path, grey, layout):
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, grey, **LAYOUTS[layout])
    path.write_bytes(path.read_bytes()[:-10])
    with pytest.raises(InputError, match="truncated"):
        load(path)


def test_missing_and_unlisted_strips_are_found(tmp_path, grey):
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, grey, compression="deflate")
    patch_tag(path, 279, 0)  # StripByteCounts
    with pytest.raises(InputError, match="strip or tile 0 of 1 is missing"):
        load(path)
    tifffile.imwrite(path, grey, compression="deflate", rowsperstrip=40)
    patch_tag(path, 278, 10)  # RowsPerStrip
    with pytest.raises(InputError, match="1 of 4 strips or tiles are listed"):
        load(path)


@pytest.mark.parametrize(("code", "value", "fault"), [
    (256, 0, "empty"),
    (257, 0, "empty"),
    (259, 63999, "not read"),
    (262, 5, "colour model SEPARATED"),
    (258, 9999, "number type"),
])  # fmt: skip
def test_damaged_or_unread_tags(tmp_path, grey, code, value, fault):
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, grey, compression="lzw")
    patch_tag(path, code, value)
    with pytest.raises(InputError, match=fault):
        registry.load(path)


@pytest.mark.parametrize("codes", [(256, 257), (322, 323)], ids=["image", "tile"])
def test_bomb_is_refused_with_the_limit(tmp_path, grey, codes):
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, grey, compression="deflate", tile=(64, 64))
    for code in codes:
        patch_tag(path, code, (int(MAX_PIXELS**0.5) // 16 + 1) * 16)
    with pytest.raises(InputError, match=r"limit of 1\.07 gigapixels"):
        load(path)


def test_bomb_by_bytes_is_refused(tmp_path):
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, np.zeros((16, 16, 4), np.float64), photometric="rgb", compression="deflate")
    patch_tag(path, 256, 2**15)
    patch_tag(path, 257, 2**14)
    with pytest.raises(InputError, match=r"limit of 8\.59 GB"):
        load(path)


def test_irregularities_are_told_and_the_log_stays_silent(tmp_path, grey, caplog, capfd):
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, grey, rowsperstrip=20, metadata=None)
    patch_tag(path, 278, 40)  # RowsPerStrip: one strip is enough, two are listed
    with caplog.at_level(logging.DEBUG):
        loaded = load(path)
    np.testing.assert_array_equal(loaded.pixels, grey)
    assert "incorrect StripByteCounts count" in loaded.warnings[0]
    assert caplog.records == [] and capfd.readouterr().err == ""
    assert logging.getLogger("tifffile").filters == []


def test_single_channel_float_is_a_height_map(tmp_path, grey, rgb):
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, grey.astype(np.float32))
    assert load(path).kind == "heightmap"
    tifffile.imwrite(path, rgb.astype(np.float32), photometric="rgb")
    assert load(path).kind == "micrograph"
    tifffile.imwrite(path, grey)
    assert load(path).kind == "micrograph"


@pytest.mark.parametrize(("description", "kind"), [
    ("grey level image, detector A", "micrograph"),
    ("Intensity", "micrograph"),
    ("height map from intensity envelope", "heightmap"),
    ("plate 7, field 3", "heightmap"),
])  # fmt: skip
def test_description_may_speak_of_brightness(tmp_path, grey, description, kind):
    tifffile.imwrite(tmp_path / "a.tif", grey.astype(np.float32), description=description, metadata=None)
    assert load(tmp_path / "a.tif").kind == kind


def test_white_is_zero_speaks_of_brightness(tmp_path, grey):
    tifffile.imwrite(tmp_path / "a.tif", grey.astype(np.float32), photometric="miniswhite")
    loaded = load(tmp_path / "a.tif")
    assert loaded.kind == "micrograph"
    assert loaded.pixels[0, 0] == grey.max() + grey.min() - np.float32(grey[0, 0])


@pytest.mark.parametrize(("unit", "name"), [("NONE", ""), ("INCH", "inch"), ("CENTIMETER", "cm")])
def test_resolution_is_handed_over_raw(tmp_path, grey, unit, name):
    tifffile.imwrite(tmp_path / "a.tif", grey, resolution=(20000, 10000), resolutionunit=unit)
    (tag,) = load(tmp_path / "a.tif").scale_tags
    assert (tag.kind, tag.x, tag.y, tag.x_unit, tag.y_unit) == ("density", 20000, 10000, name, name)


def test_zero_denominator_is_zero(tmp_path, grey):
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, grey, resolution=(20000, 10000), resolutionunit="INCH")
    with tifffile.TiffFile(path) as file:
        at = file.pages[0].tags[282].valueoffset
    with path.open("r+b") as file:
        file.seek(at)
        file.write(struct.pack("<II", 5, 0))
    assert load(path).scale_tags[0].x == 0


def test_ome_size_comes_before_resolution(tmp_path, grey):
    metadata = {"axes": "YX", "PhysicalSizeX": 250, "PhysicalSizeXUnit": "nm", "PhysicalSizeY": 0.3}
    tifffile.imwrite(
        tmp_path / "a.ome.tif", grey, metadata=metadata, resolution=(72, 72), resolutionunit="INCH"
    )
    loaded = load(tmp_path / "a.ome.tif")
    assert loaded.file_format == "OME-TIFF"
    first, second = loaded.scale_tags
    assert (first.kind, first.x, first.x_unit, first.y, first.y_unit) == ("size", 250, "nm", 0.3, "µm")
    assert second.name == "TIFF resolution"


def test_ome_channel_may_speak_of_brightness(tmp_path, grey):
    heights = grey.astype(np.float32)
    for channel, kind in (({"Name": "Intensity"}, "micrograph"), ({"Name": "Height"}, "heightmap")):
        path = tmp_path / "a.ome.tif"
        tifffile.imwrite(path, heights, metadata={"axes": "YX", "Channel": channel})
        assert load(path).kind == kind


def test_orientation_is_stated_not_applied(tmp_path, grey):
    tifffile.imwrite(tmp_path / "a.tif", grey, extratags=[(274, 3, 1, 6, True)])
    loaded = load(tmp_path / "a.tif")
    np.testing.assert_array_equal(loaded.pixels, grey)
    assert "orientation 6" in loaded.warnings[0]


def test_very_wide(tmp_path):
    wide = np.tile(np.arange(60_000, dtype=np.uint16), (64, 1))
    tifffile.imwrite(tmp_path / "a.tif", wide, compression="deflate")
    np.testing.assert_array_equal(load(tmp_path / "a.tif").pixels, wide)

import io
import struct

import numpy as np
import pytest

from surfscan.errors import InputError
from surfscan.loaders import load
from surfscan.loaders.npy import NpyLoader
from surfscan.opening import open_mask


@pytest.fixture
def saved(tmp_path):
    def saved(array, **kwargs):
        path = tmp_path / "a.npy"
        np.save(path, array, **kwargs)
        return path

    return saved


def lying(header, body=b"", version=(1, 0), length=None):
    width = "<H" if version[0] == 1 else "<I"
    length = len(header) if length is None else length
    return b"\x93NUMPY" + bytes(version) + struct.pack(width, length) + header.encode("latin-1") + body


@pytest.mark.parametrize("kind", ["<f2", "<f4", "<f8", ">f4", ">f8"])
@pytest.mark.parametrize("order", ["C", "F"])
def test_floats_are_heights_without_unit_or_pitch(saved, grey, kind, order):
    heights = np.asarray(grey / 7, dtype=kind, order=order)
    heights[3, 4] = np.nan
    loaded = load(saved(heights))
    assert (loaded.kind, loaded.file_format, loaded.height_unit) == ("heightmap", "NPY", "")
    assert loaded.scale_tags == () and loaded.warnings == ()
    assert loaded.pixels.dtype == np.dtype(kind).newbyteorder("=")
    np.testing.assert_array_equal(loaded.pixels, heights)


@pytest.mark.parametrize("kind", [np.uint8, np.uint16, np.int16, np.int32, ">u2"])
def test_whole_numbers_are_a_micrograph(saved, grey, kind):
    loaded = load(saved(grey.astype(kind)))
    assert loaded.kind == "micrograph"
    np.testing.assert_array_equal(loaded.pixels, grey)


@pytest.mark.parametrize("kind", [np.uint8, np.float32])
def test_colour(saved, rgb, kind):
    loaded = load(saved(rgb.astype(kind)))
    assert loaded.kind == "micrograph"
    np.testing.assert_array_equal(loaded.pixels, rgb)


@pytest.mark.parametrize(("alpha", "warned"), [(255, 0), (128, 1)])
def test_alpha_is_dropped_and_told_unless_opaque(saved, rgb, alpha, warned):
    loaded = load(saved(np.dstack([rgb, np.full(rgb.shape[:2], alpha, np.uint8)])))
    np.testing.assert_array_equal(loaded.pixels, rgb)
    assert len(loaded.warnings) == warned


def test_one_channel(saved, grey):
    np.testing.assert_array_equal(load(saved(grey[..., np.newaxis])).pixels, grey)


def test_bool_is_a_mask(saved, grey):
    mask = grey > 80
    path = saved(mask)
    assert load(path).pixels.dtype == bool
    np.testing.assert_array_equal(open_mask(path, mask.shape), mask)


def test_any_byte_but_zero_is_true(tmp_path):
    path = tmp_path / "a.npy"
    header = "{'descr': '|b1', 'fortran_order': False, 'shape': (1, 4), }\n"
    path.write_bytes(lying(header, bytes([0, 1, 2, 255])))
    np.testing.assert_array_equal(load(path).pixels, [[False, True, True, True]])


@pytest.mark.parametrize("version", [(1, 0), (2, 0), (3, 0)])
def test_header_versions(tmp_path, grey, version):
    path = tmp_path / "a.npy"
    stream = io.BytesIO()
    np.lib.format.write_array(stream, grey / 2, version=version)
    path.write_bytes(stream.getvalue())
    np.testing.assert_array_equal(load(path).pixels, grey / 2)


@pytest.mark.parametrize(("array", "fault"), [
    (np.array([[1, "a"], [None, 2]], dtype=object), r"holds '\|O'"),
    (np.zeros((3, 4), dtype=[("a", "f4"), ("b", "i2")]), "records"),
    (np.zeros((3, 4), dtype=complex), "'<c16'"),
    (np.array([["a", "b"]]), "'<U1'"),
    (np.zeros((3, 4), dtype="M8[s]"), "M8"),
    (np.zeros(5), r"shape \(5,\)"),
    (np.float64(3), r"shape \(\)"),
    (np.zeros((2, 3, 5)), r"shape \(2, 3, 5\)"),
    (np.zeros((2, 3, 3, 1)), r"shape \(2, 3, 3, 1\)"),
    (np.zeros((0, 4)), "empty"),
])  # fmt: skip
def test_other_arrays_are_refused(saved, array, fault):
    with pytest.raises(InputError, match=fault):
        load(saved(array))


SHAPE = "{{'descr': '<f8', 'fortran_order': False, 'shape': ({}), }}\n"


@pytest.mark.parametrize(("content", "fault"), [
    (lying(SHAPE.format("2, 3"), bytes(47)), "6 values of 8 bytes"),
    (lying(SHAPE.format("2, 3"), bytes(49)), "6 values of 8 bytes"),
    (lying(SHAPE.format("1000000, 1000000"), bytes(48)), "limit"),
    (lying(SHAPE.format("30000, 30000"), bytes(48)), "900000000 values"),
    (lying(SHAPE.format("9" * 30 + ", 2")), "shape in the NPY header"),
    (lying(SHAPE.format(", 2")), "shape in the NPY header"),
    (lying(SHAPE.format("-2, 2")), "header is damaged"),
    (lying("{'descr': '<f8'}\n"), "header is damaged"),
    (lying("__import__('os').abort()\n"), "header is damaged"),
    (lying("(" * 9000), "header is damaged"),
    (lying("{}", length=2**32 - 1, version=(2, 0)), "claims 4294967295 bytes"),
    (lying("{}", length=60_000), "truncated"),
    (lying("{}", version=(9, 0)), "version 9"),
    (b"\x93NUMPY\x01", "truncated"),
])  # fmt: skip
def test_headers_that_lie(tmp_path, content, fault):
    path = tmp_path / "a.npy"
    path.write_bytes(content)
    with pytest.raises(InputError, match=fault):
        load(path)


def test_cut_anywhere_is_found(tmp_path, saved):
    whole = saved(np.zeros((4, 5))).read_bytes()
    path = tmp_path / "b.npy"
    for length in range(6, len(whole), 7):
        path.write_bytes(whole[:length])
        with pytest.raises(InputError):
            load(path)


def test_there_is_one_page(saved, grey):
    with pytest.raises(InputError, match="no page 1"):
        NpyLoader().load(saved(grey), 1)

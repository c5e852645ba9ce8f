import struct
import time
import tracemalloc

import numpy as np
import pytest

from surfscan.errors import InputError
from surfscan.loaders import load
from surfscan.loaders.sdf import DATA_TYPES, SdfLoader, read_sdf

HEIGHTS = [[1.0, 2.0, 3.0], [4.0, np.nan, 6.0]]
TYPICAL = {
    "ManufacID": "test",
    "CreateDate": "010120250000",
    "ModDate": "010120250000",
    "NumPoints": "3",
    "NumProfiles": "2",
    "Xscale": "5.0E-7",
    "Yscale": "2.5E-7",
    "Zscale": "1.0E-6",
    "Zresolution": "-1",
    "Compression": "0",
    "DataType": "7",
    "CheckType": "0",
}


def text(data="1 2 3\r\n4 BAD 6\r\n", *, version="aISO-1.0", between="*", end="*", trailer="", **changes):
    fields = {k: v for k, v in {**TYPICAL, **changes}.items() if v is not None}
    lines = [version, *(f"{k} = {v}" for k, v in fields.items())]
    if between is not None:
        lines.append(between)
    return ("\r\n".join(lines) + "\r\n" + data + end + "\r\n" + trailer).encode()


def binary(
    values,
    code,
    *,
    order="<",
    counts="H",
    version=b"bISO-1.0",
    scales=(5e-7, 2.5e-7, 1e-6),
    shape=None,
    compression=0,
    check=0,
    trailer=b"",
):
    values = np.asarray(values)
    rows, cols = shape or values.shape
    head = struct.pack(
        f"{order}8s10s12s12s{counts}{counts}ddddBBB",
        version, b"test", b"010120250000", b"010120250000", cols, rows, *scales,
        -1.0, compression, code, check,
    )  # fmt: skip
    return head + values.astype(order + DATA_TYPES.get(code, "f8")).tobytes() + trailer


@pytest.fixture
def read(tmp_path):
    def read(content):
        path = tmp_path / "a.sdf"
        path.write_bytes(content)
        return read_sdf(path)

    return read


def test_the_loader_hands_over_metres(tmp_path):
    path = tmp_path / "a.dat"
    path.write_bytes(text())
    loaded = load(path)
    assert (loaded.file_format, loaded.kind, loaded.height_unit, loaded.page) == (
        "SDF",
        "heightmap",
        "m",
        None,
    )
    (tag,) = loaded.scale_tags
    assert (tag.kind, tag.x, tag.y, tag.x_unit, tag.y_unit) == ("size", 5e-7, 2.5e-7, "m", "m")
    np.testing.assert_allclose(loaded.pixels, np.array(HEIGHTS) * 1e-6, rtol=1e-15)
    assert loaded.warnings == ()
    with pytest.raises(InputError, match="no page 1"):
        SdfLoader().load(path, 1)


@pytest.mark.parametrize(
    "version", ["aISO-1.0", "aBCR-1.0", "aISO-2.0", "aISO-1.0   ", "AISO-1.0", "aiso-1.0"]
)
def test_versions_of_text(read, version):
    content = read(text(version=version))
    assert content.header.version == version.strip()
    np.testing.assert_allclose(content.heights_m, np.array(HEIGHTS) * 1e-6, rtol=1e-15)


@pytest.mark.parametrize("data", [
    "1 2 3 4 BAD 6\r\n",
    "1\r\n2\r\n3\r\n4\r\nbad\r\n6\r\n",
    "1 2\r\n3 4\r\nNaN\t6",
    "  1   2 3\r\n\r\n4 1.#QNAN 6 ",
    "1.0D0 2e0 3.0E+00 4 inf 6\n",
    "1 2 3 ; first profile\r\n4 BAD 6 ; second\r\n",
    "\r\n1 2 3\r\n4 -nan 6\r\n\r\n",
])  # fmt: skip
def test_heights_wherever_lines_end(read, data):
    np.testing.assert_allclose(read(text(data)).heights_m, np.array(HEIGHTS) * 1e-6, rtol=1e-15)


@pytest.mark.parametrize("change", [
    lambda t: t.replace(b"\r\n", b"\n"),
    lambda t: t.replace(b"\r\n", b"\r"),
    lambda t: t.replace(b" = ", b"="),
    lambda t: t.replace(b" = ", b"\t:\t"),
    lambda t: t.replace(b" = ", b"            = "),
    lambda t: t.replace(b"NumPoints", b"NUMPOINTS").replace(b"Xscale", b"xScale"),
    lambda t: t.replace(b"5.0E-7", b"5.0D-07").replace(b"= 3", b"= 3.0"),
    lambda t: t.replace(b"CheckType = 0\r\n*", b"CheckType = 0 *"),
    lambda t: t.replace(b"*\r\n1 2", b"* 1 2"),
    lambda t: t.replace(b"*\r\n1 2", b"1 2"),
    lambda t: t.replace(b"\r\n*\r\n1 2", b" ; no sum\r\n*\r\n1 2"),
    lambda t: t.rstrip().rstrip(b"*"),
    lambda t: b"\xef\xbb\xbf" + t,
    lambda t: t + b"\0\0\0\x1a",
])  # fmt: skip
def test_ways_of_writing_the_header(read, change):
    plain, changed = text(), change(text())
    assert plain != changed
    content = read(changed)
    np.testing.assert_allclose(content.heights_m, np.array(HEIGHTS) * 1e-6, rtol=1e-15)
    assert (content.header.x_scale, content.header.y_scale) == (5e-7, 2.5e-7)
    assert content.trailer == ""


def test_keys_in_any_order_and_unknown_ones(read):
    lines = text().split(b"\r\n")
    at = lines.index(b"*")
    shuffled = [lines[0], *lines[at - 1 : 0 : -1], b"Nickname = plate 7", *lines[at:]]
    np.testing.assert_allclose(read(b"\r\n".join(shuffled)).heights_m, np.array(HEIGHTS) * 1e-6, rtol=1e-15)


def test_optional_keys_may_be_absent(read):
    content = read(text(Zresolution=None, Compression=None, DataType=None, CheckType=None, ManufacID=None))
    np.testing.assert_allclose(content.heights_m, np.array(HEIGHTS) * 1e-6, rtol=1e-15)


def test_trailer_is_kept_as_text(read):
    assert read(text(trailer="Part = plate 7\r\nOperator = nobody\r\n*\r\n")).trailer == (
        "Part = plate 7\r\nOperator = nobody"
    )
    assert read(binary(HEIGHTS, 7, trailer=b"\r\nPart = plate 7\r\n\0\0")).trailer == "Part = plate 7"


@pytest.mark.parametrize("code", sorted(DATA_TYPES))
@pytest.mark.parametrize("version", [b"bISO-1.0", b"bBCR-1.0"])
def test_every_binary_type(read, code, version):
    kind = np.dtype(DATA_TYPES[code])
    gap = np.iinfo(kind).min if kind.kind in "iu" else np.nan
    values = np.where(np.isnan(HEIGHTS), gap, HEIGHTS)
    content = read(binary(values, code, version=version))
    assert content.heights_m.dtype == (np.float64 if code in (2, 6, 7) else np.float32)
    np.testing.assert_allclose(content.heights_m, np.array(HEIGHTS) * 1e-6, rtol=1e-7)
    assert len(content.warnings) == (kind.kind == "u")
    assert content.header.version == version.decode()


@pytest.mark.parametrize("code", [3, 7])
def test_lowest_float_is_a_gap_too(read, code):
    lowest = np.finfo(DATA_TYPES[code]).min
    for gap in (lowest, np.inf, -np.inf):
        content = read(binary(np.where(np.isnan(HEIGHTS), gap, HEIGHTS), code))
        np.testing.assert_allclose(content.heights_m, np.array(HEIGHTS) * 1e-6, rtol=1e-7)


@pytest.mark.parametrize(
    ("code", "gap"), [(4, "-128"), (5, "-32768"), (6, "-2147483648"), (7, "-1.79769313E+308")]
)
def test_lowest_value_in_text_is_a_gap_too(read, code, gap):
    heights = read(text(f"1 2 3 4 {gap} 6\r\n", DataType=code)).heights_m
    np.testing.assert_allclose(heights, np.array(HEIGHTS) * 1e-6, rtol=1e-7)


def test_zero_in_unsigned_text_is_a_height(read):
    assert read(text("1 2 3 4 0 6\r\n", DataType=1)).heights_m[1, 1] == 0


@pytest.mark.parametrize("form", ["text", "binary"])
def test_first_profile_is_the_first_row(read, form):
    heights = np.arange(1.0, 13).reshape(3, 4)
    written = (
        text(" ".join(map(str, heights.ravel())), NumPoints=4, NumProfiles=3)
        if form == "text"
        else binary(heights, 7)
    )
    np.testing.assert_allclose(read(written).heights_m, heights * 1e-6, rtol=1e-15)


def test_counts_of_32_bits_are_told_from_the_size(read):
    content = read(binary(HEIGHTS, 7, counts="I", version=b"bISO-2.0"))
    np.testing.assert_allclose(content.heights_m, np.array(HEIGHTS) * 1e-6, rtol=1e-15)
    wide = np.arange(2.0 * 70_000).reshape(2, 70_000)
    assert read(binary(wide, 7, counts="I", version=b"bISO-2.0")).heights_m.shape == (2, 70_000)


def test_other_byte_order_is_read_and_told(read):
    content = read(binary(HEIGHTS, 7, order=">"))
    np.testing.assert_allclose(content.heights_m, np.array(HEIGHTS) * 1e-6, rtol=1e-15)
    assert "big-endian" in content.warnings[0]


def test_a_decimal_scale_rounds_once(read):
    values = np.arange(1, 1001) * 7919
    content = read(binary(values.reshape(20, 50), 6, scales=(1e-6, 1e-6, 1e-9)))
    exact = [int(v) / 10**9 for v in values]
    assert content.heights_m.ravel().tolist() == exact
    odd = read(binary(values.reshape(20, 50), 6, scales=(1e-6, 1e-6, 3.7)))
    np.testing.assert_array_equal(odd.heights_m.ravel(), values * 3.7)


def test_check_sum_is_told_to_be_unverified(read):
    assert "type 2" in read(text(CheckType=2)).warnings[0]
    assert "type 2" in read(binary(HEIGHTS, 7, check=2)).warnings[0]


@pytest.mark.parametrize(("changes", "fault"), [
    ({"NumPoints": "4"}, "6 heights, its header announces 8"),
    ({"NumPoints": "2"}, "6 heights, its header announces 4"),
    ({"NumPoints": "400"}, "cannot hold them"),
    ({"NumPoints": "1000000000", "NumProfiles": "1000000000"}, "cannot hold them|limit"),
    ({"NumPoints": "9" * 5000}, "NumPoints"),
    ({"NumPoints": "three"}, "'three' is not a number"),
    ({"NumPoints": "2.5"}, "not a whole number"),
    ({"NumPoints": "-3"}, "not a whole number"),
    ({"NumPoints": "NaN"}, "not a whole number"),
    ({"NumPoints": "0"}, "empty"),
    ({"NumPoints": "6", "NumProfiles": "1", "Yscale": "0"}, "single profile"),
    ({"NumPoints": None}, "no NumPoints"),
    ({"Zscale": None}, "no Zscale"),
    ({"Xscale": "NaN"}, "Xscale is nan"),
    ({"Yscale": "0"}, "Yscale is 0"),
    ({"Zscale": "-1E-6"}, "Zscale is -1e-06"),
    ({"Xscale": "inf"}, "Xscale is nan"),
    ({"Xscale": "1E999"}, "Xscale is inf"),
    ({"Xscale": "wide"}, "Xscale 'wide' is not a number"),
    ({"Compression": "1"}, "compressed"),
    ({"DataType": "8"}, "data type 8"),
    ({"data": "1 2 3 4 five 6"}, "'five' is not a number"),
    ({"data": "1 2 3 4 5"}, "5 heights"),
    ({"data": ""}, "cannot hold them"),
])  # fmt: skip
def test_faults_of_text(read, changes, fault):
    with pytest.raises(InputError, match=fault) as caught:
        read(text(**changes))
    assert caught.value.remedy


@pytest.mark.parametrize(("changes", "fault"), [
    ({"shape": (2, 4)}, "truncated or damaged"),
    ({"shape": (65535, 65535)}, "limit|truncated"),
    ({"counts": "I", "shape": (2**31, 2**31)}, "limit"),
    ({"scales": (np.nan, 1e-6, 1e-6)}, "Xscale is nan"),
    ({"scales": (1e-6, 0.0, 1e-6)}, "Yscale is 0"),
    ({"scales": (1e-6, 1e-6, -1e-6)}, "Zscale is -1e-06"),
    ({"scales": (1e-6, np.inf, 1e-6)}, "Yscale is inf"),
    ({"code": 9}, "data type 9"),
    ({"compression": 1}, "compressed"),
])  # fmt: skip
def test_faults_of_binary(read, changes, fault):
    with pytest.raises(InputError, match=fault):
        read(binary(HEIGHTS, **{"code": 7, **changes}))


def test_header_that_does_not_end(read):
    for content in (b"aISO-1.0", b"aISO-1.0\r\nNumPoints = 3\r\n", b"aISO-1.0\r\n" + b"A " * 200_000):
        with pytest.raises(InputError, match="does not end"):
            read(content)


def test_header_of_empty_lines_is_given_up_soon(read):
    """Line by line through megabytes of nothing would take a second."""
    start = time.process_time()
    with pytest.raises(InputError, match="does not end"):
        read(b"aISO-1.0" + b"\n" * 20_000_000)
    assert time.process_time() - start < 1


@pytest.mark.parametrize("written", [text(), binary(HEIGHTS, 7)], ids=["text", "binary"])
def test_cut_anywhere_is_found(read, written):
    needed = written.index(b"\r\n4 BAD 6") + 8 if written.startswith(b"a") else len(written)
    for length in range(8, needed):
        with pytest.raises(InputError):
            read(written[:length])


def test_lies_are_found_quickly_and_without_memory(tmp_path):
    path = tmp_path / "a.sdf"
    for content in (
        text(NumPoints="1000000", NumProfiles="1000000"),
        binary(HEIGHTS, 7, shape=(32_000, 32_000)),
        binary(HEIGHTS, 7, shape=(2**32 - 1, 2**32 - 1), counts="I"),
        b"aISO-1.0\r\n" + (b"A" + b" " * 990 + b"x\r\n") * 100,
    ):
        path.write_bytes(content)
        tracemalloc.start()
        start = time.process_time()
        with pytest.raises(InputError):
            load(path)
        took, peak = time.process_time() - start, tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        assert took < 1 and peak < 2**20

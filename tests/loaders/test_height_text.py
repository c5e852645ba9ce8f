import time
import tracemalloc

import numpy as np
import pytest

from surfscan import open_image
from surfscan.errors import InputError
from surfscan.loaders import load
from surfscan.loaders.height_text import NO_HEIGHT_UNIT, HeightTextLoader
from surfscan.opening import SMALL_SIDE_PX

ROWS, COLS = 18, 20
HEIGHTS = np.round(np.random.default_rng(6).normal(0, 3, (ROWS, COLS)), 3)
HEIGHTS[3, 4] = np.nan
assert min(HEIGHTS.shape) >= SMALL_SIDE_PX


@pytest.fixture
def path(tmp_path):
    return tmp_path / "map.txt"


def grid_text(delimiter=";", decimal=".", gap="BAD", heights=HEIGHTS):
    lines = [delimiter.join(map(repr, row)) for row in heights.tolist()]
    return "\n".join(lines).replace(".", decimal).replace("nan", gap) + "\n"


def list_text(header="", delimiter=",", decimal=".", pitch=(0.5, 0.25), gap="BAD", order=None, drop=False):
    lines = [
        delimiter.join((f"{c * pitch[0]:.4f}", f"{r * pitch[1]:.4f}", repr(float(HEIGHTS[r, c]))))
        for r in range(ROWS)
        for c in range(COLS)
        if not (drop and np.isnan(HEIGHTS[r, c]))
    ]
    if order is not None:
        lines = [lines[k] for k in np.random.default_rng(order).permutation(len(lines))]
    return header + "\n".join(lines).replace(".", decimal).replace("nan", gap)


WAYS = [
    (delimiter, decimal, gap)
    for delimiter in ("\t", ";", ",", " ", "|", ", ")
    for decimal in ".,"
    for gap in ("BAD", "NaN", "***", "void", "")
    if decimal not in delimiter and (gap or delimiter != " ")
]


@pytest.mark.parametrize(("delimiter", "decimal", "gap"), WAYS)
def test_grids(path, delimiter, decimal, gap):
    path.write_text(grid_text(delimiter, decimal, gap))
    loaded = load(path)
    assert (loaded.kind, loaded.file_format, loaded.height_unit) == ("heightmap", "height grid (text)", "")
    assert loaded.scale_tags == ()
    assert loaded.warnings == (NO_HEIGHT_UNIT,)
    np.testing.assert_array_equal(loaded.pixels, HEIGHTS)


def test_a_grid_with_units_opens_whole(path):
    path.write_text("# pitch (x, y) 0.5, 0.25 µm\n# heights in nm\n" + grid_text(), encoding="utf-8")
    opened = open_image(path)
    np.testing.assert_allclose(opened.heights_um, HEIGHTS / 1000, rtol=1e-12)
    assert (opened.calibration.pixel_size_x_um, opened.calibration.pixel_size_y_um) == (0.5, 0.25)
    assert not any("unit" in w for w in opened.warnings)


def test_a_pitch_without_unit_is_no_scale(path):
    path.write_text("# pitch 0.5\n" + grid_text())
    opened = open_image(path)
    assert opened.calibration is None
    assert any("no absolute unit" in w and "--pixel-size-um" in w for w in opened.warnings)
    assert NO_HEIGHT_UNIT in opened.warnings


def test_one_unit_for_everything(path):
    path.write_text("pitch: 500\nunit: nm\n" + grid_text())
    loaded = load(path)
    (tag,) = loaded.scale_tags
    assert (tag.x, tag.y, tag.x_unit, tag.y_unit, loaded.height_unit) == (500, 500, "nm", "nm", "nm")


@pytest.mark.parametrize(("labels_x", "labels_y", "tag"), [
    (np.arange(COLS), np.arange(ROWS), None),
    (np.arange(COLS) * 0.5, np.arange(ROWS) * 0.25 - 3, (0.5, 0.25)),
    (np.arange(COLS) * 0.5, np.arange(ROWS)[::-1] * 0.25, (0.5, 0.25)),
])  # fmt: skip
def test_labels_round_an_empty_corner_are_no_heights(path, labels_x, labels_y, tag):
    framed = np.full((ROWS + 1, COLS + 1), np.nan)
    framed[0, 1:], framed[1:, 0], framed[1:, 1:] = labels_x, labels_y, HEIGHTS
    path.write_text(grid_text(gap="", heights=framed))
    loaded = load(path)
    np.testing.assert_array_equal(loaded.pixels, HEIGHTS)
    assert [(t.x, t.y, t.x_unit) for t in loaded.scale_tags] == ([(*tag, "")] if tag else [])
    assert "left out" in loaded.warnings[0]


def test_a_line_that_counts_the_columns_is_no_height(path):
    path.write_text(";".join(map(str, range(COLS))) + "\n" + grid_text())
    loaded = load(path)
    np.testing.assert_array_equal(loaded.pixels, HEIGHTS)
    assert "counts the columns" in loaded.warnings[0]
    ramp = np.arange(600.0).reshape(20, 30)
    path.write_text(grid_text(heights=ramp))
    np.testing.assert_array_equal(load(path).pixels, ramp)


@pytest.mark.parametrize("delimiter", ["\t", ";", ",", " "])
@pytest.mark.parametrize("arguments", [{}, {"order": 3}, {"order": 4, "drop": True}, {"gap": "-"}])
def test_lists_in_any_order(path, delimiter, arguments):
    path.write_text(list_text(delimiter=delimiter, **arguments))
    loaded = load(path)
    assert (loaded.kind, loaded.file_format) == ("heightmap", "x, y, z list (text)")
    np.testing.assert_array_equal(loaded.pixels, HEIGHTS)
    (tag,) = loaded.scale_tags
    assert (tag.kind, tag.x, tag.y, tag.x_unit, tag.y_unit) == ("size", 0.5, 0.25, "", "")
    assert loaded.warnings == (NO_HEIGHT_UNIT,)


@pytest.mark.parametrize(("header", "delimiter", "decimal", "units"), [
    ("X [mm];Y [mm];z / µm\n", ";", ",", ("mm", "mm", "µm")),
    ("x_um,y_um,z_nm\n", ",", ".", ("um", "um", "nm")),
    ("X\tY\tZ\nmm\tmm\tµm\n", "\t", ",", ("mm", "mm", "µm")),
    ("# X [mm] Y [mm] Z [µm]\n", " ", ".", ("mm", "mm", "µm")),
    ("% all lengths in mm\nx y z\n", " ", ".", ("mm", "mm", "mm")),
    ("# Columns: x [mm], y [mm], z [µm]\n", ",", ".", ("mm", "mm", "µm")),
    ("# x: mm; y: mm; z: nm\n", ";", ".", ("mm", "mm", "nm")),
    ("# units: x mm, y mm, z um\n", "\t", ".", ("mm", "mm", "um")),
    ("# x and y in mm\n# heights in nm\n", "\t", ".", ("mm", "mm", "nm")),
    ("x [mm],y,z [µm]\n", ",", ".", ("mm", "mm", "µm")),
])  # fmt: skip
def test_units_of_lists(path, header, delimiter, decimal, units):
    path.write_text(list_text(header, delimiter, decimal), encoding="utf-8")
    loaded = load(path)
    (tag,) = loaded.scale_tags
    assert (tag.x_unit, tag.y_unit, loaded.height_unit) == units
    assert loaded.warnings == ()
    np.testing.assert_array_equal(loaded.pixels, HEIGHTS)


def test_a_list_opens_whole(path):
    path.write_text(list_text("X [mm];Y [mm];Z [nm]\n", ";", ",", pitch=(0.0005, 0.0025)), encoding="latin-1")
    opened = open_image(path)
    np.testing.assert_allclose(opened.heights_um, HEIGHTS / 1000, rtol=1e-12)
    assert (opened.calibration.pixel_size_x_um, opened.calibration.pixel_size_y_um) == pytest.approx(
        (0.5, 2.5)
    )


def test_other_columns_of_a_list_are_left(path):
    path.write_text("intensity,z,y,x\n" + "\n".join(
        f"7,{float(HEIGHTS[r, c])!r},{r},{c}" for r in range(ROWS) for c in range(COLS)
    ))  # fmt: skip
    np.testing.assert_array_equal(load(path).pixels, HEIGHTS)


@pytest.mark.parametrize(("text", "fault"), [
    ("1,2\n3,4\n5,6\n", "2 numbers are a table or a profile"),
    ("1,2,3,4\n", "1 lines of 4 numbers"),
    ("1 2 3 4 5\n" * 60, "60 lines of 5 numbers"),
    ("1;2;3;4\n5;6;7\n", "line 2 has 3 values"),
    ("1;2;3;4\n" * 6 + "5;6;x;7\n", "line 7: 'x' is not a number"),
    ("0.1 0.2 5\n0.7 0.33 6\n0.9 0.95 8\n0.2 0.6 9", "no regular grid"),
    ("x,y,z\n0,0,1\n1,0,1\n0,1,1\n1,1,1\n1,1,2\n", "differ in height"),
    ("x,y,z\n0,0,1\n1,0,1\n0,BAD,1\n1,1,1\n", "1 of 4 y coordinates"),
    ("x,y,z\n0,0,1\n0,0,1\n", "same x"),
    ("1 2 3 4\n" * 2000 + "\0", "no text"),
])  # fmt: skip
def test_what_is_refused(path, text, fault):
    path.write_text(text)
    with pytest.raises(InputError, match=fault) as caught:
        load(path)
    assert "x, y and z" in caught.value.remedy or "regular grid" in caught.value.remedy


@pytest.mark.parametrize("text", [
    "label,row_px,col_px,area_px\n1,2,3,4\n2,3,4,5\n",
    "E/V\tI/A\n-0.5\t1e-6\n-0.4\t2e-6\n",
    "notes\n\nnothing to see\n",
    "aISO-1.0\r\nNumPoints = 3\r\n*\r\n1 2 3\r\n4 5 6\r\n*\r\n",
])  # fmt: skip
def test_other_text_is_not_taken(text):
    assert not HeightTextLoader().recognises(text.encode())


def test_wide_lines_beyond_the_head(path):
    wide = np.arange(5 * 3000.0).reshape(5, 3000) / 7
    path.write_text("# heights in µm\n" + grid_text(heights=wide), encoding="utf-16")
    np.testing.assert_array_equal(load(path).pixels, wide)


def test_there_is_one_page(path):
    path.write_text(grid_text())
    with pytest.raises(InputError, match="no page 2"):
        load(path, 2)


def test_points_far_apart_take_no_memory(path):
    rng = np.random.default_rng(0)
    lines = [f"{a},{b},1" for a, b in rng.integers(0, 10**9, (2000, 2))]
    path.write_text("x,y,z\n" + "\n".join(lines))
    tracemalloc.start()
    start = time.process_time()
    with pytest.raises(InputError, match="no regular grid"):
        load(path)
    took, peak = time.process_time() - start, tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert took < 1 and peak < 2**22


@pytest.mark.parametrize("text", ["1e308 -1e308 1\n-1e308 1e308 2\n1 2 3\n", "1e400 1 1\n2 2 2\n"])
def test_absurd_numbers_are_refused(path, text):
    path.write_text(text)
    with pytest.raises(InputError):
        load(path)


@pytest.mark.parametrize("header", [
    "z" + " " * 3900 + "x",
    "x" + " " * 1900 + "q,y" + " " * 1500 + ",z [",
    "pitch " * 600,
    "pitch " + "_ of in is " * 90,
])  # fmt: skip
def test_odd_headers_take_no_time(path, header):
    path.write_text(header + "\n" + grid_text())
    start = time.process_time()
    np.testing.assert_array_equal(load(path).pixels, HEIGHTS)
    assert time.process_time() - start < 1

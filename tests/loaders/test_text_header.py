import pytest

from surfscan.calibration.units import um_per_unit
from surfscan.loaders.text_header import (
    Columns,
    are_units,
    find_columns,
    last_names,
    read_statements,
    split_fields,
    split_unit,
)


@pytest.mark.parametrize(("field", "name", "unit"), [
    ("X [mm]", "X", "mm"),
    ("X[mm]", "X", "mm"),
    ("z / µm", "z", "µm"),
    ("z/µm", "z", "µm"),
    ("Z(nm)", "Z", "nm"),
    ("x_um", "x", "um"),
    ("X_UM", "X", "um"),
    ("height in nm", "height", "nm"),
    ("z µm", "z", "µm"),
    ("z: \u03bcm", "z", "\u03bcm"),
    ("y {inch}", "y", "inch"),
    ("z [V]", "z", "V"),
    ("label", "label", ""),
    ("x", "x", ""),
    ("maximum", "maximum", ""),
])  # fmt: skip
def test_name_and_unit_of_a_column(field, name, unit):
    assert split_unit(field) == (name, unit)


def test_fields_of_a_header_line():
    assert split_fields("# X [mm] Y [mm] Z [µm]", "") == ["X[mm]", "Y[mm]", "Z[µm]"]
    assert split_fields("x / mm  y / mm", "") == ["x/mm", "y/mm"]
    assert split_fields('"x","y", "z"', ",") == ["x", "y", "z"]
    assert split_fields("% x;y;z;", ";") == ["x", "y", "z"]


def test_a_line_of_units():
    assert are_units(["mm", "[mm]", "(µm)"])
    assert not are_units(["mm", "z"]) and not are_units([])
    assert last_names(["X;Y;Z", "mm;mm;µm"], ";", 3) == (["X", "Y", "Z"], ["mm", "mm", "µm"])
    assert last_names(["a note", "X;Y;Z"], ";", 3) == (["X", "Y", "Z"], [])
    assert last_names(["X;Y;Z", "a note"], ";", 3) == ([], [])
    assert last_names([], ";", 3) == ([], [])


@pytest.mark.parametrize(("lines", "delimiter", "count", "expected"), [
    (["X [mm];Y [mm];z / µm"], ";", 3, Columns(0, 1, 2, "mm", "mm", "µm")),
    (["made by hand", "X;Y;Z", "mm;mm;µm"], ";", 3, Columns(0, 1, 2, "mm", "mm", "µm")),
    (["# x y z"], "", 3, Columns(0, 1, 2)),
    (["intensity,Z_nm,y_um,x_um"], ",", 4, Columns(3, 2, 1, "um", "um", "nm")),
    (["x position (mm)\ty position (mm)\tHeight (µm)"], "\t", 3, Columns(0, 1, 2, "mm", "mm", "µm")),
    (["X,Y,depth"], ",", 3, None),
    (["x,y,z,z"], ",", 4, None),
    (["label,row_px,col_px"], ",", 3, None),
    (["x,y,z"], ",", 4, None),
    ([], ",", 3, None),
])  # fmt: skip
def test_columns_named_x_y_z(lines, delimiter, count, expected):
    assert find_columns(lines, delimiter, count) == expected


@pytest.mark.parametrize(("line", "x", "y", "unit"), [
    ("# pitch 0.5 µm", 0.5, 0.5, "µm"),
    ("pitch_um = 0.5", 0.5, 0.5, "um"),
    ("# pitch: 0.5", 0.5, 0.5, ""),
    ("# Pitch [nm]: 500", 500, 500, "nm"),
    ("# pixel size (x, y) = 0.5, 0.6 µm", 0.5, 0.6, "µm"),
    ("pixel_size_um: 0.5 0.6", 0.5, 0.6, "um"),
    ("Pixel size: 0.5 µm x 0.6 µm", 0.5, 0.6, "µm"),
    ("# Pixel pitch: 0.5 × 0.6 µm", 0.5, 0.6, "µm"),
    ("# pixel size: x 0.5 µm, y 0.6 µm", 0.5, 0.6, "µm"),
    ("dx = 0.5 µm, dy = 0.6 µm", 0.5, 0.6, "µm"),
    ("x pitch (nm): 250; y pitch (nm): 300", 250, 300, "nm"),
    ("pixel_size_x_um = 0.5, pixel_size_y_um = 0.6", 0.5, 0.6, "um"),
    ("x pitch [nm]: 250", 250, None, "nm"),
    ("grid spacing is 5e-7 m", 5e-7, 5e-7, "m"),
    ("step size 0.5 micron", 0.5, 0.5, "micron"),
    ("# pitch 0.5 µm at 20 x magnification", 0.5, 0.5, "µm"),
    ("# pitch 0,5 µm", 0.5, 0.5, "µm"),
    ("# pitch 0.5,0.6 µm", 0.5, 0.6, "µm"),
    ("pitch;0.5;µm", 0.5, 0.5, "µm"),
    ("x_pitch_um,0.5,y_pitch_um,0.6", 0.5, 0.6, "um"),
    ("# pitch nan µm", None, None, "µm"),
])  # fmt: skip
def test_pitch_in_words(line, x, y, unit):
    stated = read_statements([line], ".")
    for found, expected in zip(stated.pitch, (x, y), strict=True):
        assert found == expected or (found != found and expected is None)
    assert stated.pitch_units == (unit, unit)
    assert not unit or um_per_unit(unit) is not None


@pytest.mark.parametrize("line", [
    "step 2: polished 1 µm",
    "pitch black, 3 samples",
    "# pitch 1,2 µm",
    "field 100 µm wide",
    "spacing 3",
    "",
])  # fmt: skip
def test_no_pitch_where_none_is_stated(line):
    stated = read_statements([line], ".")
    assert stated.pitch is None
    assert stated.pitch_units == ("", "")


def test_decimal_comma_where_the_numbers_have_it():
    assert read_statements(["pitch 1,25 µm"], ",").pitch == (1.25, 1.25)


def test_first_statement_counts():
    assert read_statements(["pitch 0.5 µm", "pitch 0.7 µm"], ".").pitch == (0.5, 0.5)
    assert read_statements(["z in nm", "z in µm"], ".").height_unit == "nm"


@pytest.mark.parametrize(("line", "unit"), [
    ("heights in nm", "nm"),
    ("Heights are given in µm", "µm"),
    ("# z / µm", "µm"),
    ("# Height [nm]", "nm"),
    ("height_um", "um"),
    ("z unit: nm", "nm"),
    ("z_unit;nm", "nm"),
    ("unit: µm", "µm"),
    ("Units [mm]", "mm"),
    ("all values in micrometres", "micrometres"),
    ("x, y, z in mm", "mm"),
    ("pitch 0.5 µm, heights in nm", "nm"),
    ("# Height: 80 µm", ""),
    ("heights in relation to the rim", ""),
    ("data in the file", ""),
    ("pitch 0.5 µm", ""),
    ("height map of plate 7", ""),
])  # fmt: skip
def test_height_unit_in_words(line, unit):
    assert read_statements([line], ".").height_unit == unit


def test_one_unit_for_all_is_the_pitchs_too():
    stated = read_statements(["unit: nm", "pitch: 500"], ".")
    assert (stated.pitch_units, stated.any_unit) == (("nm", "nm"), "nm")

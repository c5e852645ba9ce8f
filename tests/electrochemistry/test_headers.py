import pytest

from surfscan.electrochemistry.headers import (
    Heading,
    find_area_cm2,
    find_reference,
    find_scan_rate,
    find_unplaced,
    is_relative,
    read_headings,
)
from surfscan.electrochemistry.table_form import TableForm


def headings(lines, columns=2, delimiter="\t"):
    return read_headings(lines, TableForm(delimiter, ".", (False,) * columns, False, True))


@pytest.mark.parametrize(
    ("text", "role"),
    [
        ("E (V)", "potential"),
        ("Potential", "potential"),
        ("voltage_mV", "potential"),
        ("U/V", "potential"),
        ("I/A", "current"),
        ("Current (mA)", "current"),
        ("i (mA/cm²)", "current density"),
        ("j", "current density"),
        ("Current density", "current density"),
        ("Stromdichte", "current density"),
        ("t (s)", "time"),
        ("t", "time"),
        ("T", "other"),
        ("T (°C)", "other"),
        ("Elapsed time (min)", "time"),
        ("Cycle number", "scan"),
        ("Scan", "scan"),
        ("scan rate (mV/s)", "other"),
        ("Current range (A)", "other"),
        ("Charge (C)", "other"),
        ("Overpotential (V)", "other"),
        ("notes", ""),
        ("pH", "other"),
        ("natural log of current (A)", "other"),
        ("ln(i) (A/cm2)", "current density"),
        ("logI (A)", "current"),
        ("P (W)", "other"),
        ("V", "potential"),
        ("mA/cm2", "current density"),
        ("CurrentDensity", "current density"),
    ],
)
def test_roles_by_name(text, role):
    found = headings([f"{text}\tx"])[0]
    assert (found.text, found.role) == (text, role)


def test_kinds_of_values():
    one, two, three = headings(["applied potential (V)\tlog10(|i|/A)\t|I| (A)"], 3)
    assert one.is_set_value
    assert (two.is_logarithm, two.role, two.unit.text) == (True, "current", "A")
    assert (three.is_absolute, three.role) == (True, "current")


@pytest.mark.parametrize(
    "lines",
    [
        ["E\tI", "mV\tµA"],
        ["free text", "E\tI", "[mV]\t[µA]"],
        ["E (mV)\tI (µA)"],
        ["E (mV)\tI (µA)", "=====", "", "note below"],
        ["# E (mV)\tI (µA)"],
        ["E (mV);I (µA)"],
        ["E (mV)   I (µA)"],
        ["E (mV) I (µA)"],
        ["Cell potential (mV) Cell current (µA)"],
    ],
)
def test_units_in_headings_or_a_row_of_their_own(lines):
    one, two = headings(lines)
    assert (one.role, one.unit.factor) == ("potential", 1e-3)
    assert (two.role, two.unit.factor) == ("current", 1e-6)


def test_a_row_of_units_with_gaps():
    one, two, three = headings(["point;E;I", "-;V;mA"], 3, ";")
    assert (one.role, one.unit) == ("other", None)
    assert (two.unit.text, three.unit.text) == ("V", "mA")


def test_units_alone_name_their_columns():
    assert [h.role for h in headings(["text", "V\tA"])] == ["potential", "current"]


def test_no_headings():
    assert [h.role for h in headings([])] == ["", ""]
    assert [h.role for h in headings(["some words of free text", "1\t2"])] == ["", ""]


@pytest.mark.parametrize(
    ("lines", "name"),
    [
        (["E (V vs SCE)\tI (A)"], "SCE"),
        (["Solution saturated calomel cleaned", "Reference: Ag/AgCl sat. KCl", "E\tI"], "Ag/AgCl sat. KCl"),
        (["measured against Cu/CuSO4", "E\tI"], "Cu/CuSO4"),
        (["MSE was used", "E\tI"], "Hg/Hg2SO4 sat. K2SO4"),
        (["nothing", "E\tI"], None),
    ],
)
def test_reference(lines, name):
    assert find_reference(headings(lines), lines) == (name, ())


def test_references_that_disagree():
    lines = ["vs SCE, checked vs Ag/AgCl 3 M", "E\tI"]
    name, (warning,) = find_reference(headings(lines), lines)
    assert name is None
    assert "SCE, Ag/AgCl 3 M KCl" in warning


@pytest.mark.parametrize(
    ("line", "rate"),
    [
        ("Scan rate: 0.167 mV/s", 0.167e-3),
        ("scan rate (mV/s)\t1", 1e-3),
        ("Sweep speed 600 mV/h", 0.6 / 3600),
        ("scan_rate_V/s = 0,01", 0.01),
        ("Scan rate 5", None),
        ("Scan rate 0 mV/s", None),
        ("rate of fire", None),
    ],
)
def test_scan_rate(line, rate):
    assert find_scan_rate(["x", line]) == (None if rate is None else pytest.approx(rate))


@pytest.mark.parametrize(
    ("line", "area"),
    [
        ("Area: 1,5 cm²", 1.5),
        ("Electrode area (mm2) = 50", 0.5),
        ("area 1e-4 m2", 1.0),
        ("Area: 3", None),
        ("areas of 7 cm", None),
    ],
)
def test_area(line, area):
    assert find_area_cm2([line]) == (None if area is None else pytest.approx(area))


@pytest.mark.parametrize("delimiter", [",", ";", ""])
def test_quotes_hold_headings_together(delimiter):
    line = (delimiter or " ").join(('"E, V vs; SCE"', '"I, mA"'))
    first, second = headings([line], delimiter=delimiter)
    assert (first.text, first.role, first.unit.text) == ("E, V vs; SCE", "potential", "V")
    assert (second.text, second.role, second.unit.text) == ("I, mA", "current", "mA")


@pytest.mark.parametrize(
    ("line", "columns", "delimiter", "count"),
    [
        ("E (V),I (mA)", 4, ",", 2),
        ("E, V,I, mA", 2, ",", 4),
        ("E\tI", 4, "", 2),
        ("E (V),I (mA)", 2, ",", 0),
        ("a sweep of plate 3, made at noon", 3, ",", 0),
        ("Potential and current of plate 3", 2, "", 0),
    ],
)
def test_headings_more_or_fewer_than_columns(line, columns, delimiter, count):
    found = find_unplaced([line], TableForm(delimiter, ".", (False,) * columns, False, True))
    assert len(found) == count


@pytest.mark.parametrize(
    ("heading", "lines", "expected"),
    [
        ("E (V vs OCP)", [], True),
        ("E - Ecorr (V)", [], True),
        ("E vs. open circuit / mV", [], True),
        ("Overpotential (V)", [], True),
        ("η / V", [], True),
        ("ΔE (mV)", [], True),
        ("potential", ["potential\tcurrent", "V vs. Eoc\tA"], True),
        ("E (V vs SCE)", ["Initial E: -0.25 V vs OCP"], False),
        ("Potential (V)", ["rest potential before: -0.4 V"], False),
        ("E corrected (V)", [], False),
        ("beta (V)", [], False),
    ],
)
def test_potentials_from_rest(heading, lines, expected):
    assert is_relative([Heading(heading, "potential")], lines) is expected

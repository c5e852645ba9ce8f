import pytest

from surfscan.electrochemistry.sweep_units import parse_unit, split_heading, strip_logarithm


@pytest.mark.parametrize(
    ("text", "kind", "factor"),
    [
        ("V", "potential", 1),
        ("mV", "potential", 1e-3),
        ("volts", "potential", 1),
        ("millivolt", "potential", 1e-3),
        ("V vs. SCE", "potential", 1),
        ("mV (SHE)", "potential", 1e-3),
        ("µV", "potential", 1e-6),
        ("A", "current", 1),
        ("mA", "current", 1e-3),
        ("uA", "current", 1e-6),
        ("µA", "current", 1e-6),
        ("μA", "current", 1e-6),
        ("nA", "current", 1e-9),
        ("pA", "current", 1e-12),
        ("amps", "current", 1),
        ("A/cm2", "current density", 1),
        ("A/cm²", "current density", 1),
        ("mA cm-2", "current density", 1e-3),
        ("mA·cm⁻²", "current density", 1e-3),
        ("mA.cm-2", "current density", 1e-3),
        ("uA_per_cm2", "current density", 1e-6),
        ("µA/sq cm", "current density", 1e-6),
        ("A/m^2", "current density", 1e-4),
        ("A m-2", "current density", 1e-4),
        ("mA/dm2", "current density", 1e-5),
        ("A/mm²", "current density", 100),
        ("s", "time", 1),
        ("sec", "time", 1),
        ("min", "time", 60),
        ("h", "time", 3600),
        ("ms", "time", 1e-3),
    ],
)
def test_units(text, kind, factor):
    unit = parse_unit(text)
    assert unit.kind == kind
    assert unit.factor == pytest.approx(factor, rel=1e-12)


@pytest.mark.parametrize("text", ["", "ohm", "C", "°C", "A/V", "mA/cm", "Vm", "counts", "-"])
def test_no_units(text):
    assert parse_unit(text) is None


@pytest.mark.parametrize(
    ("heading", "name", "unit"),
    [
        ("E (V vs SCE)", "E", "V"),
        ("E/V", "E", "V"),
        ("E vs Ag/AgCl / V", "E vs Ag/AgCl", "V"),
        ("E [V vs. Ag/AgCl (3 M KCl)]", "E", "V"),
        ("Potential [V] vs SCE", "Potential vs SCE", "V"),
        ("Current density (µA·cm⁻²)", "Current density", "µA·cm⁻²"),
        ("i / A/cm2", "i", "A/cm2"),
        ("Current, mA", "Current", "mA"),
        ("Strom in mA", "Strom", "mA"),
        ("mA/cm2", "", "mA/cm2"),
        ("I", "I", None),
        ("s", "s", None),
        ("T (°C)", "T (°C)", None),
    ],
)
def test_headings(heading, name, unit):
    found_name, found_unit = split_heading(heading)
    assert found_name == name
    assert (found_unit.text if found_unit else None) == unit


def test_logarithms():
    assert strip_logarithm("log10(|i| / A cm-2)") == ("i / A cm-2", False)
    assert strip_logarithm("log i (A/cm²)") == ("i (A/cm²)", False)
    assert strip_logarithm("lg(i)") == ("i", False)
    assert strip_logarithm("logI (A)") == ("I (A)", False)
    assert strip_logarithm("log10(i) (A)") == ("i (A)", False)
    assert strip_logarithm("ln(i) (A/cm2)") == ("i (A/cm2)", True)
    assert strip_logarithm("loge(i)") == ("i", True)
    assert strip_logarithm("ln|I|/A") == ("I /A", True)
    assert strip_logarithm("logging time") is None
    assert strip_logarithm("Line (V)") is None
    assert strip_logarithm("E (V)") is None


@pytest.mark.parametrize("heading", ["pH", "Channel A", "Probe_V", "Sensor H", "Vitamin D", "columnA"])
def test_a_letter_that_belongs_to_a_name_is_no_unit(heading):
    assert split_heading(heading) == (heading, None)


@pytest.mark.parametrize(
    ("heading", "name", "unit"),
    [
        ("ImA", "I", "mA"),
        ("currentuA", "current", "uA"),
        ("potentialmV", "potential", "mV"),
        ("currentA", "current", "A"),
        ("Ewe V", "Ewe", "V"),
        ("time_h", "time", "h"),
        ("t s", "t", "s"),
    ],
)
def test_units_without_brackets(heading, name, unit):
    found = split_heading(heading)
    assert (found[0], found[1].text) == (name, unit)

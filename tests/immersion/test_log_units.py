"""Units of channels, in headings and alone."""

import pytest

from surfscan.immersion.log_units import (
    PLAUSIBLE,
    QUANTITIES,
    UNIT_OF,
    parse_channel_unit,
    split_channel_heading,
)


@pytest.mark.parametrize(
    ("text", "quantity", "factor"),
    [
        ("mL/min", "flow", 1.0),
        ("ml min-1", "flow", 1.0),
        ("mL·min⁻¹", "flow", 1.0),
        ("L/h", "flow", 1000 / 60),
        ("l per h", "flow", 1000 / 60),
        ("lpm", "flow", 1000.0),
        ("µL/s", "flow", 0.06),
        ("cm³/min", "flow", 1.0),
        ("kPa", "pressure", 1.0),
        ("mbar", "pressure", 0.1),
        ("bar", "pressure", 100.0),
        ("[psi]", "pressure", 6.894757293168361),
        ("mL", "volume", 1.0),
        ("µL", "volume", 1e-3),
        ("pulses", "count", 1.0),
        ("min", "time", 6e7),
        ("ms", "time", 1e3),
        ("pH", "pH", 1.0),
    ],
)
def test_units(text, quantity, factor):
    found = parse_channel_unit(text)
    assert found.quantity == quantity
    assert found.factor == pytest.approx(factor, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "value", "celsius"), [("°C", 37, 37), ("K", 310.15, 37), ("°F", 98.6, 37), ("F", -40, -40)]
)
def test_temperatures(text, value, celsius):
    unit = parse_channel_unit(text)
    assert value * unit.factor + unit.offset == pytest.approx(celsius, abs=1e-10)


@pytest.mark.parametrize("text", ["", "room", "mL/", "per min", "rpm", "V", "%", "mLx", "min/mL"])
def test_no_units(text):
    assert parse_channel_unit(text) is None


@pytest.mark.parametrize(
    ("heading", "name", "unit"),
    [
        ("Flow (mL/min)", "Flow", "mL/min"),
        ("p before / kPa", "p before", "kPa"),
        ("temperature_degC", "temperature", "degC"),
        ("flow_mL_per_min", "flow", "mL/min"),
        ("Bath temp, °C", "Bath temp", "°C"),
        ("T in °F", "T", "°F"),
        ("elapsed [h]", "elapsed", "h"),
        ("°C", "", "°C"),
    ],
)
def test_headings(heading, name, unit):
    found, known = split_channel_heading(heading)
    assert (found, known.text) == (name, unit)


@pytest.mark.parametrize("heading", ["pH", "p", "pump on", "pressure"])
def test_headings_without_unit(heading):
    assert split_channel_heading(heading) == (heading, None)


def test_every_channel_has_unit_and_limits():
    assert set(QUANTITIES) == set(UNIT_OF) == set(PLAUSIBLE)
    assert all(low < high for low, high in PLAUSIBLE.values())

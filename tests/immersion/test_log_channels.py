"""Which column holds what."""

import pytest

from surfscan.immersion.log_channels import (
    acid_by_heading,
    channel_of,
    find_channels,
    is_time_heading,
    log_columns,
)


def headed(*headings):
    return log_columns([",".join(headings)], {",": 0}, len(headings))


@pytest.mark.parametrize(
    ("heading", "channel"),
    [
        ("Temperature (°C)", "temperature"),
        ("T [°C]", "temperature"),
        ("bath_temp_degC", "temperature"),
        ("Temperatur", "temperature"),
        ("pH", "pH"),
        ("pH probe", "pH"),
        ("probe_pH", "pH"),
        ("Flow [L/h]", "flow"),
        ("Durchfluss (mL/min)", "flow"),
        ("p before (kPa)", "pressure before"),
        ("Pressure inlet (mbar)", "pressure before"),
        ("p1 (bar)", "pressure before"),
        ("P_out/psi", "pressure after"),
        ("Druck nach (mbar)", "pressure after"),
        ("ΔP (kPa)", "pressure drop"),
        ("pressure drop / mbar", "pressure drop"),
        ("pressure (kPa)", "pressure"),
        ("acid (mL)", "acid"),
        ("HCl dosed [mL]", "acid"),
        ("Acid counter (pulses)", "acid"),
        ("NaOH (mL)", ""),
        ("Temperature setpoint (°C)", ""),
        ("room temperature (°C)", ""),
        ("pump speed (rpm)", ""),
        ("remark", ""),
        ("acid flow (mL/min)", "flow"),
    ],
)
def test_by_heading(heading, channel):
    (column,) = headed(heading)
    assert channel_of(column) == channel


@pytest.mark.parametrize(
    ("heading", "is_time"),
    [("time", True), ("Elapsed (h)", True), ("t/s", True), ("Datum", True), ("T (°C)", False), ("pH", False)],
)
def test_time(heading, is_time):
    assert is_time_heading(headed(heading)[0]) is is_time


def test_a_row_of_units_below_the_names():
    columns = log_columns(["rig 3", "time;temp;pH;flow", ";°C;-;mL/min"], {";": 0}, 4)
    assert [column.heading for column in columns] == ["time", "temp", "pH", "flow"]
    assert [column.unit and column.unit.text for column in columns] == [None, "°C", None, "mL/min"]


def test_date_and_time_under_one_heading():
    columns = log_columns(["# time pH flow_mL_per_min"], {"": 1}, 4)
    assert [column.heading for column in columns] == ["time", "time", "pH", "flow_mL_per_min"]


def test_second_and_sideless_columns_are_said():
    columns = headed("time", "T1 (°C)", "T2 (°C)", "pressure (kPa)", "flow")
    channels, warnings = find_channels(columns, {}, {}, dict.fromkeys(range(1, 5), 37.0), (0,))
    assert [(channel.name, channel.heading) for channel in channels] == [("temperature", "T1 (°C)")]
    assert len(warnings) == 3
    assert "second temperature" in warnings[0]
    assert "before or after" in warnings[1]
    assert "no unit" in warnings[2]


@pytest.mark.parametrize(("median", "unit"), [(37.0, "°C"), (310.0, "K"), (98.6, None)])
def test_temperature_by_its_values(median, unit):
    channels, warnings = find_channels(headed("time", "temperature"), {}, {}, {1: median}, (0,))
    assert [channel.unit.text for channel in channels] == ([unit] if unit else [])
    assert "no unit" in warnings[0]


def test_stated_columns_and_units():
    columns = headed("time", "A", "B", "pH")
    stated = {"temperature": "A", "flow": 3}
    units = {"temperature": "K", "flow": "L/h"}
    channels, _ = find_channels(columns, stated, units, {1: 310.0, 2: 6.0, 3: 7.4}, (0,))
    assert [(c.name, c.column, c.unit.text, c.how) for c in channels] == [
        ("temperature", 1, "K", "stated"),
        ("pH", 3, "", "name"),
        ("flow", 2, "L/h", "stated"),
    ]
    with pytest.raises(ValueError, match="no column 'C' for flow"):
        find_channels(columns, {"flow": "C"}, {}, {}, (0,))


@pytest.mark.parametrize(
    ("heading", "kind"),
    [
        ("acid (pulses)", "counter"),
        ("acid total (mL)", "cumulative"),
        ("acid per event (mL)", "events"),
        ("acid (mL)", ""),
    ],
)
def test_acid(heading, kind):
    columns = headed("time", heading)
    (channel,), _ = find_channels(columns, {}, {}, {1: 1.0}, (0,))
    assert acid_by_heading(channel, columns[1].words) == kind

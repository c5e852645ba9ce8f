"""Checks of instruments: drift, offset, uncertainty, allowance, and what they mean."""

import math

import pytest

from surfscan.electrochemistry.references import ELECTRODES, SHE, temperature_allowance_V
from surfscan.errors import InputError
from surfscan.immersion.exposure_settings import ExposureSettings
from surfscan.immersion.instrument_checks import InstrumentCheck, judge_check

SETTINGS = ExposureSettings()


def check(instrument, before, after, known=0.0, **more):
    return judge_check(
        InstrumentCheck(instrument, known, known + before, known, known + after, **more), SETTINGS
    )


def test_drift_offset_and_uncertainty():
    """Any error between the two is as likely: width over the root of 12."""
    found = check("balance", 0.1, 0.3)
    assert found.drift == pytest.approx(0.2)
    assert found.offset == pytest.approx(0.2)
    assert found.standard_uncertainty == pytest.approx(0.2 / math.sqrt(12))
    assert found.unit == "mg"
    assert found.severity == ""


@pytest.mark.parametrize(
    ("instrument", "drift", "severity"),
    [
        ("reference electrode", 5.0, ""),
        ("reference electrode", -6.0, "reservation"),
        ("reference electrode", 26.0, "not valid"),
        ("pH probe", 0.1, ""),
        ("pH probe", 0.15, "reservation"),
        ("pH probe", -0.6, "not valid"),
        ("balance", 0.5, "reservation"),
        ("balance", 50.0, "reservation"),
    ],
)
def test_severity(instrument, drift, severity):
    found = check(instrument, 0.0, drift)
    assert found.severity == severity
    assert bool(found.reason) == bool(severity)


def test_electrode_at_body_temperature_carries_the_allowance():
    found = check("reference electrode", 0, 0, electrode="Ag/AgCl (3 M KCl)", used_at_degC=37.0)
    expected = 1e3 * temperature_allowance_V(ELECTRODES["Ag/AgCl 3 M KCl"], ELECTRODES[SHE], 37.0)
    assert found.temperature_allowance == pytest.approx(expected)
    assert expected > 5
    assert found.standard_uncertainty == pytest.approx(expected / math.sqrt(3))
    assert "25 °C" in found.warnings[0]
    at_table = check("reference electrode", 0, 0, electrode="SCE", used_at_degC=25.0)
    assert at_table.temperature_allowance == 0
    assert at_table.warnings == ()


def test_probe_checked_cold_and_used_warm():
    warm = {"used_at_degC": 37.0, "temperature_before_degC": 25.0, "temperature_after_degC": 36.0}
    found = check("pH probe", 0, 0, known=4.0, **warm)
    assert found.temperature_allowance == pytest.approx(12 * (3 / 298.15 + 0.003))
    same = check("pH probe", 0, 0, known=7.0, used_at_degC=37.0, temperature_before_degC=37.0)
    assert same.temperature_allowance == 0
    assert same.warnings == ()
    assert "not stated" in check("pH probe", 0, 0, known=7.0).warnings[0]


def test_balance_at_two_temperatures():
    found = check("balance", 0, 0, temperature_before_degC=20.0, temperature_after_degC=25.0)
    assert "buoyancy" in found.warnings[0]


def test_nonsense():
    with pytest.raises(ValueError, match="instrument must be"):
        InstrumentCheck("thermometer", 0, 0, 0, 0)
    with pytest.raises(ValueError, match="read_after"):
        InstrumentCheck("balance", 0, 0, 0, math.nan)
    with pytest.raises(InputError, match="not known"):
        check("reference electrode", 0, 0, electrode="nail", used_at_degC=37.0)

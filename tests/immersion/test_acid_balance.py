"""Acid of a log as metal dissolved, over all and stretch by stretch."""

import numpy as np
import pytest

from surfscan.immersion.acid_balance import balance_acid
from surfscan.immersion.exposure_run import ExposureRun
from surfscan.immersion.exposure_settings import ExposureSettings
from surfscan.immersion.log_channels import Channel
from surfscan.immersion.log_units import parse_channel_unit
from surfscan.materials.catalogue import find_material

MINUTE = 60_000_000
DAYS = 10
MINUTES = np.arange(DAYS * 1440 + 1)


def balance(volumes, *, unit="mL", material="Mg", area_cm2=10.0, words=("acid",), start_us=0, **settings):
    chosen = ExposureSettings(**({"acid_mol_per_L": 0.1} | settings))
    run = ExposureRun([Channel("acid", 1, "acid", parse_channel_unit(unit), "name")], chosen)
    held = np.full(len(volumes), MINUTE)
    held[0] = 0
    run.take(MINUTES[: len(volumes)] * MINUTE, held, np.asarray(volumes, float)[None, :], MINUTE)
    return balance_acid(
        run,
        start_us,
        chosen,
        material=find_material(material) if material else None,
        area_cm2=area_cm2,
        area_relative_uncertainty=0.02,
        immersion_settings=None,
        words=words,
    )


STEADY = np.floor(MINUTES / 100 + 1e-9) * 0.1  # 0.1 mL every 100 minutes: 1.44 mL a day


def test_steady_dosing_as_metal_and_rate():
    """14.4 mL of 0.1 mol/L: 1.44 mmol H+, 0.72 mmol Mg (24.305 g/mol), over 10 cm² and 10 d."""
    found = balance(STEADY)
    summary = found.as_dict()
    assert summary["acid_mL"] == pytest.approx(14.4)
    assert summary["acid_mmol"] == pytest.approx(1.44)
    assert summary["metal_mg"] == pytest.approx(0.72 * 24.305, rel=1e-4)
    expected = 0.72 * 24.305 / 1000 / 10e-4 / DAYS
    assert summary["rate"]["rate_g_per_m2_d"] == pytest.approx(expected, rel=1e-4)
    assert summary["rate"]["bias"] == "reads low"
    assert len(found.intervals) == DAYS
    assert [one.rate_g_per_m2_d for one in found.intervals] == pytest.approx([expected] * DAYS, rel=0.08)
    assert np.diff(found.hours) == pytest.approx([24] * DAYS, abs=0.3)


def test_events_and_counter_are_the_same_acid():
    doses = np.diff(STEADY, prepend=0.0)
    events = balance(doses)
    assert events.kind == "events"
    assert events.as_dict()["metal_mg"] == pytest.approx(balance(STEADY).as_dict()["metal_mg"])
    pulses = balance(STEADY * 100 + 7, unit="pulses", acid_mL_per_pulse=0.01)
    assert pulses.kind == "counter"
    assert pulses.acid_mL == pytest.approx(balance(STEADY).acid_mL)


def test_the_blank_is_taken_off():
    found = balance(STEADY, acid_blank_mL_per_day=0.44)
    assert found.as_dict()["blank_mL"] == pytest.approx(4.4)
    assert found.as_dict()["acid_mmol"] == pytest.approx(1.0)
    assert not any("blank" in warning for warning in found.warnings)
    assert any("blank" in warning for warning in balance(STEADY).warnings)


def test_only_acid_from_the_first_reading_on_counts():
    assert balance(STEADY + 50).as_dict()["acid_mL"] == pytest.approx(14.4)


@pytest.mark.parametrize(
    ("how", "reason"),
    [
        ({"material": "Fe"}, "not tell"),
        ({"material": None}, "material"),
        ({"area_cm2": None}, "wetted area"),
        ({"acid_mol_per_L": None}, "concentration"),
        ({"unit": "pulses"}, "acid_mL_per_pulse"),
    ],
)
def test_no_rate(how, reason):
    found = balance(STEADY, **how)
    assert found.estimate is None or found.estimate.rate_g_per_m2_d is None
    assert reason in found.refused


def test_iron_gets_no_metal_from_acid():
    found = balance(STEADY, material="Fe")
    assert found.as_dict()["metal_mg"] is None
    assert found.as_dict()["acid_mmol"] == pytest.approx(1.44)


def test_metal_without_area():
    assert balance(STEADY, area_cm2=None).as_dict()["metal_mg"] == pytest.approx(0.72 * 24.305, rel=1e-4)


def test_column_that_makes_no_sense_and_none():
    found = balance(5 + np.sin(MINUTES / 50))
    assert "neither" in found.refused
    assert found.warnings
    assert balance(np.full(5000, np.nan)).acid_mL.size == 0


def test_short_logs_have_four_stretches():
    found = balance(STEADY[:721])
    assert len(found.intervals) == 4
    assert found.hours[-1] == pytest.approx(12.0)

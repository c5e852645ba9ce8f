"""Rig logs from file to verdict."""

import math

import numpy as np
import pytest

from surfscan.columns import TABLES
from surfscan.electrochemistry import text_blocks
from surfscan.errors import InputError
from surfscan.immersion import log_reading
from surfscan.immersion.exposure import measure_exposure
from surfscan.immersion.exposure_settings import ExposureSettings
from surfscan.immersion.instrument_checks import InstrumentCheck
from surfscan.materials.catalogue import find_material

HEADING = "time,temperature (°C),pH,flow (mL/min),p before (kPa),p after (kPa),acid (mL)"
SETTINGS = ExposureSettings(
    temperature_degC=37,
    temperature_tolerance_degC=1,
    pH=7.4,
    pH_tolerance=0.2,
    flow_mL_per_min=100,
    flow_tolerance_mL_per_min=10,
    acid_mol_per_L=0.1,
    acid_blank_mL_per_day=0.0,
)
MG = find_material("Mg")


def rows(n=4000, seed=1, rise=0.0):
    rng = np.random.default_rng(seed)
    t = np.arange(n)
    columns = [
        np.round(37 + rng.normal(0, 0.1, n), 2),
        np.round(7.4 + rng.normal(0, 0.02, n), 3),
        np.round(100 + rng.normal(0, 1, n), 1),
        np.round(12 * (1 + rise * t / n) + rng.normal(0, 0.05, n), 2),
        np.round(2 + rng.normal(0, 0.05, n), 2),
        np.round(np.floor(t / 100 + 1e-9) * 0.05, 2),
    ]
    return [list(row) for row in zip(*(column.tolist() for column in columns), strict=True)]


def measure(path, settings=SETTINGS, **more):
    return measure_exposure(path, settings, **({"material": MG, "area_cm2": 10.0} | more))


def table(result, name="channels"):
    found = result.tables[name]
    return [
        dict(zip(found, values, strict=True))
        for values in zip(*(c.tolist() for c in found.values()), strict=True)
    ]


def test_a_sound_exposure_is_valid(write_log):
    result = measure(write_log(HEADING, rows()))
    summary = result.summary
    assert summary["verdict"] == "exposure valid"
    assert summary["verdict_reasons"] == []
    assert summary["immersed_h"] == summary["in_range_h"] == pytest.approx(3999 / 60)
    assert (summary["start"], summary["stop"]) == ("2001-03-04T08:00:00", "2001-03-07T02:39:00")
    assert summary["sampling_interval_s"] == 60
    assert summary["hydraulic_resistance"]["mean_kPa_min_per_mL"] == pytest.approx(0.1, rel=0.01)
    assert summary["acid_balance"]["metal_mg"] == pytest.approx(1.95 * 1.2153, rel=1e-3)
    for row in table(result)[:3]:
        assert row["drift_per_day_ci95_low"] < 0 < row["drift_per_day_ci95_high"]
    assert set(result.tables) == {"channels", "excursions", "acid_over_time", "log_trace"}
    for name, found in result.tables.items():
        assert list(found) == [column.name for column in TABLES[name]]
    trace = result.tables["log_trace"]
    counts = {
        name: int(np.count_nonzero(trace["channel"] == name)) for name in set(trace["channel"].tolist())
    }
    assert set(counts) == {
        "temperature", "pH", "flow", "pressure before", "pressure after", "resistance", "acid"
    }  # fmt: skip
    assert max(counts.values()) <= 2000
    assert result.procedure == "exposure"
    assert len(result.source.sha256) == 64


def test_blocks_and_pages_change_nothing(write_log, monkeypatch):
    """50 000 readings in blocks of a few lines: every figure the same to the bit."""
    lines = rows(50_000)
    lines[7000][1], lines[9000][0] = "ERR", ""
    for k in range(20_000, 21_000):
        lines[k][0] = 40.0 + k % 7 / 100
    for k in range(30_000, 36_000):
        lines[k][1] = 7.412
    jumps = {25_000: 3600, 40_000: 500}
    path = write_log(HEADING, lines, step_s=2.0, jumps=jumps, start="2001-03-24T12:06:40")
    whole = measure(path)
    monkeypatch.setattr(text_blocks, "BLOCK_BYTES", 3000)
    monkeypatch.setattr(log_reading, "_HEAD_BYTES", 9000)
    cut = measure(path)
    assert whole.summary == cut.summary
    assert whole.warnings == cut.warnings
    for name, found in whole.tables.items():
        for column, values in found.items():
            assert values.tobytes() == cut.tables[name][column].tobytes(), (name, column)
    kinds = [row["kind"] for row in table(whole, "excursions")]
    assert sorted(kinds) == ["above", "daylight saving", "frozen", "gap"]


@pytest.mark.parametrize("page_rows", [7, 1000])
def test_page_size_moves_sums_by_rounding_alone(write_log, monkeypatch, page_rows):
    path = write_log(HEADING, rows(3000))
    whole = measure(path)
    monkeypatch.setattr(log_reading, "PAGE_ROWS", page_rows)
    cut = measure(path)
    assert cut.summary["in_range_h"] == whole.summary["in_range_h"]
    for name in ("mean", "sd", "noise", "drift_per_day", "known_h"):
        assert cut.tables["channels"][name] == pytest.approx(
            whole.tables["channels"][name], rel=1e-9, nan_ok=True
        )


def test_excursion_gap_and_what_they_cost(write_log):
    """Two hours 3 K too warm, a gap of five hours: immersed all the while, in range less both."""
    lines = rows()
    for k in range(1000, 1120):
        lines[k][0] = 40.0 + k % 3 / 100
    result = measure(write_log(HEADING, lines, jumps={2000: 5 * 3600}))
    summary = result.summary
    assert summary["immersed_h"] == pytest.approx(3999 / 60 + 5)
    assert summary["in_range_h"] == pytest.approx(3999 / 60 - 2 - 1 / 60)
    assert summary["gap_h"] == pytest.approx(5 + 1 / 60)
    assert summary["verdict"] == "exposure valid with reservations"
    assert {reason["rule"] for reason in summary["verdict_reasons"]} == {
        "valid_in_range_fraction",
        "largest_gap_fraction",
    }
    warm, gap = table(result, "excursions")
    assert (warm["channel"], warm["kind"]) == ("temperature", "above")
    assert warm["start_h"] == pytest.approx(1000 / 60)
    assert warm["length_h"] == pytest.approx(2.0)
    assert (warm["worst"], round(warm["beyond"], 6)) == (40.02, 2.02)
    assert warm["size"] == pytest.approx(2 * 2.01, rel=1e-3)
    assert gap["kind"] == "gap"
    assert math.isnan(gap["worst"])


def test_a_long_excursion_is_not_valid(write_log):
    lines = rows()
    for k in range(500, 500 + 25 * 60):
        lines[k][1] = 8.0 + k % 5 / 1000
    summary = measure(write_log(HEADING, lines)).summary
    assert summary["verdict"] == "exposure not valid"
    assert summary["verdict_reasons"][0]["severity"] == "not valid"


def test_two_hourly_readings_keep_the_hour(write_log):
    path = write_log(HEADING, rows(48), step_s=7200, jumps={24: 3600}, start="2001-03-23T02:00:00")
    result = measure(path)
    assert result.summary["immersed_h"] == pytest.approx(94)
    assert any("put forwards by one hour" in warning for warning in result.warnings)


def test_pause_of_an_hour_in_june(write_log):
    result = measure(write_log(HEADING, rows(), jumps={2000: 3600}, start="2001-06-12T08:00:00"))
    assert result.summary["immersed_h"] == pytest.approx(3999 / 60 + 1)
    assert result.summary["gap_count"] == 1


def test_misread_total_of_acid(write_log):
    """One reading of 0, or three of 10 000 mL: the rate stays, and what was left out is said."""
    plain = measure(write_log(HEADING, rows())).summary["acid_balance"]
    for misread in ([0.0], [1e4] * 3):
        lines = rows()
        for k, value in enumerate(misread):
            lines[3000 + k][-1] = value
        result = measure(write_log(HEADING, lines))
        found = result.summary["acid_balance"]
        assert {key: found[key] for key in ("acid_mL", "rate")} == {
            key: plain[key] for key in ("acid_mL", "rate")
        }
        assert any("left out as misread" in warning for warning in result.warnings)


def test_total_of_acid_set_back_is_a_reservation(write_log):
    lines = rows()
    level = lines[3000][-1]
    for line in lines[3000:]:
        line[-1] = round(line[-1] - level, 6)
    result = measure(write_log(HEADING, lines))
    assert [reason["rule"] for reason in result.summary["verdict_reasons"]] == ["acid total"]
    assert result.summary["verdict"] == "exposure valid with reservations"


@pytest.mark.parametrize(("hour", "start"), [(3600, "2001-03-23T16:40:00"), (-3600, "2001-10-26T17:40:00")])
def test_daylight_saving_costs_nothing(write_log, hour, start):
    path = write_log(HEADING, rows(), jumps={2000: hour}, start=start)
    result = measure(path)
    assert result.summary["immersed_h"] == result.summary["in_range_h"] == pytest.approx(3999 / 60)
    assert result.summary["gap_count"] == 0
    assert result.summary["verdict"] == "exposure valid with reservations"
    assert [reason["rule"] for reason in result.summary["verdict_reasons"]] == ["clock_changes"]
    assert any("Line 2002" in warning and "daylight-saving" in warning for warning in result.warnings)
    stop = result.summary["stop"]
    again = measure(path, stop=stop, start=result.summary["start"])
    assert again.summary["immersed_h"] == pytest.approx(3999 / 60)
    assert again.summary["stop"] == stop


def test_frozen_time_is_not_in_range(write_log):
    lines = rows()
    for k in range(1000, 1300):
        lines[k][1] = 7.41
    for k in range(1200, 1500):
        lines[k][2] = 100.3
    lines[999][1] = lines[1300][1] = 7.43
    lines[1199][2] = lines[1500][2] = 99.0
    result = measure(write_log(HEADING, lines))
    assert [row["frozen_h"] for row in table(result)[:3]] == pytest.approx([0, 5, 5])
    assert result.summary["in_range_h"] == pytest.approx(3999 / 60 - 500 / 60)
    assert {reason["rule"] for reason in result.summary["verdict_reasons"]} == {
        "frozen_h",
        "valid_in_range_fraction",
    }


def test_clogging_is_a_reservation(write_log):
    summary = measure(write_log(HEADING, rows(rise=0.5))).summary
    assert summary["hydraulic_resistance"]["is_clogging"] is True
    assert [reason["rule"] for reason in summary["verdict_reasons"]] == ["clogging_rise"]


def test_immersed_before_and_after_the_log(write_log):
    result = measure(write_log(HEADING, rows()), start="2001-03-04T06:00", stop="2001-03-07T04:39")
    assert result.summary["immersed_h"] == pytest.approx(3999 / 60 + 4)
    assert result.summary["gap_h"] == pytest.approx(4)
    assert table(result, "excursions")[0]["start_h"] == 0


def test_checks_enter_the_verdict(write_log):
    checks = [
        InstrumentCheck("reference electrode", 0, 1, 0, 40, 25, 25, 37, "SCE"),
        InstrumentCheck("pH probe", 7, 7.01, 7, 7.03, 37, 37, 37),
    ]
    result = measure(write_log(HEADING, rows()), checks=checks)
    assert result.summary["verdict"] == "exposure not valid"
    assert result.summary["checks"][0]["temperature_allowance"] == pytest.approx(9.12)
    assert any("SCE at 37 °C" in warning for warning in result.warnings)


def test_iron_and_a_missing_area(write_log):
    path = write_log(HEADING, rows())
    assert (
        "Acid does not tell" in measure(path, material=find_material("Fe")).summary["acid_balance"]["refused"]
    )
    assert "wetted area" in measure(path, area_cm2=None).summary["acid_balance"]["refused"]
    for area in (0.0, -1.0, math.nan):
        with pytest.raises(ValueError, match="area"):
            measure(path, area_cm2=area)


def test_text_and_impossible_values_are_counted_and_located(write_log):
    lines = rows()
    lines[10][0], lines[20][1], lines[30][2] = "ERR", 77.0, "NaN"
    result = measure(write_log(HEADING, lines))
    temperature, acidity, flow = table(result)[:3]
    assert (temperature["not_numbers"], temperature["missing"]) == (1, 1)
    assert (acidity["implausible"], acidity["missing"]) == (1, 1)
    assert (flow["not_numbers"], flow["implausible"], flow["missing"]) == (0, 0, 1)
    assert any("line 12 ('ERR')" in warning for warning in result.warnings)
    assert any("line 22 ('77.0')" in warning for warning in result.warnings)


def test_constant_channels(write_log):
    result = measure(write_log("time,temperature (°C),pH", [(37.0, 7.4)] * 500))
    texts = [reason["text"] for reason in result.summary["verdict_reasons"]]
    assert sum("dead sensor" in text for text in texts) == 2


def test_mixed_units_come_out_in_one(write_log):
    lines = [(98.6 + k % 3 / 10, 6 + k % 5 / 1000, 120 + k % 4, 0.3 + k % 2 / 100) for k in range(500)]
    result = measure(write_log("time,T (°F),flow (L/h),p in (mbar),p out (psi)", lines))
    means = {row["channel"]: row["mean"] for row in table(result)}
    assert means["temperature"] == pytest.approx(37.056, abs=0.01)
    assert means["flow"] == pytest.approx(100.033, abs=0.01)
    assert means["pressure before"] == pytest.approx(12.15)
    assert means["pressure after"] == pytest.approx(0.305 * 6.894757, rel=1e-6)


@pytest.mark.parametrize("count", [2, 3])
def test_files_of_a_few_lines(write_log, count):
    result = measure(write_log(HEADING, rows(count)))
    assert result.summary["immersed_h"] == pytest.approx((count - 1) / 60)
    assert all(row["drift_refused"] for row in table(result))


@pytest.mark.parametrize(
    ("lines", "how", "fault"),
    [
        (1, {}, "one reading"),
        (100, {"start": 500.0, "stop": 600.0}, "no reading lies between"),
        (100, {"jumps": {50: -500}}, "clock goes back"),
    ],
)
def test_refused(write_log, lines, how, fault):
    jumps = how.pop("jumps", None)
    path = write_log(HEADING, rows(lines), jumps=jumps)
    with pytest.raises(InputError, match=fault):
        measure(path, **how)


def test_readings_of_one_moment(write_log):
    with pytest.raises(InputError, match="one moment"):
        measure(write_log(HEADING, rows(50), step_s=0.0))


def test_resync_is_a_reservation(write_log):
    settings = SETTINGS.model_copy(update={"clock_backwards": "resync"})
    result = measure(write_log(HEADING, rows(), jumps={50: -500}), settings)
    assert result.summary["immersed_h"] == pytest.approx(3999 / 60)
    assert [reason["rule"] for reason in result.summary["verdict_reasons"]] == ["clock_backwards"]

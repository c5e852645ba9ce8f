"""Charts of rig logs: bands, excursions and gaps where they were, acid with its blank and rate."""

import re

import numpy as np
import pytest

from surfscan.report.exposure_charts import acid_chart, channels_chart

LEFT, RIGHT, HOURS = 66.0, 586.0, 48.0


def x(hours):
    """Where a time stands."""
    return LEFT + (RIGHT - LEFT) * hours / HOURS


def test_one_panel_a_channel_and_one_of_the_resistance(rate_records):
    chart = channels_chart(rate_records["rig.csv"])
    titles = re.findall(r">(Temperature|Flow|Pressure drop|Hydraulic resistance)[ ,(]", chart)
    assert titles == ["Temperature", "Flow", "Pressure drop", "Hydraulic resistance"]
    assert "set point 37 ± 0.5" in chart and "not judged" in chart
    assert chart.count('class="log-tolerance"') == 1


def test_excursion_and_gap_stand_at_their_times(rate_records):
    chart = channels_chart(rate_records["rig.csv"])
    ((start, width),) = re.findall(r'class="log-out" x="([\d.]+)" y="\S+" width="([\d.]+)"', chart)
    assert float(start) == pytest.approx(x(10), abs=0.1) and float(width) == pytest.approx(
        x(5) - LEFT, abs=0.1
    )
    gaps = [float(v) for v in re.findall(r'class="plot-none" x="([\d.]+)"', chart)]
    assert gaps == pytest.approx([x(25)] * 4, abs=0.1)
    assert chart.count('class="near-mark"') == 1


def test_rise_of_the_resistance_is_said(rate_records):
    assert re.search(r">rise 29\.98 % \(2[\d.]+ to 30[\d.]* %\)", channels_chart(rate_records["rig.csv"]))


def test_thousands_of_excursions_are_drawn_as_few(rate_records, changed):
    record = rate_records["rig.csv"]
    n = 5000
    many = {
        "channel": np.full(n, "temperature"),
        "kind": np.full(n, "above"),
        "start_h": np.linspace(0, 47, n),
        **{name: np.full(n, 0.001) for name in ("length_h", "outside_h", "worst", "beyond", "size")},
    }
    chart = channels_chart(changed(record, {"excursions": many}))
    assert chart.count('class="log-out"') == 1 and f">{n}</text>" in chart


def test_acid_with_blank_and_the_rate_of_each_stretch(rate_records):
    record = rate_records["rig.csv"]
    chart = acid_chart(record)
    assert "blank 1.00 mL" in chart and 'class="plot-drawn"' in chart
    (steps,) = re.findall(r'class="log-rate" d="([^"]*)"', chart)
    assert steps.count("M") == len(record.table("acid_over_time")["starts_h"])


def test_no_rate_no_second_panel_and_no_acid_no_chart(rate_records, changed):
    record = rate_records["rig.csv"]
    table = record.table("acid_over_time")
    none = {**table, "rate_mm_per_y": np.full(len(table["starts_h"]), np.nan)}
    chart = acid_chart(changed(record, {"acid_over_time": none}))
    assert "log-rate" not in chart and "Time since immersion" in chart
    empty = {name: column[:0] for name, column in table.items()}
    assert acid_chart(changed(record, {"acid_over_time": empty})) == ""

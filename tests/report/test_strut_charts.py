"""Charts of struts."""

import re
from dataclasses import replace

import numpy as np
import pytest

from surfscan.report.strut_charts import drawn_width_um, strips_chart, width_chart


def titles(text):
    return re.findall(r'class="plot-title"[^>]*>([^<]*)<', text)


def test_width_against_position_with_band_drawn_and_least(strut_records):
    text = width_chart(strut_records["plain"])
    assert titles(text)[:2] == ["Strut 1 (n = 60 stations)", "dashed: drawn 12.0 µm"]
    assert "Distance from the left or upper end (µm)" in text and "Width (µm)" in text
    for name in ("plot-metal", "plot-band", "plot-drawn", "plot-least"):
        assert text.count(f'class="{name}"') == 1
    assert "least 10.0 µm" in text
    assert "mean 10.0, least 10.0 µm" in re.search('aria-label="([^"]*)"', text).group(1)


def test_least_is_marked_where_it_is(strut_records):
    record = strut_records["notched"]
    text = width_chart(record)
    x, y = (float(v) for v in re.search(r'plot-least" d="M([\d.]+) ([\d.]+)l', text).groups())
    at, length = float(record.table("struts")["min_s_um"][0]), float(record.table("stations")["s_um"][-1])
    assert x == pytest.approx(62 + at / length * (600 - 62 - 14), abs=0.1)
    (drawn,) = re.findall(r'plot-drawn" d="M62 ([\d.]+)H', text)
    assert y > float(drawn)


def test_width_before_is_dotted(strut_records):
    text = width_chart(strut_records["mesh"])
    assert text.count('class="plot-before"') == 3
    assert "dotted: before 12.0 µm" in text


def test_of_many_struts_the_worst_are_lines_and_all_are_strips(strut_records):
    lines = [t for t in titles(width_chart(strut_records["mesh"])) if t.startswith("Strut")]
    assert [t.split(" (")[0] for t in lines] == ["Strut 5", "Strut 4", "Strut 3"]
    strips = strips_chart(strut_records["mesh"])
    numbers = re.findall(r'text-anchor="end">(\d+)</text>', strips)
    assert numbers == ["6", "5", "4", "3", "2", "1"]
    assert "✕ missing" in strips
    assert re.findall(r'text-anchor="end">(\d+)\u00a0%', strips) == ["67", "71", "75", "79", "83"]
    assert strips_chart(strut_records["broken"]) == ""


def test_unmeasured_struts_are_left_out_of_the_strips_and_counted(strut_records):
    record = strut_records["mesh"]
    stored = record.results["struts"]
    struts = {n: v.copy() for n, v in stored.tables["struts"].items()}
    struts["mean_width_px"][1] = np.nan
    tables = dict(stored.tables) | {"struts": struts}
    fewer = replace(record, results={"struts": replace(stored, tables=tables)}, _unpacked={})
    strips = strips_chart(fewer)
    assert "worst on top; 1 without a width left out" in strips
    assert ">2</text>" not in strips


def test_stretches_left_out_are_hatched(strut_records):
    record = strut_records["plain"]
    table = record.table("stations")
    kept = table["fault"]
    table["fault"] = np.r_[np.full(10, "junction"), kept[10:]]
    text = width_chart(record)
    table["fault"] = kept
    (box,) = re.findall(r'class="plot-none" x="([\d.]+)" y="[\d.]+" width="([\d.]+)"', text)
    assert float(box[0]) == pytest.approx(62)
    assert float(box[1]) == pytest.approx(10 / 60 * 524, abs=6)
    assert "(n = 50 stations)" in text


def test_strut_that_runs_to_the_left_is_turned_as_the_picture(strut_records):
    record = strut_records["notched"]
    table = record.table("stations")
    kept = table["col_px"]
    straight = width_chart(record)
    table["col_px"] = kept[::-1]
    turned = width_chart(record)
    table["col_px"] = kept
    x = [float(re.search(r'plot-least" d="M([\d.]+)', t).group(1)) for t in (straight, turned)]
    assert x[0] + x[1] == pytest.approx(62 + 586, abs=0.2)


def test_band_in_um_holds_the_scale(strut_records):
    """Half of it: 1.96 times scale and noise, in the height of the panel."""
    text = width_chart(strut_records["plain"])
    numbers = re.search(r'plot-band" d="M[\d.]+ ([\d.]+)l([^"]*)z', text).groups()
    steps = [float(v) for v in numbers[1].split()[1::2]]
    values = np.cumsum([float(numbers[0]), *steps])
    per_um = re.findall(r'class="plot-number" x="55.0" y="([\d.]+)"[^>]*>([\d.]+)<', text)
    (y0, v0), (y1, v1) = [(float(a), float(b)) for a, b in per_um[:2]]
    scale = abs((y1 - y0) / (v1 - v0))
    u = float(strut_records["plain"].table("stations")["width_uncertainty_um"][0])
    assert np.ptp(values) / scale == pytest.approx(2 * 1.96 * np.hypot(u, 0.05), rel=0.1)


def test_without_a_scale_everything_is_in_px(strut_records):
    text = width_chart(strut_records["unscaled"])
    assert "Width (px)" in text and "µm" not in text
    assert "plot-drawn" not in text


def test_no_station_no_chart(strut_records):
    record = strut_records["plain"]
    empty = replace(record, results={}, _unpacked={})
    assert width_chart(empty) == "" and strips_chart(empty) == ""
    assert np.isnan(drawn_width_um(empty))
    assert drawn_width_um(record) == 12.0

"""Intervals against true values."""

import re

import numpy as np
import pytest

from surfscan.report.truth import compare
from surfscan.report.truth_charts import interval_chart, interval_charts, interval_grids, name_of

NAN = float("nan")


@pytest.fixture
def share():
    """A figure of four images: held, missed below, held exactly at its end, and one without interval."""
    return compare(
        "degraded_area_fraction",
        "surface",
        ["a", "b", "c", "d"],
        np.array([0.30, 0.20, 0.10, 0.40]),
        np.array([0.31, 0.10, 0.10, 0.41]),
        [(0.28, 0.34), (0.05, 0.15), (0.10, 0.12), (NAN, NAN)],
    )


def test_bars_stand_where_measured_less_true_lies(share):
    chart = interval_chart(share)
    assert "2 of 3 hold the true value" in chart
    zero = float(re.search(r'plot-drawn" d="M\S+ ([\d.]+)H', chart)[1])
    heights = [float(y) for y in re.findall(r'cy="([\d.]+)"', chart)]
    assert heights[0] == pytest.approx(zero, abs=0.1)  # by rising true value: c, b, a
    assert heights[1] > zero > heights[2]
    assert heights[1] - zero == pytest.approx(10 * (zero - heights[2]), rel=0.03)
    assert chart.count("truth-missed") == 1


def test_figures_without_intervals_have_no_chart(share):
    bare = compare("pit_count", "surface", ["a"], np.array([3.0]), np.array([4.0]), [(NAN, NAN)])
    assert [name for name, _ in interval_charts([share, bare])] == ["Degraded area, surfaces"]
    assert name_of(bare) == "Pit count, surfaces"


def test_table_says_which_interval_holds_the_true_value(share):
    (grid,) = interval_grids([share])
    assert [row[3].text for row in grid.rows] == ["yes", "✕ no", "yes", ""]
    assert [row[1].text for row in grid.rows] == ["30.00", "20.00", "10.00", "40.00"]
    assert grid.rows[1][2].text == "10.0" and grid.rows[1][2].low == 0.05

"""Cumulative readings: where they count from, and rates between them."""

import numpy as np
import pytest

from surfscan.immersion.series import cumulative_series, series_rates

HOW = {
    "relative": {},
    "cause": "readings",
    "area_cm2": 10.0,
    "area_relative_uncertainty": 0.0,
    "time_uncertainty_h": 0.0,
    "density": None,
    "bias": "reads low",
    "reasons": ("why",),
    "warnings": (),
}


def test_readings_count_from_immersion():
    series = cumulative_series([24, 48], [3, 5], "volume_mL")
    assert (series.hours.tolist(), series.readings.tolist()) == ([0, 24, 48], [0, 3, 5])
    assert cumulative_series([0, 24], [1, 3], "v").readings.tolist() == [1, 3]
    assert cumulative_series([10, 24], [0, 3], "v").hours.tolist() == [10, 24]
    assert cumulative_series(24, 3, "v").hours.tolist() == [0, 24]
    assert cumulative_series([24], [0], "v").hours.tolist() == [0, 24]


def test_companions_follow_an_added_start():
    series = cumulative_series([24, 48], [3, 5], "volume_mL")
    assert series.beside(37, "t").tolist() == [37, 37, 37]
    assert series.beside([36, 37], "t").tolist() == [36, 36, 37]
    assert series.blank([1, 2], "b").tolist() == [0, 1, 2]
    assert series.blank(2, "b").tolist() == [0, 1, 2]
    assert cumulative_series([24], [3], "v").blank(2, "b").tolist() == [0, 2]
    with pytest.raises(ValueError, match="t must be one number or 2"):
        series.beside([1, 2, 3], "t")


@pytest.mark.parametrize(
    ("hours", "readings", "said"),
    [
        ([], [], "of one length"),
        ([1, 2], [1], "of one length, got 2 and 1"),
        ([2, 1], [1, 2], "rise"),
        ([1, 1], [1, 2], "rise"),
        ([-1, 1], [1, 2], "0 or later"),
        ([1, np.nan], [1, 2], "must be numbers"),
        ([0], [1], "start without an end"),
    ],
)
def test_nonsense_is_refused(hours, readings, said):
    with pytest.raises(ValueError, match=said):
        cumulative_series(hours, readings, "volume_mL")


def test_average_and_intervals():
    """24 mg then 48 mg a day off 10 cm²: 24 and 48, 36 g/(m² d) on average."""
    whole, parts = series_rates("gas", np.array([0, 24, 48.0]), np.array([0, 24, 72.0]), 0.5, **HOW)
    assert whole.rate_g_per_m2_d == pytest.approx(36)
    assert [part.rate_g_per_m2_d for part in parts] == pytest.approx([24, 48])
    assert [(part.starts_h, part.ends_h) for part in parts] == [(0, 24), (24, 48)]
    assert whole.contributions_percent["readings"] == pytest.approx(100 * 0.5 * 2**0.5 / 72)
    assert {whole.bias, parts[0].bias} == {"reads low"}


def test_two_readings_have_no_intervals():
    assert series_rates("gas", np.array([0, 24.0]), np.array([0, 24.0]), 0.5, **HOW)[1] == ()


def test_falling_readings_are_refused_where_they_fall():
    whole, parts = series_rates("gas", np.array([0, 24, 48.0]), np.array([0, 24, 12.0]), 0.5, **HOW)
    assert whole.rate_g_per_m2_d == pytest.approx(6)
    assert "fall in 1 of 2 intervals, first from 24 h to 48 h" in whole.warnings[-1]
    assert parts[1].rate_g_per_m2_d is None and "metal had come back" in parts[1].refused
    small = series_rates("gas", np.array([0, 24, 48.0]), np.array([0, 24, 23.5]), 0.5, **HOW)[1]
    assert small[1].refused == ""  # within what two readings explain

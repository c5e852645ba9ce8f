"""Loss against the electrochemical rate."""

import math

import pytest

from surfscan.report.loss_with_rate import line_rows, line_words, loss_with_rate, point_rows


def named(found, name):
    return next(each for each in found if each.loss.name == name)


def test_points_are_specimens_with_the_rate_of_their_twin(sides):
    scatter = named(sides.found().with_rate, "section_lost_fraction")
    assert [p.specimen for p in scatter.points] == ["L1", "L2", "L3"]
    assert all(p.rate.joined == "twin" for p in scatter.points)
    assert scatter.points[1].value == pytest.approx(1 - 320 * 220 / 120_000)
    assert scatter.line.slope is None and "3 points" in scatter.line.refused  # four are needed


def test_line_through_four(sides):
    """Loss in proportion to the rate: the line goes through, per day by 14."""
    for name, lost, rate in (("L4", 0.3, 0.3), ("L5", 0.6, 0.6)):
        left = 1 - lost
        row = dict(sides.summaries[-1].by_kind["section"].row)
        row |= {"remaining_section_fraction": left}
        row |= {"remaining_section_fraction_ci95_low": left - 0.02}
        row |= {"remaining_section_fraction_ci95_high": left + 0.02}
        sides.specimen(name, "bare 14 d", section=row)
        sides.sweep(name, rate)
    found = sides.found().with_rate
    whole, daily = named(found, "section_lost_fraction"), named(found, "section_lost_per_day")
    assert whole.line.n == 5 and whole.line.slope_ci95[0] < whole.line.slope < whole.line.slope_ci95[1]
    assert daily.line.slope == pytest.approx(whole.line.slope / 14, rel=1e-6)
    assert "5 specimens" in line_words(whole)


def test_saturated_is_drawn_but_in_no_line(sides):
    row = sides.summaries[-6].seen.row  # L1
    row |= {"degraded_area_fraction": 0.93}
    row |= {"degraded_area_fraction_ci95_low": 0.9, "degraded_area_fraction_ci95_high": 0.96}
    scatter = named(sides.found().with_rate, "degraded_area_fraction")
    assert scatter.saturated == 1 and scatter.line.n == 2
    assert "saturates" in line_words(scatter)


def test_no_interval_no_line(sides):
    sides.summaries[-6].seen.row |= {"degraded_area_fraction_ci95_low": math.nan}
    scatter = named(sides.found().with_rate, "degraded_area_fraction")
    assert scatter.points[0].why_not == "without an interval in both directions"


def test_no_sweep_no_scatter(sides):
    sides.rates = [rate for rate in sides.rates if rate.method != "sweep"]
    assert sides.found().with_rate == []


def test_rows(sides):
    found = sides.found()
    points, lines = point_rows(found.with_rate), line_rows(found.with_rate)
    assert len(points) == sum(len(each.points) for each in found.with_rate)
    assert len(lines) == len(found.with_rate) and all(row["refused"] for row in lines)
    assert loss_with_rate([]) == []

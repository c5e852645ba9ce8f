"""Chart of rates: a row a rate, averages and instants told apart, refusals said."""

import re
from dataclasses import replace

import pytest

from surfscan.report.rate_charts import MOST_ROWS, rate_charts
from surfscan.report.rates import group_rates, rates_of


@pytest.fixture(scope="module")
def drawn(rate_records):
    rates = rates_of(rate_records.values())
    return dict(rate_charts(group_rates(["bare", "steel"], rates), rates))


def test_circles_for_averages_and_diamonds_for_instants(drawn):
    assert drawn["bare"].count('class="rate-average"') == 5  # three weighed, gas, acid
    assert drawn["bare"].count('class="rate-instant"') == 2
    assert drawn["steel"].count('class="rate-average"') == 0
    assert drawn["steel"].count(">refused<") == 5


def test_means_of_more_than_one_specimen(drawn):
    assert drawn["bare"].count('class="rate-mean"') == 1
    assert "mass loss, n = 3" in drawn["bare"]


def test_arrows_for_known_errors_and_an_axis_apart_for_slow_groups(drawn):
    axes = [re.findall(r'class="plot-number" x="[\d.]+" [^>]*>([^<]+)<', c) for c in drawn.values()]
    assert max(map(float, axes[1])) < 0.01 < max(map(float, axes[0]))
    assert drawn["bare"].count(" ↑<") == 2


def test_groups_of_like_rates_share_an_axis(rate_records):
    rates = rates_of([rate_records["weighing of U1"], rate_records["broken.csv"]])
    like = [replace(r, mm_per_y=2.0, mm_per_y_ci95=(1.0, 3.0)) if r.mm_per_y < 0.1 else r for r in rates]
    (_, one), (_, other) = rate_charts([], like)
    numbers = r'class="plot-number" x="([\d.]+)" [^>]*>([^<]+)<'
    assert re.findall(numbers, one) == re.findall(numbers, other)


def test_values_lie_on_the_axis_and_rise_to_the_right(drawn):
    marks = [float(v) for v in re.findall(r'class="rate-average" cx="([\d.]+)"', drawn["bare"])]
    assert all(208 <= v <= 508 for v in marks)
    gas, heaviest = marks[1], max(marks)  # U1 by gas, U2 by mass loss
    assert gas < heaviest


def test_no_more_rows_than_can_be_read(rate_records):
    rates = rates_of([rate_records["weighing of U1"]]) * (MOST_ROWS + 40)
    ((_, chart),) = rate_charts([], rates)
    assert chart.count('class="rate-average"') == MOST_ROWS


def test_nothing_in_mm_per_y_nothing_drawn(rate_records):
    assert rate_charts([], rates_of([rate_records["weighing of R1"]])) == []


def test_rates_of_almost_nothing_and_below_stay_on_a_plain_axis(rate_records):
    (rate,) = rates_of([rate_records["weighing of U1"]])
    gained = replace(rate, mm_per_y=-0.01, mm_per_y_ci95=(-0.02, 0.001))
    ((_, chart),) = rate_charts([], [rate, gained])
    assert chart.count('class="rate-average"') == 2 and ">0<" in chart

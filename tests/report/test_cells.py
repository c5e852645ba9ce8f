"""Tables of the page."""

import math

from surfscan.report.cells import Cell, Grid, Head, estimate_cell, greatest_cell


def test_columns_that_say_nothing_are_dropped_but_never_the_first():
    grid = Grid("c", [Head("a"), Head("b"), Head("c")], [[Cell(""), Cell("–"), Cell("1")]])
    assert [h.text for h in grid.without_empty_columns().heads] == ["a", "c"]
    assert [c.text for c in grid.without_empty_columns().rows[0]] == ["", "1"]


def test_interval_stands_below_its_value():
    assert estimate_cell(0.123, 0.1, 0.15, scale=100, lines=["n 3"]) == Cell("12.3", ("10.0 to 15.0", "n 3"))
    assert estimate_cell(math.nan, math.nan, math.nan) == Cell("–")


def test_lower_bound_is_said_before_the_number():
    assert estimate_cell(10.0, 9.8, math.nan, is_lower_bound=True) == Cell("≥\u00a010.0")


def test_value_without_interval_shows_no_digit_below_its_doubt():
    assert estimate_cell(5.53e-5, math.nan, math.nan, scale=100, doubt=0.03) == Cell("0.0")
    assert estimate_cell(250.123, math.nan, math.nan, doubt=5.8) == Cell("250.1")


def test_greatest_value_that_may_be_none_is_not_above_its_limit():
    assert greatest_cell(1.8, -0.7, 4.3, lines=["SD 1"]) == Cell("not above\u00a04.3", ("SD 1",))
    assert greatest_cell(55.4, 48.7, 62.2) == Cell("55.4", ("48.7 to 62.2",))
    assert greatest_cell(55.43, math.nan, math.nan, doubt=7.0) == Cell("55.4")

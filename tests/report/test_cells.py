"""Tables of the page."""

import math

from surfscan.report.cells import Cell, Grid, Head, estimate_cell


def test_columns_that_say_nothing_are_dropped_but_never_the_first():
    grid = Grid("c", [Head("a"), Head("b"), Head("c")], [[Cell(""), Cell("–"), Cell("1")]])
    assert [h.text for h in grid.without_empty_columns().heads] == ["a", "c"]
    assert [c.text for c in grid.without_empty_columns().rows[0]] == ["", "1"]


def test_interval_stands_below_its_value():
    assert estimate_cell(0.123, 0.1, 0.15, scale=100, lines=["n 3"]) == Cell("12.3", ("10.0 to 15.0", "n 3"))
    assert estimate_cell(math.nan, math.nan, math.nan) == Cell("–")


def test_lower_bound_is_said_before_the_number():
    assert estimate_cell(10.0, 9.8, math.nan, is_lower_bound=True) == Cell("≥\u00a010.0")

"""Tables of the page."""

import math

from surfscan.report.cells import Cell, Grid, Head, estimate_cell, greatest_cell


def _read(cell):
    """What a reader sees of a cell."""
    return (cell.text, cell.lines)


def test_columns_that_say_nothing_are_dropped_but_never_the_first():
    grid = Grid("c", [Head("a"), Head("b"), Head("c")], [[Cell(""), Cell("–"), Cell("1")]])
    assert [h.text for h in grid.without_empty_columns().heads] == ["a", "c"]
    assert [c.text for c in grid.without_empty_columns().rows[0]] == ["", "1"]


def test_interval_stands_below_its_value():
    assert _read(estimate_cell(0.123, 0.1, 0.15, scale=100, lines=["n 3"])) == _read(
        Cell("12.3", ("10.0 to 15.0", "n 3"))
    )
    assert _read(estimate_cell(math.nan, math.nan, math.nan)) == _read(Cell("–"))


def test_lower_bound_is_said_before_the_number():
    assert _read(estimate_cell(10.0, 9.8, math.nan, is_lower_bound=True)) == _read(Cell("≥\u00a010.0"))


def test_value_without_interval_shows_no_digit_below_its_doubt():
    assert _read(estimate_cell(5.53e-5, math.nan, math.nan, scale=100, doubt=0.03)) == _read(Cell("0.0"))
    assert _read(estimate_cell(250.123, math.nan, math.nan, doubt=5.8)) == _read(Cell("250.1"))


def test_greatest_value_that_may_be_none_is_not_above_its_limit():
    assert _read(greatest_cell(1.8, -0.7, 4.3, lines=["SD 1"])) == _read(
        Cell("not above\u00a04.3", ("SD 1",))
    )
    assert _read(greatest_cell(55.4, 48.7, 62.2)) == _read(Cell("55.4", ("48.7 to 62.2",)))
    assert _read(greatest_cell(55.43, math.nan, math.nan, doubt=7.0)) == _read(Cell("55.4"))


def test_cells_keep_what_they_were_rounded_from():
    cell = estimate_cell(0.123456, 0.1, 0.15, scale=100)
    assert (cell.value, cell.low, cell.high) == (0.123456, 0.1, 0.15)
    bound = estimate_cell(10.0, 9.8, math.nan, is_lower_bound=True)
    assert (bound.value, bound.low) == (10.0, 9.8)
    assert math.isnan(bound.high)

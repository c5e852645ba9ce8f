"""Tables of the page on rates side by side."""

from surfscan.report.comparison_grids import (
    agreement_grid,
    agreement_lines,
    blend_grid,
    locality_grid,
    on_whom,
    rate_cell,
    ratio_cell,
    side_by_side_grid,
)


def column(grid, head):
    k = [h.text for h in grid.heads].index(head)
    return [row[k] for row in grid.rows]


def test_rates_of_one_specimen(sides):
    own = sides.found().of("L1")
    grid = side_by_side_grid(own.rates, "L1")
    assert len(grid.rows) == len(own.rates)
    methods = column(grid, "Method")
    assert methods[-1].lines == ("of its twin: E1",)
    assert column(grid, "Penetration rate")[2].text.startswith("≥")
    assert column(grid, "Speaks for")[-1].text == "a moment, after 0 h"


def test_numbers_are_those_of_the_rates(sides):
    for rate in sides.found().of("L1").known:
        cell = rate_cell(rate)
        assert (cell.value, cell.low, cell.high) == (rate.mm_per_y, *rate.mm_per_y_ci95)
        assert bool(on_whom(rate)) == (rate.joined != "own")


def test_agreement(sides):
    own = sides.found().of("L2")
    grid = agreement_grid([own])
    assert {"✓ agree", "✗ do not agree", "not judged"} == {c.text for c in column(grid, "Agreement")}
    assert not any("pit volume" in c.text for c in column(grid, "Methods"))
    lines = agreement_lines(own)
    assert "do not agree" in lines[0] and all("not judged" not in line for line in lines)


def test_ratios_of_what_is_not_above_none(sides):
    pair = sides.found().of("L2").agreements[0]
    assert ratio_cell(pair).value == pair.ratio
    object.__setattr__(pair, "ratio", -3.0)
    assert ratio_cell(pair).text == "–"


def test_blend_and_locality(sides):
    found = sides.found()
    blend = blend_grid(found.specimens)
    assert "C2" in [row[0].text for row in blend.rows] and "L2" not in [row[0].text for row in blend.rows]
    local = locality_grid(found.specimens)
    assert len(local.rows) == 9 and "Pitting factor" not in [head.text for head in local.heads]
    assert blend_grid([]) is None and locality_grid([]) is None

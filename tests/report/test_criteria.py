"""Criteria decided on specimens and group means."""

import pytest

from surfscan.report.criteria import criterion_block, criterion_grid, criterion_lines, criterion_rows

SECTION = """[[criterion]]
figure = "least_section_left_fraction"
at_least = 0.5
groups = ["bare 14 d"]
"""
RATE = """[[criterion]]
figure = "mass_loss_rate_mm_per_y"
at_most = 0.5
of = "mean"
note = "invented"
"""
DEPTH = """[[criterion]]
figure = "max_depth_um"
at_most = 6.0
groups = ["coated 14 d"]
"""


def outcomes(found):
    return {each.specimen or each.group: each.verdict.outcome for each in found.judged}


def test_specimens_by_the_guarded_rule(sides):
    """Section left 0.567, 0.537 or 0.506 of 14-day plates less 0.05, ± 0.02."""
    found = sides.found(SECTION)
    values = {each.specimen: each.value for each in found.judged}
    assert outcomes(found) == {
        name: "pass" if value >= 0.52 else "fail" if value < 0.48 else "undecided"
        for name, value in values.items()
    }
    assert len(set(outcomes(found).values())) > 1


def test_broken_struts_pass_no_least_section(sides):
    row = sides.summaries[-1].by_kind["strut"].row
    text = SECTION.replace("bare", "coated")
    assert outcomes(sides.found(text))["C3"] == "pass"
    row["broken_count"] = 1.0
    found = sides.found(text)
    assert outcomes(found)["C3"] == "undecided" and found.judged[-1].bound == "at most"


def test_depth_whose_floor_was_not_seen(sides):
    found = sides.found(DEPTH)
    assert outcomes(found) == {"C1": "pass", "C2": "pass", "C3": "undecided"}
    assert found.judged[-1].bound == "at least"


def test_means_of_groups_that_are_no_baseline(sides):
    found = sides.found(RATE)
    assert [each.group for each in found.judged] == ["bare 7 d", "bare 14 d", "coated 14 d"]
    group = found.judged[-1]
    masses = [next(r for r in s.known if r.method == "mass loss").mm_per_y for s in found.specimens[-3:]]
    assert group.value == pytest.approx(sum(masses) / 3) and group.specimen == ""


def test_missing_figure_is_undecided(sides):
    text = SECTION.replace("least_section_left_fraction", "pitted_area_fraction")
    found = sides.found(text)
    assert set(outcomes(found).values()) == {"undecided"}


def test_rows_grid_and_block(sides):
    found = sides.found(SECTION + RATE)
    rows = criterion_rows(found.judged)
    assert len(rows) == len(found.judged) == 6 and rows[-1]["note"] == "invented"
    grid = criterion_grid(found.judged)
    assert len(grid.rows) == 6 and any(cell.text.startswith("✓") for row in grid.rows for cell in row)
    (block,) = criterion_block(found.judged)
    assert sum(shown.value for shown in block.headline) == 6
    assert "laboratory comparison" in block.lines[-1]
    assert criterion_lines(found.judged)[0].startswith("Least section left at least 50\u00a0%")
    assert criterion_block([]) == []

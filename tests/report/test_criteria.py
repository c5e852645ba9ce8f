"""Criteria decided on specimens and group means."""

import math

import pytest

from surfscan.estimates.groups import specimen_mean
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


def test_what_standing_struts_lost_is_a_lower_bound(sides):
    """A broken strut may have lost more: its specimen passes no upper limit on loss or rate by width."""
    text = "".join(
        f'[[criterion]]\nfigure = "{figure}"\nat_most = {limit}\ngroups = ["coated 14 d"]\n'
        for figure, limit in (("strut_width_rate_mm_per_y", 2.0), ("width_penetration_um", 50.0))
    )
    assert {each.verdict.outcome for each in sides.found(text).judged} == {"pass"}
    sides.summaries[-1].by_kind["strut"].row["missing_count"] = 1.0
    judged = [each for each in sides.found(text).judged if each.specimen == "C3"]
    assert [(each.bound, each.verdict.outcome) for each in judged] == [("at least", "undecided")] * 2


def test_a_known_error_of_the_method_is_said(sides):
    text = '[[criterion]]\nfigure = "gas_rate_mm_per_y"\nat_most = 5.0\ngroups = ["bare 14 d"]\n'
    judged = sides.found(text).judged
    assert all(
        each.verdict.sentence.endswith("The method reads low, which the interval does not hold.")
        for each in judged
    )
    assert all("reads" not in each.verdict.sentence for each in sides.found(RATE).judged)


def test_a_twin_in_the_group_counts_once(sides):
    """Four electrodes, one of them the twin of a plate of its own group: four measurements, not five."""
    for k, value in enumerate((0.40, 0.44, 0.50, 0.54)):
        sides.specimen(f"T{k}", "coated 14 d")
        sides.sweep(f"T{k}", value, twin_of="C1" if k == 0 else None)
    text = RATE.replace("mass_loss", "sweep") + 'groups = ["coated 14 d"]\n'
    (found,) = sides.found(text).judged
    mean = specimen_mean([0.40, 0.44, 0.50, 0.54])
    half = math.hypot(mean.ci95[1] - mean.value, 1.96 * 0.02 * mean.value)
    assert found.value == pytest.approx(0.47)
    assert found.ci95 == pytest.approx((0.47 - half, 0.47 + half), rel=1e-3)


def test_a_rate_of_others_is_said_to_be(sides):
    text = RATE.replace("mass_loss", "sweep").replace('of = "mean"\n', "") + 'groups = ["bare 14 d"]\n'
    assert "Measured on its twin E1." in sides.found(text).judged[0].verdict.sentence
    sides.specimen("L4", "bare 14 d")
    text = text.replace("sweep", "mass_loss")
    assert "Measured on L1, L2, L3 of its group." in sides.found(text).judged[-1].verdict.sentence


def test_its_own_rate_is_judged_before_that_of_a_twin(sides):
    sides.sweep("E1", 3.0, twin_of="C1")
    sides.sweep("C1", 0.3)
    text = '[[criterion]]\nfigure = "sweep_rate_mm_per_y"\nat_most = 1.0\ngroups = ["coated 14 d"]\n'
    first = sides.found(text).judged[0]
    assert first.specimen == "C1" and first.value == pytest.approx(0.3)


def test_sentences_have_the_unit_of_the_page(sides):
    each = sides.found(SECTION).judged[0]
    assert each.value < 1 and " %, to be at least 50 %: " in each.verdict.sentence


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

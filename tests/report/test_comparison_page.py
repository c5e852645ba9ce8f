"""What the page says of rates side by side, in full and where something is missing."""

import pytest

from surfscan.report.comparison_grids import locality_grid
from surfscan.report.comparison_page import (
    agreement_sentences,
    comparison_page,
    missing_lines,
    pitting_factor_notes,
)
from surfscan.report.page import render_page
from surfscan.report.page_parts import PageContent


def content(sides, more=""):
    found = sides.found(more)
    records = [rate.record for rate in sides.rates]
    study = sides.study(more)
    return PageContent(
        study, [], sides.summaries, sides.groups, (), {}, (), (), rates=records, comparison=found
    )


def test_charts_tables_and_words(sides):
    said = comparison_page(content(sides))
    (part,) = said.figures
    assert part.anchor == "side-by-side"
    assert [name for name, _ in part.shown["charts"]] == [g.name for g in sides.groups]
    assert part.shown["agreement"] and part.shown["blend"] and part.shown["locality"]
    assert any("shrinks" in line for line in said.method)


def test_why_there_is_no_pitting_factor(sides):
    lines = pitting_factor_notes(sides.found())
    assert any(" L1" in line and "shallower than the average penetration" in line for line in lines)
    for summary in sides.summaries:
        if summary.by_kind["heights"].row:
            summary.by_kind["heights"].row["max_depth_um"] = 500.0
    found = sides.found()
    assert pitting_factor_notes(found) == []
    assert found.of("L1").pitting_factor.bound == "at least" and found.of("L1").pitting_factor.value > 1
    assert "≥" in locality_grid(found.specimens).rows[0][1].text


def test_agreement_in_words(sides):
    lines = agreement_sentences(sides.found())
    assert "pairs of like measurands agree" in lines[0]
    assert any("Mass loss and gas do not agree on L1, L2, L3" in line for line in lines[1:])


def test_only_sweeps(empty_sides):
    empty_sides.specimen("E1", "bare as received")
    empty_sides.sweep("E1", 0.5)
    found = empty_sides.found()
    assert any("Only sweeps" in line for line in missing_lines(found))
    assert agreement_sentences(found) == [
        "No two methods measure the same thing over the same time: no agreement can be judged."
    ]


def test_no_sweep_and_one_method(empty_sides):
    empty_sides.specimen("L1", "bare 14 d")
    empty_sides.weigh("L1", 0.9)
    empty_sides.specimen("L2", "coated 14 d")
    lines = missing_lines(empty_sides.found())
    assert any(line.startswith("1 exposed specimen without any rate") and "(L2)" in line for line in lines)
    assert any("by one method only" in line and "(L1)" in line for line in lines)
    assert any("No sweep gives a rate" in line for line in lines)


def test_no_rate_no_part(empty_sides):
    empty_sides.specimen("E1", "bare as received")
    assert comparison_page(content(empty_sides)) is None


@pytest.mark.parametrize("kept", [["L1"], ["L1", "L2"]])
def test_small_studies_have_a_whole_page(sides, kept):
    """One specimen, or a group of two, without a sweep: the page is made, and says what is missing."""
    sides.summaries = [s for s in sides.summaries if s.specimen.id in kept]
    sides.rates = [r for r in sides.rates if r.record.specimens[0].id in kept]
    text = render_page(content(sides.of_bath_alone()))
    assert 'id="side-by-side"' in text
    assert "below three specimens" in text
    assert "No sweep gives a rate" in text

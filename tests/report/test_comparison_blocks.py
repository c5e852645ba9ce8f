"""Blocks on rates."""

from surfscan.report import comparison_blocks
from surfscan.report.comparison_blocks import group_rates_block, rates_blocks


def test_rates_of_a_specimen(sides):
    (block,) = rates_blocks(sides.found(), "L2")
    assert "<svg" in block.drawing and block.wide
    assert "do not agree" in block.lines[0]
    assert any("deepest pit" in line.lower() for line in block.lines)


def test_refused_rates_say_why(sides):
    last = sides.summaries[-1]
    last.by_kind["section"].row["section_penetration_um"] = float("nan")
    (block,) = rates_blocks(sides.found(), "C3")
    assert any(line.startswith("Section: none, no section with a scale") for line in block.lines)


def test_a_specimen_without_rates_has_none(empty_sides):
    empty_sides.specimen("E1", "bare as received")
    assert rates_blocks(empty_sides.found(), "E1") == []


def test_groups(sides, monkeypatch):
    found = sides.found()
    (block,) = group_rates_block(found, ["bare 7 d", "bare 14 d"])
    assert "bare 14 d: moments of a sweep" in block.drawing and "pit volume" not in block.drawing
    assert block.lines[0] == "Rates known only as bounds stand under Rates side by side."
    assert "pairs of like measurands agree" in block.lines[1]
    monkeypatch.setattr(comparison_blocks, "MOST_GROUPS", 1)
    (block,) = group_rates_block(found, ["bare 7 d", "bare 14 d"])
    assert block.lines[0].startswith("1 of 2 groups, those with the most methods")
    assert group_rates_block(found, []) == []

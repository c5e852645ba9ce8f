"""What dominates the uncertainty of a study."""

from surfscan.report.budget_blocks import advice_lines, uncertainty_block


def test_most_frequent_source(sides):
    found = sides.found()
    (block,) = uncertainty_block(found.budgets, ["bare 7 d", "bare 14 d", "coated 14 d"])
    assert block.headline[0].text == "Differences between specimens"
    assert block.links == [("uncertainty", "Budgets")]
    assert all(line.endswith(".") for line in block.lines) and len(block.lines) == 3


def test_least_known_first(sides):
    own = [b for b in sides.found().budgets if b.level == "group" and "mass" in b.figure]
    lines = advice_lines(own)
    worst = max(own, key=lambda b: b.expanded / b.budget.value)
    assert lines[0].startswith(f"Rate by mass loss of {worst.name}: known to")


def test_no_budgets():
    assert uncertainty_block([], ["g"]) == []

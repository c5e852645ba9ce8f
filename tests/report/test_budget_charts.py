"""Bars of what dominates."""

from xml.etree import ElementTree

from surfscan.report.budget_charts import budget_chart


def test_one_bar_a_figure(sides):
    own = [b for b in sides.found().budgets if b.name == "bare 14 d"]
    drawn = ElementTree.fromstring(budget_chart(own, "bare 14 d"))
    said = [node.text or "" for node in drawn.iter() if node.tag.endswith("text")]
    assert any(text.startswith("specimens ") for text in said) and "Rate by mass loss" in said
    bars = [node for node in drawn.iter() if node.tag.endswith("rect")]
    assert len(bars) == sum(len(b.budget.shares_by_source()) for b in own)
    assert "specimens" in drawn.attrib["aria-label"]


def test_nothing_to_draw():
    assert budget_chart([], "nobody") == ""

"""Rates drawn on one axis."""

from xml.etree import ElementTree

import pytest

from surfscan.report.summary_rates import AVERAGES, MOMENTS, group_rows, rates_drawing, specimen_rows


def test_averages_apart_from_moments(sides):
    rows = specimen_rows(sides.found().of("L1").rates)
    assert [row.block for row in rows] == [AVERAGES] * 5 + [MOMENTS]
    assert [row.mark for row in rows] == ["average"] * 5 + ["instant"]
    assert rows[-1].name == "sweep (twin)" and rows[-1].joined


def test_drawing(sides):
    text = rates_drawing(specimen_rows(sides.found().of("L1").rates), "L1 <b>")
    drawn = ElementTree.fromstring(text)
    assert drawn.attrib["role"] == "img" and "L1 <b>" in drawn.attrib["aria-label"]
    said = [node.text for node in drawn.iter() if node.tag.endswith("text")]
    assert said.index(AVERAGES) < said.index(MOMENTS)
    assert any(line and line.startswith("≥") for line in said)  # pit volume
    assert any(line and line.endswith("↑") for line in said)  # gas reads low
    assert text.count("stroke-dasharray") == 1  # the twin's
    assert "mm/y" in drawn.attrib["aria-label"]


def test_group_means_keep_bounds_apart(sides):
    rows = {row.name: row for row in group_rows("bare 14 d", sides.found().specimens)}
    mass = rows["mass loss, n = 3"]
    assert mass.mark == "mean" and len(mass.points) == 3 and mass.low < mass.value < mass.high
    assert mass.value == pytest.approx(sum(mass.points) / 3)
    bound = rows["pit volume, n = 3"]
    assert bound.bound == "at least" and bound.low != bound.low
    assert rows["sweep, twins, n = 3"].joined


def test_nothing_to_draw(sides):
    assert rates_drawing([], "nobody") == ""
    refused = [row for row in specimen_rows(sides.found().of("L1").rates) if row.refused]
    assert refused == []


def test_wide_spread_is_logarithmic(empty_sides):
    for name, value in (("A", 0.001), ("B", 1.0)):
        empty_sides.specimen(name, "coated 14 d")
        empty_sides.weigh(name, value)
    text = rates_drawing(group_rows("coated 14 d", empty_sides.found().specimens), "both")
    assert ">0.01<" in text and ">0.1<" in text

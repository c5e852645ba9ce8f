"""What the page says across specimens."""

from surfscan.report.outcome_page import budgets_shown, outcome_page, outcome_sentences
from surfscan.report.page import render_page
from surfscan.report.page_parts import PageContent

LIMIT = """[[criterion]]
figure = "least_section_left_fraction"
at_least = 0.4
groups = ["bare 14 d"]
"""
RATE = """[[criterion]]
figure = "mass_loss_rate_mm_per_y"
at_most = 0.5
"""


def content(sides, more=""):
    found = sides.found(more)
    records = [rate.record for rate in sides.rates]
    study = sides.study(more)
    return PageContent(
        study, [], sides.summaries, sides.groups, (), {}, (), (), rates=records, comparison=found
    )


def test_parts_and_cautions(sides):
    said = outcome_page(content(sides, LIMIT))
    anchors = [part.anchor for part in said.figures]
    assert anchors == ["criteria", "loss-with-rate", "over-time", "groups-compared", "uncertainty"]
    assert any("laboratory comparison" in text for text in said.cautions)
    assert any("no statement on service life" in text for text in said.cautions)
    (time,) = [part for part in said.figures if part.anchor == "over-time"]
    assert "no statement on service life" in time.shown["caution"]
    assert not any("service life" in line for _, _, lines in time.shown["charts"] for line in lines)
    assert len(said.method) == 5


def test_without_a_criterion(sides):
    said = outcome_page(content(sides))
    assert "criteria" not in [part.anchor for part in said.figures] and said.cautions == []


def test_sentences(sides):
    lines = outcome_sentences(sides.found())
    assert any("no line" in line for line in lines)
    assert any("over time in “bare”. Best by AICc: linear" in line for line in lines)


def test_groups_too_small_are_listed_by_specimen(sides):
    found = sides.found()
    shown = budgets_shown(found)
    assert {b.level for b in shown if b.name in ("bare 14 d", "coated 14 d")} == {"group"}
    assert not any(b.name == "L1" for b in shown)


def test_whole_page(sides):
    """A study of weighings and gas alone has all but the parts that need pictures."""
    text = render_page(content(sides.of_bath_alone(), RATE))
    for anchor in ("criteria", "over-time", "groups-compared", "uncertainty"):
        assert f'<section id="{anchor}"' in text and f'href="#{anchor}"' in text
    assert 'id="loss-with-rate"' not in text
    assert "Dominant uncertainty" in text and "No time is projected" in text


def test_nothing_to_say(empty_sides):
    empty_sides.specimen("E1", "bare as received")
    assert outcome_page(content(empty_sides)) is None

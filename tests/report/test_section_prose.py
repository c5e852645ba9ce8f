"""Sentences about sections."""

import pytest

from surfscan.report.records import gather
from surfscan.report.section_prose import section_alt, section_caption, section_sentences
from surfscan.store.results import ResultsStore
from surfscan.study.manifest import load_study


@pytest.fixture(scope="module")
def records(reported_sections):
    return gather(load_study(reported_sections), ResultsStore(reported_sections).all())[0]


def said(record):
    return section_caption(record, "").replace("\u00a0", " ")


def test_caption_says_what_is_left_against_what_and_how_deep(records):
    text = said(records[0])
    assert "72.9 % of the section is left (69.3 to 76.4); original outline from the drawn size." in text
    assert "Mean penetration 10.0 µm (8.6 to 11.5), greatest 11.0 µm" in text
    assert "no island" in text
    assert "Angle of the cut not stated; taken as square." in text


def test_caption_of_the_fallback_warns(records):
    assert "(no interval); original outline from the outer edge of product, which swells and spalls" in said(
        records[3]
    )


def test_caption_tells_sections_apart_and_foils_by_thickness(records):
    assert "Section 1: 57.3 %" in said(records[1]) and "Section 2: 65.6 %" in said(records[1])
    assert "Crosses the picture: mean thickness 98.0 µm" in said(records[5])
    assert "81.7 % of the thickness is left, against the drawn size" in said(records[5])
    assert " px" in said(records[4]) and "µm" not in said(records[4])


def test_summary_counts_pictures_sections_and_sources(records):
    first, second, third = section_sentences(records)
    assert (
        first
        == "6 of 6 pictures of cross-sections measured, with 7 sections; 1 worst-seen, shown but in no mean."
    )
    assert second.startswith(
        "Original outline of 6 sections: 1 from an unexposed twin, 4 from the drawn size"
    )
    assert "(§)" in second
    assert "on 2.png (S1), a worst-seen picture" in third
    assert section_sentences([]) == []


def test_pictures_have_words(records):
    assert section_alt(records[1]) == (
        "Cross-section 1.png: 2 sections, 57.3 % and 65.6 % of the original left; original and remaining "
        "outline drawn"
    )

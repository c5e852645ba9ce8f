"""Sentences about sections."""

from dataclasses import replace

import numpy as np
import pytest

from surfscan.report.groups import summarise_groups
from surfscan.report.records import gather
from surfscan.report.section_prose import (
    least_left_sentence,
    section_alt,
    section_caption,
    section_sentence,
    section_sentences,
)
from surfscan.report.section_records import sections_of
from surfscan.report.specimens import summarise_specimens
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


def test_summary_names_the_greatest_penetration_and_rough_originals(records):
    greatest, rough = section_sentences(records)
    assert greatest.startswith("Greatest penetration: ")
    assert greatest.endswith("on 2.png (S1), a worst-seen picture.")
    assert rough.startswith("1 of 6 sections are compared with the outer edge of product")
    assert rough.endswith("(§).")
    assert section_sentences([]) == []


def test_pictures_have_words(records):
    assert section_alt(records[1]) == (
        "Cross-section 1.png: 2 sections, 57.3 % and 65.6 % of the original left; original and remaining "
        "outline drawn"
    )


def test_summary_names_the_group_with_least_metal(reported_sections, records):
    study = load_study(reported_sections)
    groups = summarise_groups(study.groups, summarise_specimens(study.specimens, records))
    (said,) = least_left_sentence(groups)
    assert said.startswith("Least metal is left in “") and "specimen" in said
    assert least_left_sentence([]) == []


def test_more_metal_than_there_was_is_said_in_place_of_a_loss(records):
    record = records[0]
    stored = record.results["section"]
    table = dict(stored.tables["profiles"])
    table["remaining_fraction"] = np.array([np.nan])
    table["metal_area_px"] = 1.4 * table["original_area_px"]
    beyond = replace(stored, tables=dict(stored.tables) | {"profiles": table})
    (section,) = sections_of([replace(record, results={"section": beyond}, _unpacked={})])
    text = section_sentence(section).replace("\u00a0", " ")
    assert text.startswith("140 % of the metal that the drawn size gives, beyond the interval: no loss")

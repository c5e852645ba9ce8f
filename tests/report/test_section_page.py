"""The page's part on sections."""

import html
import re

import pytest

from surfscan.report.section_prose import CAUTIONS, METHOD, NOT_MEASURED


@pytest.fixture(scope="module")
def text(reported_sections, page_text):
    return page_text(reported_sections)


def test_parts_stand_in_the_contents_and_surfaces_do_not(text):
    assert 'href="#sections"' in text and '<section id="sections">' in text
    assert 'href="#legend-section"' in text and 'id="legend-section"' in text
    assert 'href="#groups"' not in text


def test_every_picture_stands_beside_its_charts(text):
    part = text[text.index('<section id="sections-of-specimens"') :]
    assert part.count('class="shot"') == 6
    assert part.count('class="plot"') == 7
    assert part.count("worst seen: in no mean") == 1
    assert part.count('class="badge">§ original outline: outer edge of product') == 1


def test_method_limits_and_cautions_are_those_of_sections(text):
    for lines in (METHOD, NOT_MEASURED, CAUTIONS):
        for line in lines:
            assert line in html.unescape(text)


def test_hostile_specimen_is_text(text):
    assert text.count("<script") == 1
    assert re.search("X&lt;script&gt;", text)


def test_marks_have_names_of_their_own(text):
    names = re.findall(r' id="([^"]+)"', text)
    assert len(names) == len(set(names))

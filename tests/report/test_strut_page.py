"""The page of a study of struts as text."""

import csv
import re

import openpyxl
import pytest


@pytest.fixture(scope="module")
def text(reported_struts, page_text):
    return page_text(reported_struts)


def test_parts_of_the_page(text):
    sections = re.findall(r'<section id="([^"]*)"', text)
    assert sections[:3] == ["summary", "specimens", "struts"]
    assert sections[-6:] == [
        "sections-of-specimens", "not-measured", "warnings", "method", "cautions", "files",
    ]  # fmt: skip
    assert len(re.findall('<section class="specimen" id="specimen-S-[a-z]*"', text)) == 5
    links = re.findall(r'<li><a href="#([^"]*)">', text)
    assert links == sections
    assert "Measured: widths and remaining sections (pictures of struts)" in text


def test_every_picture_is_shown_once_with_its_chart_and_colours(text):
    pictures = text[text.index('<section class="specimen"') :]
    assert pictures.count("data:image/webp") == 6
    assert pictures.count('class="badge"') == 1
    assert len(re.findall('aria-label="Width against position', pictures)) == 6
    assert pictures.count('class="widths"') == 6
    assert pictures.count("as strips of remaining width") == 1
    ids = re.findall(r'<image id="([^"]*)"', pictures)
    assert len(ids) == len(set(ids)) == 6


def test_bounds_methods_limits_and_settings_are_said(text):
    plain = text.replace("\u00a0", " ")
    for expected in (
        "≤ 83.3",
        "it would be an upper bound (≤), which stands beside it",
        "Thickness of struts: a silhouette shows width only.",
        "counts as zero width",
        "Settings: struts",
        "drawn_width_um",
        "Every strut, station and fault stands in tables/struts.csv",
    ):
        assert expected in plain
    assert "Miles-Lantu" not in text  # nothing of pits


def test_hostile_names_stay_text(text):
    assert "S &lt;plain&gt;" in text and "Struts &lt;7 d&gt;" in text
    assert "<plain>" not in text


def test_tables_are_written_and_the_workbook_has_the_stations(reported_struts):
    with (reported_struts / "tables" / "stations.csv").open(encoding="utf-8", newline="") as handle:
        rows = list(csv.DictReader(handle))
    assert len(rows) == 666
    assert rows[0]["image"] == "struts/plain.png" and rows[0]["specimen"] == "S <plain>"
    book = openpyxl.load_workbook(reported_struts / "tables" / "surfscan.xlsx", read_only=True)
    assert {"strut_images", "strut_specimens", "struts", "strut_faults", "stations"} <= set(book.sheetnames)


def test_same_study_same_page(reported_struts, text, page_text):
    from surfscan.report.build import write_report

    write_report(reported_struts)
    assert page_text(reported_struts) == text

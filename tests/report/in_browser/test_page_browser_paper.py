"""The page printed by the browser of this machine, as `surfscan report --pdf` does it."""

import re

import pytest

from surfscan.report.pdf import find_browser, print_pdf

pytestmark = pytest.mark.slow

A4_POINTS = (595, 842)
SHEET_PX = 703


def test_printed_on_a4_with_every_picture(reported, tmp_path):
    print_pdf(reported / "report.html", tmp_path / "report.pdf", find_browser())
    paper = (tmp_path / "report.pdf").read_bytes()
    sheets = re.findall(rb"/MediaBox ?\[([^\]]*)\]", paper)
    assert len(sheets) >= 6
    for sheet in sheets:
        assert [float(v) for v in sheet.split()] == pytest.approx([0, 0, *A4_POINTS], abs=1)
    # each of the twelve pictures, which the screen would have shown only when scrolled to
    sizes = re.findall(rb"/Subtype ?/Image\s*/Width (\d+)\s*/Height (\d+)", paper)
    assert len([1 for width, height in sizes if (width, height) == (b"400", b"300")]) >= 12


def test_paper_is_small_enough_to_send(reported, tmp_path):
    """Pictures are held as JPEG, letters as those of a font, nothing twice for readers of tags."""
    print_pdf(reported / "report.html", tmp_path / "report.pdf", find_browser())
    paper = (tmp_path / "report.pdf").read_bytes()
    assert paper.count(b"/DCTDecode") >= 12
    assert b"/StructElem" not in paper
    outlined = len(re.findall(rb"/Subtype ?/Type3", paper))
    assert outlined <= 12  # one for each picture at most: marks on pictures keep their outline
    assert len(paper) < 1_500_000


def test_heads_of_tables_are_there_on_every_sheet_and_nothing_is_folded(open_page, reported_struts):
    page = open_page(reported_struts)
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    page.emulate_media(media="print")
    heads = "[...document.querySelectorAll('thead')].map(e => getComputedStyle(e).display)"
    assert set(page.evaluate(heads)) == {"table-header-group"}
    # a head whose names are buttons is not printed again unless they are laid out as plain text
    buttons = "[...document.querySelectorAll('th button')].map(e => getComputedStyle(e).display)"
    assert set(page.evaluate(buttons)) == {"contents"}
    broken = "[...document.querySelectorAll('.specimen figure')].map(e => getComputedStyle(e).breakInside)"
    assert set(page.evaluate(broken)) == {"avoid"}
    page.close()


def test_charts_stand_two_in_a_row_and_tables_hardly_shrink_the_sheet(open_page, any_study):
    """A row that took all charts at once made each a stamp; a wide table makes all letters small."""
    page = open_page(any_study, viewport={"width": SHEET_PX, "height": 1000})
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    page.emulate_media(media="print")
    widths = "s => [...document.querySelectorAll(s)].map(e => e.getBoundingClientRect().width)"
    panels, tables = page.evaluate(widths, "main .panel"), page.evaluate(widths, "main table")
    page.close()
    assert min(panels) > 0.4 * SHEET_PX
    assert max(tables) < 1.25 * SHEET_PX

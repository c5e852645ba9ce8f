"""What the page shows equals the tables and the store, in full precision and as rounded text."""

import csv
import math

import pytest

from surfscan.report.records import gather
from surfscan.report.rounding import round_to_interval
from surfscan.store.results import ResultsStore
from surfscan.study.manifest import load_study

pytestmark = pytest.mark.slow

TABLES = ("specimens", "height_specimens", "strut_specimens", "section_specimens")
MANY_ROWS = ("rates_side_by_side", "rates", "agreement", "locality")
"""Tables with several rows a specimen."""

ENDS = ("low", "high")
CELLS = """[...document.querySelectorAll('#specimen-table tbody tr')].flatMap(row =>
    [...row.querySelectorAll('td[data-value]')].map((cell, k) => ({
        specimen: row.cells[0].querySelector('a').textContent,
        figure: cell.dataset.figure || '', value: cell.dataset.value, low: cell.dataset.low,
        high: cell.dataset.high, text: cell.firstChild ? cell.firstChild.textContent : ''})))"""
SECTIONS = """[...document.querySelectorAll('.specimen')].flatMap(section =>
    [...section.querySelectorAll('td[data-figure]')].map(cell => ({
        specimen: section.querySelector('h3').firstChild.textContent.trim(),
        figure: cell.dataset.figure, value: cell.dataset.value, low: cell.dataset.low,
        high: cell.dataset.high, text: cell.firstChild.textContent})))"""
BLOCKS = """[...document.querySelectorAll('#summary [data-whose]')].map(e => ({
    whose: e.dataset.whose, figure: e.dataset.figure, value: e.dataset.value, text: e.textContent}))"""


def in_tables(folder):
    """(specimen, column) -> text of the tables by specimen; of a column that several have, of the first."""
    found = {}
    for name in TABLES:
        with (folder / "tables" / f"{name}.csv").open(encoding="utf-8", newline="") as handle:
            for row in csv.DictReader(handle):
                found = {(row["specimen"], c): text for c, text in row.items() if text} | found
    return found


def in_rows(folder, specimen, figure):
    """Every (value, low, high) of a figure in rows of a specimen, as numbers or None."""
    found = set()
    for path in (folder / "tables" / f"{name}.csv" for name in MANY_ROWS):
        if path.is_file():
            with path.open(encoding="utf-8", newline="") as handle:
                rows = [r for r in csv.DictReader(handle) if r["specimen"] == specimen and r.get(figure)]
            names = (figure, *(f"{figure}_ci95_{end}" for end in ENDS))
            found |= {tuple(float(row[n]) if row.get(n) else None for n in names) for row in rows}
    return found


@pytest.mark.parametrize("query", [CELLS, SECTIONS])
def test_figures_of_specimens_are_those_of_the_tables(open_page, any_study, query):
    page = open_page(any_study)
    shown = [cell for cell in page.evaluate(query) if cell["figure"] and cell["value"]]
    page.close()
    tables = in_tables(any_study)
    for cell in shown:
        specimen, figure = cell["specimen"], cell["figure"]
        numbers = tuple(None if cell[k] is None else float(cell[k]) for k in ("value", *ENDS))
        if (specimen, figure) not in tables:
            assert numbers in in_rows(any_study, specimen, figure), cell
            continue
        names = (figure, *(f"{figure}_ci95_{end}" for end in ENDS))
        stored = (tables.get((specimen, name)) for name in names)
        assert numbers == tuple(None if text is None else float(text) for text in stored), cell
    if "rates" not in any_study.name:
        assert len(shown) >= 5


def test_rounded_text_is_that_of_the_full_value(open_page, reported):
    page = open_page(reported)
    scales = {"degraded_area_fraction": 100.0, "pit_density_per_mm2": 1.0}
    shown = [cell for cell in page.evaluate(CELLS) if cell["figure"] in scales]
    page.close()
    assert len(shown) == 7 + 7
    for cell in shown:
        low, high = (math.nan if cell[k] is None else float(cell[k]) for k in ("low", "high"))
        number = round_to_interval(float(cell["value"]), low, high, scale=scales[cell["figure"]])
        assert cell["text"] == number.value


def test_figures_of_one_image_are_those_of_the_store(open_page, reported):
    """A specimen with one field: what its section shows is what was stored of that field."""
    page = open_page(reported)
    shown = {(c["specimen"], c["figure"]): float(c["value"]) for c in page.evaluate(SECTIONS)}
    page.close()
    records, _ = gather(load_study(reported), ResultsStore(reported).all())
    for record in records:
        if record.specimen.id in ("A2", "A3") and record.done("pits"):
            for figure, procedure in (
                ("pit_density_per_mm2", "pits"),
                ("pitted_area_fraction", "pits"),
                ("degraded_area_fraction", "degraded"),
            ):
                assert shown[record.specimen.id, figure] == record.figure(procedure, figure)


@pytest.mark.parametrize("name", ["reported_heights", "reported_struts", "reported_sections"])
def test_blocks_of_the_summary_are_figures_of_the_study(open_page, request, name):
    folder = request.getfixturevalue(name)
    page = open_page(folder)
    blocks = page.evaluate(BLOCKS)
    page.close()
    tables = in_tables(folder)
    with (folder / "tables" / "heights.csv").open(encoding="utf-8", newline="") as handle:
        tables |= {(r["image"], c): t for r in csv.DictReader(handle) for c, t in r.items() if t}
    assert blocks
    for block in blocks:
        assert float(block["value"]) == float(tables[block["whose"], block["figure"]])

"""The table of all specimens."""

import math

import pytest

from surfscan.report.records import gather
from surfscan.report.specimen_overview import fault_words, figure_cell, specimen_grid
from surfscan.report.specimen_sections import specimen_anchors
from surfscan.report.specimens import summarise_specimens
from surfscan.store.results import ResultsStore
from surfscan.study.manifest import load_study


@pytest.fixture
def specimens_of():
    def of(folder):
        study = load_study(folder)
        records, _ = gather(study, ResultsStore(folder).all())
        return summarise_specimens(study.specimens, records)

    return of


def test_a_row_each_with_what_the_study_has(specimens_of, reported):
    found = specimens_of(reported)
    grid = specimen_grid(found, specimen_anchors(found))
    heads = [head.text for head in grid.heads]
    assert heads[:4] == ["Specimen", "Group", "Exposure", "Images"] and heads[-1] == "Warnings"
    assert {"Pit density", "Degraded area"} <= set(heads)
    assert not {"Least strut width", "Greatest pit depth", "Struts"} & set(heads)
    rows = {row[0].text: row for row in grid.rows}
    assert list(rows) == [s.specimen.id for s in found]
    assert rows["A1"][3].text == "1\u00a0of\u00a02" and rows["U1"][3].text == "4\u00a0of\u00a04"
    place = heads.index("Pit density")
    for summary in found:
        value, cell = summary.figure("pit_density_per_mm2"), rows[summary.specimen.id][place]
        assert math.isnan(value) == math.isnan(cell.value) and (math.isnan(value) or cell.value == value)


def test_depth_of_a_hidden_floor_is_marked(specimens_of, reported_heights):
    cells = {s.specimen.id: figure_cell(s, "max_depth_um") for s in specimens_of(reported_heights)}
    assert cells["H1"].text.startswith("≥") and not cells["H2"].text.startswith("≥")


def test_faults_in_words():
    assert fault_words({"broken_count": 2.0, "crack_count": 1.0, "missing_count": math.nan}) == (
        "2\u00a0broken, 1\u00a0cracked"
    )
    assert fault_words({}) == ""

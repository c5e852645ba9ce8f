"""Tables of the page about struts."""

import pytest

from surfscan.report.cells import Cell
from surfscan.report.specimens import summarise_specimens
from surfscan.report.strut_grids import strut_image_grid, strut_specimen_grid, strut_specimen_notes


@pytest.fixture(scope="module")
def specimens(strut_records):
    records = list(strut_records.values())
    return summarise_specimens(list({r.specimen.id: r.specimen for r in records}.values()), records)


def cell(grid, row, head, unit=None):
    (at,) = [i for i, h in enumerate(grid.heads) if h.text == head and unit in (None, h.unit)]
    (found,) = [r for r in grid.rows if r[0].text.startswith(row)]
    return found[at]


def test_specimen_grid_marks_bounds_and_lost_metal(specimens):
    grid = strut_specimen_grid(specimens)
    assert len(grid.rows) == 5
    left = cell(grid, "S <plain>", "Least section left")
    assert left.text == "69.4" and left.lines[-1] == "equal loss"
    assert cell(grid, "S <plain>", "Beside it") == Cell("≤\u00a083.3", ("as drawn",))
    left = cell(grid, "S <notched>", "Least section left")
    assert left.text == "45.8" and left.lines[-1] == "measured"
    assert cell(grid, "S <notched>", "Beside it").lines[-1] == "equal loss"
    lost = cell(grid, "S <mesh> ✕", "Loss with lost metal")
    assert (lost.text, lost.lines) == ("37.5", ("survivors 25.0", "17\u00a0% of length gone"))
    assert cell(grid, "S <mesh> ✕", "Struts").lines == ("missing 1",)
    assert cell(grid, "S <notched>", "Worst-seen picture").text == "× shown"


def test_notes_explain_the_marks(specimens):
    (note,) = strut_specimen_notes(specimens)
    assert note.startswith("✕ Struts broken or missing")


def test_image_grid(strut_records):
    grid = strut_image_grid(list(strut_records.values()))
    assert len(grid.rows) == 6
    assert cell(grid, "struts/worst.png ×", "Mean width").text == "5.000"
    assert cell(grid, "struts/unscaled.png", "Mean width").lines[-1] == "px"
    assert cell(grid, "struts/notched.png", "Least section left").lines[-1] == "measured 11.0 µm"
    assert cell(grid, "struts/plain.png", "Least section left").lines[-1] == "equal loss"
    assert cell(grid, "struts/plain.png", "Beside it").text == "≤\u00a083.3"
    assert cell(grid, "struts/broken.png", "Struts").lines == ("broken 2", "gaps 1")
    assert cell(grid, "struts/mesh.png", "Loss of width").lines[-1] == "before"

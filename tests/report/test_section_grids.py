"""Tables of the page about sections."""

import pytest

from surfscan.report import section_grids
from surfscan.report.grids import group_grid, shown_groups
from surfscan.report.groups import summarise_groups
from surfscan.report.records import gather
from surfscan.report.specimens import summarise_specimens
from surfscan.store.results import ResultsStore
from surfscan.study.entries import Group
from surfscan.study.manifest import load_study


@pytest.fixture(scope="module")
def parts(reported_sections):
    study = load_study(reported_sections)
    records, _ = gather(study, ResultsStore(study.folder).all())
    return records, summarise_specimens(study.specimens, records)


def column(grid, text):
    place = [h.text for h in grid.heads].index(text)
    return [row[place] for row in grid.rows]


def test_specimens_say_from_what_their_loss_counts(parts):
    grid = section_grids.section_specimen_grid(parts[1])
    assert [c.text for c in column(grid, "Original outline")] == [
        "drawn size",
        "outer edge of product",
        "twin",
        "drawn size",
    ]
    assert [c.text.split(" ")[-1] for c in column(grid, "Specimen")[1:3]] == ["§", "¶"]
    assert [c.text for c in column(grid, "Sections")] == ["3", "1", "1", "1"]
    assert column(grid, "Remaining section")[1].lines == ()
    assert column(grid, "Worst-seen picture")[0].lines == ("25.0 % left",)
    notes = section_grids.section_specimen_notes(parts[1])
    assert [note[0] for note in notes] == ["§", "¶"]


def test_every_section_has_a_row(parts):
    grid = section_grids.section_grid(parts[0])
    assert [c.text for c in column(grid, "Section")][:4] == ["0.png, 1", "1.png, 1", "1.png, 2", "2.png, 1 ×"]
    assert column(grid, "Section")[6].lines == ("F1, crosses the picture",)
    assert column(grid, "Original outline")[0].lines == ("± 2.8 %",)
    assert column(grid, "Original outline")[4].text == "outer edge of product §"
    assert column(grid, "Original outline")[4].lines == ()
    assert column(grid, "Mean thickness")[6].text == "98.0"
    notes = section_grids.section_notes(parts[0])
    assert [note[0] for note in notes] == ["×", "§", "S", "W"]


def test_groups_without_a_section_have_no_row(parts):
    groups = summarise_groups([Group(name="28 d"), Group(name="other")], parts[1])
    assert [group.name for group in shown_groups(groups, "section")] == ["28 d"]
    assert len(group_grid(groups, "section").rows) == 1
    assert len(group_grid(groups).rows) == 2

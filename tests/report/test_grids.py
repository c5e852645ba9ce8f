"""Tables of the page."""

from dataclasses import replace

import pytest

from surfscan.columns import columns
from surfscan.report import grids
from surfscan.report.groups import summarise_groups
from surfscan.report.records import gather
from surfscan.report.specimens import summarise_specimens
from surfscan.report.truth import compare_with_truth
from surfscan.store.results import ResultsStore
from surfscan.study.manifest import load_study


@pytest.fixture
def parts(study_folder):
    study = load_study(study_folder)
    records, _ = gather(study, ResultsStore(study.folder).all())
    specimens = summarise_specimens(study.specimens, records)
    return study, records, specimens, summarise_groups(study.groups, specimens)


def column(grid, text):
    place = [h.text for h in grid.heads].index(text)
    return [row[place] for row in grid.rows]


def test_groups_have_mean_interval_scatter_and_difference(parts):
    grid = grids.group_grid(parts[3])
    cell = column(grid, "Degraded area")[1]
    assert cell.text == "32"
    assert cell.lines == ("8 to 55", "SD 9.5")
    difference = column(grid, "Degraded area less baseline")
    assert [c.text for c in difference] == ["–", "30", "–"]
    assert difference[1].lines == ("7 to 54",)
    assert column(grid, "Degraded area")[2].lines == ("no interval", "n 1")


def test_difference_without_interval_is_no_finer_than_its_mean(parts):
    group = parts[3][1]
    name = "degraded_area_fraction"
    refused = replace(group.differences[name], value=0.301234, ci95=None, refused="too few specimens")
    coarse = replace(group, differences=group.differences | {name: refused})
    cell = column(grids.group_grid([coarse]), "Degraded area less baseline")[0]
    assert cell.lines == ("no interval",)
    assert cell.text == "30" and column(grids.group_grid([coarse]), "Degraded area")[0].text == "32"


def test_nothing_is_subtracted_from_a_median_diameter(parts):
    """Diameters are no amounts: a median less a median is the diameter of nothing."""
    heads = [h.text for h in grids.group_grid(parts[3]).heads]
    assert "Median pit diameter" in heads and "Median pit diameter less baseline" not in heads
    assert "Pit density less baseline" in heads
    assert all("median_equivalent_diameter_um" not in g.differences for g in parts[3])
    assert not any("baseline_subtracted_median" in c.name for c in columns("study_groups"))


def test_figures_nobody_has_get_no_column(parts):
    heads = [h.text for h in grids.group_grid(parts[3]).heads]
    assert "Tarnished area" not in heads
    assert "Pit density, no scale" in heads


def test_group_notes_say_each_thing_once(parts):
    notes = grids.group_notes(parts[3])
    assert len(notes) == len(set(notes))
    for group in parts[3]:  # under the names of a note stands what their own warning says, figures included
        own = {n.partition(": ")[2] for n in notes if group.name in n.partition(": ")[0].split(", ")}
        assert own == set(group.kind_warnings["surface"])
    assert any(n.startswith("uncoated 7 d: Pits on 1 of 3 specimens") for n in notes)


def test_specimens_are_marked_and_worst_seen_stands_apart(parts):
    grid = grids.specimen_grid(parts[2])
    names = [row[0].text for row in grid.rows]
    assert names[0] == "A1 ‡"
    assert names[5].endswith("†")
    worst = column(grid, "Worst-seen field")
    assert [bool(c.text) for c in worst] == [n == "U1" for n in names]
    assert worst[3].lines[-1] == "60.0 % degraded"
    assert column(grid, "Pits")[3].text == "42"
    marks = {note[0] for note in grids.specimen_notes(parts[2])}
    assert marks == {"†", "¶", "‡", "*"}


def test_failed_images_are_listed_with_their_reason(parts):
    grid = grids.failed_grid(parts[1])
    assert [[c.text for c in row] for row in grid.rows] == [
        ["images/lost.png", "A1", procedure, "the image lost.png is missing <here>"]
        for procedure in ("pits", "degraded")
    ]
    assert grids.failed_grid(parts[1][:-1]) is None


def test_settings_say_where_they_come_from(parts):
    study = parts[0].model_copy(
        update={
            "settings": parts[0].settings.model_copy(
                update={"pits": parts[0].settings.pits.model_copy(update={"min_contrast": 0.2})}
            )
        }
    )
    pits, degraded = grids.settings_grids(study)
    changed = [row[0].text for row in pits.rows if row[2].text == "set in the study"]
    assert changed == ["min_contrast"]
    assert {row[0].text for row in degraded.rows} == set(type(study.settings.degraded).model_fields)


def test_truth_table(parts, study_folder):
    (study_folder / "truth.csv").write_text(
        "image,figure,true_value\nimages/03.png,pit_count,10\nimages/04.png,degraded_area_fraction,0.2\n",
        encoding="utf-8",
    )
    grid = grids.truth_grid(compare_with_truth(study_folder, parts[1]))
    texts = [[c.text for c in row] for row in grid.rows]
    assert texts[0] == ["Pit count (pits)", "1", "10.0", "12.0", "2.00", "+20.0", "–"]
    assert texts[1][-1] == "0 of 1"

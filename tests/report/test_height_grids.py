"""Tables of the page about height maps."""

import pytest

from surfscan.columns import TEXTURE_PARAMETERS
from surfscan.report import height_grids
from surfscan.report.groups import summarise_groups
from surfscan.report.records import gather
from surfscan.report.specimens import summarise_specimens
from surfscan.store.results import ResultsStore
from surfscan.study.manifest import load_study


@pytest.fixture(scope="module")
def parts(reported_heights):
    study = load_study(reported_heights)
    records, _ = gather(study, ResultsStore(study.folder).all())
    specimens = summarise_specimens(study.specimens, records)
    return records, specimens, summarise_groups(study.groups, specimens)


def column(grid, text):
    place = [h.text for h in grid.heads].index(text)
    return [row[place] for row in grid.rows]


def plain(cells):
    return [c.text.replace("\u00a0", " ") for c in cells]


def test_specimens_show_lower_bounds_as_such(parts):
    grid = height_grids.height_specimen_grid(parts[1])
    assert plain(column(grid, "Greatest depth")) == ["–", "1.00", "1.50", "≥ 10.0", "12.00", "5.00", "6.00"]
    assert plain(column(grid, "Ten deepest"))[3] == "≥ 6.00"
    assert column(grid, "Greatest depth")[3].lines == ()
    assert column(grid, "Greatest depth")[4].lines == ("11.80 to 12.20",)
    assert column(grid, "Pits")[3].lines == ("1 of them ≥",)
    assert column(grid, "Ten deepest")[3].lines == ("all 9",)
    assert column(grid, "Worst-seen map")[3].lines == ("30.0 µm",)


def test_specimens_say_whose_they_are_and_carry_marks(parts):
    cells = column(height_grids.height_specimen_grid(parts[1]), "Specimen")
    assert cells[0].text == "A1 ‡" and cells[0].small == "as received, as received"
    assert cells[5].text.endswith("†")
    marks = {note[0] for note in height_grids.height_specimen_notes(parts[1])}
    assert marks == {"†", "‡", "*", "P"}


def test_penetration_and_factor_name_their_level(parts):
    grid = height_grids.height_specimen_grid(parts[1])
    assert column(grid, "Mean penetration")[4].lines == ("from datum",)
    assert column(grid, "Pitting factor")[4].text == "6.5"


def test_unscaled_density_stands_in_its_own_unit(parts):
    cell = column(height_grids.height_specimen_grid(parts[1]), "Pit density")[6]
    assert cell.lines[-1] == "per million px"


def test_level_is_said_for_the_maps_it_holds_for(parts):
    present, datum = height_grids.level_sentences(parts[0])
    assert "(9 of 10 height maps): a lower bound of penetration" in present
    assert "known on 1 of 10 height maps (masked datum: 1)" in datum
    only = [r for r in parts[0] if r.text("pits", "original_level") != "masked datum"]
    (sentence,) = height_grids.level_sentences(only)
    assert "present surface: a lower bound" in sentence


def test_every_map_has_a_row(parts):
    grid = height_grids.height_grid(parts[0])
    assert len(grid.rows) == 10
    assert plain(column(grid, "Greatest depth"))[4] == "≥ 9.00"
    assert column(grid, "Height map")[6].text.endswith("×")
    assert plain(column(grid, "Pixel"))[-1] == "–"
    assert column(grid, "Warnings")[7].text == "0"


def test_texture_tables_hold_every_parameter_once(parts):
    grids = height_grids.texture_grids(parts[0])
    heads = [h.text for grid in grids for h in grid.heads[1:]]
    symbols = [c.name.removesuffix("_um").removesuffix("_deg") for c in TEXTURE_PARAMETERS]
    assert sorted(heads) == sorted(symbols)
    assert [s for s, _ in height_grids.texture_meanings()] == symbols
    units = {h.text: h.unit for grid in grids for h in grid.heads}
    assert (units["Sq"], units["Sdr"], units["Ssk"], units["Std"]) == ("µm", "%", "", "°")
    assert column(grids[0], "Sdr")[0].text == "2.00"
    assert column(grids[0], "Sdr")[-1].text == "–"
    assert height_grids._texture_text("Std_deg", -1.0987) == "−1.1"


def test_texture_of_specimens_has_intervals(parts):
    grid = height_grids.texture_specimen_grid(parts[1])
    assert len(grid.rows) == 7
    assert column(grid, "Sq")[3].lines == ("0.13 to 0.37",)
    assert column(grid, "Texture of")[3].text == "S-F"
    assert height_grids._surface("S-L", 2.5, 80.0) == "S-L (S 2.50 µm, L 80.0 µm)"

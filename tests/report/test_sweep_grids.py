"""Tables of the page about sweeps."""

from surfscan.report.rate_records import of_procedure
from surfscan.report.sweep_grids import cyclic_grid, method_grid, sweep_grid, sweep_notes


def test_one_row_a_sweep_and_the_reason_of_those_without(rate_records):
    sweeps = of_procedure(rate_records.values(), "sweep")
    grid = sweep_grid(sweeps)
    assert len(grid.rows) == 4
    assert [h.unit for h in grid.heads][1] == "V against SCE"
    currents = [row[2].text for row in grid.rows]
    assert currents[-1] == "none" and currents[0].startswith("25")
    (note,) = sweep_notes(sweeps)
    assert note.startswith("garbage.csv: no corrosion current; the file holds no table")


def test_methods_stand_side_by_side_with_refusals(rate_records):
    grid = method_grid(of_procedure(rate_records.values(), "sweep"))
    assert [row[0].text for row in grid.rows] == ["active.csv", "broken.csv", "held.csv"]
    assert [cell.text for cell in grid.rows[1]][1:3] == ["refused", "refused"]


def test_censored_breakdown_is_marked(rate_records):
    grid = cyclic_grid(of_procedure(rate_records.values(), "sweep"))
    at = [h.text for h in grid.heads].index("Breakdown")
    breakdown = f"{rate_records['broken.csv'].figure('breakdown_V'):.3f}"
    assert [row[at].text for row in grid.rows] == [breakdown, "≥\u00a00.850"]
    assert grid.rows[1][at].lines == ("censored",)
    assert cyclic_grid([rate_records["active.csv"]]) is None

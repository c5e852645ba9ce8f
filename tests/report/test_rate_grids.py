"""Tables of the page about rates."""

from surfscan.report.rate_grids import material_grid, rate_grid, rate_group_grid
from surfscan.report.rates import group_rates, rates_of


def column(grid, head):
    """Texts below a head, with the small lines of each."""
    at = [h.text for h in grid.heads].index(head)
    return [(row[at].text, row[at].lines) for row in grid.rows]


def test_a_refused_rate_says_why_in_place_of_its_error(rate_records):
    grid = rate_grid(rates_of(rate_records.values()))
    assert len(grid.rows) == 14
    remarks = column(grid, "Known error, or why none")
    assert remarks[3][0].startswith("none: one cleaning cycle and no blank")
    assert remarks[4][0] == "reads low" and len(remarks[4][1]) == 2
    assert column(grid, "Wetted surface")[0] == ("4.000", ("± 2.0 % (k = 1)",))


def test_valences_stand_below_the_rate_they_would_change(rate_records):
    grid = rate_grid(rates_of([rate_records["broken.csv"]]))
    (_, lines) = column(grid, "Penetration rate")[1]
    assert lines[-1].startswith("by valences ")


def test_group_means_and_refusals(rate_records):
    rates = rates_of(rate_records.values())
    grid = rate_group_grid(group_rates(["bare", "steel"], rates))
    assert column(grid, "Specimens")[0][0] == "3" and column(grid, "Over")[0][0] == "0 to 48"
    assert any("no interval" in lines for _, lines in column(grid, "Penetration rate"))
    assert column(grid, "Refused")[-2][0] == "3"


def test_every_value_of_a_material_has_its_source(rate_records):
    grid = material_grid(list(rate_records.values()))
    assert all(text for text, _ in column(grid, "Source"))
    assert material_grid([rate_records["rig.csv"]]) is None

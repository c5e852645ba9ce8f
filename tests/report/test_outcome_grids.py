"""Tables of the page on loss, groups and uncertainty."""

from surfscan.report import outcome_grids as grids

LIMIT = """[[criterion]]
figure = "least_section_left_fraction"
at_least = 0.4
groups = ["bare 14 d"]
"""


def column(grid, head):
    k = [h.text for h in grid.heads].index(head)
    return [row[k] for row in grid.rows]


def test_lines(sides):
    found = sides.found().with_rate
    grid = grids.line_grid(found)
    assert len(grid.rows) == len(found)
    assert all("4 are needed" in cell.text for cell in column(grid, "Why no line"))


def test_laws(sides):
    found = sides.found(LIMIT).over_time
    grid = grids.law_grid(found)
    assert len(grid.rows) == sum(len(s.fitted.fits) for s in found)
    when = column(grid, "Time to the limit")[0]
    assert when.value == found[0].projection.hours and " to " in when.lines[0]


def test_pairs_with_effect_before_p(sides):
    grid = grids.comparison_grid(sides.found().compared)
    heads = [h.text for h in grid.heads]
    assert heads.index("Effect") < heads.index("Difference") < heads.index("p")
    assert any("Lower bounds" in cell.text for cell in column(grid, "To mind"))


def test_refused_pairs_show_points_only(sides):
    sides.summaries = [s for s in sides.summaries if s.specimen.id not in ("C2", "C3")]
    sides.rates = [r for r in sides.rates if r.record.specimens[0].id not in ("C2", "C3")]
    for name in ("C2", "C3"):
        old, new = (f'id = "{name}"\ngroup = "{g}"' for g in ("coated 14 d", "bare as received"))
        sides.text = sides.text.replace(old, new)
    grid = grids.comparison_grid(sides.found().compared)
    assert {cell.text for cell in column(grid, "Test")} == {"points only"}
    assert all("at least 3" in cell.text for cell in column(grid, "To mind"))


def test_budgets_keep_their_numbers(sides):
    found = sides.found().budgets
    grid = grids.budget_grid(found)
    assert [cell.value for cell in column(grid, "±")] == [b.expanded for b in found]
    assert [cell.text for cell in column(grid, "What to do")] == [b.advice for b in found]


def test_nested_is_empty_without_fields():
    assert grids.nested_grid([]).rows == []

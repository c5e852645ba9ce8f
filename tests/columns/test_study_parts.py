"""Tables of struts and sections in the report on a study."""

import pytest

from surfscan.columns import FIGURES_OF, columns
from surfscan.columns.study_parts import PART_TABLES


@pytest.mark.parametrize(
    ("table", "kind"), [("study_strut_specimens", "strut"), ("study_section_specimens", "section")]
)
def test_specimens_have_the_figures_that_groups_average(table, kind):
    assert set(FIGURES_OF[kind]) <= {c.name for c in columns(table)}


@pytest.mark.parametrize("table", list(PART_TABLES))
def test_every_row_says_whose_it_is(table):
    names = [c.name for c in columns(table)]
    assert "specimen" in names and "group" in names
    assert len(names) == len(set(names))

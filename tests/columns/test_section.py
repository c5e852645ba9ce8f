"""Columns of sections: units on every name, px twins of every physical figure."""

import pytest

from surfscan.columns import columns
from surfscan.columns.section import SECTION_TABLES


@pytest.mark.parametrize("table", SECTION_TABLES)
def test_every_physical_column_has_a_twin_in_px(table):
    names = {c.name for c in columns(table)}
    for column in columns(table):
        if column.unit in ("µm", "µm²") and "_ci95_" not in column.name:
            assert column.name.removesuffix("_um2").removesuffix("_um") + "_px" in names
        assert column.definition.endswith(".")

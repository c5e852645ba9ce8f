"""Columns of struts: every length has both twins, intervals come in threes."""

import re

import pytest

from surfscan.columns.struts import STRUT_TABLES


@pytest.mark.parametrize("table", sorted(STRUT_TABLES))
def test_names_are_unique_and_twinned(table):
    """No name twice; a length in µm has its twin in px; a limit goes with its figure and its partner."""
    names = [c.name for c in STRUT_TABLES[table]]
    assert len(set(names)) == len(names)
    for name in names:
        if re.search(r"_um(_ci95_(low|high))?$", name) and not name.startswith("width_before"):
            assert name.replace("_um", "_px") in names
        if name.endswith("_ci95_low"):
            assert {name.removesuffix("_ci95_low"), name.replace("_low", "_high")} <= set(names)


def test_units_follow_names():
    """µm, µm² and shares are what the names say."""
    for table in STRUT_TABLES.values():
        for c in table:
            stem = re.sub(r"_ci95_(low|high)$", "", c.name)
            for suffix, unit in (("_um2", "µm²"), ("_um", "µm"), ("_fraction", "1"), ("_deg", "deg")):
                if stem.endswith(suffix):
                    assert c.unit == unit, c.name

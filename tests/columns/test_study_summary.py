"""Columns of rates side by side and what follows."""

from surfscan.columns import TABLES
from surfscan.columns.study_summary import SUMMARY_TABLES


def test_all_are_registered():
    assert set(SUMMARY_TABLES) <= set(TABLES)
    assert all(name.startswith("study_") for name in SUMMARY_TABLES)


def test_names_are_unique_and_units_are_in_them():
    for table, columns in SUMMARY_TABLES.items():
        names = [c.name for c in columns]
        assert len(set(names)) == len(names), table
        for c in columns:
            if c.name.endswith("_h") and c.dtype == "float64":
                assert c.unit == "h", c.name
            if c.name.endswith("_mm_per_y"):
                assert c.unit == "mm/y", c.name
            if c.name.endswith("_fraction"):
                assert c.unit == "1", c.name


def test_intervals_have_two_limits():
    for columns in SUMMARY_TABLES.values():
        names = {c.name for c in columns}
        lows = {n.removesuffix("_low") for n in names if n.endswith("_ci95_low")}
        assert (lows and all(f"{stem}_high" in names for stem in lows)) or not lows

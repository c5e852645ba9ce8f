"""Columns of the report on rates."""

from surfscan.columns import TABLES
from surfscan.columns.study_rates import RATE_TABLES


def test_registered_as_tables_of_a_study():
    assert set(RATE_TABLES) <= set(TABLES)
    assert all(name.startswith("study_") for name in RATE_TABLES)


def test_a_rate_says_what_time_it_speaks_for_and_what_it_leaves_out():
    names = {c.name for c in TABLES["study_rates"]}
    assert {"speaks_for", "starts_h", "ends_h", "bias", "refused", "area_relative_uncertainty"} <= names


def test_breakdown_has_its_censored_flag_beside_it():
    names = [c.name for c in TABLES["study_sweeps"]]
    at = names.index("breakdown_V")
    assert names[at + 1 : at + 3] == ["is_breakdown_censored", "breakdown_at_least_V"]

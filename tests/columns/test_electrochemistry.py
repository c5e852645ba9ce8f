"""Columns of a potential sweep."""

from surfscan.columns import TABLES
from surfscan.columns.electrochemistry import ELECTROCHEMISTRY_TABLES


def test_registered():
    assert set(ELECTROCHEMISTRY_TABLES) == {"sweep", "sweep_runs", "sweep_methods", "sweep_windows"}
    assert set(ELECTROCHEMISTRY_TABLES) <= set(TABLES)


def test_points_name_unit_and_window():
    names = [column.name for column in TABLES["sweep"]]
    assert names == [
        "point",
        "scan",
        "potential_V",
        "density_uA_per_cm2",
        "fitted_uA_per_cm2",
        "residual_decades",
        "in_window",
    ]

"""Tables of the page about rig logs."""

from dataclasses import replace

import numpy as np

from surfscan.report.exposure_grids import (
    MOST_EXCURSIONS,
    channel_grid,
    check_grid,
    excursion_grid,
    exposure_grid,
)


def texts(grid, head):
    """Texts below a head."""
    at = [h.text for h in grid.heads].index(head)
    return [row[at].text for row in grid.rows]


def test_immersed_and_in_range_stand_apart(rate_records):
    log = rate_records["rig.csv"]
    grid = exposure_grid([log, replace(log, result=None)])
    assert texts(grid, "Verdict") == ["exposure not valid", "Not measured yet: run surfscan measure."]
    assert texts(grid, "Immersed")[0] == "48.00" and texts(grid, "In range")[0] == "37.00"
    assert texts(grid, "Hydraulic resistance")[0] == "29.98"


def test_channels_with_drift_and_no_acid(rate_records):
    grid = channel_grid([rate_records["rig.csv"]])
    assert texts(grid, "Channel") == ["temperature", "flow", "pressure drop"]
    assert texts(grid, "Set point") == ["37", "–", "–"]


def test_the_longest_excursions_in_order_of_time(rate_records, changed):
    log = rate_records["rig.csv"]
    assert texts(excursion_grid([log]), "What") == ["above", "gap"]
    n = MOST_EXCURSIONS + 10
    many = {name: np.resize(column, n) for name, column in log.table("excursions").items()}
    many |= {"start_h": np.arange(n, dtype=float), "length_h": np.arange(n, dtype=float)}
    grid = excursion_grid([changed(log, {"excursions": many})])
    assert len(grid.rows) == MOST_EXCURSIONS and texts(grid, "Start")[0] == "10.00"
    assert "all in tables/excursions.csv" in grid.caption


def test_instruments(rate_records, changed):
    log = rate_records["rig.csv"]
    assert texts(check_grid([log]), "Drift") == ["0.040"]
    assert check_grid([changed(log, checks=[])]) is None

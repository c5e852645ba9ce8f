"""Columns of the rates from the bath."""

from surfscan.columns import TABLES
from surfscan.columns.immersion import IMMERSION_TABLES


def test_registered_with_their_intervals():
    assert set(IMMERSION_TABLES) <= set(TABLES)
    names = [column.name for column in TABLES["immersion_rates"]]
    for rate in ("rate_mm_per_y", "rate_g_per_m2_d"):
        at = names.index(rate)
        assert names[at : at + 3] == [rate, f"{rate}_ci95_low", f"{rate}_ci95_high"]

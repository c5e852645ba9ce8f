"""Columns of rig logs."""

from surfscan.columns import TABLES
from surfscan.columns.exposure import EXPOSURE_TABLES


def test_registered():
    assert set(EXPOSURE_TABLES) <= set(TABLES)
    names = [column.name for column in TABLES["channels"]]
    at = names.index("drift_per_day")
    assert names[at + 1 : at + 3] == ["drift_per_day_ci95_low", "drift_per_day_ci95_high"]


def test_figures_in_the_unit_of_the_channel_say_so():
    """Columns without a unit of their own are text, or say that they are in that of the row."""
    for table in ("channels", "excursions", "log_trace"):
        for column in TABLES[table]:
            if column.dtype == "float64" and not column.unit and "ci95" not in column.name:
                assert any(
                    word in column.definition
                    for word in ("`unit`", "unit of the channel", "of them", "Their")
                )

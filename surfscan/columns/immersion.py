"""Columns of the rates from the bath: one row a method and stretch of time."""

from __future__ import annotations

from surfscan.columns.base import Column, with_ci95

_RATES: tuple[Column, ...] = (
    Column("method", "", "str", "'mass loss', 'gas' or 'acid'."),
    Column(
        "starts_h", "h", "float64", "Start of the stretch that the rate is the average of, since immersion."
    ),
    Column("ends_h", "h", "float64", "End of that stretch."),
    *with_ci95(
        "rate_mm_per_y",
        "mm/y",
        "Metal lost over wetted surface, time and density, with a year of 365.25 d; not-a-number where "
        "refused or the density is not known.",
    ),
    *with_ci95("rate_g_per_m2_d", "g/(m² d)", "Metal lost over wetted surface and time."),
    Column("bias", "", "str", "'reads low', 'reads high', or empty: known error outside the interval."),
    Column("refused", "", "str", "Why there is no rate; empty where there is one."),
)

IMMERSION_TABLES: dict[str, tuple[Column, ...]] = {"immersion_rates": _RATES}
"""Table name -> its columns."""

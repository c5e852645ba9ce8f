"""Figures with limits as cells of a row: not-a-number where there is none."""

from __future__ import annotations

import math

from surfscan.comparison.rates import Interval


def estimate(name: str, value: float | None, limits: Interval | None) -> dict[str, float]:
    """A figure and its limits under the names of their columns; not-a-number where there is none."""
    low, high = limits or (math.nan, math.nan)
    return {name: number(value), f"{name}_ci95_low": low, f"{name}_ci95_high": high}


def number(value: float | None) -> float:
    """Not-a-number for None."""
    return math.nan if value is None else float(value)

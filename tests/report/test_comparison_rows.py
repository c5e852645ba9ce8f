"""Figures with limits as cells of a row."""

import math

from surfscan.report.comparison_rows import estimate, number


def test_known():
    assert estimate("x", 1.0, (0.5, 2.0)) == {"x": 1.0, "x_ci95_low": 0.5, "x_ci95_high": 2.0}
    assert number(2) == 2.0


def test_unknown():
    assert all(math.isnan(v) for v in estimate("x", None, None).values())
    assert math.isnan(number(None))

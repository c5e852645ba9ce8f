"""Budgets of rates."""

import math

import pytest

from surfscan.estimates.monte_carlo import SEED
from surfscan.report.rate_budgets import rate_budgets


def test_bath(sides):
    """1 % of weighing and 2 % of area: root of the sum of squares, the area four fifths of the variance."""
    sides.found()
    found = next(b for b in rate_budgets(sides.rates) if b.figure == "mass_loss_rate_mm_per_y")
    value = found.budget.value
    assert found.budget.standard_uncertainty == pytest.approx(value * math.hypot(0.01, 0.02), rel=1e-3)
    assert found.budget.shares_by_source() == pytest.approx({"area": 0.8, "cleaning": 0.2}, abs=0.01)
    assert found.expanded == pytest.approx(1.96 * found.budget.standard_uncertainty, rel=0.02)


def test_sweep(sides):
    sides.found()
    found = next(b for b in rate_budgets(sides.rates) if b.figure == "sweep_rate_mm_per_y")
    assert found.budget.shares_by_source() == pytest.approx({"area": 0.5, "reading": 0.5}, abs=0.02)
    assert found.propagation == "first order" or f"seed {SEED}" in found.propagation


def test_wide_intervals_are_simulated(empty_sides):
    empty_sides.specimen("L1", "bare 14 d")
    empty_sides.weigh("L1", 1.0)
    (rate,) = empty_sides.rates
    rate.record.summary["contributions_percent"]["area"] = 25.0
    (found,) = rate_budgets(empty_sides.rates)
    assert found.propagation == f"Monte Carlo, 20000 trials, seed {SEED}: first order is poor here"
    assert found.expanded > 1.96 * 0.25


def test_same_every_time(sides):
    sides.found()
    assert rate_budgets(sides.rates) == rate_budgets(sides.rates)

"""Drift: the slope of least squares, and intervals that hold the truth where readings follow one another."""

import numpy as np
import pytest

from surfscan.immersion.drift import drift_per_day


def autoregressive(rng, n, phi):
    shocks = rng.normal(0, 1, n + 200)
    values = np.zeros(n + 200)
    for k in range(1, n + 200):
        values[k] = phi * values[k - 1] + shocks[k]
    return values[200:]


def test_slope_is_that_of_least_squares():
    rng = np.random.default_rng(1)
    days = np.sort(rng.uniform(0, 20, 300))
    values = 37 + 0.02 * days + rng.normal(0, 0.1, 300)
    found = drift_per_day(days, values)
    slope, level = np.polyfit(days, values, 1)
    assert found.per_day == pytest.approx(slope, rel=1e-9)
    assert found.start == pytest.approx(level + slope * days[0])
    assert found.end == pytest.approx(level + slope * days[-1])


def test_interval_of_independent_readings_is_that_of_ordinary_least_squares():
    rng = np.random.default_rng(2)
    days = np.linspace(0, 10, 2000)
    values = rng.normal(0, 1, 2000)
    found = drift_per_day(days, values)
    expected = 1.96 * values.std() / np.sqrt(((days - 5) ** 2).sum())
    half = 0.5 * (found.ci95[1] - found.ci95[0])
    assert 0.95 * expected < half < 1.4 * expected


@pytest.mark.parametrize("phi", [0.0, 0.8, 0.95])
def test_intervals_cover(phi):
    """Of 150 logs with readings that follow one another, at least nine in ten intervals hold the slope."""
    rng = np.random.default_rng(3)
    days = np.linspace(0, 10, 600)
    found = [drift_per_day(days, autoregressive(rng, 600, phi) + 0.1 * days) for _ in range(150)]
    hits = [one.ci95[0] <= 0.1 <= one.ci95[1] for one in found if one.ci95]
    assert len(hits) > 130
    assert np.mean(hits) >= 0.9


def test_a_slow_swing_is_refused():
    days = np.linspace(0, 10, 500)
    found = drift_per_day(days, np.sin(2 * np.pi * days / 8))
    assert found.ci95 is None
    assert "swing" in found.refused


def test_few_missing_and_constant():
    assert drift_per_day([0.0], [1.0]).per_day is None
    assert drift_per_day([0.0, 1.0], [1.0, 3.0]).per_day == 2.0
    assert drift_per_day([0.0, 1.0], [1.0, 3.0]).ci95 is None
    assert drift_per_day([0, 1, 2], [np.nan] * 3).per_day is None
    steady = drift_per_day(np.arange(20.0), np.full(20, 7.4))
    assert steady.per_day == pytest.approx(0, abs=1e-15)
    assert steady.ci95 == (steady.per_day, steady.per_day)
    with pytest.raises(ValueError, match="one length"):
        drift_per_day([1.0], [1.0, 2.0])

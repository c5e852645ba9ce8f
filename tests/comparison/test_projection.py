"""Time to a limit: its interval, and where it is refused."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from surfscan.comparison.over_time import fit_over_time
from surfscan.comparison.projection import CAUTION, time_to
from surfscan.estimates.groups import t_factor

HOURS = np.repeat([24.0, 72.0, 168.0], 4)
NOISE = np.array([1.0, -1.0, 0.6, -0.6] * 3)
LINEAR = fit_over_time(HOURS, 20 * HOURS / 168 + 0.2 * NOISE)


def test_time_of_a_linear_law() -> None:
    found = time_to(LINEAR, 25.0, name="the penetration", unit="µm")
    assert found.hours == pytest.approx(210.0, rel=1e-3) and found.furthest_h == 336.0
    assert found.hours_ci95 is not None and found.hours_ci95[1] is not None
    assert found.hours_ci95[0] < 210 < found.hours_ci95[1]
    assert "the penetration reaches 25 µm at 210 h" in found.sentence and found.sentence.endswith(CAUTION)


def test_interval_of_one_law_is_that_of_its_factor() -> None:
    two = replace(fit_over_time(HOURS[4:], 20 * HOURS[4:] / 168 + 0.2 * NOISE[4:]), free=None)
    assert [fit.law for fit in two.as_good] == ["linear"]
    found = time_to(two, 10.0)
    factor = math.exp(t_factor(7) * two.best.factor_relative_uncertainty)
    assert found.hours is not None
    assert found.hours_ci95 == pytest.approx((found.hours / factor, found.hours * factor))


def test_doubt_of_the_exponent_is_in_the_interval() -> None:
    """Two exposures settle no law: the linear one is preferred, and the interval holds others too."""
    hours = np.repeat([72.0, 168.0], 3)
    fitted = fit_over_time(hours, 20 * (hours / 168) ** 0.75 + 2.0 * np.array([1, -1, 0.2, 0.6, -0.6, 0.1]))
    assert [fit.law for fit in fitted.fits] == ["linear", "parabolic"] and fitted.free is not None
    with_it, without = time_to(fitted, 24.0), time_to(replace(fitted, free=None), 24.0)
    assert with_it.hours == without.hours
    assert with_it.hours_ci95 is not None and without.hours_ci95 is not None
    assert with_it.hours_ci95[0] <= without.hours_ci95[0]


def test_an_exponent_not_told_from_none_leaves_one_side_open() -> None:
    """Losses that scatter as much as they grow: the limit lies beyond, and is not reached at once."""
    noise = np.array([1.5, -1.5, 0.5, 2.0, -2.5, 1.0])
    fitted = fit_over_time(np.repeat([100.0, 168.0], 3), 10 * np.ones(6) + noise + [0, 0, 0, 1, 1, 1])
    assert fitted.free is not None and fitted.free.exponent_ci95 is not None
    assert fitted.free.exponent_ci95[0] < 0
    found = time_to(fitted, 14.0)
    assert found.hours_ci95 is not None and found.hours_ci95[1] is None and found.hours_ci95[0] > 0


def test_limit_lies_where_the_band_meets_it() -> None:
    """Of a free power law alone: at the ends of the interval the band of the mean touches the limit."""
    fitted = fit_over_time(HOURS, 20 * (HOURS / 168) ** 0.75 + 0.1 * NOISE)
    assert [fit.law for fit in fitted.as_good] == ["power law"]
    found = time_to(fitted, 25.0)
    assert found.hours_ci95 is not None and found.hours_ci95[1] is not None
    _, _, upper = fitted.best.at(found.hours_ci95[0])
    _, lower, _ = fitted.best.at(found.hours_ci95[1])
    assert upper == pytest.approx(25.0) and lower == pytest.approx(25.0)


def test_later_limits_are_reached_later() -> None:
    times = [time_to(LINEAR, loss).hours or math.inf for loss in (5.0, 10.0, 20.0, 30.0)]
    assert times == sorted(times) and math.isfinite(times[-1])


@pytest.mark.parametrize(("exponent", "times", "each"), [(0.75, 2, 3), (0.75, 3, 2), (1.0, 3, 2)])
def test_interval_covers_laws_that_no_criterion_can_tell(exponent: float, times: int, each: int) -> None:
    """Six specimens: AICc all but rules a free exponent out, and the truth may be one.

    Times that the best law puts beyond the furthest are refused, most often those that would hold it.
    """
    rng = np.random.default_rng(12)
    hours = np.repeat([24.0, 72.0, 168.0][-times:], each)
    truth = 168 * 1.3
    held = told = 0
    for _ in range(150):
        fitted = fit_over_time(hours, 20 * (hours / 168) ** exponent * (1 + rng.normal(0, 0.15, 6)))
        found = time_to(fitted, 20 * 1.3**exponent)
        if found.hours_ci95 is None:
            continue
        told += 1
        low, high = found.hours_ci95
        held += low <= truth and (high is None or truth <= high)
    assert told > 50 and held / told >= 0.86


@pytest.mark.parametrize("exponent", [1.0, 0.5])
def test_interval_covers(exponent: float) -> None:
    rng = np.random.default_rng(11)
    held = told = 0
    truth = 168 * (22 / 20) ** (1 / exponent)
    for _ in range(150):
        fitted = fit_over_time(HOURS, 20 * (HOURS / 168) ** exponent + rng.normal(0, 1.5, 12))
        found = time_to(fitted, 22.0)
        if found.hours_ci95 is None:
            continue
        told += 1
        low, high = found.hours_ci95
        held += low <= truth and (high is None or truth <= high)
    assert told > 120 and held / told >= 0.91


def test_an_end_beyond_the_furthest_time_is_left_open() -> None:
    found = time_to(LINEAR, 39.9)
    assert found.hours_ci95 is not None and found.hours_ci95[1] is None
    assert "to beyond 336 h" in found.sentence


def test_refused_beyond_the_stated_extrapolation() -> None:
    found = time_to(LINEAR, 41.0)
    assert (found.hours, found.hours_ci95, found.by_law) == (None, None, {})
    assert "beyond 336 h, 2 times the longest exposure" in found.refused
    assert time_to(LINEAR, 41.0, largest_extrapolation=3.0).hours == pytest.approx(344.4, rel=1e-3)


def test_refused_where_no_law_will_do() -> None:
    incubated = fit_over_time(HOURS, np.repeat([0.2, 10.0, 10.0], 4) + 0.3 * NOISE)
    assert "no law goes through the mean losses" in time_to(incubated, 12.0).refused
    assert "4 specimens" in time_to(fit_over_time([24, 24, 168, 168], [1, 1, 2, 2]), 5.0).refused


@pytest.mark.parametrize(("loss", "most"), [(0.0, 2.0), (math.nan, 2.0), (1.0, 0.0)])
def test_nonsense_is_refused(loss: float, most: float) -> None:
    with pytest.raises(ValueError, match="above 0"):
        time_to(LINEAR, loss, largest_extrapolation=most)

"""Hydraulic resistance and its rise."""

import numpy as np
import pytest

from surfscan.immersion.clogging import hydraulic_resistance

DAYS = np.linspace(0, 10, 400)


def noisy(share, seed=1):
    rng = np.random.default_rng(seed)
    resistance = 0.1 * (1 + share * DAYS / 10)
    flow = rng.normal(100, 2, 400)
    return resistance * flow + rng.normal(0, 0.1, 400), flow


def test_a_rise_is_measured_and_told():
    found = hydraulic_resistance(DAYS, *noisy(0.4), 0.1)
    assert found.start_kPa_min_per_mL == pytest.approx(0.1, rel=0.01)
    assert found.end_kPa_min_per_mL == pytest.approx(0.14, rel=0.01)
    assert found.per_day == pytest.approx(0.004, rel=0.03)
    low, high = found.rise_fraction_ci95
    assert low < found.rise_fraction < high
    assert found.rise_fraction == pytest.approx(0.4, abs=0.01)
    assert found.is_clogging is True


@pytest.mark.parametrize("share", [0.0, 0.05, -0.3])
def test_no_clogging(share):
    found = hydraulic_resistance(DAYS, *noisy(share), 0.1)
    assert found.is_clogging is False
    low, high = found.rise_fraction_ci95
    assert low - 0.005 < share < high + 0.005


def test_swapped_gauges_and_no_readings():
    drop, flow = noisy(0.0)
    swapped = hydraulic_resistance(DAYS, -drop, flow, 0.1)
    assert "which is which" in swapped.refused
    assert swapped.is_clogging is None
    assert hydraulic_resistance(DAYS, np.full(400, np.nan), flow, 0.1).mean_kPa_min_per_mL is None


def test_few_readings_have_no_interval():
    found = hydraulic_resistance([0.0, 1.0], [10.0, 11.0], [100.0, 100.0], 0.1)
    assert found.rise_fraction == pytest.approx(0.1)
    assert found.is_clogging is None
    assert found.as_dict()["rise_fraction_ci95"] is None

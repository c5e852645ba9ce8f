"""The loop between made runs: where it closes, how large it is, and what does not make one."""

import numpy as np
import pytest

from surfscan.electrochemistry.loop import (
    carries,
    compare_runs,
    find_closing,
    hysteresis_decades,
    running_median,
)

AT = np.arange(-0.2, 0.6, 0.001)
LEAST = 0.15


def _noisy(current, share, seed):
    return current * (1 + share * np.random.default_rng(seed).standard_normal(current.size))


def _runs(closes=0.05, noise=0.0, healed=()):
    """Both runs ohmic over a film; near the vertex they are nearly the same."""
    forward = 1 + 4000 * np.clip(AT - 0.35, 0, None)
    reverse = 0.8 + 1800 * np.clip(AT - closes, 0, None)
    return compare_runs(AT, _noisy(forward, noise, 1), AT, _noisy(reverse, noise, 2), healed)


@pytest.mark.parametrize("noise", [0.0, 0.02, 0.1])
def test_noise_near_the_vertex_closes_no_loop(noise):
    found = find_closing(_runs(noise=noise), LEAST)
    assert found.potential_V == pytest.approx(0.05, abs=0.004)
    low, high = found.bracket_V
    assert low - 1e-9 <= found.potential_V <= high + 1e-9
    assert high - low < 0.015
    assert not found.is_open


def test_healed_rises_are_left_out():
    spiked = 1 + 4000 * np.clip(AT - 0.35, 0, None)
    spiked[300:320] = 5000.0
    reverse = 0.8 + 1800 * np.clip(AT - 0.05, 0, None)
    left_out = compare_runs(AT, spiked, AT, reverse, [(AT[300], AT[319])])
    assert left_out.potential_V.size == AT.size - 20
    assert find_closing(left_out, LEAST).potential_V == pytest.approx(0.05, abs=0.003)


def test_loop_that_stays_open_and_none():
    open_ = find_closing(_runs(closes=-0.3), LEAST)
    assert open_.potential_V is None
    assert open_.is_open
    same = compare_runs(AT, _noisy(np.ones(AT.size), 0.05, 1), AT, _noisy(np.ones(AT.size), 0.05, 2))
    none = find_closing(same, LEAST)
    assert (none.potential_V, none.bracket_V, none.is_open) == (None, None, False)


def test_hysteresis_shows_below_the_rise_where_both_runs_are_at_a_limit():
    forward = np.minimum(1 + 3e5 * np.clip(AT - 0.35, 0, None), 500.0)
    reverse = np.minimum(0.8 + 3000 * np.clip(AT - 0.05, 0, None), 500.0)
    runs = compare_runs(AT, forward, AT, reverse)
    above, below = hysteresis_decades(runs, 0.3505, has_rise=True)
    assert above is None or abs(above) < 0.05
    assert below > 2.5
    assert carries(runs, np.full(AT.size, 10.0), 0.0, 0.349)
    assert not carries(runs, np.full(AT.size, 1000.0), 0.0, 0.349)


def test_hysteresis_near_the_vertex_without_a_rise():
    reverse = np.where(AT > 0.56, 6.0, 0.9)
    whole, top = hysteresis_decades(compare_runs(AT, np.ones(AT.size), AT, reverse), -0.2, has_rise=False)
    assert whole < 0.05
    assert top == pytest.approx((0.039 * np.log10(6) + 0.011 * np.log10(0.9)) / 0.05, abs=0.02)


def test_area_and_too_few_points():
    runs = compare_runs(AT, np.ones(AT.size), AT, np.full(AT.size, 3.0))
    assert runs.uA_V_per_cm2 == pytest.approx(2 * (AT[-1] - AT[0]))
    assert runs.points == 11
    assert compare_runs(AT, np.ones(AT.size), AT[:5], np.ones(5)) is None
    assert compare_runs(AT, -np.ones(AT.size), AT, np.ones(AT.size)) is None


def test_running_median_keeps_edges_and_drops_spikes():
    values = np.array([0.0, 0, 9, 0, 0, 1, 1, 1, 1])
    assert running_median(values, 3).tolist() == [0, 0, 0, 0, 0, 1, 1, 1, 1]

from itertools import pairwise

import numpy as np
import pytest

from surfscan.electrochemistry.scans import (
    find_jumps,
    find_scans,
    find_strays,
    goes_on,
    jumps_about,
    noise_V,
    typical_step,
)

UP = np.arange(-0.6, 0.4005, 0.001)
DOWN = UP[-2::-1]


def spans(potential, boundaries=()):
    return [(s.start, s.stop, s.direction) for s in find_scans(potential, boundaries)]


def test_single_scans():
    assert spans(UP) == [(0, UP.size, 1)]
    assert spans(UP[::-1]) == [(0, UP.size, -1)]
    assert spans(np.array([0.0, 0.1, 0.2])) == [(0, 3, 1)]


@pytest.mark.parametrize("cycles", [1, 2, 5])
def test_neighbours_share_their_turning_point(cycles):
    loop = np.concatenate([UP, *[DOWN, UP[1:]] * cycles])
    found = spans(loop)
    assert len(found) == 2 * cycles + 1
    assert all(a[1] - 1 == b[0] for a, b in pairwise(found))
    assert [d for _, _, d in found] == [1, -1] * cycles + [1]


@pytest.mark.parametrize("noise", [1e-5, 2e-4, 1e-3, 3e-3])
def test_noise_makes_no_turn(noise):
    potential = np.concatenate([UP, DOWN]) + np.random.default_rng(5).normal(0, noise, 2 * UP.size - 1)
    found = spans(potential)
    assert [d for _, _, d in found] == [1, -1]
    assert found[0][1] - 1 == pytest.approx(UP.size - 1, abs=2 + 6 * noise / 1e-3)


def test_holds_belong_to_no_scan():
    rng = np.random.default_rng(2)
    rest, top = np.full(200, UP[0]), np.full(300, UP[-1])
    potential = np.concatenate([rest, UP, top, DOWN, np.full(100, DOWN[-1])])
    potential += rng.normal(0, 2e-5, potential.size)
    (a, b, up), (c, d, down) = spans(potential)
    assert (up, down) == (1, -1)
    assert a == pytest.approx(200, abs=1)
    assert b == pytest.approx(200 + UP.size, abs=1)
    assert c == pytest.approx(200 + UP.size + 299, abs=1)
    assert d == pytest.approx(500 + 2 * UP.size, abs=2)


def test_jumps_part_scans_and_a_watched_rest_potential_is_none():
    rest = -0.2 + 0.01 * np.linspace(0, 1, 3000)
    potential = np.concatenate([rest, UP, UP])
    assert find_jumps(potential).tolist() == [3000, 3000 + UP.size]
    assert spans(potential) == [(3000, 3000 + UP.size, 1), (3000 + UP.size, potential.size, 1)]


def test_boundaries_are_respected():
    assert spans(UP, [400]) == [(0, 400, 1), (400, UP.size, 1)]


def test_reversal_after_a_short_way_back():
    potential = np.concatenate([UP, DOWN[:60]])
    assert spans(potential) == [(0, UP.size, 1), (UP.size - 1, potential.size, -1)]


@pytest.mark.parametrize("potential", [np.zeros(50), np.zeros(2), np.array([0.1])])
def test_no_scan(potential):
    assert spans(potential) == []


def test_stair_steps_held_for_several_readings():
    stairs = np.repeat(np.concatenate([UP[::10], UP[::10][-2::-1]]), 8)
    assert [d for _, _, d in spans(stairs)] == [1, -1]


def test_strays_step_and_noise():
    potential = np.concatenate([UP, DOWN])
    assert find_strays(potential).size == 0
    potential[[50, 700]] += [0.5, -2]
    assert find_strays(potential).tolist() == [50, 700]
    assert typical_step(UP) == pytest.approx(0.001)
    noisy = UP + np.random.default_rng(3).normal(0, 1e-4, UP.size)
    assert noise_V(noisy) == pytest.approx(1e-4, rel=0.15)


def test_many_cycles_take_no_time():
    potential = np.tile(np.concatenate([UP[:-1], UP[:0:-1]]), 200)
    assert len(spans(potential)) == 400


@pytest.mark.parametrize("noise", [0, 3e-4, 3e-3])
def test_where_the_potential_goes_on(noise):
    loop = np.concatenate([UP, DOWN]) + np.random.default_rng(5).normal(0, noise, 2 * UP.size - 1)
    assert goes_on(loop, 300)
    assert goes_on(loop, UP.size + 400)
    assert not goes_on(loop, UP.size)
    assert not goes_on(np.concatenate([loop[:300], loop[400:]]), 300)
    assert not goes_on(np.concatenate([UP, UP]), UP.size)
    assert not goes_on(np.concatenate([np.full(50, UP[0]), UP]), 50)
    assert not goes_on(loop, 0)
    assert not goes_on(loop, loop.size)


@pytest.mark.parametrize("count", [40, 506, 5000])
def test_lines_in_no_order_jump_about(count):
    for seed in range(5):
        mixed = np.random.default_rng(seed).permutation(np.linspace(-0.6, -0.1, count))
        assert jumps_about(mixed, find_scans(mixed))


def test_cycles_do_not_jump_about():
    coarse = np.concatenate([np.linspace(-0.5, -0.4, 6), np.linspace(-0.4, -0.5, 6)] * 8)
    widening = [np.linspace(-0.5, -0.5 + 0.05 * k, 50)[:: 1 if k % 2 else -1] for k in range(1, 20)]
    for potential in (np.concatenate([UP, *[DOWN, UP[1:]] * 20]), coarse, np.concatenate(widening)):
        scans = find_scans(potential)
        assert len(scans) >= 16
        assert not jumps_about(potential, scans)

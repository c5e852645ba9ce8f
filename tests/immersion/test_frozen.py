"""Frozen sensors: found where noise shows, left alone where it does not, whatever the pages."""

import numpy as np
import pytest

from surfscan.immersion.frozen import RunFinder

S = 1_000_000
HOUR = 3600 * S


def judged(row, step_s=10, pages=(), gaps=(), least_h=1.0):
    times = np.arange(len(row)) * step_s * S
    held = np.full(len(row), step_s * S)
    held[0] = 0
    held[list(gaps)] = -1
    mark = 7 * np.arange(len(row))
    finder = RunFinder(round(least_h * HOUR))
    steps = np.diff(row, prepend=np.nan)
    for part in np.split(np.arange(len(row)), pages):
        if len(part):
            finder.take(times[part], held[part], row[part], steps[part], mark[part])
    return finder.finish()


def noisy(n=20_000, sd=0.05, seed=1):
    return np.round(37 + np.random.default_rng(seed).normal(0, sd, n), 2)


@pytest.mark.parametrize("pages", [(), (1, 2, 5000, 5001, 6500, 12_000)])
def test_found_with_its_place(pages):
    row = noisy()
    row[5000:6000] = 37.04
    row[4999] = row[6000] = 37.1
    found = judged(row, pages=pages)
    assert len(found.frozen) == 1
    (one,) = found.frozen
    assert (one.start_us, one.end_us, one.value, one.readings) == (50_000 * S, 60_000 * S, 37.04, 1000)
    assert (one.start_mark, one.end_mark) == (35_000, 42_000)
    assert not found.is_constant


def test_frozen_to_the_end_and_twice():
    """Two dead stretches of one length do not hide one another."""
    row = noisy()
    row[3000:4000] = 36.99
    row[-1000:] = 37.07
    assert [one.readings for one in judged(row).frozen] == [1000, 1000]


def test_sound_sensors_are_left_alone():
    """No run of 60 noisy logs is taken as frozen, with noise of half a digit to thirty."""
    for seed in range(60):
        sd = (0.005, 0.02, 0.3)[seed % 3]
        found = judged(noisy(5000, sd, seed), step_s=60, least_h=0.1)
        assert found.frozen == ()


def test_a_gap_or_a_missing_reading_ends_a_run():
    row = noisy()
    row[5000:6000] = 37.04
    assert all(one.readings <= 502 for one in judged(row, gaps=(5500,)).frozen)
    row[5500] = np.nan
    assert all(one.readings <= 502 for one in judged(row).frozen)


def test_noise_below_the_digit_is_doubtful_not_frozen():
    """A slow wave read to 0.1: long stretches of one value are what it should read."""
    t = np.arange(40_000)
    rng = np.random.default_rng(3)
    row = np.round(37 + 0.12 * np.sin(t / 3000) + rng.normal(0, 0.01, len(t)), 1)
    assert judged(row).frozen == ()


def test_constant_cannot_be_told():
    found = judged(np.full(2000, 37.0))
    assert found.is_constant
    assert found.frozen == found.doubtful == ()


def test_short_and_empty():
    assert not judged(np.full(10, 37.0)).is_constant
    assert judged(np.full(50, np.nan)).frozen == ()

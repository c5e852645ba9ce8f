"""Gaps: which hide a floor, which may hide a pit, and which are gaps and no more."""

import numpy as np
import pytest

from surfscan.segmentation.unseen import deepen_floors, find_gaps, sunken_gaps


def _field():
    depth = np.random.default_rng(0).normal(0, 0.1, (60, 80)).astype(np.float32)
    return depth, np.zeros(depth.shape, bool)


def _sunken(depth, taken, least_px):
    gaps = find_gaps(depth)
    n, of = sunken_gaps(depth, gaps, taken, rim_um=0.3, least_px=least_px)
    labels = np.zeros(depth.shape, np.int32)
    labels.flat[gaps.at] = of
    return n, labels


def test_patches_hang_together_over_corners():
    depth, _ = _field()
    depth[3, 4] = depth[4, 5] = depth[0, 0] = depth[59, 79] = np.nan
    gaps = find_gaps(depth)
    assert gaps.n == 3
    assert gaps.name[gaps.at == 3 * 80 + 4] == gaps.name[gaps.at == 4 * 80 + 5]
    assert sum(len(name) for name, _ in gaps.neighbours()) == 3 + 3 + 8 + 8


def test_a_gap_that_walls_enclose_is_as_deep_as_its_edge():
    depth, _ = _field()
    depth[19:28, 29:38] += 3
    holed = depth.copy()
    holed[22:25, 32:35] = np.nan
    gaps = find_gaps(holed)
    depth[22:25, 32:35] = 2.0
    deepen_floors(depth, gaps, least_um=1.0)
    ring = depth[21:26, 31:36].copy()
    ring[1:4, 1:4] = -1
    assert depth[22:25, 32:35] == pytest.approx(ring.max())


def test_a_gap_that_runs_out_of_a_pit_is_left_as_bridged():
    depth, _ = _field()
    depth[19:28, 29:38] += 3
    holed = depth.copy()
    holed[20:24, 34:50] = np.nan
    before = depth.copy()
    deepen_floors(depth, find_gaps(holed), least_um=1.0)
    assert np.array_equal(depth, before)


def test_a_gap_with_a_sunken_rim_is_listed():
    depth, taken = _field()
    depth[19:27, 29:37] = 0.8
    depth[20:26, 30:36] = np.nan
    depth[40:46, 50:56] = np.nan
    n, labels = _sunken(depth, taken, 7)
    assert n == 1
    assert np.array_equal(labels > 0, np.isnan(depth) & (np.arange(80) < 40))


def test_small_gaps_known_pits_and_gaps_at_the_edge_are_left_out():
    depth, taken = _field()
    for r, c in ((10, 10), (30, 30), (0, 60)):
        depth[max(r - 1, 0) : r + 5, c - 1 : c + 5] = 0.8
        depth[r : r + 4, c : c + 4] = np.nan
    depth[50, 50] = np.nan
    depth[49:52, 49:52] = np.where(np.isnan(depth[49:52, 49:52]), np.nan, 0.9)
    taken[29:36, 29:36] = True
    n, labels = _sunken(depth, taken, 7)
    assert n == 1
    assert labels[11, 11] == 1


def test_no_gap_at_all():
    depth, taken = _field()
    n, labels = _sunken(depth, taken, 1)
    assert n == 0
    deepen_floors(depth, find_gaps(depth), 1.0)
    assert not labels.any()

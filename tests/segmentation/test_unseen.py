"""Gaps whose rim slopes down are listed, others are not."""

import numpy as np

from surfscan.segmentation.unseen import sunken_gaps


def _field():
    depth = np.random.default_rng(0).normal(0, 0.1, (60, 80)).astype(np.float32)
    return depth, np.zeros(depth.shape, bool)


def test_a_gap_with_a_sunken_rim_is_listed():
    depth, taken = _field()
    depth[19:27, 29:37] = 0.8
    depth[20:26, 30:36] = np.nan
    depth[40:46, 50:56] = np.nan
    n, labels = sunken_gaps(depth, taken, rim_um=0.3, least_px=7)
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
    n, labels = sunken_gaps(depth, taken, rim_um=0.3, least_px=7)
    assert n == 1
    assert labels[11, 11] == 1


def test_no_gap_at_all():
    depth, taken = _field()
    n, labels = sunken_gaps(depth, taken, rim_um=0.3, least_px=1)
    assert n == 0
    assert not labels.any()

"""Basins and prominence, against hand-made surfaces and a slow direct search."""

import cv2
import numpy as np
import pytest

from surfscan.segmentation.basins import part_basins


def _flat_roughness(row, col):
    return np.ones(np.shape(row))


def _parted(depth, least, share=0.0, rim=0.0):
    where = np.flatnonzero(depth > 0)
    return where, part_basins(depth, where, _flat_roughness, least=least, share=share, rim=rim)


def _two_wells(saddle):
    depth = np.zeros((5, 11), np.float32)
    depth[2, 1:10] = [1, 5, 9, 5, saddle, 4, 7, 4, 1]
    return depth


def test_two_wells_stay_apart_where_the_saddle_is_high():
    _, found = _parted(_two_wells(3.0), least=3.5)
    assert found.peak.tolist() == [2 * 11 + 3, 2 * 11 + 7]
    assert found.depth.tolist() == [9, 7]
    assert found.prominence.tolist() == [6, 4]
    assert len(np.unique(found.of)) == 2
    assert np.isinf(found.joined_at).all()


def test_two_wells_become_one_where_it_is_low():
    _, found = _parted(_two_wells(3.9), least=3.5)
    assert len(found.peak) == 1
    assert found.depth.tolist() == [9]
    assert sorted(set(found.joined_at.tolist())) == pytest.approx([3.9, np.inf])


def test_least_prominence_as_a_share_of_depth():
    assert len(_parted(_two_wells(3.0), least=0.0, share=0.5)[1].peak) == 2
    assert len(_parted(_two_wells(3.0), least=0.0, share=0.6)[1].peak) == 1


def test_prominence_of_a_well_by_itself_counts_from_its_rim():
    depth = np.zeros((3, 3), np.float32)
    depth[1, 1] = 5
    _, found = _parted(depth, least=1.0, rim=0.75)
    assert found.prominence.tolist() == [4.25]


def test_a_plateau_is_one_basin():
    depth = np.zeros((12, 12), np.float32)
    depth[2:9, 3:10] = 4
    assert len(_parted(depth, least=0.1)[1].peak) == 1


def test_wells_at_opposite_edges_do_not_touch():
    depth = np.zeros((4, 6), np.float32)
    depth[1, 5], depth[2, 0] = 3, 4
    _, found = _parted(depth, least=100.0)
    assert len(found.peak) == 2


def test_nothing_in_nothing_out():
    _, found = _parted(np.zeros((4, 4), np.float32), least=1.0)
    assert found.of.size == found.peak.size == 0


def _prominences_by_flooding(depth, least):
    """Number of wells with at least that prominence: levels fall one by one, parts meet and merge."""
    order = np.argsort(-depth.ravel(), kind="stable")
    order = order[depth.ravel()[order] > 0]
    parent, top, count = {}, {}, 0

    def find(a):
        while parent[a] != a:
            a = parent[a]
        return a

    rows, cols = depth.shape
    for p in order.tolist():
        parent[p], top[p] = p, depth.flat[p]
        r, c = divmod(p, cols)
        for q in (
            (r + i) * cols + c + j
            for i in (-1, 0, 1)
            for j in (-1, 0, 1)
            if 0 <= r + i < rows and 0 <= c + j < cols
        ):
            if q in parent:
                a, b = find(p), find(q)
                if a != b:
                    low, high = (a, b) if top[a] < top[b] else (b, a)
                    count += top[low] - depth.flat[p] >= least
                    parent[low] = high
    return count + len({find(p) for p in parent})


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("least", [0.3, 0.8, 1.5])
def test_as_many_basins_as_a_flood_finds(seed, least):
    depth = cv2.GaussianBlur(np.random.default_rng(seed).standard_normal((60, 70)), (0, 0), 1.5)
    depth = (3 * depth / depth.std()).astype(np.float32)
    _, found = _parted(depth, least=least)
    assert len(found.peak) == _prominences_by_flooding(depth, least)


def test_pixels_hang_together_with_the_deepest_above_the_level_they_joined_at():
    depth = cv2.GaussianBlur(np.random.default_rng(9).standard_normal((80, 80)), (0, 0), 2)
    depth = (3 * depth / depth.std()).astype(np.float32)
    where, found = _parted(depth, least=2.0)
    for level in (0.5, 1.5, 3.0):
        for k in range(len(found.peak)):
            mine = (found.of == k) & (depth.flat[where] > level) & (found.joined_at > level)
            mask = np.zeros(depth.size, np.uint8)
            mask[where[mine]] = 1
            if found.depth[k] > level:
                parts, _ = cv2.connectedComponents(mask.reshape(depth.shape), connectivity=8)
                assert parts == 2


def test_the_same_on_any_number_of_threads():
    depth = cv2.GaussianBlur(np.random.default_rng(1).standard_normal((900, 900)), (0, 0), 1.2)
    depth = depth.astype(np.float32)
    before = cv2.getNumThreads()
    try:
        cv2.setNumThreads(1)
        one = _parted(depth, least=0.1)[1]
    finally:
        cv2.setNumThreads(before)
    many = _parted(depth, least=0.1)[1]
    assert np.array_equal(one.of, many.of)
    assert np.array_equal(one.joined_at, many.joined_at)

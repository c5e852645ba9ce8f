"""Mouths of smooth pits of known radius, and of pits with gaps and dips beside them."""

import numpy as np
import pytest

from surfscan.segmentation.basins import part_basins
from surfscan.segmentation.mouths import draw_mouths, fill_holes

PROFILES = {
    "cone": lambda r: 1 - r,
    "paraboloid": lambda r: 1 - r**2,
    "half-ellipsoid": lambda r: np.sqrt(np.maximum(1 - r**2, 0)),
    "steep wall": lambda r: np.minimum(8 * (1 - r), 1),
}


def _drawn(depth, share=0.25, noise=0.05, pixel_size=(1.0, 1.0)):
    where = np.flatnonzero(depth > noise)
    basins = part_basins(
        depth, where, lambda r, c: np.full(np.shape(r), noise), least=3.0, share=0.2, rim=1.0
    )
    n = len(basins.peak)
    return draw_mouths(depth, where, basins, share * basins.depth, np.full(n, noise), pixel_size)


def _pit(profile, radius, shape=(160, 160), centre=(80.3, 79.6), depth=10.0):
    y, x = np.mgrid[0 : shape[0], 0 : shape[1]]
    rho = np.hypot(y - centre[0], x - centre[1]) / radius
    return np.where(rho < 1, depth * PROFILES[profile](rho), 0).astype(np.float32)


@pytest.mark.parametrize("profile", PROFILES)
@pytest.mark.parametrize("radius", [12, 30, 60])
def test_area_of_the_mouth(profile, radius):
    labels = _drawn(_pit(profile, radius))
    assert labels.max() == 1
    assert np.count_nonzero(labels) == pytest.approx(np.pi * radius**2, rel=0.07)


@pytest.mark.parametrize("profile", PROFILES)
def test_small_pits_come_out_to_within_a_pixel_of_radius(profile):
    for radius in (2.0, 3.0, 5.0):
        area = np.count_nonzero(_drawn(_pit(profile, radius)))
        assert np.sqrt(area / np.pi) == pytest.approx(radius, abs=0.6)


@pytest.mark.parametrize("profile", PROFILES)
@pytest.mark.parametrize("pixel", [(1.0, 2.0), (2.0, 1.0), (1.3, 0.6)])
def test_mouths_are_as_round_in_lengths_where_pixels_are_not_square(profile, pixel):
    radius = 50.0
    y, x = np.mgrid[0:240, 0:240] - 119.7
    rho = np.hypot(x * pixel[0], y * pixel[1]) / radius
    depth = np.where(rho < 1, 10 * PROFILES[profile](rho), 0).astype(np.float32)
    mouth = _drawn(depth, pixel_size=pixel) == 1
    assert np.count_nonzero(mouth) * pixel[0] * pixel[1] == pytest.approx(np.pi * radius**2, rel=0.07)
    assert np.ptp(np.flatnonzero(mouth.any(axis=0))) * pixel[0] == pytest.approx(2 * radius, abs=5)
    assert np.ptp(np.flatnonzero(mouth.any(axis=1))) * pixel[1] == pytest.approx(2 * radius, abs=5)
    assert depth[~mouth].sum() < 2e-3 * depth.sum()


def test_touching_pits_share_a_border_and_keep_their_sizes():
    left, right = (
        _pit("paraboloid", 25, centre=(80, 55), depth=9),
        _pit("paraboloid", 25, centre=(80, 98), depth=8),
    )
    labels = _drawn(np.maximum(left, right))
    assert labels.max() == 2
    one, two = labels[80, 55], labels[80, 98]
    assert {one, two} == {1, 2}
    true = (left > 0) & (left >= right)
    overlap = np.count_nonzero(true & (labels == one)) / np.count_nonzero(true | (labels == one))
    assert overlap > 0.85


def test_a_dip_of_the_surface_beside_a_shallow_pit_stays_outside():
    depth = _pit("paraboloid", 12, depth=0.5)
    depth[78:83, 90:130] = np.maximum(depth[78:83, 90:130], 0.14)
    labels = _drawn(depth, share=0.2, noise=0.05)
    assert np.count_nonzero(labels[:, 100:]) == 0
    assert np.count_nonzero(labels) == pytest.approx(np.pi * 144, rel=0.15)


def test_a_peak_inside_a_pit_belongs_to_it():
    depth = _pit("steep wall", 30)
    depth[78:82, 78:82] = 0
    labels = _drawn(depth)
    assert (labels[76:84, 76:84] == 1).all()


def test_holes_between_pits_and_large_ones_stay_open():
    labels = np.zeros((30, 30), np.int32)
    labels[5:25, 5:15], labels[5:25, 15:25] = 1, 2
    labels[10:14, 13:17] = 0
    labels[20, 8] = 0
    before = labels.copy()
    before[20, 8] = 1
    fill_holes(labels, np.bincount(labels.ravel()))
    assert np.array_equal(labels, before)
    ring = np.ones((20, 20), np.int32)
    ring[3:17, 3:17] = 0
    ring = np.pad(ring, 2)
    kept = ring.copy()
    fill_holes(ring, np.bincount(ring.ravel()))
    assert np.array_equal(ring, kept)


def test_no_basins_no_labels():
    assert not _drawn(np.zeros((20, 20), np.float32)).any()

"""Chance dips: the counts that theory gives, and surfaces made to have them."""

import cv2
import numpy as np
import pytest

from surfscan.segmentation.chance import deepest_by_chance, patchiness, tail_factor


def _normal(seed, shape=(800, 800), length=4.0):
    z = np.random.default_rng(seed).standard_normal(shape).astype(np.float32)
    z = cv2.GaussianBlur(z, (0, 0), length / 2)
    return z / z.std()


def test_deepest_by_chance_solves_its_equation():
    for dips, expected in ((10, 0.2), (2000, 0.2), (2000, 5.0)):
        u = deepest_by_chance(dips, expected)
        assert dips * u / 2.5 * np.exp((6.25 - u * u) / 2) == pytest.approx(expected, rel=1e-6)


def test_chance_dips_of_normal_surfaces_come_as_often_as_said():
    """Parts beyond 2.5 Sq tell how many go beyond the level that one part in two fields would pass."""
    found, said = 0, 0.0
    for seed in range(8):
        z = _normal(seed)
        dips, _ = cv2.connectedComponents((z > 2.5).astype(np.uint8))
        level = deepest_by_chance(dips - 1, 3.0)
        found += cv2.connectedComponents((z > level).astype(np.uint8))[0] - 1
        said += 3.0
    assert found == pytest.approx(said, rel=0.5)


def test_patches_of_white_noise_scatter_with_the_root_of_their_area():
    z = np.random.default_rng(0).normal(0, 2.0, (600, 600)).astype(np.float32)
    found = patchiness(z, np.zeros(z.shape, np.int32))
    assert found.at(np.array([1.0, 4.0, 16.0])) == pytest.approx([2, 0.5, 0.125], rel=0.06)
    assert found.at(np.array([200.0])) == pytest.approx([2 / 200], rel=0.5)


def test_patches_keep_clear_of_pits():
    z = np.random.default_rng(0).normal(0, 1.0, (400, 400)).astype(np.float32)
    labels = np.zeros(z.shape, np.int32)
    labels[100:200, 50:150] = 1
    z[98:202, 48:152] += 100
    assert patchiness(z, labels).at(np.array([1.0]))[0] == pytest.approx(1.0, rel=0.05)


def test_where_pits_leave_nothing_the_whole_field_stands_in():
    z = np.random.default_rng(0).normal(0, 3.0, (40, 40)).astype(np.float32)
    assert patchiness(z, np.ones(z.shape, np.int32)).at(np.array([5.0]))[0] > 0


def test_tail_factor_of_normal_and_of_skewed_surfaces():
    z = np.random.default_rng(1).standard_normal(400_000)
    assert tail_factor(z) == pytest.approx(1.0, abs=0.05)
    for g in (0.1, 0.2):
        skewed = np.expm1(g * z) / g
        assert tail_factor(skewed) == pytest.approx(np.expm1(4.6 * g) / g / 4.6 / skewed.std(), rel=0.06)
    assert tail_factor(-np.expm1(0.2 * z)) == 1.0


def test_tail_factor_of_too_few_or_constant_values():
    assert tail_factor(np.arange(10.0)) == 1.0
    assert tail_factor(np.zeros(5000)) == 1.0

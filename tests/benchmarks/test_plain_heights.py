"""The plain way does its job where the job is easy: else beating it would mean nothing."""

import csv

import numpy as np
import plain_heights
import pytest


@pytest.fixture(scope="module")
def easy():
    """Heights of a tilted plate with 25 parabolic pits 8 µm deep, and its depth map."""
    y, x = np.mgrid[:300, :300]
    depth = np.zeros(x.shape)
    for row in range(30, 300, 60):
        for col in range(30, 300, 60):
            depth = np.maximum(depth, 8 * (1 - ((y - row) ** 2 + (x - col) ** 2) / 12.0**2))
    rng = np.random.default_rng(0)
    heights = 0.02 * x + rng.normal(0, 0.2, x.shape) - depth
    heights[rng.random(x.shape) < 0.02] = np.nan
    return heights.astype(np.float32), depth


def test_plain_way_finds_easy_pits(easy, tmp_path):
    """All 25, their greatest depth within 10 %, their volume within 15 %."""
    heights, depth = easy
    labels, below = plain_heights.label_pits(heights)
    table = plain_heights.measure_pits(labels, below, 1.0)
    assert len(table["label"]) == 25
    np.testing.assert_allclose(table["intensity_max"], 8, rtol=0.1)
    assert table["volume_um3"].sum() == pytest.approx(depth.sum(), rel=0.15)
    np.save(tmp_path / "easy.npy", heights)
    plain_heights.main(str(tmp_path / "easy.npy"), str(tmp_path / "easy.csv"), "1")
    with (tmp_path / "easy.csv").open(newline="") as stream:
        assert len(list(csv.DictReader(stream))) == 25


def test_plain_form_is_the_polynomial():
    """What is a polynomial of second order comes back as it is."""
    y, x = np.mgrid[:60, :80] / 40.0
    form = 3 + x - 2 * y + 0.5 * x * y - y**2
    np.testing.assert_allclose(plain_heights.robust_form(form + 1e-6 * np.sin(99 * x)), form, atol=1e-5)


def test_plain_mean_keeps_a_constant_across_gaps():
    """Weights sum to one over what was measured."""
    heights = np.full((60, 60), 4.0)
    heights[20:25] = np.nan
    np.testing.assert_allclose(plain_heights.gaussian_mean(heights, 8.0), 4.0, atol=1e-12)

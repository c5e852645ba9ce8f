"""Sums on a reduced grid are those of the full one."""

import numpy as np
import pytest
from scipy import ndimage

from surfscan.preparation import pyramid
from surfscan.preparation.pyramid import halvings, weighted_sums


def reduced(image, sigmas):
    """Gaussian sums of one image, strip by strip."""
    out = np.full(image.shape, np.nan, np.float32)

    def use(rows, sums):
        out[rows] = sums[0]

    weighted_sums(image.shape, lambda rows: (image[rows],), sigmas, use)
    return out


def full(image, sigmas):
    """The same from every pixel, float64."""
    return ndimage.gaussian_filter(
        image.astype(np.float64), (sigmas[1], sigmas[0]), mode="constant", truncate=7.0
    )


def test_halvings_grow_with_the_width():
    """None below 5 px, one more for every doubling."""
    assert [halvings(s) for s in (4.9, 5.0, 9.9, 10.0, 20.0, 80.0)] == [0, 1, 1, 2, 3, 5]


@pytest.mark.parametrize("sigmas", [(5.0, 5.0), (9.0, 6.0), (15.0, 15.0), (14.0, 40.0), (60.0, 60.0)])
@pytest.mark.parametrize("shape", [(333, 401), (1100, 90), (7, 300), (1, 1)])
def test_white_noise(sigmas, shape):
    """Every wave there is, to edges and corners: within 5e-6 of the noise."""
    image = np.random.default_rng(0).normal(size=shape).astype(np.float32)
    np.testing.assert_allclose(reduced(image, sigmas), full(image, sigmas), atol=5e-6)


@pytest.mark.parametrize("period_px", [2.0, 2.1, 3.9, 4.1, 8.2, 16.3])
def test_single_waves_that_halving_would_fold(period_px):
    """Waves near twice, four and eight pixels leave less than 1e-5 of themselves, away from the edge."""
    image = np.cos(2 * np.pi * np.arange(600) / period_px).astype(np.float32)[None].repeat(600, 0)
    exact = np.exp(-2 * (np.pi * 15 / period_px) ** 2)
    got = reduced(image, (15.0, 15.0))[200:400, 200:400]
    assert np.abs(got - exact * image[200:400, 200:400]).max() < 1e-5


def test_constant_stays_constant():
    """The response at no frequency is one, to rounding."""
    got = reduced(np.ones((500, 500), np.float32), (12.0, 12.0))
    np.testing.assert_allclose(got[150:350, 150:350], 1, atol=2e-6)


def test_strips_and_threads_change_nothing(monkeypatch):
    """The same bits on one thread."""
    image = np.random.default_rng(0).normal(size=(1300, 200)).astype(np.float32)
    two = reduced(image, (15.0, 15.0))
    monkeypatch.setattr(pyramid, "_THREADS", 1)
    np.testing.assert_array_equal(two, reduced(image, (15.0, 15.0)))

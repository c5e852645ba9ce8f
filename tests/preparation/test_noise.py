"""Noise of known size, alone and among pits and product."""

import cv2
import numpy as np
import pytest

from surfscan.preparation.noise import SpreadMap, bands, pixel_noise, scale_spread, spread_map

SHAPE = (256, 256)


def white(sigma, seed=0, shape=SHAPE):
    return np.random.default_rng(seed).normal(0, sigma, shape).astype(np.float32)


@pytest.fixture(scope="module")
def crowd(draw_discs):
    """Contrast of a field of which 30 % is pits."""
    return draw_discs(
        SHAPE, [(r, c, 8.8, 0.4) for r in np.arange(14, 256, 28.5) for c in np.arange(14, 256, 28.5)]
    )


@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("sigma", [0.005, 0.05])
def test_pixel_noise_is_that_of_white_noise(sigma, seed):
    """The standard deviation of Gaussian noise within 4 %."""
    assert pixel_noise(white(sigma, seed)) == pytest.approx(sigma, rel=0.04)


def test_pixel_noise_does_not_see_shading_or_pits(crowd):
    """A slope adds nothing, 30 % of pits less than a tenth."""
    slope = np.linspace(0, 0.8, 256, dtype=np.float32)[None, :]
    assert pixel_noise(white(0.02) + slope) == pytest.approx(0.02, rel=0.04)
    assert pixel_noise(white(0.02) + crowd) == pytest.approx(0.02, rel=0.10)


@pytest.mark.parametrize("shape", [(2, 50), (50, 2), (1, 1)])
def test_pixel_noise_of_less_than_three_lines_is_zero(shape):
    """There is no second difference to take."""
    assert pixel_noise(white(0.1, shape=shape)) == 0


def test_spread_of_gaussian_metal():
    """Every tile within 10 %, their mean within 3 %."""
    grid = spread_map(white(0.03)).grid
    assert grid.shape == (4, 4)
    np.testing.assert_allclose(grid, 0.03, rtol=0.10)
    assert grid.mean() == pytest.approx(0.03, rel=0.03)


def test_spread_is_that_of_metal_among_pits(draw_discs, crowd):
    """Hardly more with 5 % of the field dark, and less than doubled with 35 %, when all of it varies by four
    times the noise.
    """
    few = draw_discs(SHAPE, [(r, c, 8.0, 0.4) for r in (40, 90, 160, 220) for c in (50, 120, 170, 230)])
    assert np.mean(few > 0.2) == pytest.approx(0.05, abs=0.005)
    assert spread_map(white(0.04, 1) + few).grid.mean() == pytest.approx(0.04, rel=0.12)
    crowded = white(0.04, 1) + crowd
    assert crowded.std() > 0.16
    assert 0.03 < spread_map(crowded).grid.mean() < 0.08


def test_spread_is_that_of_metal_beside_bright_product():
    """Tiles full of rough bright product take the spread of the metal around."""
    contrast = white(0.02)
    contrast[:128, :128] = white(0.1)[:128, :128] - 0.5
    np.testing.assert_allclose(spread_map(contrast).grid, 0.02, rtol=0.15)


def test_spread_follows_the_place():
    """Noise that grows across the picture is seen to grow."""
    contrast = white(1.0) * np.linspace(0.01, 0.05, 256, dtype=np.float32)
    full = spread_map(contrast).full()
    assert full.shape == SHAPE
    assert full[:, 20].mean() < 0.026 and full[:, 236].mean() > 0.034
    assert (np.diff(full.mean(axis=0)) >= -1e-6).all()


def test_spread_of_the_specimen_only():
    """What lies off the region does not enter, even as not-a-number."""
    contrast = white(0.02)
    valid = np.ones(SHAPE, bool)
    valid[:100] = False
    contrast[:100] = np.nan
    np.testing.assert_allclose(spread_map(contrast, valid).grid, 0.02, rtol=0.15)


@pytest.mark.parametrize("shape", [(16, 16), (1, 40), (130, 3), (70, 200)])
def test_spread_of_small_pictures(shape):
    """Any size gives a spread above 0, even where nothing varies."""
    spread = spread_map(np.zeros(shape, np.float32))
    assert spread.full().shape == shape
    assert (spread.full() > 0).all()


def test_spread_at_places_equals_the_full_map():
    """`at` reads what `full` draws."""
    spread = SpreadMap(np.random.default_rng(4).uniform(0.01, 0.1, (3, 5)).astype(np.float32), (190, 333))
    rows, cols = np.mgrid[:190, :333]
    np.testing.assert_allclose(spread.at(rows.ravel(), cols.ravel()), spread.full().ravel(), rtol=2e-3)
    assert spread.at(np.zeros(0), np.zeros(0)).shape == (0,)
    np.testing.assert_allclose(spread.rows(37, 120), spread.full()[37:120], rtol=1e-6)


def test_bands_cover_small_pictures_and_sample_large_ones():
    """All rows of a small picture once; of a large one a share, spread evenly to the end."""
    seen = np.concatenate([np.arange(1000)[b] for b in bands(1000, 1000)])
    assert np.array_equal(seen, np.arange(1000))
    large = list(bands(8192, 8192))
    rows = sum(b.stop - b.start for b in large)
    assert 8192 * 8192 / 20 < rows * 8192 < 8192 * 8192 / 10
    assert large[0].start == 0 and large[-1].stop > 8192 - 2000
    assert len({b.stop - b.start for b in large[:-1]}) == 1


def test_patchiness_of_white_noise_falls_with_size():
    """Means over patches of white noise scatter by sigma over their side."""
    sizes, spreads = scale_spread(white(0.08), np.ones(SHAPE, np.uint8))
    assert sizes.tolist() == [8, 16, 32]
    np.testing.assert_allclose(spreads[:2], 0.08 / sizes[:2], rtol=0.15)


def test_patchiness_of_grains_does_not_fall():
    """Grains larger than the patches differ as wholes."""
    grains = np.kron(white(0.05, 5, (8, 8)), np.ones((32, 32), np.float32))
    _, spreads = scale_spread(grains + white(0.02), np.ones(SHAPE, np.uint8))
    np.testing.assert_allclose(spreads, 0.05, rtol=0.35)


def test_patchiness_is_that_of_bare_metal(crowd):
    """Pixels that are not valid do not enter."""
    valid = cv2.compare(crowd, 0.001, cv2.CMP_LE) & 1
    _, bare = scale_spread(white(0.02), valid)
    _, pitted = scale_spread(white(0.02) + crowd, valid)
    np.testing.assert_allclose(pitted, bare, rtol=0.05)


@pytest.mark.parametrize("shape", [(30, 30), (4, 200)])
def test_patchiness_of_small_pictures_is_not_known(shape):
    """Fewer than 30 patches: a single zero."""
    sizes, spreads = scale_spread(white(0.02, shape=shape), np.ones(shape, np.uint8))
    assert sizes.tolist() == [0] and spreads.tolist() == [0]

"""The metal level against light that is known: it follows the light, and neither pits nor product."""

import numpy as np
import pytest

from surfscan.preparation.light import metal_level, reduction_for

SCALES = {"scale_px": 64.0, "fine_px": 32.0}
SHAPE = (256, 256)


def uneven_light(shape, slope=0.3, vignetting=0.25):
    """Grey of bare metal under a lamp to one side and vignetting; falls to 0.45 of its top."""
    y, x = np.linspace(-1, 1, shape[0])[:, None], np.linspace(-1, 1, shape[1])[None, :]
    return 180 * (1 - slope * (x + 1) / 2 - vignetting * (y * y + x * x) / 2)


def noisy(grey, seed=1, sigma=3.0):
    return grey + np.random.default_rng(seed).normal(0, sigma, grey.shape)


@pytest.fixture(scope="module")
def crowd(draw_discs):
    """Contrast of a field of which 30 % is pits."""
    return draw_discs(
        SHAPE, [(r, c, 8.8, 0.4) for r in np.arange(14, 256, 28.5) for c in np.arange(14, 256, 28.5)]
    )


@pytest.mark.parametrize("dtype, factor", [(np.uint8, 1.0), (np.uint16, 200.0), (np.float32, 0.01)])
def test_level_follows_uneven_light_under_many_pits(crowd, dtype, factor):
    """Within 1 % nearly everywhere, for every dtype, although 30 % of the field is pits."""
    assert np.mean(crowd > 0.2) == pytest.approx(0.3, abs=0.03)
    light = uneven_light(SHAPE)
    grey = noisy(light * (1 - crowd)) * factor
    level = metal_level((grey if dtype == np.float32 else np.rint(grey)).astype(dtype), **SCALES)
    full = level.full()
    assert full.shape == SHAPE and full.dtype == np.float32
    error = full / factor / light - 1
    assert np.percentile(np.abs(error), 99) < 0.01
    assert np.abs(error).max() < 0.04, "at the corners, where the light falls fastest"
    assert abs(error.mean()) < 0.008


def test_large_pit_is_bridged(draw_discs):
    """The level does not dip under a pit wider than the Gaussian that follows the light."""
    light = uneven_light(SHAPE)
    pit = draw_discs(SHAPE, [(128, 128, 40, 0.5)])
    level = metal_level(noisy(light * (1 - pit)).astype(np.float32), **SCALES).full()
    assert np.abs(level / light - 1)[pit > 0.01].max() < 0.01


@pytest.mark.parametrize("radius", [20, 45])
def test_product_that_a_step_sets_apart_stays_out(draw_discs, radius):
    """A patch of product, a third brighter than metal, does not raise the level."""
    product = draw_discs(SHAPE, [(100, 140, radius, 0.35)])
    level = metal_level(noisy(170 * (1 + product)).astype(np.float32), **SCALES).full()
    np.testing.assert_allclose(level, 170, rtol=0.005)


def test_glare_is_followed():
    """Brightness that rises gradually is light."""
    rows, cols = np.mgrid[:256, :256]
    glare = 0.3 * np.exp(-(((rows - 120) ** 2 + (cols - 130) ** 2) / 150**2))
    level = metal_level(noisy(170 * (1 + glare)).astype(np.float32), **SCALES).full()
    np.testing.assert_allclose(level, 170 * (1 + glare), rtol=0.02)


def test_pixels_off_the_specimen_have_no_say():
    """Whatever lies outside the given region, the level on it is the same, and right."""
    light = uneven_light(SHAPE)
    valid = np.ones(SHAPE, bool)
    valid[:, :101] = False
    levels = []
    for outside in (0, 255):
        grey = np.where(valid, noisy(light), outside).astype(np.float32)
        levels.append(metal_level(grey, valid=valid, **SCALES).full()[valid])
    assert np.array_equal(*levels)
    assert np.percentile(np.abs(levels[0] / light[valid] - 1), 99) < 0.01


def test_unrecorded_pixels_off_the_specimen_are_harmless():
    """Not-a-number outside the region does not spread."""
    grey = noisy(np.full(SHAPE, 150.0)).astype(np.float32)
    valid = np.ones(SHAPE, bool)
    valid[50:90, 50:90] = False
    grey[~valid] = np.nan
    np.testing.assert_allclose(metal_level(grey, valid=valid, **SCALES).full(), 150, rtol=0.01)


@pytest.mark.parametrize("factor", [2.0, 2.0**-12, 3.7e4])
def test_level_is_proportional_to_grey(crowd, factor):
    """Twice the exposure is twice the level: no absolute grey enters."""
    grey = noisy(uneven_light(SHAPE) * (1 - crowd)).astype(np.float32)
    once = metal_level(grey, **SCALES).full()
    np.testing.assert_allclose(
        metal_level(grey * np.float32(factor), **SCALES).full(), once * factor, rtol=1e-4
    )


@pytest.mark.parametrize("shape", [(16, 16), (1, 120), (120, 1), (7, 50), (65, 63)])
def test_small_pictures(shape):
    """An even picture of any size has an even level."""
    level = metal_level(np.full(shape, 90, np.uint8), **SCALES).full()
    assert level.shape == shape
    np.testing.assert_allclose(level, 90, rtol=1e-3)


def test_large_pictures_are_reduced_and_odd_sizes_covered():
    """The grid is at most 8 times coarser than the picture, which need not be a multiple of it."""
    assert [reduction_for((n, 4 * n)) for n in (16, 128, 256, 512, 4096)] == [1, 2, 4, 8, 8]
    light = uneven_light((515, 640))
    level = metal_level(light.astype(np.float32), **SCALES)
    assert level.reduction == 8 and level.grid.shape == (65, 80)
    assert np.percentile(np.abs(level.full() / light - 1), 99) < 0.01


def test_black_areas_say_nothing_about_light():
    """Half of the picture without any light does not pull the level of the rest down."""
    grey = noisy(np.full(SHAPE, 160.0)).astype(np.float32)
    grey[:, :140] = 0
    np.testing.assert_allclose(metal_level(grey, **SCALES).full()[:, 145:], 160, rtol=0.02)


@pytest.mark.parametrize("width", [16, 30, 60])
@pytest.mark.parametrize("upright", [True, False])
def test_narrow_region(width, upright):
    """A strut a few blocks wide is enough, and does not make the fit singular."""
    light = uneven_light((512, 512), 0.3, 0.1)
    valid = np.zeros(light.shape, bool)
    valid[:, 200 : 200 + width] = True
    light, valid = (light, valid) if upright else (light.T, valid.T)
    grey = np.where(valid, noisy(light), 0).astype(np.float32)
    level = metal_level(grey, valid=valid, **SCALES).full()
    assert np.abs(level / light - 1)[valid].max() < 0.02


def test_fewer_metal_columns_than_the_fit_has_orders():
    """A picture three columns wide of which one is dark gives the grey of the other two."""
    grey = np.full((50, 3), 200, np.uint8)
    grey[:, 0] = 30
    np.testing.assert_allclose(metal_level(grey, **SCALES).full()[:, 1:], 200, rtol=0.01)


def test_same_picture_same_level():
    """Bit for bit."""
    grey = noisy(uneven_light(SHAPE)).astype(np.uint8)
    assert np.array_equal(metal_level(grey, **SCALES).grid, metal_level(grey.copy(), **SCALES).grid)

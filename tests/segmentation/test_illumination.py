import numpy as np
import pytest

from surfscan.segmentation.illumination import fit_illumination, refit_on_metal


def field(patch, ratio=0.5, slope=0.5, n=90):
    """Grey under slanting light with a patch, and the light itself."""
    rows, cols = np.mgrid[:n, :n] / n
    light = 180 * (1 - slope * (0.6 * rows + 0.4 * cols**2))
    noise = np.random.default_rng(1).normal(1, 0.03, (n, n))
    return light * np.where(patch, ratio, 1.0) * noise, light


def patch_over(share, n=90):
    out = np.zeros((n, n), bool)
    out[:, n - round(share * n) :] = True
    return out


@pytest.mark.parametrize("share", [0.0, 0.1, 0.4])
@pytest.mark.parametrize("slope", [0.0, 0.6])
def test_light_is_found_under_a_large_patch_on_the_shaded_side(share, slope):
    grey, light = field(patch_over(share), slope=slope)
    found = fit_illumination(grey, np.ones(grey.shape, bool)).at(grey.shape)
    relative = found / light
    assert relative.max() / relative.min() < 1.12


def test_light_from_metal_alone_bridges_what_is_not_metal():
    patch = patch_over(0.4)
    grey, light = field(patch)
    found = refit_on_metal(grey, ~patch).at(grey.shape)
    np.testing.assert_allclose(found[~patch], light[~patch], rtol=0.02)
    np.testing.assert_allclose(found, light, rtol=0.15)


def test_a_part_is_cut_from_the_whole():
    grey, _ = field(patch_over(0.2))
    found = fit_illumination(grey, np.ones(grey.shape, bool))
    whole = found.at((300, 200))
    np.testing.assert_array_equal(found.at((300, 200), slice(40, 60), slice(5, 90)), whole[40:60, 5:90])

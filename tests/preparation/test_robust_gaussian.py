"""Robust Gaussian regression: against the fit written out, and against pits."""

import numpy as np
import pytest

from surfscan.preparation import robust_gaussian as robust_module
from surfscan.preparation.gaussian import ALPHA, gaussian_filter
from surfscan.preparation.robust_gaussian import ALPHA_OF_SECOND_DEGREE, TUKEY_LIMIT, robust_gaussian

PIXEL = (1.0, 1.0)


def written_out(heights, cutoff, degree, rounds):
    """Local polynomials fitted by least squares, pixel by pixel, with Tukey's weights between rounds."""
    rows, cols = np.mgrid[: heights.shape[0], : heights.shape[1]]
    alpha = ALPHA_OF_SECOND_DEGREE if degree == 2 else ALPHA
    measured = np.isfinite(heights)
    weight, z = measured.astype(float), np.where(measured, heights, 0)
    out = np.empty(heights.shape)
    powers = [(i, j) for i in range(degree + 1) for j in range(degree + 1 - i)]
    for _ in range(rounds):
        for r in range(heights.shape[0]):
            for c in range(heights.shape[1]):
                x, y = (cols - c) / cutoff, (rows - r) / cutoff
                root = np.sqrt(weight * np.exp(-np.pi * (x**2 + y**2) / alpha**2)).ravel()
                terms = np.stack([(x**i * y**j).ravel() for i, j in powers], axis=1)
                out[r, c] = np.linalg.lstsq(terms * root[:, None], z.ravel() * root, rcond=None)[0][0]
        residual = z - out
        limit = TUKEY_LIMIT * np.median(np.abs(residual[measured]))
        weight = np.where(measured, np.maximum(1 - (residual / limit) ** 2, 0) ** 2, 0)
    return out


@pytest.mark.parametrize("degree", [0, 1, 2])
def test_fit_written_out(monkeypatch, degree):
    """Three rounds with gaps, pits and edges."""
    rng = np.random.default_rng(0)
    heights = rng.normal(0, 0.1, (24, 30)) + 0.05 * np.arange(30)
    heights[5:9, 5:9] -= 2
    heights[rng.random(heights.shape) < 0.05] = np.nan
    monkeypatch.setattr(robust_module, "_MOST_ROUNDS", 3)
    np.testing.assert_allclose(
        robust_gaussian(heights, 12.0, PIXEL, degree=degree), written_out(heights, 12.0, degree, 3), atol=1e-5
    )


def test_pits_hardly_pull_it(rough, dig):
    """Where 15 % of the field is pits the plain mean sinks by 0.4 µm, this one by a fortieth of that."""
    rng = np.random.default_rng(0)
    y, x = np.mgrid[:200, :220].astype(np.float32)
    wavy = 2 * np.sin(x / 40) + 0.1 * y + rough(rng, (200, 220), 0.2, 0)
    pits = dig(rng, wavy.shape, share=0.15, radius_px=(4, 9), depth=lambda r: 0.6 * r, kind="cap")
    sunk = [
        float(np.mean(f(wavy - pits, 60.0, PIXEL) - f(wavy, 60.0, PIXEL)))
        for f in (robust_gaussian, gaussian_filter)
    ]
    assert sunk[1] < -0.35
    assert abs(sunk[0]) < abs(sunk[1]) / 40


def test_second_degree_follows_form_to_the_corners():
    """A paraboloid comes back as it is, gaps and edges included."""
    y, x = np.mgrid[-60:61, -50:51].astype(float)
    bowl = 0.01 * x * x - 0.004 * x * y + 0.02 * y + 5
    holed = bowl + np.random.default_rng(0).normal(0, 1e-3, bowl.shape)
    holed[30:45, 20:40] = np.nan
    np.testing.assert_allclose(robust_gaussian(holed, 30.0, PIXEL), bowl, atol=3e-3)


def test_nodes_between_pixels(monkeypatch, rough, dig):
    """What is computed on nodes and interpolated differs by less than 2e-3 of the roughness."""
    rng = np.random.default_rng(1)
    pits = dig(rng, (150, 160), share=0.15, radius_px=(4, 9), depth=lambda r: 0.6 * r, kind="cap")
    heights = (rough(rng, (150, 160), 0.3, 0) - pits).astype(np.float32)
    heights[rng.random(heights.shape) < 0.03] = np.nan
    some = robust_gaussian(heights, 62.0, PIXEL)
    monkeypatch.setattr(robust_module, "_NODES_PER_CUTOFF", 1000)
    every = robust_gaussian(heights, 62.0, PIXEL)
    assert 0 < np.abs(some - every).max() < 2e-3 * 0.3
    assert some.dtype == np.float32


def test_pixels_that_are_not_square_and_region():
    """The cut-off is in µm both ways; what lies outside the region does not count."""
    rng = np.random.default_rng(0)
    heights = rng.normal(0, 0.1, (120, 60))
    region = np.ones(heights.shape, bool)
    region[:, 40:] = False
    far = heights + np.where(region, 0, 100)
    a = robust_gaussian(far, 20.0, (2.0, 1.0), region=region)
    heights[:, 40:] = np.nan
    np.testing.assert_array_equal(a, robust_gaussian(heights, 20.0, (2.0, 1.0)))
    turned = robust_gaussian(heights.T, 20.0, (1.0, 2.0)).T
    np.testing.assert_allclose(a[:, :40], turned[:, :40], atol=1e-9)


def test_flat_surface_and_empty_surface():
    """No residual at all ends the rounds; no point at all gives nothing."""
    np.testing.assert_allclose(robust_gaussian(np.full((30, 30), 4.0), 10.0, PIXEL), 4.0, atol=1e-9)
    assert np.isnan(robust_gaussian(np.full((30, 30), np.nan), 10.0, PIXEL)).all()


def test_nonsense_is_refused():
    """Degree, type and cut-off."""
    with pytest.raises(ValueError, match="degree"):
        robust_gaussian(np.zeros((9, 9)), 5.0, PIXEL, degree=3)
    with pytest.raises(ValueError, match="floating-point"):
        robust_gaussian(np.zeros((9, 9), int), 5.0, PIXEL)
    with pytest.raises(ValueError, match="shorter than two pixels"):
        robust_gaussian(np.zeros((9, 9)), 1.0, PIXEL)

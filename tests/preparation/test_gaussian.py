"""Gaussian filter with gaps: against the sum written out, and against its own laws."""

import numpy as np
import pytest

from surfscan.preparation import gaussian as gaussian_module
from surfscan.preparation.gaussian import (
    ALPHA,
    gaussian_filter,
    gaussian_weights,
    l_filter,
    s_filter,
    transmission,
)


def written_out(heights, cutoff, pixel):
    """Weighted mean of the measured points at every pixel, point by point."""
    rows, cols = np.mgrid[: heights.shape[0], : heights.shape[1]]
    measured = np.isfinite(heights)
    out = np.empty(heights.shape)
    for r in range(heights.shape[0]):
        for c in range(heights.shape[1]):
            distance = ((cols - c) * pixel[0]) ** 2 + ((rows - r) * pixel[1]) ** 2
            weight = np.exp(-np.pi * distance / (ALPHA * cutoff) ** 2) * measured
            out[r, c] = np.sum(weight * np.where(measured, heights, 0)) / np.sum(weight)
    return out


@pytest.mark.parametrize(
    ("cutoff", "pixel"), [(8.0, (1.0, 1.0)), (6.0, (0.5, 1.5)), (30.0, (1.0, 1.0)), (40.0, (1.3, 0.9))]
)
def test_sum_written_out(cutoff, pixel):
    """With gaps, edges and pixels that are not square, narrow and wide."""
    rng = np.random.default_rng(0)
    heights = rng.normal(size=(40, 50)) + 30
    heights[rng.random(heights.shape) < 0.05] = np.nan
    heights[10:16, 20:27] = np.nan
    np.testing.assert_allclose(
        gaussian_filter(heights, cutoff, pixel), written_out(heights, cutoff, pixel), atol=2e-5
    )


def test_single_precision_with_a_large_offset():
    """Float32 heights a millimetre up are filtered as they would be at zero."""
    heights = np.random.default_rng(0).normal(size=(80, 80))
    low = gaussian_filter(heights, 10.0, (1.0, 1.0))
    high = gaussian_filter((heights + 1000).astype(np.float32), 10.0, (1.0, 1.0))
    assert high.dtype == np.float32 and low.dtype == np.float64
    np.testing.assert_allclose(high - 1000.0, low, atol=1e-4)


@pytest.mark.parametrize("cutoff", [8.0, 60.0])
def test_plane_stays_inside_and_constant_stays_everywhere(cutoff):
    """Symmetric weights leave a plane; weights that sum to one leave a constant, at edges and gaps too."""
    y, x = np.mgrid[:200, :200].astype(float)
    plane = gaussian_filter(0.3 * x - 0.2 * y, cutoff, (1.0, 1.0))
    inner = slice(70, 130)
    np.testing.assert_allclose(plane[inner, inner], (0.3 * x - 0.2 * y)[inner, inner], atol=1e-4)
    constant = np.full((200, 200), 7.0)
    constant[50:54] = np.nan
    np.testing.assert_allclose(gaussian_filter(constant, cutoff, (1.0, 1.0)), 7.0, atol=1e-6)


def test_s_and_l_filters_part_the_surface_and_keep_gaps():
    """They add up to the heights; nothing is filled in."""
    rng = np.random.default_rng(0)
    heights = rng.normal(size=(90, 70)).astype(np.float32)
    heights[rng.random(heights.shape) < 0.1] = np.nan
    low, high = (f(heights, 20.0, (1.0, 1.0)) for f in (s_filter, l_filter))
    np.testing.assert_array_equal(np.isnan(low), np.isnan(heights))
    np.testing.assert_array_equal(np.isnan(high), np.isnan(heights))
    np.testing.assert_allclose(low + high, heights, atol=1e-6)


@pytest.mark.parametrize("cutoff", [8.0, 40.0])
def test_output_ends_where_no_point_is_near(cutoff):
    """In the middle of a wide gap there is nothing to average."""
    heights = np.ones((300, 300), np.float32)
    heights[100:200, 100:200] = np.nan
    low = gaussian_filter(heights, cutoff, (1.0, 1.0))
    assert np.isnan(low[150, 150]) and np.isfinite(low[102, 150])
    assert np.isnan(gaussian_filter(np.full((20, 20), np.nan), cutoff, (1.0, 1.0))).all()


def test_weights_and_transmission():
    """Sum one, symmetric, 7e-7 of the centre at their ends, half at the cut-off."""
    weights = gaussian_weights(40.0, 0.5)
    assert len(weights) == 161 and weights.sum() == pytest.approx(1, abs=1e-14)
    np.testing.assert_array_equal(weights, weights[::-1])
    assert weights[0] / weights[80] == pytest.approx(6.6e-7, rel=0.02)
    assert transmission(40.0, 40.0) == pytest.approx(0.5)


def test_same_bits_on_one_thread(monkeypatch):
    """Narrow and wide."""
    heights = np.random.default_rng(0).normal(size=(1100, 60)).astype(np.float32)
    heights[3, 4] = np.nan
    two = [gaussian_filter(heights, cutoff, (1.0, 1.0)) for cutoff in (10.0, 60.0)]
    monkeypatch.setattr(gaussian_module, "_THREADS", 1)
    for before, cutoff in zip(two, (10.0, 60.0), strict=True):
        np.testing.assert_array_equal(before, gaussian_filter(heights, cutoff, (1.0, 1.0)))


@pytest.mark.parametrize(
    ("cutoff", "pixel"), [(0.0, 1.0), (np.nan, 1.0), (5.0, 0.0), (5.0, np.inf), (1.9, 1.0)]
)
def test_nonsense_is_refused(cutoff, pixel):
    """Cut-offs and pixels that are none, and waves that are not in the data."""
    with pytest.raises(ValueError, match=r"above 0|shorter than two pixels"):
        gaussian_weights(cutoff, pixel)
    with pytest.raises(ValueError, match="floating-point"):
        gaussian_filter(np.zeros((4, 4), int), 8.0, (1.0, 1.0))

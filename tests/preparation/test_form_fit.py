"""Starts, pits left out by place, uncertainty of the fit."""

import numpy as np
import pytest

from surfscan.preparation.form_fit import (
    refine,
    start_cylinder,
    start_polynomials,
    take_sample,
)
from surfscan.preparation.form_models import Cylinder, Frame, Polynomial

SHAPE = (200, 240)
FRAME = Frame.of((0, SHAPE[0] - 1, 0, SHAPE[1] - 1), (1.0, 1.0))
ROWS, COLS = np.arange(SHAPE[0]), np.arange(SHAPE[1])
BENT = Polynomial(FRAME, np.array([2.0, 5.0, -3.0, 4.0, 1.0, -2.0]))


def error(model, truth):
    return float(np.sqrt(np.mean((model.grid(ROWS, COLS) - truth.grid(ROWS, COLS)) ** 2)))


def test_sample_is_even_and_less_the_level():
    """Every fourth pixel, centred, in float32, region and level respected."""
    heights = np.add.outer(np.arange(400.0) * 1000, np.arange(400.0))
    sample = take_sample(heights, None, 100, 10.0)
    assert sample.heights.shape == (100, 100) and sample.heights.dtype == np.float32
    np.testing.assert_array_equal(sample.heights, heights[np.ix_(sample.rows, sample.cols)] - 10)
    assert sample.rows[0] == 1 and sample.rows[-1] == 397
    region = np.zeros(heights.shape, bool)
    region[:200] = True
    half = take_sample(heights, region, 100, 10.0)
    assert np.isnan(half.heights[half.rows >= 200]).all() and np.isfinite(half.heights[half.rows < 200]).all()


def test_sample_of_a_small_region_is_denser():
    """A hundredth of the field gives as many points as it has."""
    heights = np.zeros((1000, 1000), np.float32)
    region = np.zeros(heights.shape, bool)
    region[400:500, 400:500] = True
    assert np.count_nonzero(np.isfinite(take_sample(heights, region, 128, 0.0).heights)) >= 2000


@pytest.mark.parametrize("place", ["uniform", "side"])
def test_start_finds_the_surface_among_flat_floored_pits(rough, dig, place):
    """With 30 % of the field 20 Sq deep, the likeliest start is within half an Sq."""
    rng = np.random.default_rng(3)
    pits = dig(rng, SHAPE, share=0.3, radius_px=(8, 20), depth=lambda _: 4.0, kind="cylinder", place=place)
    heights = BENT.grid(ROWS, COLS) + rough(rng, SHAPE, 0.2, 0) - pits
    start = start_polynomials(take_sample(heights, None, 512, 0.0), FRAME, 6)[0]
    assert error(start, BENT) < 0.1


def test_start_of_a_steep_arch(rough):
    """A cylinder whose flanks fall 45 degrees at the field's ends, from polynomials that cannot follow it."""
    arch = Cylinder(FRAME, np.array([1.0, 3.0, 0.3, 0.05, 0.7]))
    heights = arch.grid(ROWS, COLS) + rough(np.random.default_rng(0), SHAPE, 0.05, 0)
    sample = take_sample(heights, None, 512, 0.0)
    bent = start_polynomials(sample, FRAME, 6)
    assert error(bent[0], arch) > 0.5
    assert error(start_cylinder(sample, FRAME, bent), arch) < 0.02


def test_refined_fit_is_least_squares_where_there_are_no_pits(rough):
    """Plain least squares over everything, within a tenth of its own uncertainty."""
    heights = BENT.grid(ROWS, COLS) + rough(np.random.default_rng(1), SHAPE, 0.2, 0)
    x, y = np.meshgrid(FRAME.x(COLS), FRAME.y(ROWS))
    terms = BENT.slopes(x.ravel(), y.ravel())
    plain = Polynomial(FRAME, np.linalg.lstsq(terms, heights.ravel(), rcond=None)[0])
    fitted, spread = refine(take_sample(heights, None, 512, 0.0), BENT)
    assert spread.sq_um == pytest.approx(0.2, rel=0.02)
    assert spread.kept_fraction > 0.95
    assert error(fitted, plain) < 0.3 * spread.uncertainty_um


@pytest.mark.parametrize("correlation_px", [0.0, 4.0])
def test_uncertainty_is_the_scatter_of_the_fit(rough, correlation_px):
    """Root mean square error over 30 surfaces, also where the roughness is correlated: within 35 %."""
    stated, true = [], []
    for seed in range(30):
        heights = BENT.grid(ROWS, COLS) + rough(np.random.default_rng(seed), SHAPE, 0.2, correlation_px)
        fitted, spread = refine(take_sample(heights, None, 512, 0.0), BENT)
        stated.append(spread.uncertainty_um**2)
        true.append(error(fitted, BENT) ** 2)
    assert np.sqrt(np.mean(stated)) == pytest.approx(np.sqrt(np.mean(true)), rel=0.35)


def test_too_few_points_leave_the_start_as_it_is():
    """Six terms cannot be refined with ten points."""
    heights = np.full((10, 10), np.nan, np.float32)
    heights[3] = 1.0
    frame = Frame.of((0, 9, 0, 9), (1.0, 1.0))
    model = Polynomial(frame, np.zeros(6))
    fitted, spread = refine(take_sample(heights, None, 512, 0.0), model)
    assert fitted is model and np.isnan(spread.uncertainty_um)

"""The likelihood engine: values, derivatives, maxima, laws."""

import numpy as np
import pytest

from surfscan.estimates import maxima_likelihood as engine
from surfscan.estimates.maxima_likelihood import (
    AT_LEAST,
    AT_MOST,
    MEASURED,
    SHAPE_LIMITS,
    covariance,
    fit_batch,
    level_factor,
    log_likelihood,
)

KINDS = np.array([[MEASURED] * 8 + [AT_LEAST] * 2 + [AT_MOST] * 2])


@pytest.mark.parametrize("shape", [-0.3, 0.0, 0.25])
def test_value_by_the_definition(shape):
    """Density, survival and distribution function, written out."""
    x = np.array([1.0, 2.0, 3.5])
    t = np.exp(-(x - 1.5) / 2) if shape == 0 else (1 + shape * (x - 1.5) / 2) ** (-1 / shape)
    expected = np.log(t[0] ** (1 + shape) * np.exp(-t[0]) / 2) + np.log(1 - np.exp(-t[1])) - t[2]
    kinds = np.array([[MEASURED, AT_LEAST, AT_MOST]])
    found = log_likelihood(x[None], kinds, np.array([1.5]), np.array([2.0]), np.array([shape]))
    assert found == pytest.approx(expected)


@pytest.mark.parametrize(
    ("shape", "x", "kind", "expected"),
    [
        (-0.5, 99.0, MEASURED, -np.inf),
        (-0.5, 99.0, AT_LEAST, -np.inf),
        (-0.5, 99.0, AT_MOST, 0.0),
        (0.5, -99.0, MEASURED, -np.inf),
        (0.5, -99.0, AT_LEAST, 0.0),
        (0.5, -99.0, AT_MOST, -np.inf),
    ],
)
def test_value_beyond_the_support(shape, x, kind, expected):
    one = np.array([1.0])
    found = log_likelihood(np.array([[x]]), np.array([[kind]]), 0 * one, one, shape * one)
    assert found[0] == expected


@pytest.mark.parametrize("shape", [-0.2, -1e-3, 0.0, 1e-4, 1.9e-3, 2.1e-3, 0.3])
@pytest.mark.parametrize("variate", [-1.0, 0.0, 2.0, 6.9])
def test_derivatives_against_differences(shape, variate):
    """Gradient and Hessian agree with central differences, on both sides of the series near shape 0."""
    x = np.random.default_rng(3).gumbel(size=(1, 12))
    theta = np.array([[float(level_factor(variate, shape)), 0.3, shape]])
    y = np.array([variate])
    _, slope, curve = engine._derivatives(x, KINDS, theta, y, False)
    for i in range(3):
        step = np.zeros((1, 3))
        step[0, i] = 1e-5
        up, down = (engine._derivatives(x, KINDS, theta + s, y, False) for s in (step, -step))
        assert (up[0] - down[0]) / 2e-5 == pytest.approx(slope[:, i], rel=1e-5, abs=1e-5)
        assert (up[1] - down[1]) / 2e-5 == pytest.approx(curve[:, i], rel=1e-5, abs=1e-5)
    if shape == 0:
        flat = engine._derivatives(x, KINDS, theta, y, True)
        assert flat[0] == pytest.approx(engine._derivatives(x, KINDS, theta, y, False)[0])
        assert flat[1][:, :2] == pytest.approx(slope[:, :2])
        assert flat[2][:, :2, :2] == pytest.approx(curve[:, :2, :2])


def _drawn(sets, blocks, shape, seed=1):
    values = level_factor(np.random.default_rng(seed).gumbel(size=(sets, blocks)), shape)
    kinds = np.full(values.shape, MEASURED)
    kinds[:, 3], kinds[:, 7] = AT_LEAST, AT_MOST
    values[:, 7] += 0.5
    return values, kinds


@pytest.mark.parametrize("gumbel", [True, False])
def test_nothing_nearby_is_likelier(gumbel):
    """Every fit is a maximum: small moves in any direction lower the likelihood."""
    values, kinds = _drawn(40, 40, 0.0)
    fit = fit_batch(values, kinds, gumbel=gumbel)
    assert fit.converged.all()
    rng = np.random.default_rng(5)
    for _ in range(30):
        move = rng.normal(0, 0.03, (3, 40))
        shape = np.zeros(40) if gumbel else np.clip(fit.shape + move[2], *SHAPE_LIMITS)
        there = log_likelihood(values, kinds, fit.level + move[0], fit.scale * np.exp(move[1]), shape)
        assert (there <= fit.log_likelihood + 1e-9).all()


def test_global_maximum_on_a_grid():
    """No shape and scale on a coarse grid over the whole range beats the fit."""
    values, kinds = _drawn(5, 30, 0.2, seed=2)
    fit = fit_batch(values, kinds, gumbel=False)
    for shape in np.linspace(*SHAPE_LIMITS, 21):
        for location in np.linspace(-1, 1.5, 11):
            for scale in np.geomspace(0.4, 3, 11):
                full = [np.full(5, v) for v in (location, scale, shape)]
                assert (log_likelihood(values, kinds, *full) <= fit.log_likelihood + 1e-9).all()


def test_sets_do_not_touch_each_other():
    """A set fitted alone, and in a batch taken in parts, comes out the same."""
    values, kinds = _drawn(700, 40, -0.1)
    together = fit_batch(values, kinds, 3.0, gumbel=False)
    alone = fit_batch(values[611:612], kinds[611:612], 3.0, gumbel=False)
    assert together.level[611] == pytest.approx(alone.level[0], rel=1e-12)
    assert together.shape[611] == pytest.approx(alone.shape[0], rel=1e-9)


@pytest.mark.parametrize("gumbel", [True, False])
def test_shift_and_scale(gumbel):
    values, kinds = _drawn(10, 40, 0.1)
    fit, moved = (fit_batch(v, kinds, 4.0, gumbel=gumbel) for v in (values, 1e4 + 1e-3 * values))
    assert moved.level == pytest.approx(1e4 + 1e-3 * fit.level, rel=1e-10)
    assert moved.scale == pytest.approx(1e-3 * fit.scale, rel=1e-5)
    assert moved.shape == pytest.approx(fit.shape, abs=1e-5)


def test_level_is_the_quantile_of_the_same_fit():
    """Another variate is another way to write the same distribution."""
    values, kinds = _drawn(10, 40, 0.1)
    plain, far = (fit_batch(values, kinds, y, gumbel=False) for y in (0.0, 6.9))
    assert far.log_likelihood == pytest.approx(plain.log_likelihood, abs=1e-9)
    assert far.level == pytest.approx(plain.level + plain.scale * level_factor(6.9, plain.shape), rel=1e-6)


@pytest.mark.parametrize("variate", [-1.5, 0.0, 0.7, 0.8, 2.0, 6.9])
@pytest.mark.parametrize("gumbel", [True, False])
def test_held_level_against_a_search(variate, gumbel):
    """The profile likelihood is what a general optimiser finds, started near or not."""
    from scipy.optimize import minimize

    values, kinds = _drawn(1, 40, 0.05, seed=6)
    best = fit_batch(values, kinds, variate, gumbel=gumbel)
    level = best.level + 1.5 * best.level_error
    near = fit_batch(values, kinds, variate, gumbel=gumbel, level=level, near=best)
    cold = fit_batch(values, kinds, variate, gumbel=gumbel, level=level)

    def loss(p):
        shape = np.zeros(1) if gumbel else np.clip(p[1:], *SHAPE_LIMITS)
        scale = np.exp(p[:1])
        location = level - scale * level_factor(variate, shape)
        value = log_likelihood(values, kinds, location, scale, shape)[0]
        return -value if np.isfinite(value) else 1e9

    options = {"xatol": 1e-9, "fatol": 1e-11, "maxiter": 4000}
    reached = []
    for scale in (0.6, 1.0, 1.5):
        for shape in (-0.2, 0.0, 0.2, 0.4):
            start = [np.log(scale)] if gumbel else [np.log(scale), shape]
            reached.append(-minimize(loss, start, method="Nelder-Mead", options=options).fun)
    assert near.level == pytest.approx(level)
    assert near.log_likelihood[0] == pytest.approx(max(reached), abs=1e-6)
    assert cold.log_likelihood[0] == pytest.approx(near.log_likelihood[0], abs=1e-8)


def test_shape_stays_within_its_range():
    """Values piled up against an upper limit ask for a shape below the range; the limit is returned."""
    values = (1 - np.random.default_rng(0).random((1, 60)) ** 3)[:, :]
    fit = fit_batch(values, np.full(values.shape, MEASURED), gumbel=False)
    assert fit.shape[0] == SHAPE_LIMITS[0]
    assert fit.converged[0]
    kinds = np.full(60, MEASURED)
    assert covariance(values[0], kinds, fit.level[0], fit.scale[0], -0.5, gumbel=False) is None


def test_covariance_is_in_units_of_scale_itself():
    """Its upper left corner is the square of the location's error; Gumbel's corner follows scale² / n."""
    values = np.random.default_rng(1).gumbel(size=(1, 4000))
    kinds = np.full(values.shape, MEASURED)
    fit = fit_batch(values, kinds, gumbel=True)
    matrix = covariance(values[0], kinds[0], fit.level[0], fit.scale[0], 0.0, gumbel=True)
    assert matrix[0, 0] == pytest.approx(fit.level_error[0] ** 2)
    assert matrix * 4000 / fit.scale[0] ** 2 == pytest.approx(
        np.array([[1.10867, 0.25702], [0.25702, 0.60793]]), rel=0.06
    )

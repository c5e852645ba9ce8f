"""Shapes: what they give at places, how they change with their parameters."""

import numpy as np
import pytest

from surfscan.preparation.form_models import Cylinder, Frame, Polynomial

SHAPE = (41, 61)
FRAME = Frame.of((0, SHAPE[0] - 1, 0, SHAPE[1] - 1), (2.0, 1.0))
ROWS, COLS = np.arange(SHAPE[0]), np.arange(SHAPE[1])


def places():
    x, y = np.meshgrid(FRAME.x(COLS), FRAME.y(ROWS))
    return x.ravel(), y.ravel()


MODELS = [
    Polynomial(FRAME, np.array([3.0])),
    Polynomial(FRAME, np.array([3.0, -1.0, 2.0])),
    Polynomial(FRAME, np.array([3.0, -1.0, 2.0, 4.0, -0.5, 1.5])),
    Cylinder(FRAME, np.array([3.0, 2.0, 0.6, -0.2, 0.3])),
    Cylinder(FRAME, np.array([3.0, 2.0, 0.6, -0.2, -0.3])),
]


def test_frame_is_centred_and_keeps_the_pixels_shape():
    """0 in the middle, just under 1 at the end of the longer side, one length in both directions."""
    assert FRAME.x(np.array([30.0])) == 0 and FRAME.y(np.array([20.0])) == 0
    assert FRAME.x(COLS)[-1] == pytest.approx(FRAME.half_x) == pytest.approx(60 / 61)
    assert FRAME.length == pytest.approx(61.0)
    assert FRAME.step_x == pytest.approx(2 * FRAME.step_y)


@pytest.mark.parametrize("model", MODELS)
def test_grid_agrees_with_places(model):
    """The quick float32 grid and the float64 values at places are the same surface."""
    np.testing.assert_allclose(model.grid(ROWS, COLS).ravel(), model.at(*places()), atol=2e-5)


@pytest.mark.parametrize("model", MODELS)
def test_slopes_are_derivatives(model):
    """Differences of the surface for small changes of each parameter."""
    x, y = places()
    slopes = model.slopes(x, y)
    assert slopes.shape == (x.size, model.size)
    for k in range(model.size):
        step = np.zeros(model.size)
        step[k] = 1e-5
        difference = (model.moved(step).at(x, y) - model.moved(-step).at(x, y)) / 2e-5
        np.testing.assert_allclose(slopes[:, k], difference, rtol=1e-5, atol=1e-5)


def test_cylinder_is_exact():
    """Every point is at the radius from the axis, tilted and turned."""
    radius = FRAME.length / 0.3
    model = MODELS[3]
    x, y = places()
    z0, tilt, axis, apex, _ = model.parameters
    length = FRAME.length
    stretch = np.hypot(1, tilt / length)
    direction = np.array([np.cos(axis), np.sin(axis), tilt / length]) / stretch
    on_axis = np.array([-np.sin(axis) * apex * length, np.cos(axis) * apex * length, z0 - radius * stretch])
    points = np.stack([x * length, y * length, model.at(x, y)], axis=1) - on_axis
    distance = np.linalg.norm(points - np.outer(points @ direction, direction), axis=1)
    np.testing.assert_allclose(distance, radius, rtol=1e-12)


def test_cylinder_near_a_polynomial_has_its_curvature():
    """Where the sag is small both are the same surface, whatever the axis."""
    for axis in (0.0, 0.4, np.pi / 2, 2.5):
        cylinder = Cylinder(FRAME, np.array([3.0, 0.5, axis, 0.1, 0.01]))
        x, y = places()
        terms = Polynomial(FRAME, np.zeros(6)).slopes(x, y)
        bent = Polynomial(FRAME, np.linalg.lstsq(terms, cylinder.at(x, y), rcond=None)[0])
        again = Cylinder.near(bent)
        np.testing.assert_allclose(again.at(x, y), cylinder.at(x, y), atol=1e-4)
        assert again.parameters[4] == pytest.approx(0.01, rel=1e-3)


def test_flanks_of_a_cylinder_end():
    """Beyond its own width a cylinder goes on without an error, finite and never upwards."""
    narrow = Cylinder(FRAME, np.array([0.0, 0.0, 0.0, 0.0, 1.6]))
    heights = narrow.grid(ROWS, COLS)
    assert np.isfinite(heights).all() and heights.max() == 0

"""Grids of square cells, and the fit on them."""

import cv2
import numpy as np
import pytest

from surfscan.preparation.registration_fit import Start, level_of, refine


def smooth(x=0.0, y=0.0):
    """Smooth random ground, shifted; the middle of a larger picture, so that nothing comes in at the edge."""
    noise = np.random.default_rng(2).standard_normal((220, 220)).astype(np.float32)
    picture = cv2.GaussianBlur(noise, (0, 0), 5) * 20
    matrix = np.array([[1.0, 0, x], [0, 1, y]])
    moved = cv2.warpAffine(picture, matrix, picture.shape[::-1], flags=cv2.INTER_LINEAR)
    return np.ascontiguousarray(moved[30:190, 30:190])


def test_cells_begin_at_the_outer_corner():
    """A ramp of lengths keeps its values: cell k of side g has its centre at (k + 1/2) g."""
    x = (np.arange(120) + 0.5) * 0.5
    ramp = np.tile(x.astype(np.float32), (90, 1))
    level = level_of(ramp, None, (0.5, 0.5), 1.7)
    inner = np.arange(3, level.picture.shape[1] - 3)
    assert level.picture[10, inner] == pytest.approx((inner + 0.5) * 1.7, abs=0.05)


def test_what_was_not_recorded_weighs_nothing():
    """Not-a-number and what a field leaves out."""
    picture = smooth()
    picture[40:60] = np.nan
    field = np.ones(picture.shape, bool)
    field[:, :30] = False
    level = level_of(picture, field, (1.0, 1.0), 1.0)
    assert not level.field[45:55].any()
    assert not level.field[:, :29].any()
    assert np.isfinite(level.picture).all()


@pytest.mark.parametrize(("x", "y"), [(13 / 32, -22 / 32), (2.3125, 1.59375)])
def test_a_shift_to_a_small_part_of_a_cell(x, y):
    """Gain and offset of the grey make no difference."""
    pair = [level_of(p, None, (1.0, 1.0), 1.0) for p in (smooth(), 3 * smooth(x, y) + 7)]
    fit = refine(*pair, start=Start(0.0, 1.0, 0.0, 0.0, 0.0), held=True)
    c, s = np.cos(fit.turn), np.sin(fit.turn)
    assert c * 79.5 - s * 79.5 + fit.x - 79.5 == pytest.approx(x, abs=0.02)
    assert s * 79.5 + c * 79.5 + fit.y - 79.5 == pytest.approx(y, abs=0.02)
    assert fit.correlation > 0.99
    assert fit.uncertainties[1] == 0


def test_nothing_to_fit():
    """An overlap of too few cells, or of one grey."""
    pair = [level_of(smooth(), None, (1.0, 1.0), 1.0)] * 2
    assert refine(*pair, start=Start(0.0, 1.0, 155.0, 155.0, 0.0), held=True) is None
    flat = level_of(np.zeros((50, 50)), None, (1.0, 1.0), 1.0)
    assert refine(flat, flat, start=Start(0.0, 1.0, 0.0, 0.0, 0.0), held=True) is None

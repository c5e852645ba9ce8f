"""First guesses on a coarse grid."""

import math

import cv2
import numpy as np
import pytest

from surfscan.preparation.registration_fit import level_of
from surfscan.preparation.registration_search import find_starts


def blobs(seed=4, size=200):
    """Smooth random ground, clearly uneven."""
    noise = np.random.default_rng(seed).standard_normal((size, size)).astype(np.float32)
    return cv2.GaussianBlur(noise, (0, 0), 6) > 0.02


def moved(picture, turn, scale=1.0):
    middle = ((picture.shape[1] - 1) / 2, (picture.shape[0] - 1) / 2)
    matrix = cv2.getRotationMatrix2D(middle, turn, scale)
    return cv2.warpAffine(picture.astype(np.float32), matrix, picture.shape[::-1]) > 0.5


def starts(before, after, *, held=True, turn=180.0, shift=60.0):
    pair = [level_of(p, None, (1.0, 1.0), 2.0) for p in (before, after)]
    return find_starts(*pair, scale_held=held, max_rotation_deg=turn, max_shift=shift)


@pytest.mark.parametrize("turn", [0, 37, -122, 178])
def test_the_first_is_near(turn):
    """Best first, to the step of the search."""
    best = starts(blobs(), moved(blobs(), turn))[0]
    assert abs((-math.degrees(best.turn) - turn + 180) % 360 - 180) <= 4
    assert best.correlation > 0.6


def test_scale_among_the_first():
    """Turn from the spectra, scales one by one."""
    best = starts(blobs(), moved(blobs(), 25, 1.3), held=False)[0]
    assert best.scale == pytest.approx(1.3, rel=0.06)


def test_limits_are_kept():
    """No turn and no shift beyond what was allowed."""
    found = starts(blobs(), moved(blobs(), 90), turn=20.0, shift=10.0)
    assert max(abs(math.degrees(s.turn)) for s in found) <= 20
    for s in found:
        c, d = math.cos(s.turn), math.sin(s.turn)
        x, y = c * 49.5 - d * 49.5 + s.x, d * 49.5 + c * 49.5 + s.y
        assert math.hypot(x - 49.5, y - 49.5) <= 10 + 1e-6


def test_correlation_is_that_of_the_overlap():
    """Against the correlation coefficient worked out by hand at a shift."""
    a = blobs()
    pair = [level_of(p, None, (1.0, 1.0), 2.0) for p in (a, np.roll(a, (20, 8), (0, 1)))]
    best = find_starts(*pair, scale_held=True, max_rotation_deg=1.0, max_shift=30)[0]
    assert (best.x, best.y) == (4.0, 10.0)
    over = np.corrcoef(pair[0].picture[:90, :96].ravel(), pair[1].picture[10:, 4:].ravel())[0, 1]
    assert best.correlation == pytest.approx(over, abs=1e-4)

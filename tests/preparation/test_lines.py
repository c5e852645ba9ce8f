"""Lines that run one way: their direction, how sure it is, and metal that follows them."""

import tracemalloc

import cv2
import numpy as np
import pytest

from surfscan.preparation.lines import COHERENCE_LIMIT, follow_lines, line_direction

SHAPE = (256, 256)


def lines(across_deg, strength=0.1, seed=1, shape=SHAPE):
    """Contrast of parallel lines; it varies along the direction `across_deg` only, but for a little noise."""
    rng = np.random.default_rng(seed)
    rows, cols = np.mgrid[: shape[0], : shape[1]]
    place = rows * np.sin(np.radians(across_deg)) + cols * np.cos(np.radians(across_deg))
    profile = cv2.GaussianBlur(rng.normal(0, 1, (1, 1200)).astype(np.float32), (0, 0), 3.0)[0]
    drawn = np.interp(place, np.arange(-500, 700), profile * strength / profile.std())
    return cv2.GaussianBlur((drawn + rng.normal(0, 0.02, shape)).astype(np.float32), (0, 0), 1.0)


def between(a, b):
    """Angle between two directions without a sense, degrees."""
    return abs((a - b + 90) % 180 - 90)


@pytest.mark.parametrize("across_deg", [0, 17, 45, 72, 90, 118, 135, 171])
def test_direction_and_coherence(across_deg):
    """The direction across lines is right within a degree, and they are recognised as lines."""
    found, coherence = line_direction(lines(across_deg))
    assert between(found, across_deg) < 1.0
    assert coherence > 3 * COHERENCE_LIMIT
    assert coherence <= 1


@pytest.mark.parametrize("seed", range(4))
def test_noise_has_no_direction(seed):
    """Texture without a direction is far below the limit."""
    noise = np.random.default_rng(seed).normal(0, 0.05, SHAPE).astype(np.float32)
    assert line_direction(cv2.GaussianBlur(noise, (0, 0), 1.5))[1] < 0.2 * COHERENCE_LIMIT


def test_a_few_strong_scratches_do_not_make_a_direction():
    """Gradients are limited in length: three scratches on even metal stay below the limit."""
    noise = np.random.default_rng(3).normal(0, 0.03, SHAPE).astype(np.float32)
    for col in (60, 130, 200):
        noise[:, col : col + 3] += 0.6
    assert line_direction(cv2.GaussianBlur(noise, (0, 0), 1.0))[1] < COHERENCE_LIMIT


def test_direction_is_that_of_the_specimen():
    """Lines outside the region have no say."""
    both = lines(0)
    both[:, 128:] = lines(90)[:, 128:]
    left = np.zeros(SHAPE, bool)
    left[:, :126] = True
    assert between(line_direction(both, left)[0], 0) < 1
    assert between(line_direction(both, np.roll(left, 130, axis=1))[0], 90) < 1


@pytest.mark.parametrize("shape", [(1, 200), (4, 4), (2, 50)])
def test_too_small_for_a_direction(shape):
    """No gradients, no direction."""
    assert line_direction(np.zeros(shape, np.float32)) == (0.0, 0.0)


def test_an_empty_region_has_no_direction():
    """A region without pixels gives zero coherence, not an error."""
    assert line_direction(lines(30), np.zeros(SHAPE, bool)) == (0.0, 0.0)


@pytest.mark.parametrize("across_deg", [0, 30, 90, 135])
def test_following_removes_lines_and_keeps_a_pit(draw_discs, across_deg):
    """The lines' spread falls to less than half; a pit keeps its contrast to within a sixth."""
    pit = draw_discs(SHAPE, [(120, 130, 8, 0.5)])
    plain = lines(across_deg, strength=0.08)
    contrast = 1 - (1 - plain) * (1 - pit)
    level = follow_lines(contrast, across_deg, length_px=60.0)
    metal = pit < 0.001
    assert level.shape == SHAPE and level.dtype == np.float32
    assert level[metal].std() < 0.5 * plain[metal].std()
    floor = np.hypot(*np.mgrid[-120:136, -130:126]) < 5
    assert level[floor].mean() == pytest.approx(0.5, abs=0.08)


def test_even_metal_stays_even(draw_discs):
    """Where there are no lines, following changes neither metal nor pit."""
    rng = np.random.default_rng(2)
    pit = draw_discs(SHAPE, [(120, 130, 9, 0.5)])
    contrast = (pit + rng.normal(0, 0.01, SHAPE)).astype(np.float32)
    level = follow_lines(contrast, 40.0, length_px=60.0)
    assert np.abs(level - contrast).max() < 0.03


def test_following_stays_on_the_specimen():
    """What lies off the specimen does not enter the level on it."""
    contrast = lines(0)
    valid = np.ones(SHAPE, bool)
    valid[200:] = False
    dark, bright = contrast.copy(), contrast.copy()
    dark[200:], bright[200:] = 0.9, -0.9
    one, other = (follow_lines(c, 0.0, length_px=60.0, valid=valid) for c in (dark, bright))
    assert one[:190].std() < 0.5 * contrast[:190].std()
    np.testing.assert_allclose(one[:190], other[:190], atol=0.01)


@pytest.mark.parametrize("across_deg", [0, 45, 90])
@pytest.mark.parametrize("upright", [False, True])
def test_a_long_picture_is_followed_piece_by_piece(across_deg, upright):
    """Pieces join without a seam: well inside one, and across their joints, as if the cut-out stood alone."""
    shape = (90, 5000)
    rng = np.random.default_rng(6)
    place = sum(
        np.asarray(axis, float) * weight
        for axis, weight in zip(
            np.mgrid[: shape[0], : shape[1]],
            (np.sin(np.radians(across_deg)), np.cos(np.radians(across_deg))),
            strict=True,
        )
    )
    contrast = (0.08 * np.sin(place / 4) + rng.normal(0, 0.01, shape)).astype(np.float32)
    if upright:
        contrast, across_deg = np.ascontiguousarray(contrast.T), 90 - across_deg
    level = follow_lines(contrast, across_deg, length_px=60.0)
    assert level.shape == contrast.shape
    level = level.T if upright else level
    for joint in (2048, 4096):
        near = level[:, joint - 100 : joint + 100]
        assert near.std() < 0.5 * 0.08 / np.sqrt(2)
        assert abs(np.diff(level, axis=1)[:, joint - 1].mean()) < 0.01


def test_a_very_wide_picture_of_slanting_lines_does_not_fill_memory():
    """No array is as large as the square of the picture's length."""
    place = np.add.outer(np.arange(40.0), np.arange(12_000.0))
    contrast = (0.08 * np.sin(place / 3)).astype(np.float32)
    tracemalloc.start()
    follow_lines(contrast, 45.0, length_px=60.0)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 80e6

"""The box behind a bar."""

import numpy as np

from surfscan.calibration.bars import find_bars
from surfscan.calibration.surroundings import box_behind


def ground():
    return np.random.default_rng(3).normal(140, 25, (400, 600)).clip(0, 255).astype(np.uint8)


def test_a_box(draw_bar):
    picture = draw_bar(ground(), "50 µm", row=300, col=60, length=200, box=0)
    assert box_behind(picture, find_bars(picture)[0]) == (260, 312, 50, 270)


def test_in_colour(draw_bar):
    picture = draw_bar(np.repeat(ground()[..., None], 3, axis=2), "50 µm", row=300, col=60, length=200, box=0)
    picture[300:304, 60:260] = (255, 0, 0)
    assert box_behind(picture, find_bars(picture)[0]) == (260, 312, 50, 270)


def test_a_bar_on_the_picture_itself(draw_bar):
    picture = draw_bar(ground() // 3, "50 µm", row=300, col=60, length=200, box=None)
    assert box_behind(picture, find_bars(picture)[0]) is None


def test_a_strip_is_no_box(draw_bar):
    picture = ground()
    picture[340:] = 0
    picture = draw_bar(picture, "50 µm", row=385, col=60, length=200, box=None)
    assert box_behind(picture, find_bars(picture)[0]) is None

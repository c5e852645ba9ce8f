"""Scoring of readings, and a few drawn bars read right."""

import numpy as np
from bench_bar_reading import outcome, score_reading
from synthetic_bars import BarPicture, DrawnBar, bar_picture

from surfscan.calibration.bar_scale import ScaleReading
from surfscan.images import Calibration

BAR = DrawnBar(10.0, 20.5, 120.5, 3.0, False, "50 µm", 50.0)


def picture(*bars):
    return BarPicture(np.zeros((100, 200), np.uint8), bars, {})


def reading(size):
    scale = None if size is None else Calibration(size, size, 0.01, "scale bar")
    return ScaleReading((), (), "", scale, ())


def test_outcomes():
    assert outcome(reading(0.5), picture(BAR)) == "taken"
    assert outcome(reading(0.505), picture(BAR)) == "taken"
    assert outcome(reading(0.515), picture(BAR)) == "wrong"
    assert outcome(reading(5.0), picture(BAR)) == "wrong"
    assert outcome(reading(None), picture(BAR)) == "no bar"
    assert outcome(reading(0.5), picture()) == "wrong"
    ticked = DrawnBar(10.0, 20.5, 80.5, 3.0, True, "50 µm", 50.0, 2.0)
    assert outcome(reading(50 / 61), picture(ticked)) == "taken"
    assert outcome(reading(50 / 60), picture(ticked)) == "wrong"  # 3 % by its outer edges
    other = DrawnBar(50.0, 20.5, 120.5, 3.0, False, "20 µm", 20.0)
    assert outcome(reading(0.5), picture(BAR, other)) == "wrong"


def test_a_few_drawn_bars():
    """No rate can be told from six pictures, but none may be wrong and most are taken."""
    score = score_reading([(seed, bar_picture(seed)) for seed in (0, 2, 3, 4, 5, 6)])
    assert score.outcomes["wrong"] == 0
    assert score.outcomes["taken"] >= 5
    assert len(score.seconds) == 6

"""A short run of the benchmark of scale bars: what it counts, and floors that hold on its seeds."""

import bench_bars
import numpy as np
import synthetic_bars

from surfscan.calibration.bars import Bar


def test_match_asks_for_the_row_and_both_ends():
    drawn = synthetic_bars.DrawnBar(100.0, 10.0, 90.0, 4.0, False, "10 µm", 10.0)
    bar = Bar(100.5, 11.0, 89.0, 4.0, "plain", "dark", 0.3, 1.0, (98, 103, 11, 90))
    assert bench_bars.matches(bar, drawn)
    for changed in ({"row_px": 105.0}, {"col_start_px": 14.0}, {"col_end_px": 95.0}):
        assert not bench_bars.matches(Bar(**{**bar.__dict__, **changed}), drawn)


def test_drawn_bars_are_found():
    score = bench_bars.score_drawn([(s, synthetic_bars.bar_picture(s)) for s in range(5000, 5012)])
    assert score.found >= 11 and score.known == 12
    assert np.median(np.abs(score.end_errors_px)) < 0.3


def test_pictures_without_a_bar_give_few():
    pictures = [(s, synthetic_bars.barless_picture(s)) for s in range(5000, 5012)]
    assert len({seed for seed, _ in bench_bars.false_bars(pictures)}) <= 1

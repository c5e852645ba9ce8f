"""Decades, dots and lines of the charts of sweeps."""

import re

import numpy as np
import pytest

from surfscan.report.plotting import Frame
from surfscan.report.sweep_plotting import decades, dots, inside, level, log_axes, round_up, shade


def frame(start, end):
    return Frame(50, 10, 400, 200, start, end, -1.0, 1.0)


def test_decades_leave_room_and_take_in_single_values():
    assert decades(np.array([1.0, 100.0]))[0] == pytest.approx(-0.1)
    assert decades(np.array([1.0, 100.0]), 0.01, np.nan)[0] < -2


def test_every_decade_is_numbered_at_its_place():
    drawn = log_axes(frame(-2, 2), "x", "y")
    places = dict(re.findall(r'x="([\d.]+)" y="226.0" text-anchor="middle">([^<]+)<', drawn))
    assert places == {"50.0": "0.01", "150.0": "0.1", "250.0": "1", "350.0": "10", "450.0": "100"}


def test_round_up():
    assert [round_up(v) for v in (0.005, 0.013, 3, 10, 11)] == pytest.approx([0.005, 0.02, 5, 10, 20])


def test_few_decades_get_steps_and_many_are_thinned():
    assert ">20<" in log_axes(frame(1, 2), "x", "y")
    wide = log_axes(frame(-12, 12), "x", "y")
    assert wide.count('y="226.0"') <= 9 and "10⁻¹²" in wide


def test_dots_that_cover_one_another_are_drawn_once():
    points = np.array([[10.0, 10.0], [10.2, 10.1], [30.0, 10.0], [np.nan, 1.0]])
    assert dots(points, "d").count("h0") == 2
    assert dots(points[3:], "d") == ""


def test_many_points_stay_a_bounded_path():
    rng = np.random.default_rng(0)
    cloud = rng.uniform((50, 10), (450, 210), (200_000, 2))
    assert len(dots(cloud, "d")) < 16 * 270 * 140


def test_what_lies_outside_is_not_drawn():
    kept = inside(frame(0, 1), np.array([[60.0, 20.0], [40.0, 20.0], [60.0, 300.0]]))
    assert np.isfinite(kept).all(axis=1).tolist() == [True, False, False]
    assert level(frame(0, 1), 2.0, "t", "n") == ""
    assert shade(frame(0, 1), 1.2, 1.5, "n") == ""
    assert 'height="100.0"' in shade(frame(0, 1), 0.0, 5.0, "n")

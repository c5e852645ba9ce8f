"""Small charts as SVG."""

import re

import numpy as np
import pytest

from surfscan.report.plotting import Frame, axes, band, label, line, path_of, runs, svg, ticks

FRAME = Frame(50, 20, 500, 100, 0, 1000, 0, 10)


def test_positions_and_values_stand_where_they_should():
    assert (FRAME.x(0), FRAME.x(1000), FRAME.y(0), FRAME.y(10)) == (50, 550, 120, 20)
    assert FRAME.points(np.array([500.0]), np.array([5.0])).tolist() == [[300.0, 70.0]]
    turned = Frame(50, 20, 500, 100, 1000, 0, 10, 0)
    assert (turned.x(0), turned.x(1000), turned.y(0)) == (550, 50, 20)


@pytest.mark.parametrize(
    ("low", "high", "most", "expected"),
    [(0, 10, 5, [0, 2, 4, 6, 8, 10]), (97, 152, 3, [100, 120, 140]), (0, 0.3, 3, [0, 0.1, 0.2, 0.3])],
)
def test_ticks_are_round_numbers(low, high, most, expected):
    assert ticks(low, high, most) == pytest.approx(expected)


def test_axes_have_numbers_and_titles():
    text = axes(FRAME, "Position (µm)", "Width <µm>")
    assert "Position (µm)" in text and "Width &lt;µm&gt;" in text
    assert re.findall(r'class="plot-number"[^>]*>([^<]*)<', text)[:3] == ["0", "5", "10"]
    assert "plot-title" not in axes(FRAME, "", "", up=0)


def test_line_breaks_where_there_is_no_value():
    points = np.array([[0, 0], [1, 0], [2, np.nan], [3, 5], [4, 9], [5, 0]], float)
    assert line(points).count("M") == 2
    assert band(points, points + 1).count("z") == 2


def test_path_leaves_out_what_cannot_be_told_from_it():
    straight = np.stack([np.linspace(0, 100, 50), np.full(50, 3.0)], axis=1)
    assert path_of(straight, closed=False) == "M0 3l100 0"


def test_runs():
    assert runs(np.array([True, True, False, True])) == [(0, 2), (3, 4)]
    assert runs(np.zeros(3, bool)) == []


def test_words_are_escaped():
    assert "&lt;b&gt;" in label(0, 0, "<b>")
    assert 'aria-label="&quot;a&quot; &lt;"' in svg([], 10, 10, '"a" <')

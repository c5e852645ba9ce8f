"""Lines that stations are placed on: even division, moving to the middle, ends and rings."""

import numpy as np
import pytest

from surfscan.measurement.strut_lines import StrutLines
from surfscan.segmentation.centrelines import Centrelines


def lines(row, col, kind=("frame", "frame"), node=(-1, -1), radius=10.0, junctions=((), (), ())):
    row, col = np.asarray(row, float), np.asarray(col, float)
    return Centrelines(
        row=row,
        col=col,
        radius=np.full(len(row), radius),
        start=np.array([0, len(row)]),
        end_kind=np.array([kind]),
        end_node=np.array([node]),
        junction_row=np.array(junctions[0], float),
        junction_col=np.array(junctions[1], float),
        junction_radius=np.array(junctions[2], float),
        part=np.array([1]),
    )


def test_even_division_with_tangents():
    found = StrutLines.from_centrelines(lines([5, 5], [0, 100]), (1.0, 1.0)).at_pitch(3.0)
    assert len(found.s) == 34
    assert np.diff(found.s) == pytest.approx(100 / 34)
    assert found.tangent[0] == pytest.approx(1)
    assert found.length[0] == pytest.approx(100)


def test_unequal_pixels_stretch_the_line():
    found = StrutLines.from_centrelines(lines([0, 30], [0, 40]), (2.0, 1.0))
    assert found.length[0] == pytest.approx(np.hypot(80, 30))


def test_a_line_moves_to_the_middle_and_goes_on_straight_where_an_edge_is_missing():
    start = StrutLines.from_centrelines(lines([50, 50], [0, 200]), (1.0, 1.0)).at_pitch(2.0)
    x = start.x
    middle = 3 - 0.02 * x  # how far the true middle lies to the left: upwards
    left, right = 10 + middle, 10 - middle
    left[-12:] = np.nan
    moved = start.moved(left, right, 2.0)
    assert moved.y == pytest.approx(50 - (3 - 0.02 * moved.x), abs=0.02)
    assert moved.length[0] == pytest.approx(200, abs=0.5)


def test_what_lies_in_a_junction_does_not_turn_the_line():
    found = lines([50, 50], [0, 120], ("junction", "frame"), (0, -1), 10.0, ([50], [0], [20.0]))
    start = StrutLines.from_centrelines(found, (1.0, 1.0)).at_pitch(2.0)
    left, right = np.full(len(start.s), 10.0), np.full(len(start.s), 10.0)
    left[start.s < 20] = 18.0
    moved = start.moved(left, right, 2.0)
    assert moved.y == pytest.approx(50, abs=0.01)


def test_a_ring_comes_back_to_its_start():
    t = np.linspace(0, 2 * np.pi, 300, endpoint=False)
    found = lines(50 + 30 * np.sin(t), 50 + 30 * np.cos(t), ("closed", "closed"))
    ring = StrutLines.from_centrelines(found, (1.0, 1.0)).at_pitch(2.0)
    assert ring.length[0] == pytest.approx(2 * np.pi * 30, rel=1e-3)
    moved = ring.moved(np.full(len(ring.s), 5.0), np.full(len(ring.s), 5.0), 2.0)
    assert np.hypot(moved.x - 50, moved.y - 50) == pytest.approx(30, abs=0.5)


def test_too_few_edges_move_nothing():
    start = StrutLines.from_centrelines(lines([5, 5], [0, 40]), (1.0, 1.0)).at_pitch(2.0)
    none = np.full(len(start.s), np.nan)
    assert start.moved(none, none, 2.0).y == pytest.approx(5)
    with pytest.raises(ValueError, match="stations"):
        StrutLines.from_centrelines(lines([5, 5], [0, 40]), (1.0, 1.0)).moved(none, none, 2.0)

"""Edges moved by hand: what follows them, what stays, and what is found again."""

from dataclasses import replace

import numpy as np
import pytest

from surfscan.images import Calibration
from surfscan.measurement.strut_edges import (
    EdgeMove,
    EdgeMoves,
    move_edges,
    moved_mask,
    nearest_edge,
    px_axes,
)


def move_at(stations, station, side, offset, taper=20.0):
    """A drag of an edge where it lies now."""
    return EdgeMove(
        int(stations.strut[station]),
        side,
        float(stations.s[station]),
        offset,
        taper,
        float(getattr(stations, f"{side}_row")[station]),
        float(getattr(stations, f"{side}_col")[station]),
    )


def test_width_follows_by_the_raised_cosine(stations):
    """The handle goes all the way, half the taper half the way, the taper itself not at all."""
    before = stations(np.full(101, 40.0), np.full(101, 30.0))  # every 2 px
    moved = move_edges(before, EdgeMoves((move_at(before, 50, "left", -6.0),)))
    after = moved.stations
    assert after.width[50] == pytest.approx(34.0)
    assert after.width[[45, 55]] == pytest.approx(37.0)
    assert after.width[[40, 60]] == pytest.approx(40.0)
    assert np.array_equal(after.width[101:], before.width[101:])
    assert np.array_equal(after.right_row, before.right_row)
    assert moved.left[50] == -6.0
    assert list(moved.struts) == [1]
    assert moved.by_hand_on("left")[50]
    assert not moved.by_hand_on("right").any()
    # Raised cosine: the area it takes is offset times taper (closed form).
    assert -moved.left.sum() * 2.0 == pytest.approx(6.0 * 20.0, rel=1e-9)


def test_edge_goes_along_the_line_across_on_oblong_pixels(stations):
    """Columns of 2, rows of 0.5: three px of the stations across rows are six rows."""
    axes = px_axes(Calibration(2.0, 0.5, 0.01, "stated"))
    assert axes == pytest.approx((2.0, 0.5))
    before = stations(np.full(61, 40.0))
    tall = replace(
        before,
        left_row=100 + (before.left_row - 100) / 0.5,
        right_row=100 + (before.right_row - 100) / 0.5,
    )
    after = move_edges(tall, EdgeMoves((move_at(tall, 30, "right", 3.0),)), axes=axes).stations
    away = np.hypot(after.right_row[30] - tall.right_row[30], after.right_col[30] - tall.right_col[30])
    assert away == pytest.approx(6.0)
    assert after.width[30] == pytest.approx(43.0)
    assert after.row[30] == pytest.approx((after.left_row[30] + after.right_row[30]) / 2)


def test_moves_add_up_and_stop_at_the_other_edge(stations):
    """Two drags of one edge are one of their sum; no width falls below 0."""
    before = stations(np.full(101, 40.0))
    one, two = move_at(before, 50, "left", -4.0), move_at(before, 50, "left", -7.0)
    both = move_edges(before, EdgeMoves((one, two)))
    assert both.left == pytest.approx(move_edges(before, EdgeMoves((replace(one, offset_px=-11.0),))).left)
    through = EdgeMoves((move_at(before, 50, "left", -90.0), move_at(before, 50, "right", -30.0)))
    crossed = move_edges(before, through)
    assert crossed.stations.width.min() == 0.0
    assert crossed.left[50] + crossed.right[50] == pytest.approx(-40.0)
    assert crossed.left[50] / crossed.right[50] == pytest.approx(3.0)


def test_hand_uncertainty_follows_the_share(stations):
    """One px where the edge was held, half of it where it followed half, none elsewhere; a setting."""
    before = stations(np.full(101, 40.0))
    after = move_edges(before, EdgeMoves((move_at(before, 50, "left", -6.0),))).stations
    assert after.hand_uncertainty[[50, 45, 30]] == pytest.approx([1.0, 0.5, 0.0])
    sure = EdgeMoves((move_at(before, 50, "left", -6.0),), uncertainty_px=0.25)
    assert move_edges(before, sure).stations.hand_uncertainty[50] == pytest.approx(0.25)


def test_nothing_moved_is_the_same_stations(stations):
    """Bit for bit: the very same object."""
    before = stations(np.full(50, 40.0))
    assert move_edges(before, EdgeMoves()).stations is before
    assert move_edges(before, EdgeMoves((move_at(before, 20, "left", 0.0),))).stations is before


def test_stations_without_both_edges_stay(stations):
    """What has no edge cannot follow one."""
    before = stations(np.full(101, 40.0))
    gone = before.left_row.copy()
    gone[52] = np.nan
    holed = replace(before, left_row=gone)
    moved = move_edges(holed, EdgeMoves((move_at(holed, 50, "left", -6.0),)))
    assert moved.left[52] == 0.0
    assert moved.left[51] < -5.5


def test_edge_is_found_again_by_its_place(stations):
    """Another number of the strut is no matter; an edge that is gone is named."""
    before = stations(np.full(101, 40.0), np.full(101, 30.0))
    move = replace(move_at(before, 50, "left", -6.0), strut=2, side="right")
    assert move_edges(before, EdgeMoves((move,))).left[50] == -6.0
    gone = replace(move, edge_row_px=move.edge_row_px + 400)
    found = move_edges(before, EdgeMoves((gone,)))
    assert found.missed == (gone,)
    assert found.stations is before


def test_mask_follows(stations):
    """What lies between the edge found and the edge moved is taken off, or put on."""
    before = stations(np.full(101, 40.0))
    mask = np.zeros((200, 200), bool)
    mask[80:121] = True
    for offset in (-10.0, 10.0):
        after = move_edges(before, EdgeMoves((move_at(before, 40, "left", offset),))).stations
        changed = moved_mask(mask, before, after)
        assert (int(changed.sum()) - int(mask.sum())) == pytest.approx(20 * offset, rel=0.12)
    assert moved_mask(mask, before, before) is mask


def test_nearest_edge(stations):
    """Distance in px; one strut alone where asked; none where there is none."""
    before = stations(np.full(51, 40.0), np.full(51, 30.0))
    k, side, away = nearest_edge(before, before.left_row[20] + 1.0, before.left_col[20])
    assert (k, side, away) == (20, "left", pytest.approx(1.0))
    assert before.strut[nearest_edge(before, before.left_row[20], 0, struts=(2,))[0]] == 2
    assert nearest_edge(before, 0, 0, struts=(9,)) is None


def test_dictionaries_there_and_back(stations):
    """What is written is read again; nonsense is refused with its name."""
    before = stations(np.full(51, 40.0))
    moves = EdgeMoves((move_at(before, 20, "left", -2.0), move_at(before, 30, "right", 1.0)), 0.5)
    assert EdgeMoves.from_dict(moves.as_dict() | {"note": "kept elsewhere"}) == moves
    good = moves.as_dict()["moves"][0]
    for change, words in (
        ({"side": "top"}, "side"),
        ({"taper_px": 0.0}, "taper_px"),
        ({"offset_px": float("nan")}, "offset_px"),
        ({"strut": 0}, "strut"),
        ({"colour": 1}, "colour"),
    ):
        with pytest.raises(ValueError, match=words):
            EdgeMove.from_dict(good | change)
    with pytest.raises(ValueError, match="moves"):
        EdgeMoves.from_dict({"uncertainty_px": 1.0})
    with pytest.raises(ValueError, match="uncertainty_px"):
        EdgeMoves((), -1.0)

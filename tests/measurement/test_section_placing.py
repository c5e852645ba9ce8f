"""Outlines placed on what remains, alone and together, and the doubt of their place."""

import cv2
import numpy as np
import pytest

from surfscan.measurement.section_placing import place_outline, settle_outlines, unevenness

ROWS, COLS = np.mgrid[:200, :240].astype(float)


def box(col, row, width, height, turn_deg=0.0):
    """Mask of a box."""
    c, s = np.cos(np.deg2rad(turn_deg)), np.sin(np.deg2rad(turn_deg))
    u = abs((COLS - col) * c + (ROWS - row) * s) - width / 2
    v = abs((ROWS - row) * c - (COLS - col) * s) - height / 2
    return np.maximum(u, v) < 0


def corners(col, row, width, height, turn_deg=0.0):
    c, s = np.cos(np.deg2rad(turn_deg)), np.sin(np.deg2rad(turn_deg))
    points = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * [width / 2, height / 2]
    return points @ np.array([[c, s], [-s, c]]) + [col, row]


def circle(col, row, radius):
    t = np.arange(360) * np.pi / 180
    return np.stack([col + radius * np.cos(t), row + radius * np.sin(t)], axis=1)


@pytest.mark.parametrize("turn", [0.0, 23.0, 77.0, 130.0])
def test_an_outline_is_placed_round_evenly_dissolved_metal(turn):
    metal = box(118, 101, 100, 56, turn)
    body = box(118, 101, 128, 84, turn)
    placed = place_outline(corners(0, 0, 120, 76), metal, body)
    assert placed.outline.mean(axis=0) == pytest.approx([118, 101], abs=0.4)
    assert (np.rad2deg(placed.turn_rad) - turn + 90) % 180 - 90 == pytest.approx(0, abs=0.6)
    assert placed.misfit_px < 0.5


def test_metal_left_in_one_corner_does_not_stick_out():
    """Attack from one side: the outline still encloses the metal."""
    metal = box(90, 100, 60, 70)
    body = box(118, 100, 120, 76)
    placed = place_outline(corners(0, 0, 120, 76), metal, body)
    inside = cv2.pointPolygonTest(placed.outline.astype(np.float32), (62.0, 100.0), True)
    assert inside > 0


def test_a_template_too_small_shows_as_misfit():
    metal = box(118, 101, 100, 56)
    placed = place_outline(corners(0, 0, 80, 40), metal, metal)
    assert placed.misfit_px > 5


def test_off_the_picture_an_outline_fits_worse():
    """Held at the edge, distances would be even all round an outline that has left the picture."""
    metal, body = box(118, 101, 90, 50), box(118, 101, 130, 80)
    there = unevenness([corners(118, 101, 120, 76)], metal, body)
    for col, row in ((-300, -250), (600, 101), (118, 900)):
        assert unevenness([corners(col, row, 120, 76)], metal, body) > 10 * there


def test_outlines_settle_together():
    """Two sections on one mount, moved and turned alike; the doubt is small where both agree."""
    metal = box(60, 80, 50, 40, 4) | box(170, 120, 60, 40, 4)
    body = box(60, 80, 62, 52, 4) | box(170, 120, 72, 52, 4)
    settled = settle_outlines([corners(57, 83, 56, 46), corners(169.5, 115.2, 66, 46)], metal, body)
    placed = [settled.points(corners(57, 83, 56, 46)), settled.points(corners(169.5, 115.2, 66, 46))]
    assert placed[0].mean(axis=0) == pytest.approx([60, 80], abs=0.5)
    assert unevenness(placed, metal, body) == pytest.approx(settled.cost, rel=1e-3)
    assert placed[1].mean(axis=0) == pytest.approx([170, 120], abs=0.5)
    assert np.rad2deg(settled.turn_rad) == pytest.approx(4, abs=0.4)
    assert settled.doubt.at(np.concatenate(placed)) < 0.5


def test_uneven_loss_puts_the_place_in_doubt():
    even = place_outline(corners(0, 0, 120, 76), box(118, 101, 100, 56), box(118, 101, 120, 76))
    ragged = box(118, 101, 100, 56) & ~box(90, 73, 30, 24) & ~box(160, 120, 30, 20)
    uneven = place_outline(corners(0, 0, 120, 76), ragged, box(118, 101, 120, 76))
    assert even.doubt.at(even.outline) < 0.5
    assert uneven.doubt.at(uneven.outline) > 2 * even.doubt.at(even.outline)


def test_a_round_section_is_not_in_doubt_of_its_turn():
    around = np.hypot(COLS - 118, ROWS - 101)
    placed = place_outline(circle(0, 0, 60), around < 50, around < 66)
    assert placed.doubt.at(placed.outline) < 0.6


def test_the_doubt_follows_the_origin():
    placed = place_outline(corners(0, 0, 120, 76), box(110, 101, 90, 56, 3), box(118, 101, 120, 76))
    directions = np.tile([1.0, 0.0], (4, 1))
    moved = placed.doubt.moved(np.array([30.0, -20.0]))
    assert moved.along(placed.outline + np.array([30.0, -20.0]), directions) == pytest.approx(
        placed.doubt.along(placed.outline, directions)
    )


def test_no_outline_is_refused():
    with pytest.raises(ValueError, match="no outline"):
        settle_outlines([], box(118, 101, 100, 56), box(118, 101, 100, 56))

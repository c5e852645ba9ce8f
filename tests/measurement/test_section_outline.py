"""Sub-pixel outlines, and local penetration."""

import cv2
import numpy as np
import pytest
from scipy.ndimage import distance_transform_edt

from surfscan.measurement.section_outline import (
    area_above,
    largest_outline,
    penetration_map,
    sample,
    signed_distance,
)

ROWS, COLS = np.mgrid[:200, :240].astype(float)


def box_field(col, row, width, height, turn_deg=0.0):
    """Signed share of a step, positive inside, falling off over 1 px."""
    c, s = np.cos(np.deg2rad(turn_deg)), np.sin(np.deg2rad(turn_deg))
    u = abs((COLS - col) * c + (ROWS - row) * s) - width / 2
    v = abs((ROWS - row) * c - (COLS - col) * s) - height / 2
    outside = np.hypot(np.maximum(u, 0), np.maximum(v, 0)) + np.minimum(np.maximum(u, v), 0)
    return np.clip(-outside, -0.5, 0.5).astype(np.float32)


def corners(col, row, width, height, turn_deg=0.0):
    c, s = np.cos(np.deg2rad(turn_deg)), np.sin(np.deg2rad(turn_deg))
    points = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * [width / 2, height / 2]
    return points @ np.array([[c, s], [-s, c]]) + [col, row]


@pytest.mark.parametrize("turn", [0.0, 17.0, 45.0])
def test_area_is_read_between_pixels(turn):
    assert area_above(box_field(120.3, 99.8, 120.4, 70.7, turn)) == pytest.approx(120.4 * 70.7, rel=1e-3)


def test_outline_lies_where_the_field_is_0():
    outline = largest_outline(box_field(120.3, 99.8, 120.4, 70.7))
    assert outline.min(axis=0) == pytest.approx([120.3 - 60.2, 99.8 - 35.35], abs=0.12)
    assert outline.max(axis=0) == pytest.approx([120.3 + 60.2, 99.8 + 35.35], abs=0.12)


def test_the_largest_piece_is_outlined():
    field = np.maximum(box_field(60, 60, 30, 30), box_field(160, 120, 60, 80))
    assert largest_outline(field).mean(axis=0) == pytest.approx([160, 120], abs=0.5)


def test_nothing_above_0_is_refused():
    with pytest.raises(ValueError, match="nothing"):
        largest_outline(np.full((20, 20), -0.5, np.float32))


def test_sample_is_linear_and_holds_the_edge():
    field = np.arange(12, dtype=np.float32).reshape(3, 4)
    got = sample(field, np.array([[[1.5, 1.0], [-5, 0]]]))
    assert got == pytest.approx(np.array([[5.5, 0.0]]))


def test_signed_distance_is_above_0_inside():
    mask = np.zeros((9, 9), bool)
    mask[2:7, 2:7] = True
    assert signed_distance(mask)[4, [4, 2, 1, 0]] == pytest.approx([2.5, 0.5, -0.5, -1.5])


def test_even_loss_is_the_same_all_round_but_for_the_corners():
    found = penetration_map(corners(120, 100, 140, 90), box_field(120, 100, 120, 70), 1.0)
    assert found.penetration_px[found.reaches_metal] == pytest.approx(10, abs=0.35)
    assert found.penetration_px.max() == pytest.approx(10, abs=1.2)
    assert found.penetration_px.min() > -0.5
    assert 0.8 < found.reaches_metal.mean() < 0.95
    assert found.s_px[1] == pytest.approx(1.0, abs=0.01)


def test_a_pit_is_as_deep_as_drawn():
    field = np.minimum(box_field(120, 100, 140, 90), -box_field(120, 55, 8, 60))
    found = penetration_map(corners(120, 100, 140, 90), field, 1.0)
    deepest = int(np.argmax(found.penetration_px))
    assert found.penetration_px[deepest] == pytest.approx(30, abs=0.3)
    assert found.points[deepest] == pytest.approx([120, 55], abs=4)
    assert np.median(found.penetration_px) == pytest.approx(0, abs=0.1)


def test_undercut_attack_is_deeper_than_the_first_metal():
    """Metal stands over a cave that opens sideways."""
    cave = np.maximum(box_field(120, 80, 60, 10), box_field(93, 60, 8, 50))
    field = np.minimum(box_field(120, 100, 140, 90), -cave)
    found = penetration_map(corners(120, 100, 140, 90), field, 1.0)
    above = np.argmin(np.hypot(*(found.points - [130, 55]).T))
    assert found.penetration_px[above] == pytest.approx(0, abs=0.3)
    assert found.deepest_px[above] == pytest.approx(30, abs=0.5)


def test_metal_outside_the_outline_counts_below_0():
    found = penetration_map(corners(120, 100, 116, 66), box_field(120, 100, 120, 70), 1.0)
    assert np.median(found.penetration_px) == pytest.approx(-2, abs=0.3)


def test_a_section_without_metal_is_gone_to_its_middle():
    found = penetration_map(corners(120, 100, 140, 90), np.full((200, 240), -0.5, np.float32), 2.0)
    assert not found.reaches_metal.any()
    assert found.penetration_px.max() == pytest.approx(45, abs=1.0)


def test_signed_distance_is_the_same_on_any_number_of_threads():
    """To the bit, and the root of a whole number less half a pixel: a fit that follows it needs that."""
    noise = np.random.default_rng(0).random((200, 240)).astype(np.float32)
    mask = cv2.GaussianBlur(noise, (0, 0), 6) > 0.5
    before, found = cv2.getNumThreads(), []
    try:
        for threads in (1, 2):
            cv2.setNumThreads(threads)
            found.append(signed_distance(mask))
    finally:
        cv2.setNumThreads(before)
    np.testing.assert_array_equal(found[0], found[1])
    inside = distance_transform_edt(mask).astype(np.float32)
    outside = distance_transform_edt(~mask).astype(np.float32)
    np.testing.assert_array_equal(
        found[0], np.where(mask, inside - np.float32(0.5), np.float32(0.5) - outside)
    )

"""Centrelines of drawn masks: how many struts, how they end, where their junctions are."""

import cv2
import numpy as np
import pytest

from surfscan.segmentation.centrelines import find_centrelines

SHAPE = (300, 400)


def drawn(*bars, shape=SHAPE):
    """Mask of straight bars (row, col, row, col, width)."""
    picture = np.zeros(shape, np.uint8)
    for r0, c0, r1, c1, width in bars:
        p, q = np.array([c0, r0], float), np.array([c1, r1], float)
        across = np.array([-(q - p)[1], (q - p)[0]]) / np.hypot(*(q - p)) * width / 2
        corners = np.round(np.array([p + across, q + across, q - across, p - across]) * 16).astype(np.int32)
        cv2.fillPoly(picture, [corners], 1, shift=4)
    return picture.astype(bool)


def kinds(found):
    return sorted(tuple(sorted(pair)) for pair in found.end_kind.tolist())


def test_a_strut_that_leaves_the_field_on_both_sides():
    found = find_centrelines(drawn((150, -50, 170, 450, 40)))
    assert kinds(found) == [("frame", "frame")]
    row, col = found.points(1)
    assert np.abs(row - (150 + 20 * (col + 50) / 500)).max() < 2.5
    assert np.ptp(col) > 390


def test_a_free_end_is_reached():
    found = find_centrelines(drawn((150, -50, 150, 250, 40)))
    assert kinds(found) == [("end", "frame")]
    assert found.points(1)[1].max() == pytest.approx(250, abs=4)


@pytest.mark.parametrize("turn", [0, 17, 45, 71])
@pytest.mark.parametrize("crossing", [90, 60, 34, 30])
def test_two_crossing_struts_are_four_at_one_junction(turn, crossing):
    bars = []
    for angle in np.radians([turn, turn + crossing]):
        d = 400 * np.array([np.sin(angle), np.cos(angle)])
        bars.append((150 - d[0], 200 - d[1], 150 + d[0], 200 + d[1], 24))
    found = find_centrelines(drawn(*bars))
    assert kinds(found) == [("frame", "junction")] * 4
    assert len(found.junction_row) == 1
    off = 4 if crossing >= 60 else 25  # the mean of the places where arms part
    assert (found.junction_row[0], found.junction_col[0]) == pytest.approx((150, 200), abs=off)


def test_a_short_bridge_is_a_strut_of_its_own():
    found = find_centrelines(drawn((80, -50, 80, 450, 40), (140, -50, 140, 450, 40), (80, 200, 140, 200, 20)))
    assert kinds(found).count(("junction", "junction")) == 1
    assert found.n == 5


@pytest.mark.parametrize("angle", [25, 60])
def test_a_link_between_two_forks_is_a_strut(angle):
    """Arms that do not go straight on through its middle make no crossing of it."""
    bars = [(150, 160, 150, 240, 20)]
    for col, way in ((160, -1), (240, 1)):
        for side in (-1, 1):
            d = 400 * np.array([side * np.sin(np.radians(angle)), way * np.cos(np.radians(angle))])
            bars.append((150, col, 150 + d[0], col + d[1], 20))
    found = find_centrelines(drawn(*bars))
    assert kinds(found).count(("junction", "junction")) == 1
    assert found.n == 5


def test_ragged_edges_make_no_struts_and_a_stub_does():
    mask = drawn((150, -50, 150, 450, 40))
    rng = np.random.default_rng(0)
    for col in range(10, 390, 6):
        mask[130 - rng.integers(0, 6) : 132, col : col + 3] = True
        mask[168 : 171 + rng.integers(0, 6), col : col + 3] = True
    assert find_centrelines(mask).n == 1
    stub = mask | drawn((150, 200, 60, 200, 20))
    assert kinds(find_centrelines(stub)) == [
        ("end", "junction"),
        ("frame", "junction"),
        ("frame", "junction"),
    ]


def test_a_ring_is_closed():
    picture = np.zeros(SHAPE, np.uint8)
    cv2.circle(picture, (200, 150), 100, 1, 30)
    found = find_centrelines(picture.astype(bool))
    assert kinds(found) == [("closed", "closed")]
    assert len(found.junction_row) == 0


def test_a_crack_parts_a_strut():
    mask = drawn((150, -50, 150, 450, 40))
    mask[:, 200:203] = False
    found = find_centrelines(mask)
    assert kinds(found) == [("end", "frame"), ("end", "frame")]
    assert found.part.tolist() == [1, 2]


def test_only_one_edge_is_no_strut_and_nothing_neither():
    half = np.zeros(SHAPE, bool)
    half[:, :200] = True
    assert find_centrelines(half).n == 0
    assert find_centrelines(np.zeros(SHAPE, bool)).n == 0
    assert find_centrelines(np.ones(SHAPE, bool)).n == 0


def test_metal_goes_on_beyond_a_data_strip():
    mask = drawn((-50, 200, 350, 200, 40))
    mask[250:] = False
    assert kinds(find_centrelines(mask)) == [("end", "frame")]
    assert kinds(find_centrelines(mask, frame=(0, 250, 0, 400))) == [("frame", "frame")]


def test_nonsense_is_refused():
    with pytest.raises(ValueError, match="mask with pixels"):
        find_centrelines(np.zeros((0, 5), bool))

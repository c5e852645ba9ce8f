"""What a screen does with masks, on bare arrays."""

from collections import namedtuple

import numpy as np
import pytest
from napari_surfscan.mask_tools import (
    BY_HAND,
    FOUND,
    NEAR_LIMIT,
    NOT_SURE,
    REJECTED,
    around,
    code_of,
    grown,
    line_between,
    outline_codes,
    painted_box,
    shown_of,
    slices,
    with_strokes,
)

Atom = namedtuple("Atom", "slice_key")


def _labels() -> np.ndarray:
    labels = np.zeros((20, 30), np.int32)
    labels[2:12, 3:13] = 1
    labels[2:12, 13:23] = 2
    return labels


def test_painted_box_spans_brush_and_index_atoms():
    """Boxes of brush, bucket and index lists come together; the last two axes are rows and columns."""
    brush = Atom((slice(4, 9), slice(2, 5)))
    in_stack = Atom((slice(0, 1), slice(5, 6), slice(20, 22)))
    indices = ((np.array([1, 3]), np.array([7, 6])), np.array([0, 0]), 5)
    assert painted_box([brush]) == (4, 9, 2, 5)
    assert painted_box([brush, in_stack, indices]) == (1, 9, 2, 22)
    assert painted_box([((np.array([], int), np.array([], int)), np.array([]), 1)]) is None


def test_boxes_grow_within_the_picture():
    """A margin stops at the edges; boxes without pixels do not count."""
    assert grown((0, 3, 5, 9), 4, (6, 10)) == (0, 6, 1, 10)
    assert around([(3, 3, 0, 5), (1, 2, 4, 6)]) == (1, 2, 4, 6)
    assert around([]) is None


def test_strokes_leave_hidden_rejected_objects_alone():
    """Painting beside a rejected object keeps it; painting over it replaces it."""
    before = _labels()
    shown = shown_of(before, [2])
    assert set(np.unique(shown)) == {0, 1}
    painted = shown.copy()
    painted[0:3, 20:22] = 3
    after = with_strokes(before, shown, painted)
    assert (after[0:3, 20:22] == 3).all()
    assert (after[3:12, 13:23] == 2).all()
    assert (after == 1).sum() == 100


def test_erasing_reaches_only_what_was_painted():
    """Where the brush set background, the object ends; elsewhere it stays."""
    before = _labels()
    painted = before.copy()
    painted[2:4, 3:13] = 0
    after = with_strokes(before, before, painted)
    assert (after == 1).sum() == 80


@pytest.mark.parametrize(
    ("status", "is_by_hand", "code"),
    [
        ("accepted", False, FOUND),
        ("accepted", True, BY_HAND),
        ("unsure", True, NOT_SURE),
        ("rejected", False, REJECTED),
    ],
)
def test_code_follows_status_then_origin(status, is_by_hand, code):
    """A decision shows before where the outline came from."""
    assert code_of(status, is_by_hand) == code


def test_outline_is_the_inner_rim_and_touching_objects_both_have_one():
    """A square of ten has a rim of 36 pixels, also along its neighbour."""
    drawn = outline_codes(_labels(), np.array([0, FOUND, NOT_SURE], np.uint8), {})
    assert (drawn == FOUND).sum() == 36
    assert (drawn == NOT_SURE).sum() == 36
    assert drawn[5, 12] == FOUND
    assert drawn[5, 13] == NOT_SURE


def test_lines_differ_in_pattern_as_well_as_in_colour():
    """By hand is dashed and rejected dotted: both have gaps, of different length."""
    labels = np.zeros((40, 40), np.int32)
    labels[5:35, 5:35] = 1
    plain = outline_codes(labels, np.array([0, FOUND], np.uint8), {})
    dashed = outline_codes(labels, np.array([0, BY_HAND], np.uint8), {})
    dotted = outline_codes(labels, np.array([0, REJECTED], np.uint8), {})
    assert np.count_nonzero(plain) == 116
    for drawn in (dashed, dotted):
        assert 40 < np.count_nonzero(drawn) < 76
    runs = [np.diff(np.flatnonzero(np.diff(d[5, 5:35] > 0))) for d in (dashed, dotted)]
    assert runs[0].max() == 3
    assert runs[1].max() == 1


def test_rejected_has_a_cross_and_near_limit_a_plus():
    """The marks lie on the diagonals and on the axes of the pit's centre."""
    labels = np.zeros((41, 41), np.int32)
    labels[5:36, 5:36] = 1
    cross = outline_codes(labels, np.array([0, REJECTED], np.uint8), {1: (20.0, 20.0)})
    plus = outline_codes(labels, np.array([0, FOUND], np.uint8), {1: (20.0, 20.0)})
    assert cross[17, 17] == cross[23, 17] == REJECTED
    assert cross[17, 20] == 0
    assert plus[17, 20] == plus[20, 23] == NEAR_LIMIT
    assert plus[17, 17] == 0


def test_outlines_drawn_in_parts_equal_those_drawn_whole():
    """Dashes and marks meet where parts meet, since they know where they lie in the picture."""
    rng = np.random.default_rng(3)
    labels = np.zeros((64, 64), np.int32)
    for k in range(1, 9):
        row, col = rng.integers(4, 50, 2)
        labels[row : row + 9, col : col + 7] = k
    codes = np.array([0, FOUND, BY_HAND, REJECTED, BY_HAND, FOUND, REJECTED, NOT_SURE, BY_HAND], np.uint8)
    marks = {k: tuple(np.argwhere(labels == k).mean(0)) for k in (1, 3, 6) if (labels == k).any()}
    drawn = outline_codes(labels, codes, marks)
    outer = (10, 54, 7, 60)
    part = outline_codes(labels[slices(outer)], codes, marks, (outer[0], outer[2]))
    assert np.array_equal(part[1:-1, 1:-1], drawn[slices(outer)][1:-1, 1:-1])


def test_line_keeps_corners_a_pixel_apart():
    """A slow drag leaves no crowd of points behind."""
    line = line_between((0, 0), [(0.2, 0.2), (1.5, 0), (1.6, 0.1), (4, 4)])
    assert line.tolist() == [[0, 0], [1.5, 0], [4, 4]]

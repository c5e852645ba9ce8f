import numpy as np
import pytest

from surfscan.corrections.strokes import as_groups, flat_positions, from_groups, on_specimen, read_stroke


def test_flat_positions_are_in_order_and_once():
    rows, cols = np.array([[2, 0], [2, 1]]), np.array([[3, 1], [3, 0]])
    assert flat_positions(rows, cols, (4, 5)).tolist() == [1, 5, 13]


@pytest.mark.parametrize(
    ("rows", "cols", "said"),
    [
        ([], [], "no pixel"),
        ([1.0], [1.0], "whole rows"),
        ([1, 2], [1], "as many"),
        ([4], [0], "off the picture"),
        ([0], [-1], "off the picture"),
    ],
)
def test_pixels_that_are_none(rows, cols, said):
    with pytest.raises(ValueError, match=said):
        flat_positions(np.array(rows), np.array(cols), (4, 5))


def test_a_stroke_from_whole_pictures_or_their_parts():
    before = np.arange(20).reshape(4, 5)
    after = before.copy()
    after[1, 2], after[2, 3] = 50, 0
    whole = read_stroke(before, after, (1, 3, 2, 4), (4, 5))
    part = read_stroke(before[1:3, 2:4], after[1:3, 2:4], (1, 3, 2, 4), (4, 5))
    for one, other in zip(whole, part, strict=True):
        np.testing.assert_array_equal(one, other)
    at, value, shown = whole
    assert at.tolist() == [7, 13] and value.tolist() == [50, 0] and shown.tolist() == [7, 13]


def test_the_specimen():
    specimen = np.zeros((4, 5), bool)
    specimen[1] = True
    inside, said = on_specimen(np.array([4, 5, 9, 10]), specimen)
    assert inside.tolist() == [False, True, True, False] and said[0].startswith("2 px off the specimen")
    assert on_specimen(np.array([4]), None) == (np.array([True]), ())
    with pytest.raises(ValueError, match="off the specimen"):
        on_specimen(np.array([0, 1]), specimen)


def test_groups_there_and_back():
    at, value = np.array([2, 3, 7, 9]), np.array([5, 5, 0, 5])
    groups = as_groups(at, value)
    assert groups == [[0, [7, 1]], [5, [2, 2, 5, 1]]]
    back = from_groups(groups, 20)
    np.testing.assert_array_equal(back[0], at)
    np.testing.assert_array_equal(back[1], value)
    assert from_groups([], 20)[0].size == 0

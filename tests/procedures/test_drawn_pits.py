"""Pits as a person outlined them: checked, taken over where they stand as found, else measured alone."""

import numpy as np
import pytest

from surfscan.errors import InputError
from surfscan.procedures.drawn_pits import columns_of_drawn, deepest_on_frame, drawn_pits


def test_numbers_without_gaps_in_their_order():
    given = np.zeros((6, 8), np.int64)
    given[1, 1], given[3, 3:5], given[5, 7] = 900, 7, 40
    drawn = drawn_pits(given, None, "a.png", (6, 8))
    assert drawn.labels.dtype == np.int32 and drawn.warnings == ()
    assert (drawn.labels[3, 3], drawn.labels[5, 7], drawn.labels[1, 1]) == (1, 2, 3)
    assert np.count_nonzero(drawn.labels) == 4


def test_what_lies_off_the_specimen_is_left_out_and_said():
    given = np.zeros((6, 8), np.uint8)
    given[1, 1:4], given[5] = 3, 9
    region = np.ones((6, 8), bool)
    region[5] = False
    drawn = drawn_pits(given, region, "a.png", (6, 8))
    assert drawn.labels.max() == 1 and drawn.warnings[0].startswith("8 px of the corrected outlines")


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (np.zeros((6, 7), int), "6 x 7 px, the picture 6 x 8"),
        (np.zeros((6, 8)), "float64"),
        (np.full((6, 8), -1), "below 0"),
    ],
)
def test_masks_that_do_not_fit(given, said):
    with pytest.raises(InputError, match=said):
        drawn_pits(given, None, "a.png", (6, 8))


def test_columns_are_taken_over_or_measured():
    """The same pixels take over, whatever the number; one pixel more or less does not."""
    found = np.zeros((6, 20), np.int32)
    found[1:3, 1:4], found[1:3, 6:9], found[1:3, 11:14] = 1, 2, 3
    drawn = np.zeros_like(found)
    drawn[1:3, 11:14], drawn[1:3, 1:4], drawn[1:4, 6:9], drawn[5, 18] = 1, 2, 3, 4
    columns = {"depth": np.array([10.0, 20.0, 30.0]), "word": np.array(["a", "b", "c"])}
    asked = []

    def measure(row, col):
        asked.append(len(row))
        return {"depth": np.array([float(len(row))]), "word": np.array(["measured"])}

    out = columns_of_drawn(drawn, found, columns, measure)
    assert out["depth"].tolist() == [30, 10, 9, 1] and asked == [9, 1]
    assert out["word"].tolist() == ["c", "a", "measured", "measured"]
    less = drawn.copy()
    less[1, 1] = 0
    assert columns_of_drawn(less, found, columns, measure)["depth"].tolist() == [30, 5, 9, 1]
    none = columns_of_drawn(np.zeros_like(found), found, columns, measure)
    assert none["depth"].shape == (0,)
    nothing_found = {name: values[:0] for name, values in columns.items()}
    assert columns_of_drawn(drawn, np.zeros_like(found), nothing_found, measure)["depth"].tolist() == [
        6,
        6,
        9,
        1,
    ]


def test_on_the_frame():
    depths = {"deepest_row_px": np.array([0, 3, 5, 2.0]), "deepest_col_px": np.array([4, 3, 4, 7.0])}
    assert deepest_on_frame(depths, (6, 8)).tolist() == [True, False, True, True]

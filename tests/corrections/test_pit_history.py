"""Steps taken back and done again, with the tally after each."""

import numpy as np
import pytest

from surfscan.corrections.pit_review import PitReview


def test_undo_and_redo_over_many_steps(pitted_field):
    """Every state comes back to the bit, in both directions; depths included."""
    image, automatic = pitted_field
    review = PitReview.start(image, automatic)
    states = [(review.labels.copy(), review.tally())]
    edits = [
        lambda: review.reject([1, 3]),
        lambda: review.add(*np.mgrid[55:63, 112:122]),
        lambda: review.merge([2, 4]),
        lambda: review.repaint(2, *np.mgrid[20:30, 135:150], True),
        lambda: review.accept([3]),
        lambda: review.repaint(2, *np.nonzero(review.labels == 2), False),
    ]
    for edit in edits:
        edit()
        states.append((review.labels.copy(), review.tally()))
    for labels, tally in states[-2::-1]:
        assert review.undo().tally == tally
        np.testing.assert_array_equal(review.labels, labels)
    for labels, tally in states[1:]:
        assert review.redo().tally == tally
        np.testing.assert_array_equal(review.labels, labels)


def test_a_height_map_is_prepared_by_the_first_edit_at_the_latest(rough_plate, plate):
    review = PitReview.start(*rough_plate)
    assert not review.prepared
    assert review.reject([1]).tally.pit_count == review.tally().automatic.pit_count - 1
    assert review.prepared
    grey = PitReview.start(*plate)
    grey.reject([1])
    assert not grey.prepared  # outlines alone make its tally


def test_bounds_hold_all_that_is_to_be_drawn_anew(plate):
    review = PitReview.start(*plate)
    before = review.corrected_labels()
    edit = review.repaint(1, *np.mgrid[100:120, 20:60], True)
    changed = np.nonzero(before != review.corrected_labels())
    row0, row1, col0, col1 = edit.bounds
    assert row0 <= changed[0].min() and changed[0].max() < row1
    assert col0 <= changed[1].min() and changed[1].max() < col1
    assert review.undo().bounds[0] <= changed[0].min()
    nothing = review.repaint(1, np.array([0]), np.array([0]), False)
    assert nothing.ids_touched == () and nothing.bounds == (0, 0, 0, 0)
    with pytest.raises(ValueError, match="nothing to undo"):
        review.undo()

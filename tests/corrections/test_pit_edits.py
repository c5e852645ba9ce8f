"""What each edit of pits does, and what it refuses and why."""

import numpy as np
import pytest

from surfscan.corrections.pit_review import PitReview


@pytest.fixture
def review(plate):
    return PitReview.start(*plate)


def square(row, col, side=6):
    return np.mgrid[row : row + side, col : col + side]


def at(review, row, col):
    return int(review.labels[row, col])


def test_reject_and_bring_back(review):
    before = review.tally()
    edit = review.reject([2, 1, 2])
    assert edit.kind == "reject" and edit.ids_touched == (1, 2)
    assert edit.tally.pit_count == before.pit_count - 2 and edit.tally.rejected_count == 2
    assert (review.labels == 1).any() and not (review.corrected_labels() == 1).any()
    row0, row1, col0, col1 = edit.bounds
    rows, cols = np.nonzero((review.labels == 1) | (review.labels == 2))
    assert (row0, row1, col0, col1) == (rows.min(), rows.max() + 1, cols.min(), cols.max() + 1)
    assert review.reject([1]).ids_touched == ()  # nothing to do is nothing to undo
    review.accept([1, 2])
    assert review.tally().pit_count == before.pit_count
    review.undo()
    assert review.status[1] == "rejected"
    review.undo()
    assert review.status[1] == "accepted" and not review.can_undo


def test_unsure_counts_and_is_said(review):
    count = review.tally().pit_count
    tally = review.mark_unsure([3]).tally
    assert (tally.pit_count, tally.unsure_count) == (count, 1)
    assert review.changes().unsure_count == 1


def test_numbers_are_never_given_twice(review):
    first = review.add(*square(55, 115)).new_ids[0]
    review.undo()
    assert first not in review.status
    second = review.add(*square(55, 115)).new_ids[0]
    assert second == first + 1
    review.reject([second])
    assert review.add(*square(10, 150)).new_ids == (second + 1,)
    review.undo()
    review.redo()
    assert review.status[second + 1] == "accepted" and review.origin[second + 1] == "added"


def test_adding_over_a_neighbour_takes_its_pixels(review):
    own = at(review, 30, 40)
    area = review.row(own)["area_px"]
    edit = review.add(*square(30, 40, 8))
    assert set(edit.ids_touched) == {own, edit.new_ids[0]}
    assert review.row(own)["area_px"] < area
    assert review.row(edit.new_ids[0])["area_px"] == 64
    review.undo()
    assert review.row(own)["area_px"] == area


def test_adding_over_a_rejected_object_and_bringing_that_back(review):
    """It comes back with what is left of it; with nothing left it cannot."""
    own = at(review, 30, 40)
    rows, cols = np.nonzero(review.labels == own)
    review.reject([own])
    review.add(rows[: len(rows) // 2], cols[: len(rows) // 2])
    review.accept([own])
    assert review.row(own)["area_px"] == len(rows) - len(rows) // 2
    review.reject([own])
    review.add(rows, cols)
    for do in (review.accept, review.mark_unsure):
        with pytest.raises(ValueError, match="nothing is left of pit"):
            do([own])
    with pytest.raises(ValueError, match="nothing is left of pit"):
        review.merge([own, 1 if own != 1 else 2])


def test_an_object_painted_into_two_parts_stays_one_until_split(review):
    own = at(review, 30, 40)
    rows, cols = np.nonzero(review.labels == own)
    middle = rows == int(np.median(rows))
    edit = review.repaint(own, rows[middle], cols[middle], False)
    assert edit.said == (f"Pit {own} lies in 2 parts; it stays one pit until it is split.",)
    count = review.tally().pit_count
    split = review.split(own)
    assert len(split.new_ids) == 1 and split.said == ()
    assert split.tally.pit_count == count + 1
    assert {review.origin[k] for k in (own, *split.new_ids)} == {"split"}


def test_an_object_painted_away_counts_as_rejected(review):
    own = at(review, 30, 40)
    rows, cols = np.nonzero(review.labels == own)
    edit = review.repaint(own, rows, cols, False)
    assert edit.said == (f"Nothing is left of pit {own}: it counts as rejected.",)
    assert review.status[own] == "rejected" and edit.tally.rejected_count == 1
    assert review.changes().rejected_area_px == len(rows)
    assert review.repaint(own, *square(30, 40), True).ids_touched == (own,)
    assert review.status[own] == "accepted"


def test_a_rubber_over_many_is_said_in_one_line(review):
    count = review.tally().pit_count
    rows, cols = review.labels.shape
    edit = review.paint_over(review.labels.copy(), np.zeros_like(review.labels), (0, rows, 0, cols))
    assert count > 3
    assert edit.said == (f"Nothing is left of {count} pits: they count as rejected.",)


def test_taking_off_takes_only_its_own_pixels(review):
    own, other = at(review, 30, 40), at(review, 34, 110)
    area = review.row(other)["area_px"]
    rows, cols = np.nonzero(review.labels > 0)
    review.repaint(own, rows, cols, False)
    assert review.row(other)["area_px"] == area and review.row(own)["area_px"] == 0


def test_split_at_the_neck(review):
    """Two discs that were painted together part where they touch."""
    y, x = np.mgrid[:140, :170]
    both = ((y - 20) ** 2 + (x - 140) ** 2 < 64) | ((y - 20) ** 2 + (x - 153) ** 2 < 49)
    number = review.add(*np.nonzero(both)).new_ids[0]
    edit = review.split(number)
    assert len(edit.new_ids) == 1
    assert at(review, 20, 140) == number  # the larger part keeps the number
    assert at(review, 20, 153) == edit.new_ids[0]
    assert set(edit.ids_touched) == {number, *edit.new_ids}
    with pytest.raises(ValueError, match="no neck"):
        review.split(number)


def test_split_along_a_line(review):
    number = review.add(*square(52, 105, 16)).new_ids[0]
    with pytest.raises(ValueError, match="right across"):
        review.split(number, np.array([[60, 100], [60, 110.0]]))
    for wrong in ([[1, 2]], [1, 2, 3], [[0, 0], [np.nan, 1]]):
        with pytest.raises(ValueError, match="two corners or more"):
            review.split(number, np.array(wrong))
    edit = review.split(number, np.array([[56, 95], [57, 112], [70, 125.0]]))
    assert len(edit.new_ids) == 1
    areas = [review.row(k)["area_px"] for k in (number, *edit.new_ids)]
    assert sum(areas) == 256 and areas[0] >= areas[1] > 20


def test_parts_of_a_rejected_object_stay_rejected(review):
    number = review.add(*square(52, 105, 16)).new_ids[0]
    review.reject([number])
    new = review.split(number, np.array([[60, 95], [60, 130.0]])).new_ids
    assert review.status[new[0]] == "rejected"


def test_merge_keeps_the_smallest_number_and_counts(review):
    count = review.tally().pit_count
    review.reject([2])
    areas = [review.row(k)["area_px"] for k in (1, 2, 4)]
    edit = review.merge([4, 1, 2])
    assert edit.ids_touched == (1, 2, 4) and edit.tally.pit_count == count - 2
    assert review.row(1)["area_px"] == sum(areas) and review.origin[1] == "merged"
    assert "3 parts" in edit.said[0]
    assert 2 not in review.status and 4 not in review.status
    with pytest.raises(ValueError, match="no pit 4"):
        review.reject([4])
    with pytest.raises(ValueError, match="two pits or more"):
        review.merge([1, 1])
    assert review.changes().merged_count == 1
    review.undo()
    assert review.status[2] == "rejected" and review.status[4] == "accepted"


def test_a_brush_gives_takes_and_makes(review):
    """One stroke: a new number, a known one, and rubbing out; rejected objects may not be shown."""
    own, hidden = at(review, 30, 40), at(review, 90, 30)
    review.reject([hidden])
    shown = review.corrected_labels()
    after = shown.copy()
    after[50:56, 110:116] = 70
    after[56:60, 110:116] = 60
    after[28:32, 30:50] = 0
    after[85:95, 20:24] = own
    edit = review.paint_over(shown, after, (0, 140, 0, 170))
    assert len(edit.new_ids) == 2 and edit.kind == "paint"
    assert at(review, 58, 112) == edit.new_ids[0] and at(review, 52, 112) == edit.new_ids[1]
    assert at(review, 30, 40) == 0 and at(review, 90, 22) == own
    assert (review.labels == hidden).any() and review.status[hidden] == "rejected"
    assert any("parts" in text for text in edit.said)
    review.undo()
    np.testing.assert_array_equal(review.corrected_labels(), shown)


def test_a_brush_on_a_part_of_the_picture(review):
    part = (slice(50, 60), slice(100, 130))
    before = np.array(review.labels[part])
    after = np.full_like(before, 1)
    after[:, :5] = 0
    edit = review.paint_over(before, after, (50, 60, 100, 130))
    assert edit.bounds[0] <= 50 and (review.labels[50:60, 105:130] == 1).all()
    assert review.paint_over(after, after, (50, 60, 100, 130)).ids_touched == ()
    with pytest.raises(ValueError, match="fill the bounds"):
        review.paint_over(before, after[:5], (50, 60, 100, 130))
    with pytest.raises(ValueError, match="do not lie on the picture"):
        review.paint_over(before, after, (50, 60, 100, 230))
    with pytest.raises(ValueError, match="0 or above"):
        review.paint_over(before, after - 9, (50, 60, 100, 130))


def test_a_number_of_an_object_that_went_makes_a_new_one(review):
    """A brush may still hold the number of an object that was merged away."""
    review.merge([1, 2])
    shown = review.corrected_labels()
    after = shown.copy()
    after[50:56, 110:116] = 2
    edit = review.paint_over(shown, after, (0, 140, 0, 170))
    assert edit.new_ids[0] > 2 and 2 not in review.status


def test_a_new_edit_forgets_what_was_taken_back(review):
    review.reject([1])
    review.undo()
    assert review.can_redo
    review.reject([2])
    assert not review.can_redo
    with pytest.raises(ValueError, match="nothing to redo"):
        review.redo()
    review.undo()
    with pytest.raises(ValueError, match="nothing to undo"):
        review.undo()


def test_what_is_refused_changes_nothing(review):
    labels, tally = review.labels.copy(), review.tally()
    refused = [
        lambda: review.reject([1, 99]),
        lambda: review.accept([0]),
        lambda: review.add(np.array([], int), np.array([], int)),
        lambda: review.add(np.array([1.5]), np.array([2.0])),
        lambda: review.add(np.array([1, 2]), np.array([1])),
        lambda: review.add(np.array([-1]), np.array([1])),
        lambda: review.add(np.array([1]), np.array([170])),
        lambda: review.repaint(99, *square(1, 1), True),
    ]
    for do in refused:
        with pytest.raises(ValueError):
            do()
    np.testing.assert_array_equal(review.labels, labels)
    assert review.tally() == tally and not review.can_undo


def test_records_that_cannot_be_read(review):
    with pytest.raises(ValueError, match="knows no edit 'melt'"):
        review.replay([{"kind": "melt"}])
    with pytest.raises(ValueError, match="edit 2 of the journal"):
        review.replay([{"kind": "reject", "ids": [1]}, {"kind": "merge"}])
    with pytest.raises(ValueError, match="do not fit"):
        review.replay([{"kind": "add", "runs": [10**9, 5]}])


def test_going_on_from_a_save(review, plate):
    """Mask and marks bring a new review to the same place, numbers and all, in one edit."""
    review.reject([1])
    review.merge([2, 5])
    number = review.add(*square(55, 115)).new_ids[0]
    review.undo()
    number = review.add(*square(56, 115)).new_ids[0]
    review.split(number, np.array([[59, 100], [59, 130.0]]))
    review.repaint(3, *square(100, 40), True)
    review.mark_unsure([4])
    mask, marks = review.corrected_labels(), review.marks()
    again = PitReview.start(*plate)
    edit = again.take_over(mask, marks)
    np.testing.assert_array_equal(again.labels, review.labels)
    assert again.marks() == marks and dict(again.status) == dict(review.status)
    assert again.tally() == review.tally() and again.changes() == review.changes()
    assert again.origin[2] == "merged" and set(edit.new_ids) == {number, number + 1}
    assert again.add(*square(10, 150)).new_ids[0] > number + 1
    third = PitReview.start(*plate)
    third.replay([edit.record])
    np.testing.assert_array_equal(third.labels, review.labels)
    assert dict(third.status) == dict(review.status)
    again.undo()
    again.undo()
    np.testing.assert_array_equal(again.labels, plate[1].masks["pits"])
    assert again.tally().pit_count == again.tally().automatic.pit_count
    with pytest.raises(ValueError, match="shape of the picture"):
        again.take_over(mask[:5])
    with pytest.raises(ValueError, match="no mark 'gone'"):
        again.take_over(mask, {1: "gone"})


def test_going_on_from_a_mask_alone(review, plate):
    """Without marks, what is not in the mask is gone and counts as rejected."""
    mask = review.corrected_labels()
    mask[mask == 3] = 0
    again = PitReview.start(*plate)
    again.take_over(mask)
    assert again.status[3] == "rejected"
    np.testing.assert_array_equal(again.corrected_labels(), mask)
    assert again.changes().rejected_count == 1

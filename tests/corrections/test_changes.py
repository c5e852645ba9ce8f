"""What was changed between two masks, on cases small enough to count by hand."""

import numpy as np
import pytest

from surfscan.corrections.changes import Changes, changes_of_pairs, compare_class_images, compare_label_images


def image(*boxes):
    """Labels from (label, row0, row1, col0, col1)."""
    labels = np.zeros((40, 60), np.int32)
    for label, row0, row1, col0, col1 in boxes:
        labels[row0:row1, col0:col1] = label
    return labels


A, B = (1, 2, 12, 2, 12), (2, 20, 30, 2, 12)  # 100 px each


def test_nothing_changed():
    changes = compare_label_images(image(A, B), image((7, *A[1:]), (3, *B[1:])))
    assert not changes.any
    assert changes == Changes(0, 0, 0, 0, 0, 0, 0, 0, 0, 200, 200, 0.0, 0.0)


def test_rejected_and_added():
    changes = compare_label_images(image(A, B), image(A, (9, 30, 35, 40, 50)), unsure_count=1)
    assert (changes.rejected_count, changes.added_count, changes.unsure_count) == (1, 1, 1)
    assert (changes.rejected_area_px, changes.added_area_px, changes.moved_area_px) == (100, 50, 0)
    assert (changes.automatic_area_px, changes.corrected_area_px) == (200, 150)
    assert changes.touched_fraction == pytest.approx(2 / 3)
    assert changes.area_by_hand_fraction == pytest.approx(50 / 150)


def test_outline_moved():
    changes = compare_label_images(image(A, B), image((1, 2, 12, 4, 13), B))
    assert (changes.outline_moved_count, changes.rejected_count, changes.added_count) == (1, 0, 0)
    assert changes.moved_area_px == 20 + 10
    assert changes.touched_fraction == 0.5
    assert changes.area_by_hand_fraction == pytest.approx(90 / 190)


def test_split_and_merged():
    split = compare_label_images(image(A, B), image((1, 2, 12, 2, 7), (3, 2, 12, 7, 12), B))
    assert (split.split_count, split.merged_count, split.outline_moved_count) == (1, 0, 0)
    assert split.moved_area_px == 0 and split.any
    assert split.area_by_hand_fraction == 0.5
    merged = compare_label_images(image(A, B), image(A, (1, *B[1:])))
    assert (merged.split_count, merged.merged_count, merged.added_count) == (0, 1, 0)
    assert merged.area_by_hand_fraction == 1 and merged.touched_fraction == 1


def test_painting_a_little_over_a_neighbour_merges_nothing():
    """Less than half of the smaller one in common is no belonging."""
    changes = compare_label_images(image(A, (2, 2, 12, 12, 22)), image((2, 2, 12, 8, 22), (1, 2, 12, 2, 8)))
    assert (changes.outline_moved_count, changes.split_count, changes.merged_count) == (2, 0, 0)
    assert changes.moved_area_px == 40 + 40


def test_swallowed_by_a_neighbour_is_merged():
    changes = compare_label_images(image(A, (2, 2, 12, 12, 22)), image((1, 2, 12, 2, 22)))
    assert (changes.merged_count, changes.rejected_count) == (1, 0)


def test_a_chain_is_split_and_merged():
    before = image((1, 2, 12, 0, 20), (2, 2, 12, 20, 40))
    after = image((1, 2, 12, 0, 10), (2, 2, 12, 10, 30), (3, 2, 12, 30, 40))
    changes = compare_label_images(before, after)
    assert (changes.split_count, changes.merged_count, changes.rejected_count) == (2, 3, 0)


def test_empty_masks():
    assert compare_label_images(image(), image()) == Changes(0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0.0, 0.0)
    assert compare_label_images(image(A), image()).touched_fraction == 1
    nothing = np.zeros(0, int)
    assert changes_of_pairs(nothing, nothing, nothing, unsure_count=0).corrected_area_px == 0


@pytest.mark.parametrize("seed", range(20))
def test_areas_always_add_up(seed):
    """Areas and counts agree with the masks, whatever they are; the labels' values do not matter."""
    rng = np.random.default_rng(seed)
    masks = []
    for _ in range(2):
        labels = np.zeros((40, 60), np.int32)
        for k in range(1, 9):
            r, c = rng.integers(0, 30), rng.integers(0, 50)
            labels[r : r + rng.integers(1, 12), c : c + rng.integers(1, 12)] = k
        masks.append(labels)
    changes = compare_label_images(*masks)
    differ = np.count_nonzero((masks[0] > 0) != (masks[1] > 0))
    assert changes.automatic_area_px == np.count_nonzero(masks[0])
    assert changes.corrected_area_px == np.count_nonzero(masks[1])
    assert changes.rejected_area_px + changes.added_area_px + changes.moved_area_px >= differ
    renamed = np.array([0, *(100 + rng.permutation(8))])
    assert compare_label_images(renamed[masks[0]], renamed[masks[1]]) == changes
    there = len(np.unique(masks[0][masks[0] > 0])) - changes.rejected_count
    kept = len(np.unique(masks[1][masks[1] > 0])) - changes.added_count
    assert (there == 0) == (kept == 0)


def test_to_a_dictionary_and_back():
    changes = compare_label_images(image(A, B), image(A, (9, 30, 35, 40, 50)))
    assert Changes.from_dict(changes.as_dict()) == changes
    with pytest.raises(ValueError, match="missing or unknown"):
        Changes.from_dict({"rejected_count": 1})
    with pytest.raises(ValueError, match="must be a number"):
        Changes.from_dict(changes.as_dict() | {"added_count": "many"})


def test_class_images():
    before, after = np.zeros((10, 10), int), np.zeros((10, 10), int)
    before[:5], before[5] = 2, 1
    after[:4], after[5] = 2, 0
    after[9] = 2
    changes = compare_class_images(before, after, 2)
    assert (changes.rejected_area_px, changes.added_area_px, changes.moved_area_px) == (10, 10, 10)
    assert (changes.automatic_area_px, changes.corrected_area_px) == (50, 50)
    assert changes.touched_fraction == pytest.approx(0.3)
    assert changes.area_by_hand_fraction == pytest.approx(0.2)
    region = np.zeros((10, 10), bool)
    region[:8] = True
    inside = compare_class_images(before, after, 2, region=region)
    assert (inside.added_area_px, inside.corrected_area_px) == (0, 40)
    with pytest.raises(ValueError, match="one shape"):
        compare_class_images(before, after[:5], 2)


def test_shapes_and_signs_are_checked():
    with pytest.raises(ValueError, match="different shapes"):
        compare_label_images(image(A), image(A)[:5])
    with pytest.raises(ValueError, match="0 or above"):
        compare_label_images(image(A), -image(A))

"""Agreement of two corrected masks: what counts as one object, as accepted, and what cannot be told."""

from __future__ import annotations

import numpy as np
import pytest

from surfscan.corrections.agreement import agree, bland_altman, cohens_kappa


@pytest.fixture
def automatic() -> np.ndarray:
    """Four squares of 8 x 8 px in a row, labels 1 to 4."""
    labels = np.zeros((12, 60), np.int32)
    for k in range(4):
        labels[2:10, 3 + 14 * k : 11 + 14 * k] = k + 1
    return labels


def test_equal_masks_agree_whatever_their_labels(automatic: np.ndarray) -> None:
    found = agree(automatic, np.where(automatic > 0, automatic * 7, 0), automatic)
    assert found.dice == 1 and found.matched_fraction == 1
    assert (found.first_count, found.second_count, found.matched_count) == (4, 4, 4)
    assert found.pairs.tolist() == [[1, 7], [2, 14], [3, 21], [4, 28]]
    assert found.kappa is not None and found.kappa.value is None and "same verdict" in found.kappa.why_none


def test_rejected_objects_enter_kappa(automatic: np.ndarray) -> None:
    """One rejects 1 and 2, the other 2 and 3: two of four alike, as by chance."""
    first = np.where(np.isin(automatic, (1, 2)), 0, automatic)
    second = np.where(np.isin(automatic, (2, 3)), 0, automatic)
    found = agree(first, second, automatic)
    assert found.kappa is not None
    assert (found.kappa.count, found.kappa.observed, found.kappa.expected) == (4, 0.5, 0.5)
    assert found.kappa.value == pytest.approx(0)
    assert found.dice == 0.5 and found.matched_count == 1


def test_marks_overrule_the_mask_and_unsure_counts_as_accepted(automatic: np.ndarray) -> None:
    marks = {1: "rejected", 2: "unsure", 3: "accepted", 4: "accepted"}
    found = agree(automatic, automatic, automatic, first_marks=marks, second_marks=marks)
    assert found.kappa is not None and found.kappa.value == 1 and found.kappa.ci95 is None
    assert found.kappa.expected == pytest.approx(0.25**2 + 0.75**2)


def test_an_object_half_kept_is_accepted(automatic: np.ndarray) -> None:
    first = automatic.copy()
    first[2:6, 3:11] = 0  # half of object 1 is left
    second = automatic.copy()
    second[2:7, 3:11] = 0  # and here less than half
    found = agree(first, second, automatic)
    assert found.kappa is not None and found.kappa.observed == 0.75


def test_a_split_object_keeps_at_most_one_partner(automatic: np.ndarray) -> None:
    first = automatic.copy()
    first[2:10, 3:9] = 9  # six of eight columns
    found = agree(first, automatic)
    assert found.first_count == 5 and found.matched_count == 4
    assert [9, 1] in found.pairs.tolist() and found.kappa is None


def test_empty_masks_have_no_dice() -> None:
    nothing = np.zeros((4, 4), np.uint8)
    found = agree(nothing, nothing, nothing)
    assert found.dice is None and found.matched_fraction is None
    assert found.kappa is not None and found.kappa.why_none == "nothing was judged"


def test_a_judge_who_always_says_the_same_gives_no_interval() -> None:
    found = cohens_kappa([True] * 4, [True, True, True, False])
    assert found.value == pytest.approx(0) and found.ci95 is None
    assert cohens_kappa([True] * 4, [False] * 4).value == pytest.approx(0)


def test_no_label_images_are_refused() -> None:
    labels = np.zeros((4, 4), np.int32)
    for other in (np.zeros((4, 5), np.int32), np.zeros((4, 4)), labels - 1):
        with pytest.raises(ValueError, match="label image"):
            agree(labels, other)
    with pytest.raises(ValueError, match="verdicts"):
        cohens_kappa([1], [1, 2])
    with pytest.raises(ValueError, match="compared"):
        bland_altman([1.0], [1.0, 2.0])


def test_limits_need_two_pairs() -> None:
    found = bland_altman([1.0, np.nan, 3.0], [1.0, 2.0, np.nan])
    assert (found.count, found.bias, found.low) == (1, None, None)
    found = bland_altman([1.0, 5.0, np.nan], [1.0, 2.0, 2.0])
    assert (found.count, found.bias, found.low_ci95 is not None) == (2, 1.5, True)

"""The score: one-to-one matching at IoU 0.5, on label images drawn by hand."""

import numpy as np
import pytest
from scoring import match, score


def blocks(*spans: tuple[int, int]) -> np.ndarray:
    """One row of labels, each over columns [from, to)."""
    labels = np.zeros((1, 40), np.int32)
    for number, (start, stop) in enumerate(spans, start=1):
        labels[0, start:stop] = number
    return labels


def test_perfect_result():
    truth = blocks((2, 8), (10, 20))
    result = score(truth, truth)
    assert (result.f1, result.precision, result.recall) == (1, 1, 1)
    assert result.count_error == result.area_error == 0


def test_overlap_below_half_is_no_match():
    assert match(blocks((0, 10)), blocks((4, 14))) == []  # 6 of 14 pixels
    assert match(blocks((0, 10)), blocks((3, 13))) == [(1, 1, pytest.approx(7 / 13))]


def test_two_halves_match_the_whole_once():
    result = score(blocks((0, 5), (5, 10)), blocks((0, 10)))
    assert result.matched == 1 and result.found == 2
    assert result.precision == 0.5 and result.recall == 1
    assert result.count_error == 1 and result.area_error == 0


def test_merged_pair_matches_one_at_most():
    result = score(blocks((0, 12)), blocks((0, 8), (8, 12)))
    assert result.matched == 1 and result.recall == 0.5


def test_label_gaps_do_not_count_as_objects():
    found = blocks((0, 10)) * 7
    assert score(found, blocks((0, 10))).found == 1


def test_scores_add():
    good, miss = score(blocks((0, 9)), blocks((0, 9))), score(blocks(), blocks((0, 5)))
    both = good + miss
    assert both.f1 == pytest.approx(2 / 3) and both.area_error == pytest.approx(-5 / 14)


def test_nothing_known_and_nothing_found_is_perfect():
    assert score(blocks(), blocks()).f1 == 1


def test_shapes_must_agree():
    with pytest.raises(ValueError, match="differ in shape"):
        match(np.zeros((2, 2), int), np.zeros((3, 3), int))

"""Sample L-moments: definition by pairs and triples, and laws."""

from itertools import combinations

import numpy as np
import pytest

from surfscan.estimates.lmoments import sample_lmoments


def test_definition_by_subsets():
    """l2: half the mean difference of pairs; l3: a third of the mean top - 2 middle + bottom of triples."""
    values = np.array([2.0, 3.0, 5.0, 11.0, 4.5, 7.0])
    first, second, t3 = sample_lmoments(values)
    pairs = np.sort(list(combinations(values, 2)), axis=1)
    triples = np.sort(list(combinations(values, 3)), axis=1)
    l2 = np.mean(pairs[:, 1] - pairs[:, 0]) / 2
    l3 = np.mean(triples[:, 2] - 2 * triples[:, 1] + triples[:, 0]) / 3
    assert (first, second, t3) == pytest.approx((values.mean(), l2, l3 / l2))


def test_shift_and_scale():
    values = np.array([[1.0, 2.0, 4.0, 9.0], [1.0, 2.0, 3.0, 4.0]])
    first, second, t3 = sample_lmoments(values)
    moved = sample_lmoments(10 + 3 * values)
    assert moved[0] == pytest.approx(10 + 3 * first)
    assert moved[1] == pytest.approx(3 * second)
    assert moved[2] == pytest.approx(t3)
    assert t3[1] == pytest.approx(0)


def test_equal_values_have_no_skewness():
    assert np.isnan(sample_lmoments(np.ones(5))[2])


def test_two_values_are_refused():
    with pytest.raises(ValueError, match="at least 3"):
        sample_lmoments(np.array([1.0, 2.0]))

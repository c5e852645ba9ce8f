"""Fields in specimens: refusals, limits and what is said."""

import math

import pytest

from surfscan.estimates.nested import nested_mean

THREE = ([0.10, 0.12, 0.20, 0.22, 0.31, 0.29], ["A", "A", "B", "B", "C", "C"])


def test_mean_and_parts():
    found = nested_mean(*THREE)
    assert found.mean == pytest.approx(0.2067, abs=1e-4)
    assert found.between_specimens > found.between_fields
    assert 0.9 < found.correlation < 1
    assert (found.specimens, found.fields, found.degrees_of_freedom) == (3, 6, 2)
    assert found.effective_fields == pytest.approx(3, abs=0.1)


def test_same_input_same_bits():
    assert nested_mean(*THREE) == nested_mean(*THREE)


def test_the_unit_does_not_matter():
    small = nested_mean([1e-6 * x for x in THREE[0]], THREE[1])
    assert small.mean == pytest.approx(1e-6 * nested_mean(*THREE).mean, rel=1e-9)
    assert small.between_specimens == pytest.approx(1e-6 * nested_mean(*THREE).between_specimens, rel=1e-6)


def test_the_interval_is_cut_at_what_the_figure_can_be():
    wide = nested_mean([0.0, 0.1, 0.4, 0.5, 0.9, 0.95], THREE[1], lowest=0.0, highest=1.0)
    assert wide.ci95 == (0.0, 1.0)


def test_fields_without_the_figure_are_left_out():
    found = nested_mean([*THREE[0], math.nan], [*THREE[1], "D"])
    assert (found.specimens, found.fields) == (3, 6)


def test_fields_that_agree_exactly():
    found = nested_mean([1.0, 1.0, 2.0, 2.0, 4.0, 4.0], THREE[1])
    assert found.between_fields == 0
    assert found.mean == pytest.approx(7 / 3)
    assert found.warnings == ("Fields of one specimen do not differ: all scatter is between specimens.",)


@pytest.mark.parametrize(
    ("values", "names", "words"),
    [
        ([1.0, 2.0, 3.0, 4.0], "AABB", "2 specimens, at least 3"),
        ([1.0, 2.0, 4.0], "ABC", "one field on each specimen"),
        ([2.0, 2.0, 2.0, 2.0], "AABC", "same value"),
        ([], "", "0 specimens"),
    ],
)
def test_why_not(values, names, words):
    found = nested_mean(values, list(names))
    assert words in found.refused
    assert (found.mean, found.ci95) == (None, None)


def test_nonsense_is_refused():
    with pytest.raises(ValueError, match="name the specimen"):
        nested_mean([1.0, 2.0], ["A"])
    with pytest.raises(ValueError, match="finite"):
        nested_mean([1.0, math.inf], ["A", "B"])

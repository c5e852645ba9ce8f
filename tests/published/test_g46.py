"""ASTM G46 rating chart.

Source: ASTM G46-94 (R2018), Standard Guide for Examination and Evaluation of Pitting Corrosion, Fig. 2
(chart) and clause 5.1 (worked rating A-3, B-2, C-3). The nominal values stand here from memory, not read from
a licensed copy. ISO 11463 uses the same chart (from memory as well). How to rate between the pictures is our
own rule and is tested with the unit tests.
"""

import pytest

from surfscan.estimates.g46 import density_class, rate, size_class

CHART_DENSITY_PER_M2 = {"A1": 2.5e3, "A2": 1e4, "A3": 5e4, "A4": 1e5, "A5": 5e5}
CHART_SIZE_MM2 = {"B1": 0.5, "B2": 2.0, "B3": 8.0, "B4": 12.5, "B5": 24.5}


@pytest.mark.parametrize(("rating", "per_m2"), CHART_DENSITY_PER_M2.items())
def test_density_classes_of_the_chart(rating, per_m2):
    assert density_class(per_m2 / 1e6) == rating


@pytest.mark.parametrize(("rating", "mm2"), CHART_SIZE_MM2.items())
def test_size_classes_of_the_chart(rating, mm2):
    assert size_class(mm2 * 1e6) == rating


def test_worked_rating_a3_b2():
    """Clause 5.1: 5 x 10^4 pits/m², mean opening 2.0 mm²."""
    rating = rate(5e4 / 1e6, 2.0e6)
    assert (rating.density_class, rating.size_class) == ("A3", "B2")
    assert rating.warnings == ()  # 0.10 of the surface


def test_one_pit_in_a_square_millimetre_is_above_the_chart():
    """1/mm² is 10^6/m², twice class A5."""
    assert density_class(1.0) == "above A5 (outside chart)"


def test_pits_of_thin_parts_are_below_the_chart():
    """A pit 100 µm wide opens 0.0079 mm², a sixtieth of class B1."""
    assert size_class(7854.0) == "below B1 (outside chart)"


def test_densest_with_largest_is_impossible():
    """The chart's columns are independent: 5 x 10^5/m² of 24.5 mm² would be 12.25 times the surface."""
    rating = rate(0.5, 24.5e6)
    assert (rating.density_class, rating.size_class) == ("A5", "B5")
    assert "12.2" in rating.warnings[0]

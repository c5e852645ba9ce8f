"""Numbers rounded to their uncertainty."""

import math

import pytest

from surfscan.report.rounding import NO_VALUE, at_least, round_to_interval, significant


@pytest.mark.parametrize(
    "numbers, text",
    [
        ((41.234, 32.11, 50.36), "41.2 (32.1 to 50.4)"),  # half width 9.1
        ((41.234, 31.1, 51.4), "41 (31 to 51)"),  # half width 10
        ((0.012345, 0.0119, 0.0128), "0.01235 (0.01190 to 0.01280)"),  # half width 0.00045
        ((45678.0, 44444.0, 46912.0), "45700 (44400 to 46900)"),  # half width 1200
        ((-3.25, -5.5, -1.0), "−3.2 (−5.5 to −1.0)"),
        ((0.0, 0.0, 3.69), "0.0 (0.0 to 3.7)"),
        ((0.02, -0.04, 0.08), "0.020 (−0.040 to 0.080)"),
    ],
)
def test_two_digits_of_the_half_width(numbers, text):
    assert str(round_to_interval(*numbers)) == text


def test_half_width_that_rounds_up_to_the_next_decade():
    # 9.96 is 10 to two digits, so no decimal is left.
    assert str(round_to_interval(50.04, 40.08, 60.0)) == "50 (40 to 60)"


def test_per_cent():
    assert str(round_to_interval(0.1234, 0.1, 0.15, scale=100)) == "12.3 (10.0 to 15.0)"


def test_no_value_and_no_interval():
    assert str(round_to_interval(None)) == NO_VALUE
    assert str(round_to_interval(math.nan, 1.0, 2.0)) == NO_VALUE
    assert str(round_to_interval(12.3456)) == "12.3"
    assert str(round_to_interval(12.3456, math.nan, math.nan)) == "12.3"
    assert not round_to_interval(12.3456).has_interval


def test_places_of_a_mean_serve_its_difference():
    places = round_to_interval(0.377, 0.312, 0.441).places
    assert round_to_interval(0.000467, places=places).value == "0.000"
    assert round_to_interval(1043.2, places=round_to_interval(1090.0, 730.0, 1440.0).places).value == "1040"


def test_infinite_upper_limit():
    assert str(round_to_interval(5.0, 4.0, math.inf)) == "5.0 (4.0 to ∞)"


def test_interval_of_rounding_noise_does_not_flood_the_page():
    assert str(round_to_interval(-0.1, -0.10000000000000012, -0.1)) == "−0.100000 (−0.100000 to −0.100000)"


def test_interval_without_width():
    assert str(round_to_interval(5.0, 5.0, 5.0)) == "5.00 (5.00 to 5.00)"


@pytest.mark.parametrize(
    "value, text",
    [
        (0, "0"),
        (0.000123456, "0.000123"),
        (1234.5, "1230"),
        (9.999, "10.0"),
        (-2.0, "−2.00"),
        (0.00009996, "1.00\u00a0×\u00a010⁻⁴"),
        (4.586e-9, "4.59\u00a0×\u00a010⁻⁹"),
        (-2e-5, "−2.00\u00a0×\u00a010⁻⁵"),
        (12345678.0, "12300000"),
        (1.23456e9, "1.23\u00a0×\u00a010⁹"),
        (math.inf, "∞"),
    ],
)
def test_significant(value, text):
    assert significant(value) == text


def test_tiny_and_huge_numbers_and_their_intervals_carry_powers_of_ten():
    tiny = round_to_interval(1.234e-6, 0.0, 4.4e-6)
    assert tiny.value == "1.2\u00a0×\u00a010⁻⁶"
    assert tiny.interval == "0 to 4.4\u00a0×\u00a010⁻⁶"
    huge = round_to_interval(1.234e9, 9.5e8, 1.55e9)
    assert str(huge) == "1.23\u00a0×\u00a010⁹ (9.5\u00a0×\u00a010⁸ to 1.55\u00a0×\u00a010⁹)"
    assert str(round_to_interval(0.00002, 0.0, 0.002)) == "0.0000 (0.0000 to 0.0020)"


def test_negative_that_rounds_to_nothing_loses_its_sign():
    assert round_to_interval(-0.001, -1.0, 1.0).value == "0.0"


def test_lower_bounds_are_marked_and_no_value_is_not():
    assert at_least("12.3", True) == "≥\u00a012.3"
    assert at_least("12.3", False) == "12.3"
    assert at_least(NO_VALUE, True) == NO_VALUE

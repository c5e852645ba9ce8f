"""The verdict: every rule by itself."""

import pytest

from surfscan.immersion.clogging import HydraulicResistance
from surfscan.immersion.exposure_settings import ExposureSettings
from surfscan.immersion.instrument_checks import InstrumentCheck, judge_check
from surfscan.immersion.verdict import WORDS, JudgedChannel, judge_exposure

SETTINGS = ExposureSettings(pH=7.4, pH_tolerance=0.2)
VALID, RESERVED, INVALID = WORDS


def judge(hours=100.0, *channels, **more):
    return judge_exposure(hours, channels or (JudgedChannel("pH", True, 99.0),), SETTINGS, **more)


def test_valid_without_reasons():
    verdict = judge()
    assert verdict.word == VALID
    assert verdict.reasons == ()


@pytest.mark.parametrize(
    ("channel", "word", "rule"),
    [
        (JudgedChannel("pH", True, 94.0), RESERVED, "valid_in_range_fraction"),
        (JudgedChannel("pH", True, 79.0), INVALID, "least_in_range_fraction"),
        (JudgedChannel("pH", True, 99.0, longest_excursion_h=5.0), RESERVED, "longest_excursion_h"),
        (JudgedChannel("pH", True, 99.0, longest_excursion_h=25.0), INVALID, "fatal_excursion_h"),
        (JudgedChannel("pH", True, 99.0, frozen_h=2.0), RESERVED, "frozen_h"),
        (JudgedChannel("pH", True, 99.0, is_constant=True), RESERVED, "frozen_h"),
        (JudgedChannel("pH", False), RESERVED, "set points"),
    ],
)
def test_channels(channel, word, rule):
    verdict = judge(100.0, channel)
    assert verdict.word == word
    assert [reason.rule for reason in verdict.reasons] == [rule]
    assert "pH" in verdict.reasons[0].text


@pytest.mark.parametrize(
    ("more", "word", "rule"),
    [
        ({"gap_h": 6.0}, RESERVED, "largest_gap_fraction"),
        ({"gap_h": 51.0}, INVALID, "fatal_gap_fraction"),
        ({"steps_back": 1}, RESERVED, "clock_backwards"),
        (
            {"resistance": HydraulicResistance(0.1, 0.1, 0.2, 0.01, (0.0, 0.02), 1.0, (0.5, 1.5), True)},
            RESERVED,
            "clogging_rise",
        ),
        (
            {"checks": [judge_check(InstrumentCheck("reference electrode", 0, 0, 0, 40), SETTINGS)]},
            INVALID,
            "check of reference electrode",
        ),
        (
            {"checks": [judge_check(InstrumentCheck("pH probe", 7, 7.25, 7, 7.25), SETTINGS)]},
            RESERVED,
            "check of pH probe",
        ),
    ],
)
def test_other_rules(more, word, rule):
    verdict = judge(**more)
    assert verdict.word == word
    assert [reason.rule for reason in verdict.reasons] == [rule]


def test_no_set_point_is_a_reservation():
    verdict = judge_exposure(10.0, (), ExposureSettings())
    assert verdict.word == RESERVED
    assert "No set point" in verdict.reasons[0].text


def test_the_worst_come_first():
    verdict = judge(100.0, JudgedChannel("temperature", True, 94.0), JudgedChannel("pH", True, 10.0))
    assert [reason["severity"] for reason in verdict.as_list()] == ["not valid", "reservation"]

import math

import pytest

from surfscan.calibration.heights import judge_heights, judge_relief
from surfscan.errors import InputError
from surfscan.loaders.base import ScaleTag


def pitch(x, y=None, unit="m"):
    return ScaleTag("increment", "size", x, x if y is None else y, unit, unit)


def test_no_unit_is_micrometres_by_convention():
    scale = judge_heights("")
    assert scale.um_per_unit == 1 and scale.warnings == () and scale.scale_tags == ()


@pytest.mark.parametrize(("unit", "factor"), [("m", 1e6), ("mm", 1e3), ("nm", 1e-3), ("µm", 1)])
def test_the_file_s_unit(unit, factor):
    tags = (pitch(1e-6),)
    scale = judge_heights(unit, tags)
    assert math.isclose(scale.um_per_unit, factor) and scale.scale_tags == tags and scale.warnings == ()


def test_a_stated_unit_wins():
    scale = judge_heights("m", (pitch(1e-6),), "nm")
    assert math.isclose(scale.um_per_unit, 1e-3)
    assert scale.scale_tags[0].x_unit == "m" and scale.warnings == ()


@pytest.mark.parametrize("stated", ["V", "", "counts"])
def test_a_unit_that_is_no_length_is_refused(stated):
    with pytest.raises(InputError, match=r"stated.*no unit of length.*--height-unit"):
        judge_heights("m", (), stated)
    if stated:
        with pytest.raises(InputError, match="in the file"):
            judge_heights(stated)


@pytest.mark.parametrize("value", [1.01, 7.8125, 1000.0])
def test_a_pitch_of_metres_that_can_only_be_micrometres(value):
    scale = judge_heights("m", (pitch(value),))
    (tag,) = scale.scale_tags
    assert scale.um_per_unit == 1 and (tag.x, tag.y, tag.x_unit, tag.y_unit) == (value, value, "µm", "µm")
    assert "read as µm" in tag.name
    (warning,) = scale.warnings
    for words in ("increment", f"{value:.6g} m", "taken as µm", "--pixel-size-um", "--height-unit"):
        assert words in warning


@pytest.mark.parametrize("value", [0.00101, 0.0275, 1.0, 2000.0])
def test_a_pitch_of_metres_that_can_be_several_or_nothing(value):
    tags = (pitch(value),)
    scale = judge_heights("m", tags)
    assert scale.um_per_unit == 1 and scale.scale_tags == tags
    (warning,) = scale.warnings
    assert "unknown" in warning and "read as µm" in warning and "--height-unit" in warning


@pytest.mark.parametrize("value", [0.001, 1e-9, 0.0, -1.0, math.nan, math.inf])
def test_the_rule_is_for_large_pitches_only(value):
    """1 mm and less is believed; what is no size at all is for the calibration to judge."""
    tags = (pitch(value),)
    scale = judge_heights("m", tags)
    assert scale.um_per_unit == 1e6 and scale.scale_tags == tags and scale.warnings == ()


def test_both_directions_must_agree_on_the_unit():
    """0.016 m may be mm, but 2 m cannot: µm is all that is left."""
    assert judge_heights("m", (pitch(0.016, 2.0),)).um_per_unit == 1
    assert judge_heights("m", (pitch(0.016, 2.0),)).scale_tags[0].x_unit == "µm"


def test_heights_in_a_unit_of_their_own_are_left_alone():
    scale = judge_heights("nm", (pitch(7.8),))
    assert math.isclose(scale.um_per_unit, 1e-3) and scale.scale_tags[0].x_unit == "µm"
    assert "The pitch is taken as µm" in scale.warnings[0]
    assert judge_heights("nm", (pitch(0.5),)).warnings == ()


def test_a_stated_unit_holds_for_an_impossible_pitch():
    scale = judge_heights("m", (pitch(0.0275),), "mm")
    assert math.isclose(scale.um_per_unit, 1e3) and scale.scale_tags[0].x_unit == "mm"
    assert "taken for the pitch too" in scale.warnings[0]
    kept = judge_heights("m", (pitch(7.8),), "m")
    assert kept.um_per_unit == 1e6 and kept.scale_tags[0].x_unit == "m" and kept.warnings == ()


def test_other_tags_keep_their_units():
    fine = ScaleTag("label", "size", 5.0, 5.0, "µm", "µm")
    assert judge_heights("m", (fine, pitch(7.8))).scale_tags[0] == fine


@pytest.mark.parametrize(("relief", "field", "words"), [
    (5.0, 100.0, None),
    (300.0, 100.0, None),
    (301.0, 100.0, "over a field of 100 µm"),
    (1e6, None, None),
    (9e-6, 100.0, "less than an atom"),
    (0.0, 100.0, None),
    (math.nan, 100.0, None),
])  # fmt: skip
def test_relief_that_betrays_a_wrong_unit(relief, field, words):
    warnings = judge_relief(relief, field)
    assert (words is None) == (warnings == ())
    assert words is None or (words in warnings[0] and "--height-unit" in warnings[0])

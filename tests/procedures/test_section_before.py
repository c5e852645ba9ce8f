"""A picture before exposure laid on the picture after: turned, moved, magnified, ambiguous, foreign."""

import numpy as np
import pytest

from surfscan.images import Calibration, Micrograph, Source
from surfscan.procedures import SectionSettings, measure_section

SHAPE = (220, 300)
BODY, CORE, FRESH = (
    ("rectangle", 140, 110, 132, 92, 110), ("rectangle", 142, 111, 96, 60, 210),
    ("rectangle", 140, 110, 120, 80, 210),
)  # fmt: skip
TRUE = 96 * 60 / (120 * 80)


def picture(grey, um=0.5, uncertainty=0.001):
    scale = None if um is None else Calibration(um, um, uncertainty, "made so")
    return Micrograph(grey, scale, Source("drawn"))


def turned(part, turn_deg, shift=(0.0, 0.0), scale=1.0):
    """A part's centre turned (clockwise to the eye) about the origin, moved and magnified."""
    name, col, row, width, height, grey = part
    c, s = np.cos(np.deg2rad(turn_deg)), np.sin(np.deg2rad(turn_deg))
    return (
        name, scale * (c * col - s * row) + shift[0], scale * (s * col + c * row) + shift[1],
        scale * width, scale * height, grey,
    )  # fmt: skip


@pytest.fixture(scope="module")
def corroded(draw_section):
    return picture(draw_section(SHAPE, [BODY, CORE]))


def test_one_that_lies_right_is_left_as_it_is(corroded, draw_section):
    found = measure_section(corroded, before=picture(draw_section(SHAPE, [FRESH]))).summary
    assert found["original_outline"] == "before"
    assert found["before_registered"] is False
    assert found["before_shift_px"] == [0.0, 0.0]
    assert 0 < found["before_uncertainty_px"] < 2
    assert found["remaining_fraction"] == pytest.approx(TRUE, abs=0.006)
    assert 0 < found["original_relative_uncertainty"] < 0.01


@pytest.mark.parametrize(("turn", "shift"), [(0.0, (24, -13)), (9.0, (30, -10)), (-20.0, (-15, 40))])
def test_turn_and_shift_are_found_and_stated(corroded, draw_section, turn, shift):
    fresh = turned(FRESH, turn, shift)
    grey = draw_section(SHAPE, [(fresh[0], *(fresh[1:3]), *FRESH[3:])], turn_deg=turn)
    result = measure_section(corroded, before=picture(grey))
    found = result.summary
    assert found["before_registered"] is True
    assert found["before_rotation_deg"] == pytest.approx(turn, abs=1.0)
    assert found["before_shift_px"] == pytest.approx([110 - fresh[2], 140 - fresh[1]], abs=3)
    assert found["before_scale"] == 1
    assert found["original_area_um2"] == pytest.approx(120 * 80 / 4, rel=0.006)
    assert found["remaining_fraction"] == pytest.approx(TRUE, abs=0.006)
    low, high = found["max_penetration_um_ci95"]
    assert low <= 7 <= high
    assert (result.tables["outline"]["uncertainty_px"] > 0).all()
    assert any("was registered" in text for text in result.warnings)


def test_a_quarter_turn_needs_a_wider_limit(corroded, draw_section):
    before = picture(draw_section(SHAPE, [("rectangle", 140, 110, 80, 120, 210)]))
    drawn = SectionSettings(drawn_width_um=60, drawn_thickness_um=40)
    near = measure_section(corroded, drawn, before=before)
    assert near.summary["original_outline"] == "drawn size"
    assert any("is not used" in text for text in near.warnings)
    far = measure_section(
        corroded, drawn.model_copy(update={"before_max_rotation_deg": 100.0}), before=before
    )
    assert far.summary["original_outline"] == "before"
    assert abs(far.summary["before_rotation_deg"]) == pytest.approx(90, abs=2)


def test_a_round_section_has_no_direction_to_find(draw_section):
    after = draw_section(SHAPE, [("ellipse", 130, 100, 130, 130, 110), ("ellipse", 131, 100, 90, 90, 210)])
    before = draw_section(SHAPE, [("ellipse", 150, 115, 120, 120, 210)])
    found = measure_section(picture(after), before=picture(before)).summary
    assert found["original_outline"] == "before"
    assert found["remaining_fraction"] == pytest.approx((90 / 120) ** 2, abs=0.008)
    assert found["before_shift_px"] == pytest.approx([-15, -20], abs=1.5)


def test_a_row_of_like_sections_is_ambiguous(draw_section):
    """Four sections of an endless row, moved by one: which is which nobody can tell."""
    row = [("rectangle", 40 + 72 * k, 110, 56, 56, 110) for k in range(4)]
    cores = [(*part[:3], 36, 36, 210) for part in row]
    fresh = [("rectangle", 76 + 72 * k, 110, 48, 48, 210) for k in range(3)]
    after = picture(draw_section(SHAPE, [*row, *cores]))
    settings = SectionSettings(drawn_width_um=24, drawn_thickness_um=24)
    result = measure_section(after, settings, before=picture(draw_section(SHAPE, fresh)))
    assert result.summary["original_outline"] == "drawn size"
    assert any("another position fits as well" in text for text in result.warnings)


def test_another_part_falls_through_to_the_twin(corroded, draw_section):
    small = picture(draw_section(SHAPE, [("rectangle", 140, 110, 60, 40, 210)]))
    twin = picture(draw_section(SHAPE, [FRESH], turn_deg=30))
    result = measure_section(corroded, before=small, twin=twin)
    assert result.summary["original_outline"] == "twin"
    assert result.summary["before_registered"] is None
    assert any("The next source of the original outline takes its place" in t for t in result.warnings)


def test_stated_as_registered_it_is_taken_so(corroded, draw_section):
    moved = picture(draw_section(SHAPE, [(*FRESH[:1], 148, 112, *FRESH[3:])]))
    settings = SectionSettings(before_position="as_it_lies")
    found = measure_section(corroded, settings, before=moved).summary
    assert found["before_registered"] is False
    assert found["before_uncertainty_px"] is None
    assert found["max_penetration_px"] == pytest.approx(18 + 12 - 6, abs=8)


def test_two_sections_tell_the_magnification(draw_section):
    parts = [("rectangle", 80, 110, 70, 70, 110), ("rectangle", 220, 110, 70, 70, 110)]
    cores = [("rectangle", 80, 110, 50, 50, 210), ("rectangle", 220, 110, 50, 50, 210)]
    fresh = [turned(("rectangle", p[1], p[2], 60, 60, 210), 0, scale=0.95) for p in parts]
    after = picture(draw_section(SHAPE, [*parts, *cores]), None)
    before = picture(draw_section(SHAPE, fresh), None)
    found = measure_section(after, before=before).summary
    assert found["before_scale"] == pytest.approx(1 / 0.95, abs=0.01)
    assert found["remaining_fraction"] == pytest.approx((50 / 60) ** 2, abs=0.02)
    low, high = found["remaining_fraction_ci95"]
    assert low <= (50 / 60) ** 2 <= high


def test_one_section_cannot_tell_the_magnification(corroded, draw_section):
    before = picture(draw_section(SHAPE, [FRESH]), None)
    result = measure_section(picture(corroded.pixels, None), before=before)
    assert any("taken at the same magnification" in text for text in result.warnings)


def test_two_scales_bring_their_doubt(corroded, draw_section):
    coarse = draw_section((110, 150), [("rectangle", 70, 55, 60, 40, 210)])
    same = measure_section(corroded, before=picture(draw_section(SHAPE, [FRESH]))).summary
    two = measure_section(corroded, before=picture(coarse, 1.0, 0.01)).summary
    assert two["before_scale"] == 1
    assert two["remaining_fraction"] == pytest.approx(TRUE, abs=0.02)
    assert two["original_relative_uncertainty"] > same["original_relative_uncertainty"] + 0.01

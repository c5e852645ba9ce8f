"""Remaining metal of cross-sections, from picture to result."""

import numpy as np
import pytest

from surfscan.columns import columns
from surfscan.errors import InputError
from surfscan.images import Calibration, Micrograph, Source
from surfscan.procedures import SectionSettings, measure_section

SHAPE = (220, 260)
CORE = ("rectangle", 130.4, 109.7, 96, 66, 210)
PRODUCT = ("rectangle", 130, 110, 132, 100, 110)
FRESH = ("rectangle", 130, 110, 120, 90, 210)


def picture(grey, um=0.5, uncertainty=0.001, um_y=None):
    scale = None if um is None else Calibration(um, um_y or um, uncertainty, "made so")
    return Micrograph(grey, scale, Source("drawn"))


@pytest.fixture(scope="module")
def corroded(draw_section):
    return draw_section(SHAPE, [PRODUCT, CORE], turn_deg=10)


DRAWN = SectionSettings(drawn_width_um=60, drawn_thickness_um=45)
TRUE = 96 * 66 / (120 * 90)


def test_against_a_drawn_size(corroded):
    result = measure_section(picture(corroded), DRAWN)
    found = result.summary
    assert found["original_outline"] == "drawn size"
    assert found["original_area_um2"] == pytest.approx(60 * 45, rel=1e-3)
    assert found["metal_area_um2"] == pytest.approx(96 * 66 * 0.25, rel=0.006)
    assert found["remaining_fraction"] == pytest.approx(TRUE, abs=0.004)
    low, high = found["remaining_fraction_ci95"]
    assert low < TRUE < high
    assert high - low < 0.06
    assert found["mean_penetration_um"] == pytest.approx(6, abs=0.15)
    assert found["max_penetration_um"] == pytest.approx(6.2, abs=1.0)
    assert found["least_ligament_um"] == pytest.approx(33, abs=0.4)
    assert found["profile_count"] == 1
    assert result.masks["section"].shape == SHAPE
    assert set(np.unique(result.masks["section"])) <= {0, 1, 2, 3}


def test_before_comes_before_twin_and_twin_before_the_drawn_size(corroded, draw_section):
    before = picture(draw_section(SHAPE, [FRESH], turn_deg=10))
    twin = picture(draw_section((200, 300), [("rectangle", 150, 100, 122, 92, 200)], turn_deg=70))
    all_three = measure_section(picture(corroded), DRAWN, before=before, twin=twin)
    assert all_three.summary["original_outline"] == "before"
    assert all_three.summary["remaining_fraction"] == pytest.approx(TRUE, abs=0.005)
    two = measure_section(picture(corroded), DRAWN, twin=twin)
    assert two.summary["original_outline"] == "twin"
    assert two.summary["original_area_um2"] == pytest.approx(61 * 46, rel=0.006)
    assert two.summary["mean_penetration_um"] == pytest.approx(6.5, abs=0.2)


def test_a_twin_at_another_scale(corroded, draw_section):
    twin = picture(draw_section((160, 160), [("rectangle", 80, 80, 60, 45, 200)], turn_deg=30), um=1.0)
    found = measure_section(picture(corroded), twin=twin).summary
    assert found["original_area_um2"] == pytest.approx(60 * 45, rel=0.012)
    assert found["remaining_fraction"] == pytest.approx(TRUE, abs=0.01)


def test_a_picture_before_that_is_out_of_place_is_placed_by_fitting(corroded, draw_section):
    moved = draw_section(SHAPE, [("rectangle", 165, 120, 120, 90, 210)], turn_deg=10)
    result = measure_section(picture(corroded), before=picture(moved))
    assert any("was registered" in text for text in result.warnings)
    assert result.summary["remaining_fraction"] == pytest.approx(TRUE, abs=0.006)
    assert result.summary["max_penetration_um"] == pytest.approx(6.2, abs=1.0)


def test_the_outer_edge_of_product_is_flagged_and_has_no_interval(corroded):
    result = measure_section(picture(corroded))
    assert result.summary["original_outline"] == "outer edge of product"
    assert any("swells and spalls" in text for text in result.warnings)
    assert result.summary["remaining_fraction"] == pytest.approx(96 * 66 / (132 * 100), abs=0.01)
    for name in ("remaining_fraction_ci95", "original_relative_uncertainty", "max_penetration_um_ci95"):
        assert result.summary[name] is None
    assert np.isnan(result.tables["profiles"]["original_relative_uncertainty"]).all()
    assert np.isnan(result.tables["outline"]["uncertainty_um"]).all()


def test_without_a_scale_only_px(corroded):
    result = measure_section(picture(corroded, um=None), DRAWN)
    assert result.summary["metal_area_um2"] is None
    assert result.summary["metal_area_px"] == pytest.approx(96 * 66, rel=0.006)
    assert any("cannot be used without a scale" in text for text in result.warnings)
    assert np.isnan(result.tables["profiles"]["metal_area_um2"]).all()


def test_the_scale_widens_the_interval(corroded):
    sure = measure_section(picture(corroded), DRAWN).summary["remaining_fraction_ci95"]
    unsure = measure_section(picture(corroded, uncertainty=0.02), DRAWN).summary["remaining_fraction_ci95"]
    assert unsure[1] - unsure[0] > 1.5 * (sure[1] - sure[0])


def test_pixels_that_are_not_square(draw_section):
    tall = draw_section((220, 260), [("rectangle", 130, 110, 70, 100, 210)])
    found = measure_section(picture(tall, um=1.0, um_y=0.5), SectionSettings(drawn_width_um=70))
    assert found.summary["metal_area_um2"] == pytest.approx(70 * 50, rel=0.01)
    row = found.tables["profiles"]
    assert row["row_px"][0] == pytest.approx(110, abs=0.5)
    assert row["col_px"][0] == pytest.approx(130, abs=0.5)


def test_the_outline_table_runs_round_the_original_outline(corroded):
    table = measure_section(picture(corroded), DRAWN).tables["outline"]
    assert list(table) == [c.name for c in columns("outline")]
    assert table["s_um"][-1] == pytest.approx(2 * (60 + 45), rel=0.01)
    apart = np.hypot(table["metal_row_px"] - table["row_px"], table["metal_col_px"] - table["col_px"])
    assert apart == pytest.approx(np.abs(table["penetration_px"]), abs=1e-6)
    assert (table["deepest_px"] >= table["penetration_px"] - 1e-9).all()


def test_two_sections_in_one_field(draw_section):
    parts = [
        ("ellipse", 70, 110, 90, 90, 110), ("ellipse", 70, 110, 70, 70, 210),
        ("ellipse", 190, 110, 90, 90, 110), ("ellipse", 190, 110, 50, 50, 210),
    ]  # fmt: skip
    settings = SectionSettings(drawn_width_um=40, drawn_shape="ellipse")
    result = measure_section(picture(draw_section(SHAPE, parts)), settings)
    assert result.summary["profile_count"] == 2
    fractions = result.tables["profiles"]["remaining_fraction"]
    assert fractions == pytest.approx([(70 / 80) ** 2, (50 / 80) ** 2], abs=0.012)
    assert result.summary["remaining_fraction"] == pytest.approx(fractions.mean(), abs=1e-6)
    assert result.summary["least_ligament_px"] == pytest.approx(0.915 * 50, rel=0.02)
    assert set(result.tables["outline"]["profile"]) == {1, 2}


def test_no_section_is_said():
    for grey in (np.full(SHAPE, 90, np.uint8), np.random.default_rng(4).integers(80, 99, SHAPE, np.uint8)):
        result = measure_section(picture(grey))
        assert result.summary["profile_count"] == 0
        assert result.summary["remaining_fraction"] is None
        assert any("No section stands apart" in text for text in result.warnings)
        assert result.tables["profiles"]["profile"].size == 0


def test_a_section_cut_by_the_frame_is_refused(draw_section):
    grey = draw_section(SHAPE, [("rectangle", 20, 110, 132, 100, 110), ("rectangle", 20, 110, 96, 66, 210)])
    result = measure_section(picture(grey), DRAWN)
    assert result.summary["remaining_fraction"] is None
    assert result.tables["profiles"]["kind"][0] == "cut"
    assert any("the frame cuts the section on" in text for text in result.warnings)


def test_a_section_that_just_touches_the_frame_is_a_lower_bound(draw_section):
    grey = draw_section(SHAPE, [("ellipse", 62.9, 110, 126, 126, 210)])
    result = measure_section(picture(grey), SectionSettings(drawn_width_um=63, drawn_shape="ellipse"))
    assert result.summary["remaining_fraction"] == pytest.approx(1, abs=0.02)
    assert any("lower bounds" in text for text in result.warnings)


def test_a_foil_from_side_to_side_has_a_thickness(draw_section):
    grey = draw_section(
        SHAPE, [("rectangle", 130, 110, 600, 80, 110), ("rectangle", 130, 110, 600, 60, 210)], turn_deg=3
    )
    result = measure_section(picture(grey), SectionSettings(drawn_width_um=900, drawn_thickness_um=36))
    found = result.summary
    assert found["remaining_fraction"] is None
    assert found["mean_thickness_um"] == pytest.approx(30, abs=0.2)
    assert found["remaining_thickness_fraction"] == pytest.approx(30 / 36, abs=0.006)
    assert found["mean_penetration_um"] == pytest.approx(3, abs=0.1)
    assert found["least_ligament_um"] == pytest.approx(30, abs=0.4)
    assert len(result.tables["thickness"]["s_um"]) == SHAPE[1] // 2
    assert any("crosses the field" in text for text in result.warnings)


def test_more_metal_than_drawn_is_pointed_out(corroded):
    result = measure_section(picture(corroded), SectionSettings(drawn_width_um=40, drawn_thickness_um=30))
    assert any("more metal than originally" in text for text in result.warnings)
    assert any("Check scale and drawn size" in text for text in result.warnings)
    for figure in ("remaining_fraction", "mean_penetration_um", "max_penetration_um"):
        assert result.summary[figure] is None
    assert result.summary["metal_area_um2"] > 0 and len(result.tables["outline"]["s_um"]) == 0


def test_a_twin_without_a_section_is_not_used(corroded):
    result = measure_section(picture(corroded), DRAWN, twin=picture(np.full(SHAPE, 50, np.uint8)))
    assert result.summary["original_outline"] == "drawn size"
    assert any("not used" in text for text in result.warnings)


def test_a_small_field_and_a_foreign_region_are_refused(corroded):
    with pytest.raises(InputError, match="too small"):
        measure_section(picture(corroded[:20]))
    with pytest.raises(InputError):
        measure_section(picture(corroded), region=np.ones((5, 5), bool))


def test_a_region_chooses_one_of_two_sections(draw_section):
    parts = [("ellipse", 70, 110, 70, 70, 210), ("ellipse", 190, 110, 50, 50, 210)]
    region = np.zeros(SHAPE, bool)
    region[:, :125] = True
    result = measure_section(picture(draw_section(SHAPE, parts)), region=region)
    assert result.summary["profile_count"] == 1
    assert result.summary["metal_area_px"] == pytest.approx(np.pi * 35**2, rel=0.01)


def test_same_input_same_output(corroded):
    a, b = (measure_section(picture(corroded), DRAWN) for _ in range(2))
    assert a.summary == b.summary
    for name in a.tables:
        for column, values in a.tables[name].items():
            np.testing.assert_array_equal(values, b.tables[name][column])


def test_an_unexposed_section_has_lost_nothing(draw_section):
    """Against itself, a twin and its drawing: fraction 1 within the interval, penetration about 0."""
    grey = draw_section(SHAPE, [FRESH], turn_deg=10)
    for settings, given in (
        (SectionSettings(), {"before": picture(grey)}),
        (SectionSettings(), {"twin": picture(draw_section(SHAPE, [FRESH], turn_deg=40))}),
        (DRAWN, {}),
    ):
        found = measure_section(picture(grey), settings, **given).summary
        low, high = found["remaining_fraction_ci95"]
        assert low <= 1 <= high
        assert found["remaining_fraction"] == pytest.approx(1, abs=0.006)
        low, high = found["mean_penetration_um_ci95"]
        assert low == 0
        assert found["mean_penetration_um"] <= high < 1
        assert found["mean_penetration_um"] == pytest.approx(0, abs=0.08)
        low, high = found["max_penetration_um_ci95"]
        assert low < 0.3
        assert found["max_penetration_um"] < 0.6


def test_a_stated_area_gives_a_fraction_and_no_outline(corroded):
    settings = SectionSettings(original_area_um2=2700, original_area_relative_uncertainty=0.02)
    result = measure_section(picture(corroded), settings)
    found = result.summary
    assert found["original_outline"] == "stated area"
    assert found["remaining_fraction"] == pytest.approx(TRUE, abs=0.004)
    assert found["original_relative_uncertainty"] == 0.02
    assert found["mean_penetration_um"] is None
    assert found["max_penetration_um"] is None
    assert result.tables["outline"]["profile"].size == 0
    assert any("no penetration is given" in text for text in result.warnings)


def test_a_stated_area_comes_before_a_drawn_size_and_takes_its_outline(corroded):
    settings = DRAWN.model_copy(update={"original_area_um2": 2600.0})
    found = measure_section(picture(corroded), settings).summary
    assert found["original_outline"] == "stated area"
    assert found["original_area_um2"] == pytest.approx(2600)
    assert found["mean_penetration_um"] == pytest.approx(5.5, abs=0.2)
    assert found["max_penetration_um"] == pytest.approx(5.7, abs=1.0)


@pytest.mark.parametrize("um_y", [0.5, 0.8])
def test_corrected_by_hand_as_found_keeps_every_figure(corroded, um_y):
    """To a fraction of a pixel, also on oblong pixels."""
    image = picture(corroded, um_y=um_y)
    found = measure_section(image, DRAWN)
    same = measure_section(image, DRAWN, corrected=found.masks["section"])
    for name, value in found.summary.items():
        assert same.summary[name] == value, name
    for table, rows in found.tables.items():
        for name, values in rows.items():
            np.testing.assert_array_equal(same.tables[table][name], values, name)
    assert same.summary["corrected_by_hand"] is True and "corrected_by_hand" not in found.summary


def test_corrected_by_hand_takes_metal_off_and_adds_it(corroded):
    image = picture(corroded)
    found = measure_section(image, DRAWN)
    drawn = found.masks["section"].copy()
    drawn[90:130, 100:140] = 2
    less = measure_section(image, DRAWN, corrected=drawn)
    taken = found.summary["metal_area_px"] - less.summary["metal_area_px"]
    assert taken == pytest.approx(1600, abs=8)  # corners of the hole are cut between pixels
    np.testing.assert_array_equal(less.masks["section"], drawn)
    drawn[90:130, 100:140] = 1
    back = measure_section(image, DRAWN, corrected=drawn)
    assert back.summary["metal_area_px"] == pytest.approx(found.summary["metal_area_px"], abs=0.01)
    drawn = found.masks["section"].copy()
    drawn[drawn == 2] = 1
    more = measure_section(image, DRAWN, corrected=drawn)
    assert more.summary["metal_area_um2"] == pytest.approx(132 * 100 * 0.25, rel=0.01)


def test_corrected_by_hand_to_nothing(corroded):
    result = measure_section(picture(corroded), DRAWN, corrected=np.zeros(SHAPE, np.uint8))
    assert result.summary["profile_count"] == 0 and result.summary["metal_area_um2"] is None
    assert any("No metal is left" in text for text in result.warnings)


def test_a_corrected_mask_needs_a_section_to_tell_its_edge_by():
    noise = np.random.default_rng(1).normal(120, 5, SHAPE).clip(0, 255).astype(np.uint8)
    drawn = np.zeros(SHAPE, int)
    drawn[50:100, 50:100] = 1
    with pytest.raises(InputError, match="no section stands apart"):
        measure_section(picture(noise), corrected=drawn)
    with pytest.raises(InputError, match="from 0 to 4"):
        measure_section(picture(noise), corrected=4 * drawn)

"""Pits of a height map from end to end: depth, volume, lower bounds, and the level they start from."""

import numpy as np
import pytest

from surfscan.columns import columns
from surfscan.errors import InputError
from surfscan.images import Calibration, HeightMap, Micrograph, Source
from surfscan.procedures import measure_pits
from surfscan.procedures.settings import HeightPitSettings, PitSettings

PIXEL_UM = 0.8
PITS = ((60, 60, 14.0, 9.0), (60, 180, 10.0, 5.0), (170, 70, 18.0, 6.0), (180, 190, 8.0, 6.5))
"""Row and column, px; mouth radius and depth, µm."""


def surface(pits=PITS, seed=3, roughness_um=0.1):
    """Rough, tilted and curved, with paraboloid pits; heights in µm."""
    import cv2

    rows = cols = 256
    row, col = np.mgrid[:rows, :cols]
    grain = cv2.GaussianBlur(np.random.default_rng(seed).standard_normal((rows, cols)), (0, 0), 1.5)
    heights = 40 + 0.004 * col - 0.002 * row - (PIXEL_UM * (row - 128)) ** 2 / (2 * 2000)
    heights += roughness_um * grain / grain.std()
    for r, c, radius, depth in pits:
        t2 = ((row - r) ** 2 + (col - c) ** 2) * PIXEL_UM**2 / radius**2
        heights -= np.where(t2 < 1, depth * (1 - t2), 0)
    return heights


def heightmap(heights, scale=PIXEL_UM):
    calibration = Calibration(scale, scale, 0.01, "stated") if scale else None
    return HeightMap(np.asarray(heights), calibration, Source("field.x3p"))


@pytest.fixture(scope="module")
def result():
    return measure_pits(heightmap(surface()))


def test_every_pit_with_its_depth_and_volume(result):
    pits = result.tables["pits"]
    assert list(pits) == [c.name for c in columns("pits")]
    assert result.summary["pit_count"] == len(PITS)
    for r, c, radius, depth in PITS:
        k = int(np.argmin(np.hypot(pits["row_px"] - r, pits["col_px"] - c)))
        assert pits["depth_um"][k] == pytest.approx(depth, rel=0.05)
        assert pits["volume_um3"][k] == pytest.approx(np.pi / 2 * radius**2 * depth, rel=0.06)
        assert abs(pits["depth_um"][k] - depth) < 4 * pits["depth_uncertainty_um"][k]
    assert np.isnan(pits["contrast"]).all()


def test_summary_of_depths(result):
    summary = result.summary
    assert summary["image_kind"] == "heightmap"
    assert summary["max_depth_um"] == pytest.approx(9.0, rel=0.05)
    low, high = summary["max_depth_um_ci95"]
    assert low < summary["max_depth_um"] < high
    assert summary["mean_depth_10_deepest_um"] == pytest.approx(np.mean([9, 5, 6, 6.5]), rel=0.05)
    assert summary["deepest_count"] == 4
    assert summary["total_volume_um3"] == pytest.approx(result.tables["pits"]["volume_um3"].sum())
    area_um2 = summary["field_area_mm2"] * 1e6
    assert summary["volume_per_area_um"] == pytest.approx(summary["total_volume_um3"] / area_um2)
    assert summary["roughness_sq_um"] == pytest.approx(0.1, rel=0.15)
    assert summary["g46_depth_class"] == "below C1 (outside chart)"
    assert not summary["max_depth_is_lower_bound"]


def test_without_an_original_level_that_is_said(result):
    summary = result.summary
    assert summary["original_level"] == "present surface"
    assert summary["mean_penetration_um"] is None
    assert "present surface" in summary["pitting_factor_denominator"]
    assert summary["pitting_factor"] == pytest.approx(
        summary["max_depth_um"] / summary["volume_per_area_um"], rel=1e-6
    )
    assert any("lower bound of the mean penetration" in w for w in result.warnings)


def test_turned_map_gives_the_same_pits(result):
    turned = measure_pits(heightmap(np.rot90(surface()).copy()))
    assert turned.summary["max_depth_um"] == pytest.approx(result.summary["max_depth_um"], rel=0.01)
    assert turned.summary["total_volume_um3"] == pytest.approx(result.summary["total_volume_um3"], rel=0.02)


def test_heights_twice_as_high_double_depth_and_volume(result):
    high = measure_pits(heightmap(2 * surface()))
    assert high.summary["max_depth_um"] == pytest.approx(2 * result.summary["max_depth_um"], rel=0.01)
    assert high.summary["total_volume_um3"] == pytest.approx(2 * result.summary["total_volume_um3"], rel=0.02)


def test_a_floor_that_was_not_measured_makes_lower_bounds():
    heights = surface()
    row, col = np.mgrid[:256, :256]
    heights[np.hypot(row - 60, col - 60) < 6] = np.nan
    result = measure_pits(heightmap(heights))
    pits = result.tables["pits"]
    k = int(np.argmin(np.hypot(pits["row_px"] - 60, pits["col_px"] - 60)))
    assert pits["depth_is_lower_bound"].tolist() == [i == k for i in range(4)]
    assert pits["depth_um"][k] < 9.0 and pits["measured_fraction"][k] < 0.9
    summary = result.summary
    assert summary["max_depth_is_lower_bound"] and summary["mean_depth_10_deepest_is_lower_bound"]
    assert summary["max_depth_um_ci95"][1] is None
    assert summary["lower_bound_depth_count"] == 1
    assert any(
        "Of 4 pits 1 pit has a floor that was not measured: its depth is a lower bound" in w
        for w in result.warnings
    )


def test_a_pit_that_goes_on_beyond_the_frame_is_a_lower_bound_but_the_field_has_its_greatest_depth():
    result = measure_pits(heightmap(surface()[60:]))
    pits = result.tables["pits"]
    cut = pits["deepest_row_px"] == 0
    assert cut.sum() == 2
    assert np.array_equal(pits["depth_is_lower_bound"], cut)
    assert result.summary["lower_bound_depth_count"] == 0
    assert not result.summary["max_depth_is_lower_bound"]


def test_few_shallow_pits_give_no_pitting_factor():
    """Where the mean penetration cannot be told from none, deepest over mean tends to infinity."""
    result = measure_pits(heightmap(surface(pits=((100, 100, 3.5, 1.2),))))
    assert result.summary["pit_count"] == 1
    assert result.summary["pitting_factor"] is None
    assert any("cannot be told from none" in w for w in result.warnings)


def test_gaps_are_no_part_of_the_field():
    heights = surface()
    heights[:, 120:136] = np.nan
    full, gapped = measure_pits(heightmap(surface())), measure_pits(heightmap(heights))
    lost = 256 * 16 * PIXEL_UM**2 / 1e6
    assert gapped.summary["field_area_mm2"] == pytest.approx(full.summary["field_area_mm2"] - lost, rel=0.01)
    assert gapped.summary["measured_fraction"] == pytest.approx(240 / 256)


def test_region_bounds_the_field_and_the_pits():
    region = np.zeros((256, 256), bool)
    region[:, :128] = True
    result = measure_pits(heightmap(surface()), HeightPitSettings(min_depth_um=1.0), region=region)
    assert result.summary["pit_count"] == 2
    assert result.summary["region_origin"] == "given mask"
    assert not result.masks["pits"][:, 128:].any()


def test_without_scale_depths_stay_and_areas_go():
    result = measure_pits(heightmap(surface(), scale=None))
    summary = result.summary
    assert summary["max_depth_um"] == pytest.approx(9.0, rel=0.05)
    assert summary["total_volume_um3"] is summary["volume_per_area_um"] is summary["field_area_mm2"] is None
    assert summary["pitting_factor"] is None
    assert np.isnan(result.tables["pits"]["volume_um3"]).all()
    assert any("volumes need the pixel size" in w for w in result.warnings)


def test_a_surface_without_pits():
    result = measure_pits(heightmap(surface(pits=())))
    summary = result.summary
    assert summary["pit_count"] == 0
    assert summary["max_depth_um"] is summary["median_depth_um"] is summary["pitting_factor"] is None
    assert summary["total_volume_um3"] == 0
    assert any("No pitting factor: there is no pit" in w for w in result.warnings)


def test_smallest_depth_in_force():
    shallow = measure_pits(heightmap(surface()), HeightPitSettings(min_depth_um=6.2))
    assert shallow.summary["pit_count"] == 2
    assert shallow.summary["smallest_depth_um"] == 6.2


def test_wall_against_the_objective():
    result = measure_pits(heightmap(surface()), HeightPitSettings(objective_aperture=0.2))
    assert set(result.tables["pits"]["wall_against_limit"]) == {"beyond"}


def test_same_input_same_output(result):
    again = measure_pits(heightmap(surface()))
    assert again.summary == result.summary
    for name, column in result.tables["pits"].items():
        assert np.array_equal(column, again.tables["pits"][name], equal_nan=column.dtype.kind == "f")


@pytest.mark.parametrize("name", ["region", "datum"])
def test_masks_of_another_size_or_empty_are_refused(name):
    with pytest.raises(InputError, match=f"the {name} mask is 10 x 10 px"):
        measure_pits(heightmap(surface()), **{name: np.ones((10, 10), bool)})
    with pytest.raises(InputError, match=f"the {name} mask marks nothing"):
        measure_pits(heightmap(surface()), **{name: np.zeros((256, 256), bool)})


def test_too_little_measured_is_refused():
    heights = np.full((64, 64), np.nan)
    heights[:5, :5] = 1.0
    with pytest.raises(InputError, match="only 25 heights were measured"):
        measure_pits(heightmap(heights))


def test_settings_of_the_other_kind_of_image_are_refused():
    with pytest.raises(TypeError, match="takes HeightPitSettings"):
        measure_pits(heightmap(surface()), PitSettings())
    picture = Micrograph(np.full((64, 64), 200, np.uint8), None, Source("a.png"))
    with pytest.raises(TypeError, match="takes PitSettings"):
        measure_pits(picture, HeightPitSettings())
    with pytest.raises(TypeError, match="belong to a height map"):
        measure_pits(picture, datum=np.ones((64, 64), bool))


def test_corrected_by_hand_as_found_keeps_every_figure(result):
    again = measure_pits(heightmap(surface()), corrected=7 * result.masks["pits"])
    for name, values in result.tables["pits"].items():
        np.testing.assert_array_equal(again.tables["pits"][name], values, name)
    differ = {k for k in again.summary if again.summary[k] != result.summary.get(k)}
    assert differ <= {"for_review_count", "corrected_by_hand"} and again.summary["corrected_by_hand"] is True


def test_corrected_by_hand_measures_depth_below_the_same_reference(result):
    """Mouths drawn where the pits truly lie have their depths and volumes; nobody found their prominence."""
    rows, cols = np.mgrid[:256, :256]
    drawn = np.zeros((256, 256), int)
    for k, (r, c, radius, _) in enumerate(PITS, start=1):
        drawn[((rows - r) ** 2 + (cols - c) ** 2) * PIXEL_UM**2 <= radius**2] = k
    again = measure_pits(heightmap(surface()), corrected=drawn)
    pits = again.tables["pits"]
    for k, (_, _, radius, depth) in enumerate(PITS):
        assert pits["depth_um"][k] == pytest.approx(depth, rel=0.05)
        assert pits["volume_um3"][k] == pytest.approx(np.pi / 2 * radius**2 * depth, rel=0.06)
    assert np.isnan(pits["prominence_um"]).all()
    assert (pits["depth_uncertainty_um"] > 0).all() and (pits["near_limit"] == "").all()
    assert again.summary["max_depth_um"] == pytest.approx(result.summary["max_depth_um"], rel=1e-6)


def test_corrected_by_hand_with_gaps_and_a_datum():
    """A gap that a mouth takes in is field; and the original level follows the mouths drawn."""
    heights = surface()
    heights[100:112, 100:112] = np.nan
    datum = np.zeros(heights.shape, bool)
    datum[:, 240:] = True
    alone = measure_pits(heightmap(heights), datum=datum)
    drawn = alone.masks["pits"].copy()
    drawn[98:114, 98:114] = 50
    again = measure_pits(heightmap(heights), datum=datum, corrected=drawn)
    assert again.summary["field_area_px"] == alone.summary["field_area_px"] + 144
    assert again.tables["pits"]["measured_fraction"][-1] == pytest.approx(1 - 144 / 256)
    assert again.summary["mean_penetration_um"] is not None


def test_drawn_where_nothing_was_measured():
    """A pit too steep to be seen at all, outlined by hand: counted, without a depth, and said."""
    heights = surface()
    heights[100:112, 100:112] = np.nan
    alone = measure_pits(heightmap(heights))
    drawn = alone.masks["pits"].copy()
    drawn[101:111, 101:111] = 50
    again = measure_pits(heightmap(heights), corrected=drawn)
    was, now = alone.summary, again.summary
    assert now["pit_count"] == was["pit_count"] + 1
    assert np.isnan(again.tables["pits"]["depth_um"][-1])
    assert now["max_depth_um"] == was["max_depth_um"] and now["total_volume_um3"] == was["total_volume_um3"]
    assert now["max_depth_is_lower_bound"] and now["max_depth_um_ci95"][1] is None
    assert now["median_depth_um"] == was["median_depth_um"]
    assert any("1 of 5 pits was drawn where nothing was measured" in text for text in again.warnings)
    only = measure_pits(heightmap(heights), corrected=np.where(drawn == 50, 1, 0))
    assert only.summary["pit_count"] == 1 and only.summary["max_depth_um"] is None
    assert only.summary["g46_depth_class"] is None and only.summary["max_depth_is_lower_bound"]


def test_drawn_on_a_bump():
    """An outline whose deepest reading lies above the surface round about: no depth above 0, and said."""
    heights = surface()
    row, col = np.mgrid[:256, :256]
    heights += 3.0 * np.exp(-((row - 120) ** 2 + (col - 120) ** 2) / (2 * 6.0**2))
    again = measure_pits(heightmap(heights), corrected=(np.hypot(row - 120, col - 120) < 4).astype(np.int32))
    assert again.tables["pits"]["depth_um"][0] < -1
    assert again.summary["g46_depth_class"] == "below C1 (outside chart)"
    assert any("the depth is not above 0" in text for text in again.warnings)

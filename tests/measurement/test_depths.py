"""Depth, volume, floor and walls of labelled pits, on pits whose figures are known."""

import cv2
import numpy as np
import pytest

from surfscan.columns import OBJECT_TABLES
from surfscan.measurement.depths import measure_depths
from surfscan.measurement.objects import measure_objects

PIXEL = (0.5, 0.5)


def _measured(labels, depth, pixel=PIXEL, roughness=0.01, level=0.0, aperture=None):
    n = int(labels.max())
    width = measure_objects(labels, pixel_size_um=pixel).columns["width_um"]
    return measure_depths(
        labels,
        depth.astype(np.float32),
        pixel_size_um=pixel,
        width_um=width,
        roughness_um=np.full(n, roughness),
        level_uncertainty_um=np.full(n, level),
        objective_aperture=aperture,
    )


def _bowl(radius=30, depth=6.0, shape=(100, 100), centre=(50, 50)):
    y, x = np.mgrid[0 : shape[0], 0 : shape[1]]
    rho = np.hypot(y - centre[0], x - centre[1]) / radius
    return (rho < 1).astype(np.int32), np.where(rho < 1, depth * (1 - rho**2), 0.0)


def test_columns_are_those_registered():
    labels, depth = _bowl()
    known = [c.name for c in OBJECT_TABLES["pits"] if c.name in _measured(labels, depth)]
    assert sorted(known) == sorted(_measured(labels, depth))


def test_depth_mean_and_volume_are_sums_over_pixels():
    labels, depth = _bowl()
    labels[5:10, 5:15] = 2
    depth[5:10, 5:15] = np.arange(10) / 4
    t = _measured(labels, depth)
    assert t["depth_um"] == pytest.approx([6.0, 2.25])
    assert t["mean_depth_um"] == pytest.approx([depth[labels == 1].mean(), 1.125], rel=1e-6)
    assert t["volume_um3"] == pytest.approx([depth[labels == 1].sum() * 0.25, 1.125 * 50 * 0.25], rel=1e-6)
    assert t["measured_fraction"].tolist() == [1, 1]
    assert (t["deepest_row_px"][0], t["deepest_col_px"][0]) == (50, 50)
    assert (t["deepest_row_px"][1], t["deepest_col_px"][1]) == (5, 14)
    assert t["depth_to_roughness"] == pytest.approx([600, 225])
    assert not t["depth_is_lower_bound"].any()


def test_gaps_are_neither_filled_nor_counted_as_metal():
    labels = np.zeros((20, 20), np.int32)
    labels[5:15, 5:15] = 1
    depth = np.where(labels > 0, 4.0, 0.0)
    depth[5:10, 5] = np.nan
    t = _measured(labels, depth)
    assert t["mean_depth_um"] == pytest.approx([4.0])
    assert t["volume_um3"] == pytest.approx([4.0 * 100 * 0.25])
    assert t["measured_fraction"] == pytest.approx([0.95])


def test_an_unmeasured_floor_makes_depth_a_lower_bound():
    labels, depth = _bowl()
    depth[depth > 5] = np.nan
    t = _measured(labels, depth)
    assert t["depth_is_lower_bound"].tolist() == [True]
    assert t["depth_um"] == pytest.approx([5.0], abs=0.05)
    assert t["cross_section"].tolist() == ["not seen"]


def test_gaps_on_the_wall_and_single_ones_on_the_floor_do_not():
    labels, depth = _bowl()
    depth[48:53, 72:76] = np.nan
    depth[50, 50] = depth[52, 47] = depth[47, 53] = np.nan
    assert _measured(labels, depth)["depth_is_lower_bound"].tolist() == [False]


def test_in_a_small_pit_one_gap_at_the_bottom_does():
    labels, depth = _bowl(radius=1.9, depth=2.0)
    depth[50, 50] = np.nan
    assert _measured(labels, depth)["depth_is_lower_bound"].tolist() == [True]


def test_a_pit_without_any_measured_point_has_no_depth():
    labels, depth = _bowl(radius=5)
    labels[80:90, 80:90] = 2
    depth[80:90, 80:90] = 1
    depth[labels == 1] = np.nan
    t = _measured(labels, depth)
    for name in ("depth_um", "mean_depth_um", "volume_um3", "deepest_row_px", "steepest_wall_deg"):
        assert np.isnan(t[name][0]), name
        assert not np.isnan(t[name][1]), name
    assert t["depth_is_lower_bound"].tolist() == [True, False]
    assert t["measured_fraction"].tolist() == [0, 1]


def test_a_gap_at_the_pictures_edge():
    labels, depth = _bowl(radius=20, centre=(0, 0))
    depth[:4, :4] = np.nan
    assert _measured(labels, depth)["depth_is_lower_bound"].tolist() == [True]


def test_uncertainty_adds_roughness_and_level():
    labels, depth = _bowl()
    assert _measured(labels, depth, roughness=0.3, level=0.4)["depth_uncertainty_um"] == pytest.approx([0.5])


@pytest.mark.parametrize(
    ("depth_um", "section"),
    [(3.7, "wide and shallow"), (7.7, "elliptical"), (28.0, "elliptical"), (31.0, "narrow and deep")],
)
def test_cross_section_goes_by_depth_over_width(depth_um, section):
    labels, depth = _bowl(depth=depth_um)  # 30 µm wide
    t = _measured(labels, depth)
    assert t["depth_to_width"] == pytest.approx([depth_um / 30], rel=0.01)
    assert t["cross_section"].tolist() == [section]


@pytest.mark.parametrize("direction", [(1, 0), (0, 1), (1, 1), (1, -1)])
def test_slope_of_an_inclined_plane_along_rows_columns_and_diagonals(direction):
    y, x = np.mgrid[0:40, 0:40]
    pixel = (0.5, 0.5)
    labels = np.zeros((40, 40), np.int32)
    labels[10:30, 10:30] = 1
    along = (y * direction[0] + x * direction[1]) / np.hypot(*direction) * 0.5
    depth = 50 + np.tan(np.radians(52)) * along
    t = _measured(labels, depth, pixel, aperture=0.8)
    assert t["steepest_wall_deg"] == pytest.approx([52], abs=0.01)
    assert t["wall_against_limit"].tolist() == ["within"]  # asin 0.8 is 53.1 degrees
    assert _measured(labels, depth, pixel, aperture=0.78)["wall_against_limit"].tolist() == ["beyond"]


def test_slopes_across_oblong_pixels_and_not_over_gaps_or_rims():
    labels = np.zeros((9, 9), np.int32)
    labels[2:7, 2:7] = 1
    depth = np.zeros((9, 9))
    depth[2:7, 2:7] = 5 + np.arange(5)[:, None] * 2.0
    assert _measured(labels, depth, (0.5, 2.0))["steepest_wall_deg"] == pytest.approx([45])
    depth[4, 2:7] = np.nan
    assert _measured(labels, depth, (0.5, 2.0))["steepest_wall_deg"] == pytest.approx([45])


def test_floor_depth_of_smooth_bowls_is_their_depth():
    labels, depth = _bowl()
    assert _measured(labels, depth)["floor_depth_um"] == pytest.approx([6.0], rel=0.002)


def test_floor_depth_averages_a_rough_floor():
    floors, tops = [], []
    for seed in range(12):
        rng = np.random.default_rng(seed)
        labels, depth = _bowl(radius=40, depth=2.0, shape=(120, 120), centre=(60, 60))
        rough = cv2.GaussianBlur(rng.standard_normal(depth.shape), (0, 0), 1.0)
        t = _measured(labels, depth + 0.2 * rough / rough.std(), roughness=0.2)
        floors.append(t["floor_depth_um"][0])
        tops.append(t["depth_um"][0])
    assert np.mean(floors) == pytest.approx(2.0, abs=0.06)
    assert np.mean(tops) > 2.2


def test_without_scale_depths_are_given_and_lateral_figures_are_not():
    labels, depth = _bowl()
    t = _measured(labels, depth, None, aperture=0.5)
    assert t["depth_um"] == pytest.approx([6.0])
    assert t["floor_depth_um"] == pytest.approx([6.0], rel=0.01)
    for name in ("volume_um3", "depth_to_width", "steepest_wall_deg"):
        assert np.isnan(t[name]).all(), name
    assert t["cross_section"].tolist() == [""]
    assert t["wall_against_limit"].tolist() == [""]


def test_no_pits():
    t = _measured(np.zeros((5, 5), np.int32), np.zeros((5, 5)))
    assert {len(v) for v in t.values()} == {0}


def test_nonsense_is_refused():
    labels, depth = _bowl()
    with pytest.raises(ValueError, match="must agree"):
        _measured(labels, depth[:-1])
    with pytest.raises(ValueError, match="objective_aperture"):
        _measured(labels, depth, aperture=1.2)
    with pytest.raises(ValueError, match="roughness_um has shape"):
        measure_depths(
            labels,
            depth.astype(np.float32),
            pixel_size_um=PIXEL,
            width_um=np.ones(1),
            roughness_um=np.ones(2),
            level_uncertainty_um=np.ones(1),
        )
    with pytest.raises(ValueError, match="whole numbers"):
        measure_depths(
            depth,
            depth.astype(np.float32),
            pixel_size_um=PIXEL,
            width_um=np.ones(6),
            roughness_um=np.ones(6),
            level_uncertainty_um=np.ones(6),
        )


def test_a_patch_on_the_wall_that_reaches_the_floor_with_one_end_does_not_hide_it():
    labels = np.zeros((40, 120), np.int32)
    labels[10:30, 10:110] = 1
    depth = np.where(labels > 0, np.clip(np.arange(120) - 9, 0, 80) / 10.0, 0.0)
    depth[18:22, 20:87] = np.nan  # from 1.0 to 7.7 of 8 µm; 43 % of its edge is deeper than 4.8 µm
    assert _measured(labels, depth)["depth_is_lower_bound"].tolist() == [False]
    depth[18:22, 50:100] = np.nan
    assert _measured(labels, depth)["depth_is_lower_bound"].tolist() == [True]

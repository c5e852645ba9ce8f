"""Thickness of struts on a stage against drawn maps whose thickness is exact."""

import numpy as np
import pytest

from surfscan.measurement.strut_thickness import NoThicknessError, measure_thickness

SHAPE = (240, 320)
ROW, COL = np.mgrid[: SHAPE[0], : SHAPE[1]].astype(float)


def across(angle_deg=20.0, offset=0.0):
    """Distance of every pixel from a straight line through the middle, and position along it."""
    a = np.radians(angle_deg)
    x, y = COL - SHAPE[1] / 2, ROW - SHAPE[0] / 2
    return -x * np.sin(a) + y * np.cos(a) - offset, x * np.cos(a) + y * np.sin(a)


def on_stage(metal, *, tilt=(0.03, -0.1), noise=0.3, seed=0):
    """Metal on a tilted stage, far from zero."""
    rng = np.random.default_rng(seed)
    return 1000 + metal + tilt[0] * ROW + tilt[1] * COL + rng.normal(0, 1, SHAPE) * noise


def box(thickness=150.0, width=80.0, **where):
    """A strut of rectangular section whose walls were not measured."""
    v, _ = across(**where)
    metal = np.where(np.abs(v) < width / 2, thickness, 0.0)
    metal[(np.abs(v) > width / 2 - 2) & (np.abs(v) < width / 2 + 2)] = np.nan
    return metal


@pytest.mark.parametrize("tilt", [(0.0, 0.0), (0.03, -0.1), (1.5, -1.0)])
@pytest.mark.parametrize("angle", [0.0, 20.0, 90.0])
def test_strut_on_a_tilted_stage(angle, tilt):
    found = measure_thickness(on_stage(box(angle_deg=angle), tilt=tilt))
    assert found.mean_um == pytest.approx(150, abs=0.05)
    assert found.least_um == pytest.approx(150, abs=0.3)
    assert found.uncertainty_um == pytest.approx(1.5, rel=0.02)  # the allowance for the height scale
    assert found.stage_roughness_um == pytest.approx(0.3, rel=0.05)
    assert found.warnings == ()


def test_a_strut_that_covers_most_of_the_map_is_not_taken_for_the_stage():
    found = measure_thickness(on_stage(box(width=190, angle_deg=0)))
    assert found.mean_um == pytest.approx(150, abs=0.05)


def test_top_of_a_trapezoid():
    """Flanks fall from 40 px wide on top to 100 px at the foot; the top counts."""
    v, _ = across()
    found = measure_thickness(on_stage(120 * np.clip((50 - np.abs(v)) / 30, 0, 1)))
    assert found.mean_um == pytest.approx(120, abs=0.1)


def test_crest_of_a_round_wire():
    """Of a wire of 90 µm lying on the stage the flanks are not seen; pixels of 1 µm."""
    v, _ = across()
    inside = np.abs(v) < 45
    metal = np.where(inside, 45 + np.sqrt(np.maximum(45**2 - v**2, 0)), 0.0)
    metal[inside & (np.abs(v) > 30)] = np.nan
    assert measure_thickness(on_stage(metal), top="round").mean_um == pytest.approx(90, abs=0.1)
    assert measure_thickness(on_stage(metal)).mean_um < 90


def test_gaps_and_spikes_change_nothing():
    heights = on_stage(box())
    rng = np.random.default_rng(3)
    heights[rng.random(SHAPE) < 0.3] = np.nan
    heights[110:125, 150:180] = np.nan
    heights[rng.random(SHAPE) < 0.002] += 400
    assert measure_thickness(heights).mean_um == pytest.approx(150, abs=0.1)


def test_a_stretch_without_heights_does_not_count():
    v, u = across(angle_deg=0)
    heights = on_stage(box(angle_deg=0))
    heights[(np.abs(v) < 38) & (u > 20) & (u < 90)] = np.nan
    found = measure_thickness(heights)
    assert found.mean_um == pytest.approx(150, abs=0.05)
    assert np.isnan(found.thickness_um).any()
    assert any("too little was measured" in text for text in found.warnings)


def test_least_thickness_and_where():
    """A dent of 30 µm over 50 px of the strut."""
    v, u = across(angle_deg=0)
    metal = box(angle_deg=0) - np.where((np.abs(v) < 38) & (np.abs(u - 60) < 25), 30.0, 0.0)
    found = measure_thickness(on_stage(metal))
    assert found.least_um == pytest.approx(120, abs=0.5)
    assert found.least_col_px == pytest.approx(SHAPE[1] / 2 + 60, abs=25)
    assert found.mean_um == pytest.approx(150 - 30 * 50 / SHAPE[1], abs=1.0)


def test_noise_is_in_the_uncertainty():
    """Over maps the mean scatters no more than it says it does (height scale left out)."""
    errors, stated = [], []
    for seed in range(12):
        found = measure_thickness(on_stage(box(), noise=12.0, seed=seed))
        errors.append(found.mean_um - 150)
        stated.append(np.sqrt(max(found.uncertainty_um**2 - (0.01 * found.mean_um) ** 2, 0)))
    scatter = np.std(errors)
    assert 0.3 < np.median(stated) / scatter < 3
    assert abs(np.mean(errors)) < 0.5


def test_a_strut_that_rises_is_reported():
    v, u = across(angle_deg=0)
    found = measure_thickness(on_stage(np.where(np.abs(v) < 40, 150 + 0.1 * u, 0.0)))
    assert any("does not lie flat" in text for text in found.warnings)


def test_a_stage_on_one_side_is_reported():
    v, _ = across(angle_deg=0)
    heights = on_stage(box(angle_deg=0))
    heights[v > 42] = np.nan
    found = measure_thickness(heights)
    assert found.mean_um == pytest.approx(150, abs=0.2)
    assert any("one side" in text for text in found.warnings)


def test_no_step():
    with pytest.raises(NoThicknessError, match=r"No step was found.*both sides"):
        measure_thickness(on_stage(np.zeros(SHAPE)))
    with pytest.raises(NoThicknessError, match="No step was found"):
        top_only = np.where(np.abs(across()[0]) < 40, 150.0, np.nan)
        measure_thickness(on_stage(top_only))


def test_no_stage():
    dome = -((ROW - 120) ** 2 + (COL - 160) ** 2) / 300
    with pytest.raises(NoThicknessError, match="No stage is visible"):
        measure_thickness(on_stage(dome))
    with pytest.raises(NoThicknessError, match="Next to nothing was measured"):
        measure_thickness(np.full(SHAPE, np.nan))


def test_region_leaves_the_rest_out():
    heights = on_stage(box(angle_deg=0))
    heights[:, 250:] = 5000.0
    region = np.ones(SHAPE, bool)
    region[:, 250:] = False
    assert measure_thickness(heights, region=region).mean_um == pytest.approx(150, abs=0.05)


def test_nonsense_is_refused():
    with pytest.raises(ValueError, match="at least 32 by 32"):
        measure_thickness(np.zeros((8, 8)))
    with pytest.raises(ValueError, match="region has shape"):
        measure_thickness(np.zeros(SHAPE), region=np.ones((3, 3), bool))

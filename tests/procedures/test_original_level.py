"""How far the metal went back: known from a masked datum or an unexposed map, and refused where it is not."""

import numpy as np
import pytest

from surfscan.errors import InputError
from surfscan.images import Calibration, HeightMap, Source
from surfscan.procedures import measure_pits

PIXEL_UM = 0.8
RECESSION_UM = 3.0
PIT_DEPTH_UM = 8.0


def _grain(seed):
    import cv2

    grain = cv2.GaussianBlur(np.random.default_rng(seed).standard_normal((256, 256)), (0, 0), 1.5)
    return 0.1 * grain / grain.std()


def _pit():
    row, col = np.mgrid[:256, :256]
    t2 = ((row - 120) ** 2 + (col - 160) ** 2) * PIXEL_UM**2 / 15.0**2
    return np.where(t2 < 1, PIT_DEPTH_UM * (1 - t2), 0)


def _map(heights, name="after.x3p", scale=PIXEL_UM):
    return HeightMap(heights, Calibration(scale, scale, 0.01, "stated"), Source(name))


DATUM = np.zeros((256, 256), bool)
DATUM[:, :50] = True
TILT = 0.01 * np.arange(256) + 20
BEFORE = TILT + _grain(1)
AFTER = np.where(DATUM, BEFORE, TILT + _grain(2) - RECESSION_UM) - _pit()
PIT_VOLUME_UM3 = np.pi / 2 * 15.0**2 * PIT_DEPTH_UM


def _true_mean(area_px):
    return RECESSION_UM + PIT_VOLUME_UM3 / (area_px * PIXEL_UM**2)


def test_a_masked_datum_shows_the_recession():
    summary = measure_pits(_map(AFTER), datum=DATUM).summary
    assert summary["original_level"] == "masked datum"
    assert summary["mean_penetration_um"] == pytest.approx(_true_mean((~DATUM).sum()), rel=0.03)
    assert summary["max_penetration_um"] == pytest.approx(RECESSION_UM + PIT_DEPTH_UM, rel=0.03)
    assert summary["pitting_factor"] == pytest.approx(
        summary["max_penetration_um"] / summary["mean_penetration_um"], rel=1e-6
    )
    assert "original level (masked datum)" in summary["pitting_factor_denominator"]


def test_the_datum_is_no_part_of_the_field():
    result = measure_pits(_map(AFTER), datum=DATUM)
    assert result.summary["field_area_px"] == (~DATUM).sum()
    assert not result.masks["region"][:, :50].any()


def test_an_unexposed_map_as_it_stands():
    result = measure_pits(_map(AFTER), region=~DATUM, unexposed=_map(BEFORE, "before.x3p"))
    assert result.summary["original_level"] == "unexposed surface"
    assert result.summary["mean_penetration_um"] == pytest.approx(_true_mean((~DATUM).sum()), rel=0.03)
    assert any("one zero of height" in w for w in result.warnings)


def test_an_unexposed_map_whose_zero_the_datum_sets():
    result = measure_pits(_map(AFTER), datum=DATUM, unexposed=_map(BEFORE + 100.0, "before.x3p"))
    assert result.summary["mean_penetration_um"] == pytest.approx(_true_mean((~DATUM).sum()), rel=0.03)
    assert not any("one zero of height" in w for w in result.warnings)


def test_a_hidden_floor_does_not_make_the_mean_smaller_than_its_measured_part():
    """Unmeasured pixels of a pit count with its measured ones, not with the metal around."""
    row, col = np.mgrid[:256, :256]
    gapped = np.where(np.hypot(row - 120, col - 160) < 8, np.nan, AFTER)
    full = measure_pits(_map(AFTER), datum=DATUM).summary["mean_penetration_um"]
    part = measure_pits(_map(gapped), datum=DATUM).summary["mean_penetration_um"]
    assert RECESSION_UM < part < full
    assert part - RECESSION_UM > 0.5 * (full - RECESSION_UM)


def test_a_surface_that_grew_has_no_pitting_factor():
    result = measure_pits(_map(AFTER + np.where(DATUM, 0, 8.0)), datum=DATUM)
    assert result.summary["mean_penetration_um"] < 0
    assert result.summary["pitting_factor"] is None
    assert any("stands" in w and "above its original level" in w for w in result.warnings)


def test_no_loss_has_no_pitting_factor():
    """Where mean penetration cannot be told from none the ratio says nothing."""
    flat = TILT + _grain(5)
    result = measure_pits(_map(flat), datum=DATUM)
    assert abs(result.summary["mean_penetration_um"]) < 0.1
    assert result.summary["pitting_factor"] is None


def test_another_grid_is_refused():
    with pytest.raises(InputError, match=r"another grid \(256 x 256 px of 0.9 x 0.9 µm\)"):
        measure_pits(_map(AFTER), unexposed=_map(BEFORE, "before.x3p", scale=0.9))
    with pytest.raises(InputError, match="another grid"):
        measure_pits(_map(AFTER), unexposed=_map(BEFORE[:100], "before.x3p"))


def test_a_datum_that_was_hardly_measured_is_refused():
    heights = AFTER.copy()
    heights[:, :50] = np.nan
    with pytest.raises(InputError, match="only 0 heights were measured on the datum"):
        measure_pits(_map(heights), datum=DATUM)


def test_maps_that_share_no_pixel_are_refused():
    before = np.full((256, 256), np.nan)
    before[0, :] = 20.0
    after = AFTER.copy()
    after[0, :] = np.nan
    with pytest.raises(InputError, match="no pixel is measured on both maps"):
        measure_pits(_map(after), unexposed=_map(before, "before.x3p"))

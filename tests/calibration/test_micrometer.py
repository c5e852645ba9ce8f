"""Pixel size from a stage micrometer."""

import math

import numpy as np
import pytest

from surfscan.calibration.micrometer import fit_divisions
from surfscan.calibration.uncertainty import ANISOTROPY_ALLOWANCE, DECLARED_SCALE_ALLOWANCE


@pytest.mark.parametrize("angle_deg", [0, 1.3, -20, 44])
def test_a_ruler(draw_divisions, angle_deg):
    found = fit_divisions(draw_divisions(angle_deg=angle_deg), 10)
    assert found.pixel_size_x_um == pytest.approx(10 / 17.3, rel=2e-4)
    assert found.pixel_size_y_um == found.pixel_size_x_um
    assert (found.x is None) != (found.y is None)
    assert found.uncertainty.anisotropy == ANISOTROPY_ALLOWANCE


@pytest.mark.parametrize("pitch_px", [6.2, 13.37, 25.2, 58.6])
def test_a_ruler_placed_by_hand(draw_divisions, pitch_px):
    """A little off the pixels' axes, where the steepest gradients are still those along the axes."""
    for tenths in (1, 7, 9, 12, 16, 22, 50):
        width = min(3.0, pitch_px / 3)
        picture = draw_divisions(
            pitch_px=(pitch_px, None), angle_deg=tenths / 10, width_px=width, noise=6, seed=tenths
        )
        found = fit_divisions(picture, 10)
        assert found is not None, tenths
        assert found.pixel_size_x_um == pytest.approx(10 / pitch_px, rel=2e-4), tenths
        assert found.x.angle_deg == pytest.approx(tenths / 10, abs=0.05)
        assert found.y is None


@pytest.mark.parametrize("angle_deg", [0.7, 3.3, 33])
def test_a_tilted_grid(draw_divisions, angle_deg):
    found = fit_divisions(draw_divisions(pitch_px=(25.2, 25.7), angle_deg=angle_deg), 10)
    assert found.x.pitch_px == pytest.approx(25.2, rel=2e-4)
    assert found.y.pitch_px == pytest.approx(25.7, rel=2e-4)


def test_a_narrow_grid_is_not_taken_by_its_diagonals(draw_divisions):
    """Whose knots stand in line too, the pitch / sqrt(2) apart."""
    for angle_deg in (0, 3.1):
        picture = draw_divisions(pitch_px=(6.9, 7.04), angle_deg=angle_deg, width_px=1.5)
        found = fit_divisions(picture, 10)
        assert found.x.pitch_px == pytest.approx(6.9, rel=2e-4)
        assert found.y.pitch_px == pytest.approx(7.04, rel=2e-4)


def test_a_ruler_that_stands(draw_divisions):
    found = fit_divisions(draw_divisions(pitch_px=(None, 25.4), angle_deg=2), 10)
    assert found.x is None
    assert found.pixel_size_y_um == pytest.approx(10 / 25.4, rel=2e-4)


def test_a_grid_gives_both_directions(draw_divisions):
    found = fit_divisions(draw_divisions(pitch_px=(23.71, 24.19)), 10)
    assert found.pixel_size_x_um == pytest.approx(10 / 23.71, rel=3e-4)
    assert found.pixel_size_y_um == pytest.approx(10 / 24.19, rel=3e-4)
    assert found.uncertainty.anisotropy == 0


def test_a_turned_grid_of_pixels_that_are_not_square():
    """Lines 10 µm apart, turned by 12 degrees in µm, on pixels of 0.5 x 0.52 µm."""
    rows, cols = np.mgrid[:500, :600]
    x, y = 0.5 * (cols - 300), 0.52 * (rows - 250)
    cos, sin = math.cos(math.radians(12)), math.sin(math.radians(12))
    grey = np.full(rows.shape, 200.0)
    for along in (x * cos + y * sin, y * cos - x * sin):
        away = np.abs(along - 10 * np.rint(along / 10))
        grey = np.minimum(grey, 200 - 140 * np.clip((1.2 - away) / 0.5, 0, 1))
    found = fit_divisions(grey.astype(np.uint8), 10)
    assert found.pixel_size_x_um == pytest.approx(0.5, rel=5e-4)
    assert found.pixel_size_y_um == pytest.approx(0.52, rel=5e-4)


def test_uncertainty_is_never_zero(draw_divisions):
    picture = draw_divisions(noise=0)
    declared = fit_divisions(picture, 10).calibration
    assert declared.relative_uncertainty >= DECLARED_SCALE_ALLOWANCE
    certified = fit_divisions(picture, 10, certificate_relative_uncertainty=0.0005).calibration
    assert 0.0005 < certified.relative_uncertainty < 0.002
    assert declared.origin == "stage micrometer, divisions of 10 µm"


def test_distortion_is_part_of_the_uncertainty(draw_divisions):
    even, bent = (fit_divisions(draw_divisions(bend=b), 10).uncertainty.ends for b in (0, 0.01))
    assert bent > 20 * even


def test_a_turn_or_a_larger_picture_changes_nothing(draw_divisions):
    picture = draw_divisions(pitch_px=(23.71, 24.19))
    found, turned = fit_divisions(picture, 10), fit_divisions(np.ascontiguousarray(picture.T), 10)
    assert turned.pixel_size_x_um == pytest.approx(found.pixel_size_y_um, rel=1e-4)
    brighter = fit_divisions(picture.astype(np.uint16) * 257, 10)
    assert brighter.pixel_size_x_um == pytest.approx(found.pixel_size_x_um, rel=1e-5)


def test_no_micrometer():
    noise = np.random.default_rng(2).normal(128, 20, (300, 400)).clip(0, 255).astype(np.uint8)
    assert fit_divisions(noise, 10) is None
    assert fit_divisions(np.full((300, 400), 90, np.uint8), 10) is None


def test_nonsense():
    with pytest.raises(ValueError, match="above 0"):
        fit_divisions(np.zeros((50, 50)), 0)
    with pytest.raises(ValueError, match="two dimensions"):
        fit_divisions(np.zeros((50, 50, 3)), 10)
    with pytest.raises(ValueError, match="between 0 and 1"):
        fit_divisions(np.zeros((50, 50)), 10, certificate_relative_uncertainty=2)

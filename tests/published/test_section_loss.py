"""Loss of thin struts against closed forms.

The relations are plain geometry of an evenly dissolving section: what is left of a round wire of radius r0 is
(r0 - d)^2 pi, of a rectangle (w - 2 d)(t - 2 d). The figures for 150 x 150 µm, 120 x 120 µm and the 250 µm
wire were worked out from them by hand.
"""

import numpy as np
import pytest

from surfscan.images import Calibration, Micrograph, Source
from surfscan.measurement.section_loss import inward_offset, rectangle_penetration, round_penetration
from surfscan.procedures import SectionSettings, measure_section


def box(width, height):
    return np.array([[0.0, 0], [width, 0], [width, height], [0, height]])


def test_square_strut_losing_10_um_a_side():
    """(150 - 20)^2 / 150^2 = 0.7511; (120 - 20)^2 / 120^2 = 0.6944."""
    for side, fraction in ((150, 0.7511), (120, 0.6944)):
        assert rectangle_penetration(side, side, fraction) == pytest.approx(10, abs=0.005)
        assert inward_offset(box(side, side), fraction) == pytest.approx(10, abs=0.06)


def test_round_wire_of_250_um():
    """125 (1 - sqrt(0.65)) = 24.2 µm."""
    assert round_penetration(125, 0.65) == pytest.approx(24.2, abs=0.05)
    t = np.arange(720) * 2 * np.pi / 720
    wire = 125 * np.stack([np.cos(t), np.sin(t)], axis=1)
    assert inward_offset(wire, 0.65) == pytest.approx(24.2, abs=0.1)


def test_width_alone_understates_the_loss():
    """150 x 150 µm losing 10 µm a side: width says 130 / 150 = 0.867, the section 0.751."""
    by_width = 1 - 2 * rectangle_penetration(150, 150, 0.7511) / 150
    assert by_width == pytest.approx(0.867, abs=5e-4)


@pytest.mark.parametrize("semi", [(150.0, 60.0), (100.0, 80.0)])
def test_ellipse_moved_inwards(semi):
    """Steiner's formula: the area within a convex outline moved in by d, while no part of it shrinks to a
    point (d below the least radius of curvature b^2/a), is A - P d + pi d^2; P by Ramanujan's second
    approximation. Both known from memory."""
    a, b = semi
    h = ((a - b) / (a + b)) ** 2
    around = np.pi * (a + b) * (1 + 3 * h / (10 + np.sqrt(4 - 3 * h)))
    d = 0.6 * b**2 / a
    fraction = 1 - (around * d - np.pi * d**2) / (np.pi * a * b)
    t = np.arange(2000) * 2 * np.pi / 2000
    outline = np.stack([a * np.cos(t), b * np.sin(t)], axis=1)
    assert inward_offset(outline, fraction) == pytest.approx(d, rel=0.01)


def measured(draw_section, parts, settings, pixel_um=1.0):
    grey = draw_section((260, 300), parts, turn_deg=12)
    image = Micrograph(grey, Calibration(pixel_um, pixel_um, 0.001, "made so"), Source("drawn"))
    return measure_section(image, SectionSettings.model_validate(settings)).summary


def test_a_square_strut_from_the_picture_on(draw_section):
    """150 x 150 µm losing 10 µm all round, product about it: 0.7511 remains, 10 µm is gone."""
    parts = [("rectangle", 150, 130, 164, 164, 110), ("rectangle", 150, 130, 130, 130, 210)]
    found = measured(draw_section, parts, {"drawn_width_um": 150, "drawn_thickness_um": 150})
    assert found["original_outline"] == "drawn size"
    assert found["remaining_fraction"] == pytest.approx(0.7511, abs=0.004)
    assert found["mean_penetration_um"] == pytest.approx(10, abs=0.2)
    assert found["max_penetration_um"] == pytest.approx(10, abs=1.6)  # blur rounds the metal's corners
    assert found["least_ligament_um"] == pytest.approx(130, abs=1.0)


def test_a_round_wire_from_the_picture_on(draw_section):
    """180 µm wire losing 20 µm all round: (140/180)^2 = 0.6049 remains."""
    parts = [("ellipse", 150, 130, 196, 196, 110), ("ellipse", 150, 130, 140, 140, 210)]
    found = measured(draw_section, parts, {"drawn_width_um": 180, "drawn_shape": "ellipse"})
    assert found["remaining_fraction"] == pytest.approx(0.6049, abs=0.004)
    assert found["mean_penetration_um"] == pytest.approx(20, abs=0.3)
    assert found["local_pitting_factor"] == pytest.approx(1, abs=0.06)


def test_an_oblique_cut_is_brought_back(draw_section):
    """Cut 40 degrees off square, a strut of 120 x 90 µm shows 120 x 90/cos 40; 8 µm a side are gone."""
    longer = 1 / np.cos(np.deg2rad(40))
    parts = [
        ("rectangle", 150, 130, 130, 100 * longer, 110),
        ("rectangle", 150, 130, 104, 74 * longer, 210),
    ]
    found = measured(
        draw_section, parts, {"drawn_width_um": 120, "drawn_thickness_um": 90, "cut_angle_deg": 40}
    )
    assert found["metal_area_um2"] == pytest.approx(104 * 74, rel=0.006)
    assert found["original_area_um2"] == pytest.approx(120 * 90, rel=0.002)
    assert found["remaining_fraction"] == pytest.approx(104 * 74 / (120 * 90), abs=0.005)
    assert found["mean_penetration_um"] == pytest.approx(8, abs=0.25)
    assert found["max_penetration_um"] == pytest.approx(8, abs=1.6)
    assert found["least_ligament_um"] == pytest.approx(74, abs=1.5)

"""Drawn outlines, unexposed sections, and the mean penetration that follows from each."""

import numpy as np
import pytest

from surfscan.images import Calibration, Micrograph, Source
from surfscan.measurement.section_loss import polygon_area
from surfscan.procedures.section_field import section_field
from surfscan.procedures.section_original import (
    Original,
    drawn_outline,
    fresh_sections,
    mean_penetration,
)
from surfscan.procedures.settings import SectionSettings


@pytest.mark.parametrize(
    ("settings", "area"),
    [
        ({"drawn_width_um": 100, "drawn_thickness_um": 60}, 6000),
        ({"drawn_width_um": 100}, 10_000),
        ({"drawn_width_um": 100, "drawn_shape": "ellipse"}, np.pi * 2500),
        ({"drawn_width_um": 100, "drawn_thickness_um": 60, "drawn_shape": "ellipse"}, np.pi * 1500),
        (
            {
                "drawn_width_um": 100,
                "drawn_top_width_um": 80,
                "drawn_thickness_um": 60,
                "drawn_shape": "trapezoid",
            },
            5400,
        ),
    ],
)
def test_drawn_outlines_have_the_drawn_area(settings, area):
    outline = drawn_outline(SectionSettings.model_validate(settings), 0.5, stretched=True)
    assert polygon_area(outline) * 0.25 == pytest.approx(area, rel=1e-9)
    assert drawn_outline(SectionSettings(), 0.5, stretched=True) is None


@pytest.mark.parametrize("which", ["thickness", "width"])
def test_an_oblique_cut_stretches_one_size(which):
    settings = SectionSettings(
        drawn_width_um=100, drawn_thickness_um=60, cut_angle_deg=60, cut_stretches=which
    )
    size = np.ptp(drawn_outline(settings, 1.0, stretched=True), axis=0)
    assert size == pytest.approx([100, 120] if which == "thickness" else [200, 60])
    assert np.ptp(drawn_outline(settings, 1.0, stretched=False), axis=0) == pytest.approx([100, 60])


def test_fresh_sections_lie_whole_in_their_picture(draw_section):
    parts = [
        ("ellipse", 70, 80, 60, 60, 210),
        ("ellipse", 190, 80, 60, 60, 210),
        ("ellipse", 130, 190, 60, 60, 210),
    ]
    image = Micrograph(draw_section((200, 260), parts), Calibration(1, 1, 0.01, "made so"), Source("drawn"))
    found = fresh_sections(section_field(image, SectionSettings()), 2.0)
    assert len(found) == 2
    assert [f.area_px for f in found] == pytest.approx([4 * np.pi * 900] * 2, rel=0.012)
    assert found[0].outline.mean(axis=0) == pytest.approx([140.5, 160.5], abs=0.5)
    assert 0 < found[0].relative_uncertainty < 0.02


@pytest.mark.parametrize(
    ("settings", "fraction", "depth"),
    [
        ({"drawn_width_um": 150, "drawn_thickness_um": 150}, 0.7511, 10.0),
        ({"drawn_width_um": 250, "drawn_shape": "ellipse"}, 0.65, 24.2),
        (
            {"drawn_width_um": 150, "drawn_top_width_um": 150, "drawn_shape": "trapezoid"},
            0.7511,
            10.0,
        ),
    ],
)
def test_mean_penetration_by_the_form_of_the_shape(settings, fraction, depth):
    original = Original("drawn size", np.zeros((4, 2)), 1.0, 0.0)
    chosen = SectionSettings.model_validate(settings)
    got = mean_penetration(original, chosen, 0.5, np.array([fraction, np.nan, 1.2])) * 0.5
    assert got[0] == pytest.approx(depth, abs=0.08)
    assert np.isnan(got[1])
    assert got[2] == 0


def test_mean_penetration_of_any_other_outline():
    box = np.array([[0.0, 0], [150, 0], [150, 150], [0, 150]])
    original = Original("twin", box, 22_500, 0.0)
    got = mean_penetration(original, SectionSettings(), None, np.array([0.7511, 1.2]))
    assert got == pytest.approx([10, 0], abs=0.08)


def test_an_area_without_an_outline_has_no_penetration():
    original = Original("stated area", None, 22_500, 0.0)
    assert np.isnan(mean_penetration(original, SectionSettings(), 1.0, np.array([0.7]))).all()

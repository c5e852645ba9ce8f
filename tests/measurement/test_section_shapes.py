"""Outlines of sections enclose the areas that are reported beside them."""

import math

import numpy as np
import pytest

from surfscan.measurement.section_shapes import eroded_polygon, section_polygon
from surfscan.measurement.strut_sections import DrawnSection, eroded_area, section_area


def enclosed(outline):
    """Area of a closed polygon (shoelace)."""
    x, y = outline.T
    return abs(float(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]))) / 2


@pytest.mark.parametrize(
    ("shape", "taper"), [("rectangle", 0.0), ("ellipse", 0.0), ("trapezoid", 12.0), ("trapezoid", 55.0)]
)
def test_outline_encloses_its_area(shape, taper):
    """Width and thickness are its extent; a trapezoid too narrow for its taper is a triangle."""
    outline = section_polygon(20.0, 12.0, shape, taper)
    assert np.ptp(outline[:, 0]) == pytest.approx(20)
    assert np.array_equal(outline[0], outline[-1]) or shape == "ellipse"
    assert enclosed(outline) == pytest.approx(float(section_area(20.0, 12.0, shape, taper)), rel=1e-4)


@pytest.mark.parametrize("loss", [-1.0, 0.0, 0.8, 2.0, 4.0, 5.9])
@pytest.mark.parametrize(
    "drawn",
    [
        DrawnSection(20, 12),
        DrawnSection(20, 12, "trapezoid", 15.0),
        DrawnSection(20, 12, "ellipse"),
        DrawnSection(12, 20, "ellipse"),
        DrawnSection(12, 12, "ellipse"),
    ],
)
def test_eroded_outline_encloses_what_is_left(drawn, loss):
    """The same area as the estimate with equal loss all round, and inside the drawn outline."""
    outline, left = eroded_polygon(loss, drawn), float(eroded_area(loss, drawn))
    assert (enclosed(outline) if len(outline) else 0.0) == pytest.approx(left, rel=2e-3, abs=2e-2)
    if loss > 0 and len(outline):
        assert np.abs(outline[:, 0]).max() <= drawn.width / 2
        assert np.abs(outline[:, 1]).max() <= drawn.thickness / 2


def test_nothing_left():
    """All gone: no points."""
    assert eroded_polygon(6.0, DrawnSection(20, 12)).shape == (0, 2)
    assert eroded_polygon(6.0, DrawnSection(20, 12, "ellipse")).shape == (0, 2)


def test_circle_stays_a_circle():
    """Every point of an eroded circle lies at the smaller radius (closed form)."""
    outline = eroded_polygon(2.5, DrawnSection(20, 20, "ellipse"))
    assert np.hypot(*outline.T) == pytest.approx(7.5)
    assert math.isclose(enclosed(outline), math.pi * 7.5**2, rel_tol=1e-3)

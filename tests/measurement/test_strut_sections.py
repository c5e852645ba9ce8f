"""Remaining sections: bounds, shapes, uncertainty, nonsense refused."""

import math

import numpy as np
import pytest

from surfscan.measurement.strut_sections import (
    DrawnSection,
    eroded_area,
    fraction_uncertainty,
    loss_per_side,
    section_area,
    sections,
)


def test_drawn_thickness_bounds_from_above():
    """Where width was lost, what equal loss all round leaves is less than width times drawn thickness."""
    for shape, taper in (("rectangle", 0.0), ("ellipse", 0.0), ("trapezoid", 12.0)):
        drawn = DrawnSection(150, 100, shape, taper)
        found = sections(np.linspace(60, 149, 40), drawn)
        assert found.upper_bound
        assert (found.equal_loss_fraction < found.fraction).all()
        assert (np.diff(found.equal_loss_fraction) > 0).all()


def test_no_loss_is_one():
    """The drawn width leaves everything, whatever the shape."""
    for shape, taper in (("rectangle", 0.0), ("ellipse", 0.0), ("trapezoid", 12.0)):
        drawn = DrawnSection(150, 100, shape, taper)
        found = sections(np.array([150.0]), drawn)
        assert found.fraction[0] == pytest.approx(1, abs=1e-6)
        assert found.equal_loss_fraction[0] == pytest.approx(1, abs=1e-6)


def test_gone_is_nothing():
    """No width, no section; nor is anything left where the loss has met from both faces."""
    found = sections(np.array([0.0, 50.0]), DrawnSection(150, 90))
    assert found.fraction[0] == found.equal_loss_fraction[0] == 0
    assert found.equal_loss_fraction[1] == 0  # 50 lost a side, but only 45 to the middle of the thickness
    assert found.fraction[1] == pytest.approx(1 / 3)


def test_measured_thickness_is_no_bound():
    """With the thickness measured the fraction is the section's own."""
    found = sections(np.array([130.0, 140.0]), DrawnSection(150, 100), np.array([80.0, 90.0]))
    assert not found.upper_bound
    assert found.fraction == pytest.approx([130 * 80 / 15000, 140 * 90 / 15000])
    assert found.area == pytest.approx([10400, 12600])


@pytest.mark.parametrize(("a", "b"), [(100.0, 60.0), (60.0, 100.0), (80.0, 79.0)])
def test_ellipse_against_drawn_pixels(a, b):
    """Erosion of an ellipse by discs, counted on a fine grid (distance transform)."""
    import cv2

    rows, cols = np.mgrid[-420:421, -420:421] / 4.0
    inside = ((cols / a) ** 2 + (rows / b) ** 2 <= 1).astype(np.uint8)
    distance = cv2.distanceTransform(inside, cv2.DIST_L2, cv2.DIST_MASK_PRECISE) / 4.0
    drawn = DrawnSection(2 * a, 2 * b, "ellipse")
    for loss in (5, 20, 38, 50, 57):
        counted = np.count_nonzero(distance > loss) / 16
        assert eroded_area(loss, drawn) == pytest.approx(counted, rel=0.01, abs=60)


def test_trapezoid_against_drawn_pixels():
    """Erosion of a trapezoid by discs, and the loss that its greatest width shows."""
    import cv2

    drawn = DrawnSection(120, 80, "trapezoid", 20)
    y, x = np.mgrid[-10:90:0.25, -70:70:0.25]
    half = 60 - y * math.tan(math.radians(20))
    inside = ((y > 0) & (y < 80) & (abs(x) < half)).astype(np.uint8)
    distance = cv2.distanceTransform(inside, cv2.DIST_L2, cv2.DIST_MASK_PRECISE) * 0.25
    for loss in (4, 10, 20):
        kept = distance > loss
        assert eroded_area(loss, drawn) == pytest.approx(np.count_nonzero(kept) / 16, rel=0.02)
        width = kept.any(axis=0).sum() * 0.25
        assert loss_per_side(width, drawn) == pytest.approx(loss, abs=0.5)


def test_triangle_where_the_taper_closes():
    """A narrow trapezoid ends in an edge: half its base times the height that the taper leaves."""
    assert section_area(20, 100, "trapezoid", 45) == pytest.approx(100)


def test_uncertainty_against_sampling():
    """The spread of fractions when every size is drawn at random with its standard uncertainty."""
    rng = np.random.default_rng(3)
    drawn = DrawnSection(150, 120, width_uncertainty=1.5, thickness_uncertainty=2.0)
    stated = fraction_uncertainty(np.array([130.0]), 1.0, drawn, equal_loss=True)[0]
    drawn_again = [
        sections(np.array([w]), DrawnSection(w0, t0)).equal_loss_fraction[0]
        for w, w0, t0 in zip(
            rng.normal(130, 1, 4000), rng.normal(150, 1.5, 4000), rng.normal(120, 2, 4000), strict=True
        )
    ]
    assert stated == pytest.approx(np.std(drawn_again), rel=0.05)
    measured = fraction_uncertainty(
        np.array([130.0]),
        1.0,
        DrawnSection(150, 120),
        equal_loss=False,
        thickness=100,
        thickness_uncertainty=2,
    )[0]
    assert measured == pytest.approx(130 * 100 / 18000 * math.hypot(1 / 130, 2 / 100), rel=1e-6)


def test_growth_is_not_hidden():
    """A width above the drawn one gives a fraction above 1: noise round no loss stays centred on 1."""
    found = sections(np.array([151.0, 149.0]), DrawnSection(150, 150))
    assert found.equal_loss_fraction[0] > 1
    assert np.mean(found.equal_loss_fraction) == pytest.approx(1, abs=1e-3)


def test_not_measured_stays_not_measured():
    """Not-a-number in, not-a-number out."""
    for shape in ("rectangle", "ellipse"):
        found = sections(np.array([np.nan, 100.0]), DrawnSection(150, 150, shape))
        assert np.isnan(found.fraction[0])
        assert np.isnan(found.equal_loss_fraction[0])


@pytest.mark.parametrize(
    "wrong",
    [
        {"width": 0.0},
        {"thickness": math.nan},
        {"shape": "hexagon"},
        {"taper_deg": 5.0},
        {"shape": "trapezoid", "taper_deg": 45.0},
        {"shape": "trapezoid", "taper_deg": 70.0},
    ],
)
def test_nonsense_is_refused(wrong):
    """Sizes and shapes that no strut has."""
    with pytest.raises(ValueError, match=r"must|belongs|leaves"):
        DrawnSection(**({"width": 150.0, "thickness": 150.0} | wrong))


def test_negative_width_is_refused():
    """A width below 0 is no width."""
    with pytest.raises(ValueError, match="0 or above"):
        sections(np.array([-1.0]), DrawnSection(150, 150))

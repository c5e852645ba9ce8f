"""Penetration of thin parts from what they lost over their starting surface."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from scipy.special import ellipe

from surfscan.comparison.shrinkage import (
    drawn_perimeter,
    factor_uncertainty,
    most_apparent_um,
    penetration_of_section,
    shrinkage,
    shrinkage_factor,
)
from surfscan.measurement.strut_sections import DrawnSection, eroded_area

ROUND = DrawnSection(100.0, 100.0, "ellipse")
RECTANGLE = DrawnSection(120.0, 100.0)
TRAPEZOID = DrawnSection(120.0, 80.0, "trapezoid", taper_deg=8.0)
OVAL = DrawnSection(140.0, 70.0, "ellipse")


@pytest.mark.parametrize("depth", [0.01, 5.0, 20.0, 45.0])
def test_round_wire_in_closed_form(depth: float) -> None:
    """Volume lost per length pi (2 R d - d²) over 2 pi R is d - d² / 2 R."""
    apparent = depth - depth**2 / 100.0
    found = shrinkage(apparent, ROUND)
    assert found.penetration_um == pytest.approx(depth, rel=1e-9)
    assert found.factor == pytest.approx(1 / (1 - depth / 100.0), rel=1e-9)
    assert found.section_left_fraction == pytest.approx((1 - depth / 50.0) ** 2, rel=1e-7)


@pytest.mark.parametrize("depth", [0.01, 5.0, 20.0, 45.0])
def test_rectangle_in_closed_form(depth: float) -> None:
    """(w t - (w - 2 d)(t - 2 d)) / 2 (w + t) is d - 2 d² / (w + t)."""
    found = shrinkage(depth - 2 * depth**2 / 220.0, RECTANGLE)
    assert found.penetration_um == pytest.approx(depth, rel=1e-9)


@pytest.mark.parametrize("drawn", [RECTANGLE, TRAPEZOID, OVAL, ROUND], ids=lambda d: d.shape)
@pytest.mark.parametrize("depth", [0.5, 12.0, 30.0])
def test_every_shape_comes_back(drawn: DrawnSection, depth: float) -> None:
    apparent = (drawn.area - float(eroded_area(depth, drawn))) / drawn_perimeter(drawn)
    assert shrinkage(apparent, drawn).penetration_um == pytest.approx(depth, rel=1e-4)


def test_perimeters() -> None:
    assert drawn_perimeter(RECTANGLE) == pytest.approx(440.0)
    assert drawn_perimeter(ROUND) == pytest.approx(math.pi * 100)
    assert drawn_perimeter(OVAL) == pytest.approx(4 * 70.0 * ellipe(1 - 0.25))
    narrow = 120.0 - 2 * 80.0 * math.tan(math.radians(8))
    flank = 80.0 / math.cos(math.radians(8))
    assert drawn_perimeter(TRAPEZOID) == pytest.approx(120 + narrow + 2 * flank)


@pytest.mark.parametrize("drawn", [RECTANGLE, TRAPEZOID, OVAL, ROUND], ids=lambda d: d.shape)
def test_factor_grows_from_one(drawn: DrawnSection) -> None:
    most = most_apparent_um(drawn)
    factors = [shrinkage_factor(share * most, drawn) for share in (0.0, 0.01, 0.1, 0.5, 0.9, 0.99)]
    assert factors[0] == 1.0 and factors == sorted(factors)
    assert 1.0 < factors[1] < 1.02


def test_a_thick_coupon_hardly_shrinks() -> None:
    """10 µm off a coupon of 20 x 3 mm: 1 / (1 - 2 d / (w + t))."""
    coupon = DrawnSection(20_000.0, 3000.0)
    assert shrinkage_factor(10.0, coupon) == pytest.approx(1 + 2 * 10 / 23_000, abs=3e-6)


@pytest.mark.parametrize("apparent", [-0.1, 25.0, 30.0, math.nan])
def test_more_than_the_strut_is_refused(apparent: float) -> None:
    with pytest.raises(ValueError, match="strut is gone"):
        shrinkage(apparent, ROUND)


def test_penetration_of_a_section() -> None:
    """Half of a round section is left at R (1 - sqrt(1/2)); of 120 x 100 µm, 80 x 60 is left at 20 µm."""
    assert penetration_of_section(0.5, ROUND) == pytest.approx(50 * (1 - math.sqrt(0.5)))
    assert penetration_of_section(0.4, RECTANGLE) == pytest.approx(20.0)
    assert penetration_of_section(1.0, TRAPEZOID) == 0.0
    with pytest.raises(ValueError, match="share"):
        penetration_of_section(0.0, ROUND)


def test_drawn_sizes_make_the_factor_uncertain() -> None:
    """A ribbon 100 ± 2 µm thick, and both sizes in quadrature."""
    unsure = DrawnSection(1000.0, 100.0, width_uncertainty=0.0, thickness_uncertainty=2.0)
    moved = shrinkage_factor(16.0, DrawnSection(1000.0, 102.0)) - shrinkage_factor(16.0, unsure)
    assert factor_uncertainty(16.0, unsure) == pytest.approx(abs(moved))
    assert factor_uncertainty(16.0, RECTANGLE) == 0.0
    both = replace(RECTANGLE, width_uncertainty=3.0, thickness_uncertainty=2.0)
    wide, thick = replace(both, thickness_uncertainty=0.0), replace(both, width_uncertainty=0.0)
    parts = math.hypot(factor_uncertainty(16.0, wide), factor_uncertainty(16.0, thick))
    assert factor_uncertainty(16.0, both) == pytest.approx(parts)
    assert 0 < factor_uncertainty(16.0, replace(TRAPEZOID, thickness_uncertainty=2.0)) < 0.05

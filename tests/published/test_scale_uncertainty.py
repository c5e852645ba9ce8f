"""Uncertainty of a scale against figures worked out elsewhere.

JCGM 100:2008 (GUM): parts combine as the root of the sum of squares; a rectangular distribution of half-width
a has the standard uncertainty a / sqrt 3, one step of resolution d gives d / sqrt 12 (from memory, clauses
4.3.7 and F.2.2.1). NIST SP 250-96 prints an example with x and y calibrated separately.
"""

import math

import pytest

from surfscan.calibration.uncertainty import (
    ANISOTROPY_ALLOWANCE,
    WHOLE_PIXEL_PX,
    bar_uncertainty,
    length_relative_uncertainty,
    tick_doubt_px,
    two_ends_px,
    widened,
)

CURSOR_PX = 0.5 / math.sqrt(3)  # rectangular, half a pixel either way


def test_a_bar_read_with_a_cursor():
    """Two ends, each within half a pixel: 0.408 px; 0.20 % of a bar of 200 px (worked out from the GUM)."""
    assert two_ends_px(CURSOR_PX) == pytest.approx(0.408, abs=5e-4)
    assert bar_uncertainty(200, CURSOR_PX).ends == pytest.approx(0.0020, abs=5e-5)


def test_what_part_of_its_ticks_a_bar_counts():
    """Each end in an interval of half a tick's width, rectangular: a / sqrt 3 with a = w / 4; both ends alike
    (fully correlated, GUM 5.2.2, note 1), so 2 a / sqrt 3: 0.58 px for ticks of 2 px.
    """
    assert tick_doubt_px(2.0) == pytest.approx(0.5774, abs=5e-5)
    assert bar_uncertainty(100, 0, tick_width_px=2.0).ends == pytest.approx(0.005774, abs=5e-7)


def test_one_step_of_resolution():
    """d / sqrt 12 for a step of one pixel (GUM F.2.2.1)."""
    assert pytest.approx(0.2887, abs=5e-5) == WHOLE_PIXEL_PX


def test_the_budget_of_a_strut():
    """120 µm at 0.5 µm/px (240 px), scale 0.5 %, edges 0.5 px each: u = 0.58 % = 0.70 µm, U = 1.4 µm."""
    relative = length_relative_uncertainty(0.005, 240, 0.5)
    assert two_ends_px(0.5) / 240 == pytest.approx(0.00295, abs=5e-6)
    assert relative == pytest.approx(0.0058, abs=5e-5)
    assert 120 * relative == pytest.approx(0.70, abs=5e-3)
    assert 2 * 120 * relative == pytest.approx(1.4, abs=0.05)


def test_the_budget_of_a_strut_whose_edges_err_together():
    """Both edges shifted the same way, 1.0 px = 0.417 %: U = 1.6 µm."""
    both = two_ends_px(0.5, same_direction=True) / 240
    assert both == pytest.approx(0.00417, abs=5e-6)
    assert 2 * 120 * math.hypot(0.005, both) == pytest.approx(1.6, abs=0.05)


def test_x_against_y():
    """NIST SP 250-96, example: 9.875 and 9.885 nm per pixel, 0.10 % apart."""
    assert pytest.approx(9.885 / 9.875 - 1, abs=5e-5) == ANISOTROPY_ALLOWANCE


def test_an_area_doubles_the_relative_scale_term():
    """A = n s²: u_A / A = 2 u_s / s (GUM 5.1.6, products of powers)."""
    low, high = widened(1.0, (1.0, 1.0), 0.005, power=2)
    assert math.log(high) == pytest.approx(1.959964 * 2 * 0.005)
    assert math.log(low) == pytest.approx(-1.959964 * 2 * 0.005)

import numpy as np
import pytest

from surfscan.calibration.bar_ends import ROUNDED_FLOOR_PX, SOFT_FLOOR_PX, crossing, edge_of, tick_at


def test_sharp_edge_lies_between_pixels_and_is_uncertain_by_rounding():
    profile = np.r_[np.full(20, 200.0), np.full(20, 50.0)]
    end = edge_of(profile, 19, 1, most_px=10)
    assert end.position_px == 19.5
    assert end.uncertainty_px == pytest.approx(ROUNDED_FLOOR_PX)
    back = edge_of(profile[::-1], 20, -1, most_px=10)
    assert back.position_px == 19.5


@pytest.mark.parametrize("part", np.linspace(0.2, 0.8, 7))
def test_partly_filled_pixel(part):
    profile = np.r_[np.full(20, 200.0), 50 + 150 * part, np.full(20, 50.0)]
    inside = 20 if part >= 0.5 else 19
    end = edge_of(profile, inside, 1, most_px=10)
    assert abs(end.position_px - (19.5 + part)) <= 0.086 + 1e-3  # what straight lines can miss
    assert end.uncertainty_px == pytest.approx(SOFT_FLOOR_PX)


def test_noise_on_a_slope_makes_the_end_uncertain():
    """Half-level crossings of noisy soft edges scatter by about what is stated."""
    from math import erf

    rng = np.random.default_rng(5)
    x = np.arange(40)
    clean = np.array([100 - 80 * erf((v - 19.7) / (1.5 * np.sqrt(2))) for v in x])
    ends = [edge_of(clean + 8 * rng.standard_normal(40), 19, 1, most_px=10) for _ in range(300)]
    off = np.array([e.position_px - 19.7 for e in ends])
    stated = np.array([e.uncertainty_px for e in ends])
    assert abs(off.mean()) < 0.05
    assert np.mean(np.abs(off) <= 1.96 * stated) >= 0.9
    assert np.median(stated) < 2.5 * off.std()


def test_ground_stops_where_a_box_stops():
    profile = np.r_[np.full(20, 0.0), np.full(5, 255.0), np.full(20, 60.0)]
    assert edge_of(profile, 19, 1, most_px=10).position_px == 19.5


def test_no_ground_no_end():
    assert edge_of(np.r_[np.full(20, 200.0), 50.0], 19, 1, most_px=10) is None
    flat = np.full(8, 5.0)
    assert crossing(flat, 0, 1, flat, flat) is None


@pytest.mark.parametrize(("first", "last"), [(20, 20), (20, 21), (20, 22)])
def test_tick(first, last):
    profile = np.full(60, 255.0)
    profile[first : last + 1] = 0
    tick = tick_at(profile, first, last, slice(first - 8, first - 1), slice(last + 2, last + 9))
    assert tick.centre_px == pytest.approx((first + last) / 2, abs=1e-9)
    assert tick.width_px == pytest.approx(last - first + 1, abs=1e-9)
    assert tick.uncertainty_px >= SOFT_FLOOR_PX


def test_tick_at_the_border_is_none():
    profile = np.r_[0.0, np.full(30, 255.0)]
    assert tick_at(profile, 0, 0, slice(0, 0), slice(2, 9)) is None


def test_a_long_slope_of_colour_is_measured_to_the_ground_and_is_uncertain():
    """JPEG keeps colour at half resolution: levels close beyond an end are those of the slope."""
    profile = np.r_[np.full(20, 140.0), np.linspace(140, 0, 13)[1:-1], np.zeros(20)]
    middle = 19 + 6.0
    end = edge_of(profile, 21, 1, most_px=10, ground_level=0.0)
    assert end.position_px == pytest.approx(middle, abs=0.01)
    assert end.edge_px == pytest.approx(0.6 * 12, abs=0.01)
    assert end.uncertainty_px >= end.edge_px / 4
    assert abs(edge_of(profile, 21, 1, most_px=10).position_px - middle) > 1

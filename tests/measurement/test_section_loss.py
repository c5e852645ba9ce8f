"""Mean penetration by exact forms, and the least ligament, on shapes whose answers are known."""

import numpy as np
import pytest

from surfscan.measurement.section_loss import (
    inward_offset,
    least_ligament,
    perimeter,
    polygon_area,
    rectangle_penetration,
    resampled,
    round_penetration,
    small_loss_penetration,
)

SQUARE = np.array([[0.0, 0], [200, 0], [200, 200], [0, 200]])
BAR = np.array([[10.0, 5], [310, 5], [310, 125], [10, 125]])


def disc(radius, n=720):
    t = np.arange(n) * 2 * np.pi / n
    return np.stack([radius * np.cos(t), radius * np.sin(t)], axis=1)


def test_polygon_area_and_perimeter():
    assert polygon_area(BAR) == pytest.approx(300 * 120)
    assert perimeter(BAR) == pytest.approx(840)
    assert polygon_area(BAR[::-1]) == polygon_area(BAR)


def test_resampled_points_are_evenly_spaced():
    points = resampled(BAR, 84)
    assert points[0] == pytest.approx(BAR[0])
    assert np.hypot(*(np.roll(points, -1, axis=0) - points).T) == pytest.approx(10.0)


@pytest.mark.parametrize("fraction", [0.4, 0.75, 0.95])
def test_the_offset_of_any_outline_agrees_with_the_closed_forms(fraction):
    assert inward_offset(disc(90), fraction) == pytest.approx(round_penetration(90, fraction), abs=0.1)
    bar = rectangle_penetration(300, 120, fraction)
    assert inward_offset(BAR, fraction) == pytest.approx(bar, abs=0.15)
    turned = BAR @ np.array([[0.8, 0.6], [-0.6, 0.8]])
    assert inward_offset(turned, fraction) == pytest.approx(bar, abs=0.15)


def test_nothing_lost_is_no_penetration():
    assert inward_offset(BAR, 1.0) == 0.0
    assert rectangle_penetration(300, 120, 1.0) == 0.0
    assert round_penetration(90, 1.0) == 0.0


def test_all_lost_is_half_the_thickness():
    assert rectangle_penetration(300, 120, 0.0) == pytest.approx(60)
    assert inward_offset(BAR, 0.0) == pytest.approx(60, abs=0.3)


def test_area_over_perimeter_only_for_small_losses():
    exact = rectangle_penetration(300, 120, 0.95)
    assert small_loss_penetration(36_000, 0.95 * 36_000, 840) == pytest.approx(exact, rel=0.02)
    with pytest.raises(ValueError, match="too large"):
        small_loss_penetration(36_000, 0.85 * 36_000, 840)


@pytest.mark.parametrize("fraction", [-0.1, 1.1, np.nan])
def test_fractions_out_of_range_are_refused(fraction):
    with pytest.raises(ValueError, match="fraction"):
        round_penetration(10, fraction)
    with pytest.raises(ValueError, match="fraction"):
        inward_offset(BAR, fraction)


def test_sizes_must_be_above_0():
    with pytest.raises(ValueError, match="above 0"):
        rectangle_penetration(0, 10, 0.5)


def test_ligament_of_square_bar_and_disc():
    assert least_ligament(SQUARE)[0] == pytest.approx(200, rel=0.005)
    assert least_ligament(BAR)[0] == pytest.approx(120, rel=0.005)
    # Chord that cuts a quarter off a disc: theta - sin theta = pi / 2, chord 2 r sin(theta / 2) = 1.8295 r.
    assert least_ligament(disc(100))[0] == pytest.approx(182.95, rel=0.01)


def test_ligament_under_a_notch_and_through_a_neck():
    notched = np.array([[0.0, 0], [140, 0], [150, 70], [160, 0], [300, 0], [300, 120], [0, 120]])
    length, ends = least_ligament(notched)
    assert length == pytest.approx(50, abs=1.5)
    assert ends[:, 0] == pytest.approx(150, abs=3)


def test_ligament_does_not_run_through_open_air():
    """Two legs of a U lie near each other, but the cut must run through metal."""
    u = np.array([[0.0, 0], [40, 0], [40, 160], [44, 160], [44, 0], [84, 0], [84, 200], [0, 200]])
    assert least_ligament(u)[0] == pytest.approx(40, rel=0.02)

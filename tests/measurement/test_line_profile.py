"""Depth along a line: closed forms of a cone, a sphere cap and a ramp."""

import math

import numpy as np
import pytest

from surfscan.measurement.line_profile import deepest_place, interpolated, line_profile, reference_surface

ROWS, COLS = np.mgrid[:220, :260].astype(float)


def flat(heights, pixel=(1.0, 1.0)):
    """Reference of a map."""
    return reference_surface(heights.astype(np.float32), pixel_size_um=pixel)


def rough(seed=0, sq=0.01):
    """Metal with a little roughness, µm."""
    return np.random.default_rng(seed).normal(0, sq, ROWS.shape)


def test_cone():
    """Depth 12 µm, mouth 60 µm wide at the reference, 30 µm at half depth, whichever way the line runs."""
    depth = np.maximum(12 * (1 - np.hypot(ROWS - 110, COLS - 130) / 30), 0)
    heights = rough() - depth
    reference = flat(heights)
    middle = np.array([110.0, 130.0])
    for turn in (0.0, 0.4, math.pi / 2):
        away = 70 * np.array([math.sin(turn), math.cos(turn)])
        found = line_profile(
            heights, np.array([middle - away, middle + away]), reference, pixel_size_um=(1.0, 1.0)
        )
        assert found.deepest_um == pytest.approx(12, abs=0.2)
        assert found.distance[found.deepest] == pytest.approx(70, abs=1)
        # Between pixels interpolation blunts the rim, by up to one px at either end.
        assert 59.5 < found.width < (60.5 if turn in (0.0, math.pi / 2) else 62)
        assert found.half_width == pytest.approx(30, abs=0.5)
        assert (found.start + found.end) / 2 == pytest.approx(70, abs=0.5)
        assert found.distance[-1] == pytest.approx(140)
        assert np.diff(found.distance).max() <= 1 + 1e-9
        assert found.warnings == ()


def test_sphere_cap():
    """A cap of radius R and mouth radius a is R - sqrt(R² - a²) deep (closed form)."""
    radius, mouth = 50.0, 30.0
    away = np.hypot(ROWS - 110, COLS - 130)
    deep = radius - math.sqrt(radius**2 - mouth**2)
    floor = np.sqrt(np.maximum(radius**2 - away**2, 0)) - (radius - deep)
    heights = rough(1) - np.where(away < mouth, floor, 0)
    corners = np.array([(110.0, 30.0), (110.0, 230.0)])
    found = line_profile(heights, corners, flat(heights), pixel_size_um=(2.0, 2.0))
    assert found.deepest_um == pytest.approx(deep, abs=0.05)
    assert found.width == pytest.approx(2 * 2 * mouth, abs=1)
    # Half the depth: sqrt(R² - (R - d/2)²) from the axis.
    assert found.half_width == pytest.approx(4 * math.sqrt(radius**2 - (radius - deep / 2) ** 2), abs=0.5)


def test_ramp_is_no_depth():
    """A tilted plane is form: heights rise along the line, depth stays within the roughness."""
    heights = 0.05 * COLS + 0.02 * ROWS + rough(2)
    corners = np.array([(20.0, 10.0), (200.0, 250.0)])
    found = line_profile(heights, corners, flat(heights), pixel_size_um=(1.0, 1.0))
    expected = 0.05 * found.col + 0.02 * found.row
    assert found.height_um == pytest.approx(expected, abs=0.06)
    assert found.reference_um == pytest.approx(expected, abs=0.02)
    assert np.abs(found.depth_um).max() < 0.08


def test_oblong_pixels():
    """Columns of 2 µm, rows of 0.5 µm: distances in µm are right along, across and aslant."""
    heights = rough(3)
    reference = flat(heights, (2.0, 0.5))
    for end, long in (((100, 110), 200), ((200, 10), 50), ((180, 90), math.hypot(160, 40))):
        found = line_profile(heights, np.array([(100, 10), end]), reference, pixel_size_um=(2.0, 0.5))
        assert found.distance[-1] == pytest.approx(long)
        assert found.unit == "µm"


def test_line_with_a_bend():
    """Every corner is a point; distances add up; without a scale they are px."""
    heights = rough(4)
    corners = np.array([(10.0, 10.0), (10.0, 60.5), (50.0, 60.5)])
    found = line_profile(heights, corners, flat(heights))
    assert found.unit == "px"
    assert found.distance[-1] == pytest.approx(90.5)
    for row, col in corners:
        assert np.hypot(found.row - row, found.col - col).min() < 1e-9


def test_gaps_stay_gaps():
    """What was not measured is no height, and no width goes across it; the warning says so."""
    depth = np.maximum(12 * (1 - np.hypot(ROWS - 110, COLS - 130) / 30), 0)
    heights = rough() - depth
    reference = flat(heights)
    holed = heights.copy()
    holed[:, 150:155] = np.nan
    found = line_profile(holed, np.array([(110.0, 60.0), (110.0, 200.0)]), reference, pixel_size_um=(1, 1))
    lost = ~np.isfinite(found.height_um)
    assert list(found.col[lost]) == [150, 151, 152, 153, 154]
    assert np.isfinite(found.reference_um).all()
    assert math.isnan(found.width)
    assert found.half_width == pytest.approx(30, abs=0.5)
    assert any("Not measured" in w for w in found.warnings)
    assert any("no width" in w for w in found.warnings)


def test_spikes_are_no_depth():
    """A single value far below its neighbours is left out, said so, and not taken for the deepest place."""
    depth = np.maximum(12 * (1 - np.hypot(ROWS - 110, COLS - 130) / 30), 0)
    heights = rough() - depth
    heights[110, 60] = -40.0
    reference = flat(heights)
    found = line_profile(heights, np.array([(110.0, 30.0), (110.0, 230.0)]), reference)
    assert found.deepest_um == pytest.approx(12, abs=0.2)
    assert any("stand out" in w for w in found.warnings)
    assert deepest_place(heights, reference) == (110, 130)


@pytest.mark.parametrize(("whole_um", "found"), [(8, (110, 130)), (4, (110, 0))])
def test_deepest_place_is_of_a_whole_pit(whole_um, found):
    """A pit cut by the frame is passed over for a whole one, unless that is less than half as deep."""
    heights = rough(3)
    for deep, col in ((12, 0), (whole_um, 130)):
        heights -= np.maximum(deep * (1 - np.hypot(ROWS - 110, COLS - col) / 30), 0)
    assert deepest_place(heights, flat(heights)) == found


def test_beyond_the_map_nothing_is_known():
    """A line that leaves the map has no heights there."""
    heights = rough(5)
    found = line_profile(heights, np.array([(100.0, 250.0), (100.0, 270.0)]), flat(heights))
    assert np.isfinite(found.height_um[found.col <= 259]).all()
    assert np.isnan(found.height_um[found.col > 259]).all()


def test_nothing_below_the_reference():
    """No deepest point where all measured points stand above it."""
    heights = rough(6)
    reference = flat(heights)
    found = line_profile(heights + 5, np.array([(100.0, 20.0), (100.0, 60.0)]), reference)
    assert found.deepest == -1
    assert math.isnan(found.deepest_um)
    assert any("Nowhere" in w for w in found.warnings)


def test_roughness_is_no_pit():
    """Nothing is deeper than twice the roughness: no width, the deepest point all the same."""
    heights = np.zeros(ROWS.shape)
    heights[::2] = 0.01  # Sq 0.005
    quiet = line_profile(heights + 0.003, np.array([(101.0, 20.0), (101.0, 60.0)]), flat(heights))
    assert quiet.deepest_um == pytest.approx(0.002, abs=2e-4)
    assert math.isnan(quiet.width)
    assert any("roughness" in w for w in quiet.warnings)


def test_interpolation_is_exact_on_bilinear_surfaces():
    """z = 1 + 2r - 3c + 0.5rc between pixels, to rounding; a missing pixel without weight is no matter."""
    values = 1 + 2 * ROWS - 3 * COLS + 0.5 * ROWS * COLS
    rng = np.random.default_rng(0)
    r, c = rng.uniform(0, 219, 100), rng.uniform(0, 259, 100)
    assert interpolated(values, r, c) == pytest.approx(1 + 2 * r - 3 * c + 0.5 * r * c)
    values[11, 20] = np.nan
    assert interpolated(values, np.array([10.0, 10.5]), np.array([20.0, 20.0]))[0] == values[10, 20]
    assert np.isnan(interpolated(values, np.array([10.5]), np.array([20.0])))


def test_nonsense_is_refused():
    """One corner, no length, or a place that is none."""
    heights = rough(7)
    reference = flat(heights)
    for corners in ([(1.0, 1.0)], [(1.0, 1.0), (1.0, 1.0)], [(1.0, 1.0), (math.nan, 2.0)]):
        with pytest.raises(ValueError, match="line"):
            line_profile(heights, np.array(corners), reference)

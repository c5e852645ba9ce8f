"""The drawn struts are what they say they are."""

import numpy as np
import pytest
from synthetic_struts import bar, coverage, curved_strut, mesh


@pytest.mark.parametrize("angle_deg", [0, 20, 45, 90])
def test_covered_area_is_the_area(angle_deg):
    d = 50 * np.array([np.sin(np.radians(angle_deg)), np.cos(np.radians(angle_deg))])
    middle = np.array([80.3, 80.7])
    share = coverage([bar(middle - d, middle + d, 21.3)], (160, 160))
    assert share.sum() == pytest.approx(100 * 21.3, abs=4)
    assert share.max() <= 1
    assert share.min() >= 0


def test_edges_of_pixels_lie_where_they_should():
    share = coverage([np.array([[1.5, 2.5], [1.5, 6.0], [4.25, 6.0], [4.25, 2.5]])], (8, 10))
    assert share[2, 3:6] == pytest.approx(1)
    assert share[2, 6] == pytest.approx(0.5)
    assert share[2, 2] == pytest.approx(0)
    assert share[4, 3] == pytest.approx(0.75, abs=0.02)


def test_the_same_seed_draws_the_same_picture():
    first, second = curved_strut(3), curved_strut(3)
    assert np.array_equal(first.pixels, second.pixels)
    assert not np.array_equal(first.pixels, curved_strut(4).pixels)


def test_true_widths_are_positive_and_notches_narrow_them():
    plain, notched = curved_strut(5, notches=0), curved_strut(5, notches=4)
    assert (plain.width_px > 10).all()
    assert notched.width_px.min() < plain.width_px.min()
    assert np.diff(plain.s_px) == pytest.approx(0.25)


def test_struts_between_junctions_of_a_mesh_lie_in_the_field():
    made = mesh(1, shape=(400, 500), cell_px=120)
    assert len(made.ends) == len(made.width_px) >= 4
    assert np.hypot(*(made.ends[:, 2:] - made.ends[:, :2]).T) == pytest.approx(120)
    row, col = (made.ends[:, :2] + made.ends[:, 2:]).T / 2
    assert (made.pixels[row.astype(int), col.astype(int)] < 100).all()

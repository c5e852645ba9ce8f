"""The benchmark of struts scores what it says, and the plain way measures widths at all."""

import numpy as np
import pytest
from bench_struts import drawn_mesh, measured, mesh_errors, plain_errors, strut_errors, true_width_at
from plain_struts import measure_plain
from synthetic_struts import curved_strut


def test_single_strut_is_within_what_is_asked():
    """Mean width within 0.3 px and least width within 1.5 px of the truth."""
    for seed in (11, 12, 13):
        made = curved_strut(seed)
        _, found = measured(made.pixels)
        errors = strut_errors(made, found)
        assert abs(errors.mean) < 0.3
        assert abs(errors.least) < 1.5


def test_an_error_put_in_comes_out():
    made = curved_strut(11, notches=0)
    _, found = measured(made.pixels)
    exact = strut_errors(made, found).mean
    wider = type(made)(made.pixels, made.row, made.col, made.s_px, made.width_px - 0.7, made.polarity)
    assert strut_errors(wider, found).mean == pytest.approx(exact + 0.7)
    assert true_width_at(made, made.row[500:501], made.col[500:501])[0] == made.width_px[500]


def test_mesh_struts_are_found_once_within_half_a_pixel():
    made, _ = drawn_mesh(7)
    times, error = mesh_errors(made, *measured(made.pixels))
    assert (times == 1).all()
    assert np.abs(error).max() < 0.5


def test_the_plain_way_is_no_straw_man():
    made = curved_strut(21, notches=0, uneven=0.0, noise=0.01)
    axis, profile = plain_errors(made, measure_plain(made.pixels, made.polarity))
    assert abs(axis) < 2
    assert abs(profile) < 0.5

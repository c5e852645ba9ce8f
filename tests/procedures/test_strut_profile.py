"""One strut laid out: its figures are those of the tables, its section has the areas reported."""

import math

import numpy as np
import pytest

from surfscan.procedures.strut_profile import (
    section_at,
    strut_profile,
    width_colours,
    width_half_interval,
    worst_struts,
)


def enclosed(outline):
    """Area of a closed polygon (shoelace)."""
    x, y = outline.T
    return abs(float(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]))) / 2


NOTCHED = np.r_[np.full(30, 20.0), np.full(6, 12.0), np.full(30, 20.0)]


def test_profile_of_a_strut(strut_result):
    """Positions, widths, limits, reference and the least place, in µm."""
    result = strut_result(
        np.full(40, 24.0), NOTCHED, drawn_width_um=12.0, drawn_thickness_um=12.0, station_faults=None
    )
    profile = strut_profile(result, 2)
    struts = result.tables["struts"]
    assert (profile.strut, profile.unit, profile.condition) == (2, "µm", "whole")
    assert len(profile.s) == 66
    assert profile.width[:30] == pytest.approx(10.0)
    assert profile.drawn == 12.0
    assert profile.reference_kind == "drawn"
    assert profile.share[[0, 32]] == pytest.approx([10 / 12, 6 / 12])
    assert profile.least == struts["min_width_um"][1] == 6.0
    assert profile.width[profile.least_section] == 6.0
    assert (profile.mean, profile.mean_low) == (
        struts["mean_width_um"][1],
        struts["mean_width_um_ci95_low"][1],
    )
    # Noise and levels of 0.1 px each at 0.5 µm a px, and 0.5 % of scale.
    half = 1.959964 * math.sqrt(2 * 0.05**2 + (0.005 * 10) ** 2)
    assert profile.high[0] - profile.width[0] == pytest.approx(half, rel=1e-5)
    assert not profile.by_hand.any()


def test_declared_edges_widen_the_band(strut_result):
    """Both edges move alike: twice the declared uncertainty."""
    plain, soft = (strut_result(np.full(40, 24.0), edge_uncertainty_um=u) for u in (0.0, 0.3))
    wide = [width_half_interval(r, slice(0, 1))[0] for r in (plain, soft)]
    assert math.sqrt(wide[1] ** 2 - wide[0] ** 2) == pytest.approx(1.959964 * 0.6)


def test_without_a_scale_lengths_are_px(strut_result):
    """Neither drawn sizes nor sections then."""
    result = strut_result(np.full(40, 24.0), scale=None, drawn_width_um=12.0, drawn_thickness_um=12.0)
    profile = strut_profile(result, 1)
    assert profile.unit == "px"
    assert profile.width[0] == 24.0
    assert profile.reference_kind == ""
    assert section_at(result, profile, 5) is None


def test_what_does_not_count_has_no_width(strut_result):
    """A fillet is there with its place and fault, not with a width."""
    faults = ["junction"] * 8 + [""] * 32
    profile = strut_profile(strut_result(np.full(40, 24.0), station_faults=faults), 1)
    assert np.isnan(profile.width[:8]).all()
    assert profile.fault[0] == "junction"
    assert profile.least_section >= 8


def test_places_are_found(strut_result):
    """By distance along the strut and by place on the picture."""
    profile = strut_profile(strut_result(np.full(40, 24.0)), 1)
    assert profile.at(profile.s[17] + 0.3) == 17
    assert profile.nearest(103.0, profile.col[9] + 0.4) == 9


@pytest.mark.parametrize(
    ("shape", "more"),
    [("rectangle", {}), ("ellipse", {}), ("trapezoid", {"drawn_top_width_um": 9.0})],
)
def test_section_has_the_reported_areas(strut_result, shape, more):
    """Outlines enclose what the table says: area, and the share left with equal loss all round."""
    result = strut_result(NOTCHED, drawn_width_um=12.0, drawn_thickness_um=14.0, drawn_shape=shape, **more)
    profile = strut_profile(result, 1)
    section = section_at(result, profile, profile.least_section)
    assert enclosed(section.left) == pytest.approx(section.area_um2, rel=1e-3)
    assert enclosed(section.left) / enclosed(section.drawn) == pytest.approx(section.fraction, rel=1e-3)
    left = enclosed(section.equal_loss) / enclosed(section.drawn)
    assert left == pytest.approx(section.equal_loss_fraction, rel=3e-3)
    assert section.is_upper_bound


def test_section_with_measured_thickness_is_no_bound(strut_result):
    """The measured thickness takes the place of the drawn one in what is left."""
    result = strut_result(NOTCHED, drawn_width_um=12.0, drawn_thickness_um=14.0, thickness_um=13.0)
    profile = strut_profile(result, 1)
    section = section_at(result, profile, 0)
    assert not section.is_upper_bound
    assert np.ptp(section.left[:, 1]) == pytest.approx(13.0)
    assert np.ptp(section.drawn[:, 1]) == pytest.approx(14.0)
    assert enclosed(section.left) == pytest.approx(section.area_um2)


def test_picture_before_is_the_reference(strut_result):
    """Width before at every place; the section as it was has their mean."""
    result = strut_result(np.full(40, 20.0), before=[np.full(40, 24.0)], drawn_thickness_um=12.0)
    profile = strut_profile(result, 1)
    assert profile.reference_kind == "before"
    assert np.nanmean(profile.share) == pytest.approx(20 / 24)
    assert np.ptp(section_at(result, profile, 20).drawn[:, 0]) == pytest.approx(12.0)


def test_no_such_strut(strut_result):
    """A missing strut has no station to lay out."""
    result = strut_result(np.full(40, 20.0), before=[np.full(40, 24.0)] * 2)
    for strut in (2, 7):
        with pytest.raises(ValueError, match=f"strut {strut}"):
            strut_profile(result, strut)


def test_colours_reach_from_the_least_to_what_was_drawn(strut_result):
    """Widths in µm with their ends; noise of a sound strut is not spread over all colours."""
    notched = width_colours(strut_result(NOTCHED, drawn_width_um=12.0))
    assert (notched.low, notched.high, notched.unit, notched.of) == (6.0, 12.0, "µm", 12.0)
    assert notched.position[[0, 32]] == pytest.approx([(10 - 6) / 6, 0.0])
    sound = width_colours(strut_result(np.full(40, 24.0)))
    assert sound.high - sound.low == pytest.approx(0.1 * sound.high)
    assert math.isnan(sound.of)
    assert width_colours(strut_result(np.full(40, 24.0), scale=None)).unit == "px"
    assert width_colours(strut_result(np.full(40, 24.0), station_faults=["frame"] * 40)) is None


def test_worst_strut_comes_first(strut_result):
    """By least section where sizes are drawn, else by least width; one without a width not at all."""
    faults = [""] * 106 + ["frame"] * 40
    widths = (np.full(40, 24.0), NOTCHED, np.full(40, 8.0))
    assert worst_struts(strut_result(*widths, station_faults=faults)) == [2, 1]
    sizes = {"drawn_width_um": 12.0, "drawn_thickness_um": 12.0}
    assert worst_struts(strut_result(*widths, **sizes)) == [3, 2, 1]

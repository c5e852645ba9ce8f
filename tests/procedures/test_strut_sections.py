"""Sections of struts from widths, drawn sizes and a comparison."""

import numpy as np
import pytest

from surfscan.measurement.strut_widths import measure_widths
from surfscan.procedures.settings import StrutSettings
from surfscan.procedures.strut_sections import strut_sections


@pytest.fixture
def cut(stations):
    """Sections of one strut of widths in px of 0.5 µm."""

    def of(width, **settings):
        at = stations(np.asarray(width, float))
        return strut_sections(at, measure_widths(at), None, StrutSettings(**settings))

    return of


def test_drawn_thickness(cut):
    """At each station and at the least: width over width, and equal loss all round."""
    width = np.full(50, 260.0)
    width[20] = 240
    found, warnings = cut(width, drawn_width_um=150, drawn_thickness_um=150)
    assert found.basis == "drawn"
    assert found.fraction[0] == pytest.approx(130 / 150)
    assert found.equal_loss[0] == pytest.approx((130 / 150) ** 2)
    assert found.area_um2[0] == pytest.approx(130 * 150)
    assert found.least_station[0] == 20
    assert found.least_fraction[0, 0] == pytest.approx(0.8)
    assert found.least_equal_loss[0, 0] == pytest.approx(0.64)
    for value, low, high in (found.least_fraction[0], found.least_equal_loss[0]):
        assert low < value < high
    assert warnings == []


def test_interval_holds_the_drawn_tolerance(stations):
    """With next to no noise, 2 % on the drawn width alone make +/- 4 % of a fraction by width."""
    at = stations(np.full(200, 200.0), u=1e-6, common=1e-6)
    found, _ = strut_sections(
        at,
        measure_widths(at),
        None,
        StrutSettings(drawn_width_um=120, drawn_thickness_um=120, drawn_relative_uncertainty=0.02),
    )
    value, low, high = found.least_fraction[0]
    assert value == pytest.approx(100 / 120)
    assert (high - low) / 2 / value == pytest.approx(1.96 * 0.02, rel=0.05)


def test_trapezoid(cut):
    """The wider face is what a silhouette shows."""
    found, _ = cut(
        np.full(50, 180.0),
        drawn_width_um=100,
        drawn_thickness_um=50,
        drawn_shape="trapezoid",
        drawn_top_width_um=80,
    )
    assert found.area_um2[0] == pytest.approx((90 + 70) / 2 * 50)
    assert found.fraction[0] == pytest.approx(80 / 90)
    assert found.equal_loss[0] < found.fraction[0]


def test_what_is_not_known_is_not_said(cut):
    """Without a thickness nothing; without a drawn one areas alone, and without a width the same."""
    found, _ = cut(np.full(50, 180.0), drawn_width_um=100)
    assert found.basis == ""
    assert np.isnan(found.area_um2).all()
    found, warnings = cut(np.full(50, 180.0), thickness_um=40, drawn_width_um=100)
    assert found.area_um2[0] == pytest.approx(3600)
    assert np.isnan(found.fraction).all()
    assert "drawn_thickness_um" in warnings[0]
    found, warnings = cut(np.full(50, 180.0), drawn_thickness_um=40)
    assert np.isnan(found.fraction).all()
    assert "drawn_width_um" in warnings[0]

"""Figures of a whole picture from made-up tables."""

import math

import numpy as np
import pytest

from surfscan.columns import columns, conform, empty_table
from surfscan.images import Calibration
from surfscan.measurement.strut_widths import measure_widths
from surfscan.procedures.settings import StrutSettings
from surfscan.procedures.strut_sections import strut_sections
from surfscan.procedures.strut_summary import empty_summary, strut_summary

SCALE = Calibration(0.5, 0.5, 0.005, "stated")


def table(name, n, **given):
    values = {}
    for c in columns(name):
        blank = np.nan if c.dtype == "float64" else np.zeros(1, c.dtype)[0]
        values[c.name] = np.asarray(given.get(c.name, np.full(n, blank)))
    return conform(name, values)


@pytest.fixture
def summary(stations):
    """Summary of struts 40, 20 and 30 px wide, 100, 50 and 10 stations long."""

    def of(conditions=("whole", "whole", "whole"), faults=None, scale=SCALE, **settings):
        at = stations(np.full(100, 40.0), np.full(50, 20.0), np.full(10, 30.0))
        relative = 0.0 if scale is None else scale.relative_uncertainty
        if scale is None:
            at = type(at)(**{**at.__dict__, "unit_um": math.nan})
        widths, plain = measure_widths(at, relative_scale_uncertainty=relative), measure_widths(at)
        chosen = StrutSettings(**settings)
        cut, _ = strut_sections(at, widths, None, chosen)
        unit = at.unit_um
        least = np.where(cut.least_station >= 0, cut.least_fraction[:, 0], np.nan)
        struts = table(
            "struts",
            3,
            strut=[1, 2, 3],
            condition=list(conditions),
            length_px=at.length,
            length_um=at.length * unit,
            counted_length_px=widths.counted_length,
            mean_width_px=widths.mean,
            mean_width_um=widths.mean * unit,
            min_width_px=widths.least,
            min_width_um=widths.least * unit,
            min_width_px_ci95_low=widths.least_low,
            min_width_px_ci95_high=widths.least_high,
            mean_section_fraction=cut.mean_fraction,
            mean_section_equal_loss_fraction=cut.mean_equal_loss,
            least_section_fraction=least,
            least_section_equal_loss_fraction=cut.least_equal_loss[:, 0],
        )
        tables = {"struts": struts, "strut_faults": faults or empty_table("strut_faults")}
        return strut_summary(tables, plain, at, None, cut, chosen, scale)

    return of


def test_means_go_by_length(summary):
    """(40 x 100 + 20 x 50 + 30 x 10) / 160 px; the scale does not average out."""
    figures, doubts = summary()
    mean = (4000 + 1000 + 300) / 160
    assert figures["mean_width_px"] == pytest.approx(mean)
    assert figures["mean_width_um"] == pytest.approx(mean / 2)
    low, high = figures["mean_width_um_ci95"]
    assert (high - low) / 2 >= 1.96 * 0.005 * mean / 2
    assert figures["strut_count"] == 3
    assert figures["min_width_strut"] == 2
    assert figures["total_length_um"] == pytest.approx(160)
    assert figures["mean_width_with_lost_um"] == figures["mean_width_of_survivors_um"]
    assert doubts == []


def test_fragments_carry_nothing(summary):
    """A loose piece is left out of means, least values and the count, and counted by itself."""
    piece = table("strut_faults", 1, kind=["fragment"], strut=[2], through=[True])
    figures, doubts = summary(("whole", "fragment", "broken"), piece)
    assert figures["strut_count"] == 2
    assert figures["fragment_count"] == figures["broken_count"] == 1
    assert figures["mean_width_px"] == pytest.approx((4000 + 300) / 110)
    assert figures["min_width_strut"] == 3
    assert "still stands" in doubts[0]


def test_gaps_count_as_zero_width(summary):
    """40 px of gap in 320 px of struts (of 2 px a station)."""
    gaps = table("strut_faults", 2, kind=["gap", "crack"], through=[True, False], length_px=[40.0, 5.0])
    figures, _ = summary(faults=gaps)
    assert figures["lost_length_fraction"] == pytest.approx(40 / 360)
    assert figures["mean_width_with_lost_px"] == pytest.approx(figures["mean_width_px"] * 320 / 360)
    assert figures["mean_width_of_survivors_px"] == pytest.approx(figures["mean_width_px"])
    assert (figures["gap_count"], figures["crack_count"]) == (1, 1)


def test_least_section(summary):
    """Of the thinnest strut: 10 of 20 µm, a quarter with equal loss; lost metal lowers the mean."""
    gaps = table("strut_faults", 1, kind=["gap"], through=[True], length_px=[320.0])
    figures, doubts = summary(faults=gaps, drawn_width_um=20, drawn_thickness_um=20)
    assert figures["least_section_strut"] == 2
    assert figures["least_section_fraction"] == pytest.approx(0.5)
    assert figures["least_section_equal_loss_fraction"] == pytest.approx(0.25)
    assert figures["section_with_lost_fraction"] == pytest.approx(figures["mean_section_fraction"] / 2)
    assert "upper bounds" in doubts[0]


def test_without_a_scale(summary):
    """px stand, µm are None."""
    figures, _ = summary(scale=None)
    assert figures["mean_width_um"] is None
    assert figures["min_width_um"] is None
    assert figures["total_length_um"] is None
    assert figures["mean_width_with_lost_um"] is None
    assert figures["mean_width_px"] > 0


def test_empty_summary_has_the_same_keys(summary):
    """A picture without struts answers the same questions."""
    assert set(empty_summary()) == set(summary()[0])
    assert empty_summary()["strut_count"] == 0

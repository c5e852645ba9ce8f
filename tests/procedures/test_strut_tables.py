"""Rows of struts that were found, of those that are missing, and of what is broken."""

import numpy as np
import pytest

from surfscan.columns import columns
from surfscan.images import Calibration
from surfscan.measurement.mesh_loss import mesh_loss
from surfscan.measurement.strut_faults import Fault
from surfscan.measurement.strut_matching import match_struts
from surfscan.measurement.strut_widths import measure_widths
from surfscan.preparation.registration import Registration
from surfscan.procedures.settings import StrutSettings
from surfscan.procedures.strut_comparison import Comparison
from surfscan.procedures.strut_sections import strut_sections
from surfscan.procedures.strut_tables import fault_table, station_table, strut_table
from surfscan.segmentation.centrelines import Centrelines

SCALE = Calibration(0.5, 0.5, 0.005, "stated")
HERE = Registration(np.array([[1.0, 0, 0], [0, 1, 0]]), 0, 1, (0, 0), 1, -1, 1, 0.1, 0.1, 0.01, 0.0)


def lines_of(at):
    """Centrelines of made-up stations: each from frame to junction."""
    n = at.n_struts
    return Centrelines(
        row=at.row,
        col=at.col,
        radius=at.width / 2,
        start=np.searchsorted(at.strut, np.arange(1, n + 2)),
        end_kind=np.array([["frame", "junction"]] + [["junction", "junction"]] * (n - 1)),
        end_node=np.zeros((n, 2), int),
        junction_row=np.zeros(1),
        junction_col=np.zeros(1),
        junction_radius=np.ones(1),
        part=np.ones(n, int),
    )


@pytest.fixture
def tables(stations, solid_of):
    """The three tables of two struts, 24 px before and 20 px after; of three before, the third is gone."""

    def of(*, compared=False, faults=(), **settings):
        after = stations(*[np.full(60, 20.0)] * 2)
        comparison = None
        if compared:
            before = stations(*[np.full(60, 24.0)] * 3)
            match = match_struts(before, after, lambda r, c: (r, c), solid_of(after))
            width_before = np.full(len(after.s), np.nan)
            there = match.station_after >= 0
            width_before[match.station_after[there]] = match.width_before[there]
            comparison = Comparison(
                HERE,
                match,
                mesh_loss(match),
                0.0,
                before.length,
                width_before,
                np.full(2, 0.05),
                np.zeros(2),
                np.zeros(2),
            )
        chosen = StrutSettings(**settings)
        widths = measure_widths(after, relative_scale_uncertainty=SCALE.relative_uncertainty)
        plain = measure_widths(after)
        cut, _ = strut_sections(after, widths, comparison, chosen)
        return {
            "struts": strut_table(
                lines_of(after), after, widths, plain, list(faults), comparison, cut, chosen, SCALE
            ),
            "stations": station_table(after, comparison, cut),
            "strut_faults": fault_table(list(faults), after, comparison),
        }

    return of


def test_units_and_flags(tables):
    """µm are px times the pixel size; the interval in µm holds the scale; a frame end leaves the field."""
    struts = tables()["struts"]
    assert list(struts) == [c.name for c in columns("struts")]
    assert struts["mean_width_um"] == pytest.approx([10, 10])
    assert struts["mean_width_px"] == pytest.approx([20, 20])
    um = (struts["mean_width_um_ci95_high"] - struts["mean_width_um_ci95_low"])[0] / 10
    px = (struts["mean_width_px_ci95_high"] - struts["mean_width_px_ci95_low"])[0] / 20
    assert um**2 - px**2 == pytest.approx((2 * 1.96 * 0.005) ** 2, rel=1e-3)
    assert list(struts["leaves_field"]) == [True, False]
    assert list(struts["condition"]) == ["whole", "whole"]
    assert np.isnan(struts["loss_fraction"]).all()
    assert list(struts["loss_against"]) == ["", ""]


def test_loss_against_the_drawing(tables):
    """1 - 10/12; drawn tolerance and scale are in the interval."""
    struts = tables(drawn_width_um=12, drawn_relative_uncertainty=0.02)["struts"]
    assert (struts["compared_width_um"] == struts["mean_width_um"]).all()
    assert (struts["compared_length_um"] == struts["counted_length_um"]).all()
    assert struts["loss_fraction"] == pytest.approx([1 / 6, 1 / 6])
    half = (struts["loss_fraction_ci95_high"] - struts["loss_fraction_ci95_low"])[0] / 2
    assert half == pytest.approx(1.96 * 5 / 6 * np.hypot(0.02, 0.005), rel=0.02)


def test_loss_against_before_and_the_missing(tables):
    """Found struts against the same places before; the missing one has zero width and all of it lost."""
    found = tables(compared=True, drawn_width_um=15, drawn_thickness_um=15)
    struts = found["struts"]
    assert list(struts["strut"]) == [1, 2, 3]
    assert list(struts["condition"]) == ["whole", "whole", "missing"]
    assert list(struts["loss_against"]) == ["before"] * 3
    assert list(struts["before_strut"]) == [1, 2, 3]
    assert struts["reference_width_um"] == pytest.approx([12, 12, 12])
    assert struts["loss_fraction"] == pytest.approx([1 / 6, 1 / 6, 1])
    for unit in ("um", "px"):
        left = struts[f"compared_width_{unit}"] / struts[f"reference_width_{unit}"]
        assert struts["loss_fraction"] == pytest.approx(1 - left, rel=1e-12)
    assert struts["compared_length_um"] == pytest.approx([60, 60, 60])
    assert struts["compared_length_px"] == pytest.approx([120, 120, 120])
    assert struts["mean_width_um"][2] == struts["mean_width_px"][2] == 0
    assert struts["length_um"][2] == pytest.approx(60)
    assert (struts["row_px"][2], struts["broken"][2]) == (300, True)
    assert struts["mean_section_fraction"][0] == pytest.approx(10 / 12)
    assert found["stations"]["width_before_um"][:60] == pytest.approx(12)
    assert list(found["strut_faults"]["kind"]) == ["missing"]
    assert found["strut_faults"]["strut"][0] == 3


def test_faults_and_conditions(tables):
    """A crack between two struts breaks both; a fragment is no strut that carries."""
    crack = Fault("crack", 1, 2, 150, 80, 6.0, np.nan, True)
    piece = Fault("fragment", 2, 0, 200, 80, 30.0, 400.0, True)
    found = tables(faults=[crack, piece])
    assert list(found["struts"]["condition"]) == ["broken", "fragment"]
    faults = found["strut_faults"]
    assert faults["length_um"] == pytest.approx([3, 15])
    assert faults["area_um2"][1] == pytest.approx(100)
    assert faults["through"].all()


def test_no_fault_no_row(tables):
    """An empty table keeps its columns."""
    faults = tables()["strut_faults"]
    assert list(faults) == [c.name for c in columns("strut_faults")]
    assert len(faults["kind"]) == 0

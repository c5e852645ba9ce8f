"""Figures of a field that pictures and height maps share."""

import numpy as np
import pytest

from surfscan.columns import columns, conform, empty_table
from surfscan.images import Calibration
from surfscan.procedures.field_summary import (
    field_summary,
    headline,
    near_limit_remark,
    no_pit_remark,
    no_scale_warning,
    smallest_diameter_px,
)
from surfscan.procedures.settings import HeightPitSettings, PitSettings

HALF = Calibration(0.5, 0.5, 0.01, "stated")


def _pits(n, **given):
    blank = {c.name: np.zeros(n, c.dtype) for c in columns("pits")}
    return conform("pits", blank | {name: np.broadcast_to(value, n) for name, value in given.items()})


def _summary(pits, scale, area_px=1_000_000):
    return field_summary(pits, area_px=area_px, region_origin="whole map", scale=scale, smallest_px=4.0)


def test_with_scale_figures_are_physical():
    pits = _pits(
        4, area_px=100, area_um2=25.0, perimeter_um=18.0, equivalent_diameter_um=5.64, edge_weight=1.0
    )
    summary, doubts = _summary(pits, HALF)
    assert summary["field_area_mm2"] == pytest.approx(0.25)
    assert summary["pit_density_per_mm2"] == pytest.approx(16.0)
    assert summary["pitted_area_fraction"] == pytest.approx(4e-4)
    assert summary["total_pit_area_um2"] == pytest.approx(100.0)
    assert summary["smallest_diameter_um"] == pytest.approx(2.0)
    assert summary["scale_relative_uncertainty"] == 0.01
    assert summary["pit_density_per_mpx"] is None
    assert doubts == []


def test_the_scale_widens_the_density_and_no_fraction():
    """By twice its relative uncertainty: hardly at 1 %, where the scatter of counts rules, much at 10 %."""
    pits = _pits(
        400, area_px=100, area_um2=25.0, perimeter_um=18.0, equivalent_diameter_um=5.64, edge_weight=1.0
    )
    found = [_summary(pits, Calibration(0.5, 0.5, u, "stated"))[0] for u in (1e-6, 0.01, 0.1)]
    width = [np.log(s["pit_density_per_mm2_ci95"][1] / s["pit_density_per_mm2"]) for s in found]
    np.testing.assert_allclose(width[1:], np.hypot(width[0], 1.96 * 2 * np.array([0.01, 0.1])), rtol=1e-3)
    assert len({tuple(s["pitted_area_fraction_ci95"]) for s in found}) == 1


def test_without_scale_the_same_figures_come_in_px():
    summary, _ = _summary(_pits(4, area_px=100, perimeter_px=36.0, edge_weight=1.0), None)
    assert (
        summary["field_area_mm2"] is summary["pit_density_per_mm2"] is summary["total_pit_area_um2"] is None
    )
    assert summary["pit_density_per_mpx"] == pytest.approx(4.0)
    assert summary["total_pit_area_px"] == 400


def test_no_pit_has_no_sizes_and_a_density_of_zero_with_its_interval():
    summary, _ = _summary(empty_table("pits"), HALF)
    assert summary["pit_count"] == 0
    assert summary["pit_density_per_mm2"] == 0
    assert summary["pit_density_per_mm2_ci95"][1] == pytest.approx(3.689 / 0.25, rel=1e-3)
    assert summary["median_equivalent_diameter_um"] is summary["mean_area_um2"] is None


def test_smallest_diameter_is_the_larger_of_the_two_limits():
    assert smallest_diameter_px(PitSettings(min_diameter_um=10.0), HALF) == 20.0
    assert smallest_diameter_px(HeightPitSettings(min_diameter_um=0.1), HALF) == 3.0
    assert smallest_diameter_px(HeightPitSettings(min_diameter_um=10.0), None) == 3.0


def test_a_limit_in_um_that_could_not_be_applied_is_named():
    assert "min_diameter_um could not be applied" in no_scale_warning(PitSettings(min_diameter_um=3.0))
    assert "min_diameter_um" not in no_scale_warning(HeightPitSettings())


def test_much_of_the_count_near_a_limit_is_remarked_on():
    near = _pits(10, near_limit="")
    assert near_limit_remark(near) == []
    near["near_limit"] = np.array(["depth"] * 2 + [""] * 8)
    assert "2 of 10 pits" in near_limit_remark(near)[0]


@pytest.mark.parametrize("scale", [HALF, None])
def test_the_headline_is_that_of_the_summary(scale):
    pits = _pits(5, area_px=80, perimeter_um=16.0, perimeter_px=32.0, edge_weight=1.1)
    summary, _ = _summary(pits, scale)
    main = headline(pits, area_px=1_000_000, scale=scale)
    for estimate, name in (
        (main.per_mm2, "pit_density_per_mm2"),
        (main.per_mpx, "pit_density_per_mpx"),
        (main.area_fraction, "pitted_area_fraction"),
    ):
        assert estimate.value == summary[name]
        limits = summary[f"{name}_ci95"]
        assert limits is None if estimate.ci95 is None else list(estimate.ci95) == limits


def test_no_pit_is_said():
    assert "No pit was found" in no_pit_remark(empty_table("pits"))[0]
    assert no_pit_remark(_pits(1)) == []

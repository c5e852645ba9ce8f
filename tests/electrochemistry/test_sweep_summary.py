"""Figures that a summary holds, and those it holds back."""

import json
import math

import numpy as np
import pytest

from surfscan.electrochemistry.analysis import measure_sweep
from surfscan.electrochemistry.mixed_control import MixedControl, current_density_uA_per_cm2
from surfscan.electrochemistry.sweep import Scan, Sweep
from surfscan.electrochemistry.sweep_summary import beside_summary
from surfscan.images import Source
from surfscan.materials.catalogue import find_material
from surfscan.materials.material import Material

POTENTIAL = -0.5 + np.arange(-0.2, 0.2003, 0.002)
CURRENT = 2e-6 * current_density_uA_per_cm2(POTENTIAL, MixedControl(-0.5, 10.0, 0.08, 0.12, 0.1))


def _sweep(current=CURRENT, density=None):
    return Sweep(
        source=Source("made", "0" * 64),
        potential_V=POTENTIAL,
        current_A=current,
        density_A_per_cm2=density,
        time_s=None,
        scans=(Scan(0, POTENTIAL.size, 1),),
        reference="SCE",
        scan_rate_V_per_s=None,
        sign="as in the file",
        columns=(),
    )


def test_uncertainty_of_the_area_widens_densities_and_resistance_alone():
    exact = measure_sweep(_sweep(), area_cm2=2.0, area_relative_uncertainty=0.0).summary
    wide = measure_sweep(_sweep(), area_cm2=2.0, area_relative_uncertainty=0.05).summary
    for name in ("icorr_uA_per_cm2", "polarization_resistance_ohm_cm2", "limiting_current_uA_per_cm2"):
        assert wide[name] == exact[name]
        low, high = wide[f"{name}_ci95"]
        assert math.log(high / low) / 2 >= 1.96 * 0.05 * 0.999
        inner = exact[f"{name}_ci95"]
        assert low < inner[0] < inner[1] < high
    assert wide["Ecorr_V_ci95"] == exact["Ecorr_V_ci95"]
    assert wide["anodic_slope_mV_per_decade_ci95"] == exact["anodic_slope_mV_per_decade_ci95"]


def test_density_in_the_file_needs_no_area():
    found = measure_sweep(_sweep(None, CURRENT / 2), material=find_material("Fe"))
    assert found.summary["icorr_uA_per_cm2"] == pytest.approx(10.0, rel=0.01)
    assert found.summary["rate_mm_per_y"] == pytest.approx(0.116, rel=0.02)
    assert not any("area" in text for text in found.warnings)


def test_without_area_currents_only():
    found = measure_sweep(_sweep(), material=find_material("Fe"))
    summary = found.summary
    for name in (
        "icorr_uA_per_cm2",
        "rate_mm_per_y",
        "polarization_resistance_ohm_cm2",
        "limiting_current_uA_per_cm2",
    ):
        assert summary[name] is None
    assert summary["corrosion_current_uA"] == pytest.approx(20.0, rel=0.01)
    assert summary["polarization_resistance_ohm"] > 0
    assert summary["Ecorr_V"] == pytest.approx(-0.5, abs=1e-4)
    assert any("area is not stated" in text for text in found.warnings)


def test_every_method_has_value_or_reason():
    summary = measure_sweep(_sweep(), area_cm2=2.0).summary
    for key in ("fit", "tafel", "stern_geary"):
        assert (summary[f"{key}_icorr_uA_per_cm2"] is None) == bool(summary[f"{key}_refused"])


def test_what_is_not_known_of_the_metal():
    nothing = measure_sweep(_sweep(), area_cm2=2.0)
    assert nothing.summary["rate_mm_per_y"] is None
    assert any("No material" in text for text in nothing.warnings)
    stuff = measure_sweep(_sweep(), area_cm2=2.0, material=Material("stuff"))
    assert stuff.summary["rate_mm_per_y"] is None
    assert any("equivalent weight" in text for text in stuff.warnings)


def test_beside_summary_is_json_plain_and_the_same():
    summary = measure_sweep(_sweep(), area_cm2=2.0, material=find_material("316")).summary
    beside = beside_summary(summary)
    assert set(beside) == {
        "fit",
        "polarization_resistance_ohm_cm2",
        "polarization_resistance_ohm_cm2_ci95",
        "rate_mm_per_y",
        "rate_mm_per_y_ci95",
        "cyclic",
    }
    assert beside["fit"]["icorr_uA_per_cm2"] == summary["icorr_uA_per_cm2"]
    assert beside["fit"]["method"] == "fit of both branches"
    assert beside["cyclic"] is None
    json.dumps(summary, allow_nan=False)
    assert summary["rate_mm_per_y_valence_range"][0] < summary["rate_mm_per_y"]

"""The demo's potential sweeps: files as made, true as stated, and found again by the analysis."""

from pathlib import Path

import make_demo
import numpy as np
import pytest
import sweeps

from surfscan.electrochemistry.analysis import measure_sweep
from surfscan.electrochemistry.reading import read_sweep
from surfscan.materials.catalogue import find_material
from surfscan.materials.rates import penetration_rate_mm_per_y
from surfscan.study.manifest import load_study

HERE = Path(make_demo.__file__).parent
SWEEPS = {sweep.specimen.id: sweep for sweep in sweeps.cell_sweeps()}
STUDY = load_study(HERE)


def measured(name: str) -> dict:
    """Summary of a stored sweep, as the study states it."""
    sweep = SWEEPS[name]
    (entry,) = (e for e in STUDY.sweeps if e.specimen == name)
    return measure_sweep(
        read_sweep(HERE / sweep.file),
        area_cm2=entry.area_cm2,
        area_relative_uncertainty=entry.area_relative_uncertainty,
        material=STUDY.material_of(name),
        temperature_degC=entry.temperature_degC,
        solution_resistance_ohm=entry.solution_resistance_ohm,
        to_reference=entry.to_reference,
    ).summary


@pytest.mark.parametrize("sweep", SWEEPS.values(), ids=SWEEPS)
def test_script_gives_the_stored_file(sweep):
    """Number for number; the last digit may be rounded otherwise elsewhere."""
    made = sweep.text()
    assert made == sweep.text()
    stored = (HERE / sweep.file).read_text(encoding="utf-8")
    head = made.index("\n", made.index("E")) if ";" in made else made.rindex("(")
    assert stored[:head] == made[:head]
    numbers = [
        np.array([float(x) for line in text.splitlines() if line[0] in "-0123456789" for x in _fields(line)])
        for text in (made, stored)
    ]
    assert np.allclose(*numbers, rtol=2e-3)


def _fields(line: str) -> list[str]:
    return line.replace(",", ".").split(";") if ";" in line else line.split(",")


@pytest.mark.parametrize("sweep", SWEEPS.values(), ids=SWEEPS)
def test_current_is_that_of_the_rate(sweep):
    """Faraday's law, with the alloy of the study and with 316L of the catalogue."""
    material = find_material("316L") if sweep.is_passive else STUDY.material_of(sweep.specimen.id)
    weight, density = material.known_equivalent_weight().value, material.density_g_per_cm3.value
    rate = float(penetration_rate_mm_per_y(sweep.icorr_uA_per_cm2, weight, density))
    assert rate == pytest.approx(sweep.rate_mm_per_y, rel=2e-3)
    share = sweep.rate_mm_per_y / sweep.stands_for.rate_mm_per_y
    assert share == pytest.approx(1.0 if sweep.is_passive else sweeps.SWEEP_SHARE)


def test_analysis_finds_the_true_figures():
    """Two instruments and two surfaces: current, rate, slopes and potential, from both branches."""
    held = []
    for name in (name for name in SWEEPS if not name.startswith("S")):
        summary, truth = measured(name), SWEEPS[name].truth()
        assert summary["method"] == "fit of both branches" and summary["reference"] == "SCE"
        assert summary["Ecorr_V"] == pytest.approx(truth["Ecorr_V"], abs=0.001)
        for figure in ("icorr_uA_per_cm2", "rate_mm_per_y"):
            assert summary[figure] == pytest.approx(truth[figure], rel=0.03)
        for figure in ("anodic_slope_mV_per_decade", "cathodic_slope_mV_per_decade"):
            assert summary[figure] == pytest.approx(truth[figure], rel=0.02)
        low, high = summary["rate_mm_per_y_ci95"]
        held.append(low <= truth["rate_mm_per_y"] <= high)
    assert len(held) == 6 and sum(held) >= 5


def test_film_that_holds_is_a_censored_breakdown():
    summary, truth = measured("S00-1"), SWEEPS["S00-1"].truth()
    assert summary["breakdown_V"] is None and summary["rise_is"] == "none"
    assert summary["breakdown_at_least_V"] == pytest.approx(truth["breakdown_at_least_V"], abs=0.001)
    low, high = summary["icorr_uA_per_cm2_ci95"]
    assert low < truth["icorr_uA_per_cm2"] < high


def test_pits_break_down_and_heal_late():
    summary, truth = measured("S28-1"), SWEEPS["S28-1"].truth()
    assert summary["rise_is"] == "breakdown" and summary["hysteresis_decades"] > 0.5
    assert summary["breakdown_V"] == pytest.approx(truth["breakdown_V"], abs=0.012)
    assert summary["protection_V"] == pytest.approx(truth["protection_V"], abs=0.012)

"""The demo's weighings, gas, acid and rig log: from the metal that the sections lose, and found again."""

from pathlib import Path

import bath
import make_demo
import numpy as np
import pytest
from specimens import specimens

from surfscan.immersion.exposure import measure_exposure
from surfscan.immersion.gas import gas_rates, water_vapour_kPa
from surfscan.immersion.mass_loss import mass_loss_rate_of_cycles
from surfscan.study.manifest import load_study

HERE = Path(make_demo.__file__).parent
STUDY = load_study(HERE)
BY_ID = {s.id: s for s in specimens()}
AREA_CM2 = bath.SURFACE_MM2 / 100


@pytest.mark.parametrize("name", ["U14-1", "U28-1", "C28-2"])
def test_loss_is_that_of_the_sections(name):
    """Of a strut of the drawn section as long as the surface needs; the density is that of the study."""
    specimen = BY_ID[name]
    length = bath.SURFACE_MM2 / 1.4
    left = (0.4 - 2e-3 * specimen.loss_um) * (0.3 - 2e-3 * specimen.loss_um)
    density = STUDY.material_of(name).density_g_per_cm3.value
    assert bath.metal_mg(specimen, specimen.days) == pytest.approx(density * length * (0.12 - left))
    assert bath.start_mg(specimen) == pytest.approx(density * length * 0.12, rel=0.05)
    assert bath.metal_mg(specimen, 1e-3) / bath.SURFACE_MM2 / density * 365.25e3 == pytest.approx(
        specimen.rate_mm_per_y, rel=1e-3
    )


def test_weighings_show_the_loss():
    """Every plate: by extrapolation, the intervals hold the true rate in nine of ten or more."""
    held = []
    for made in bath.weighings():
        (entry,) = (w for w in STUDY.weighings if w.specimen == made.specimen.id)
        assert (entry.before_g, list(entry.cleaned_g)) == made.masses_g()
        found = mass_loss_rate_of_cycles(
            entry.before_g,
            entry.cleaned_g,
            area_cm2=AREA_CM2,
            hours=24.0 * made.specimen.days,
            density=STUDY.material_of(entry.specimen).density_g_per_cm3,
            area_relative_uncertainty=bath.SURFACE_UNCERTAINTY,
            blank_g=entry.blank_masses_g,
            settings=STUDY.settings.immersion,
        )
        truth = made.truth()
        assert found.loss_mg == pytest.approx(truth["loss_mg"], abs=0.25)
        low, high = found.estimate.rate_mm_per_y_ci95
        held.append(low <= truth["rate_mm_per_y"] <= high)
        assert truth["rate_mm_per_y"] < made.specimen.rate_mm_per_y
    assert len(held) == 12 and np.mean(held) >= 0.9


def test_gas_reads_low_by_its_bubbles():
    assert pytest.approx(float(water_vapour_kPa(bath.GAS_DEGC)), abs=0.01) == bath.VAPOUR_KPA
    for made in bath.gas_series():
        (entry,) = (g for g in STUDY.gas if g.specimen == made.specimen.id)
        assert list(entry.volume_mL) == made.volumes_mL() and entry.dry is False
        found = gas_rates(
            entry.hours,
            entry.volume_mL,
            material=STUDY.material_of(entry.specimen),
            area_cm2=AREA_CM2,
            temperature_degC=entry.temperature_degC,
            pressure_kPa=entry.pressure_kPa,
        ).estimate
        truth = made.truth()["rate_mm_per_y"]
        assert found.rate_mm_per_y == pytest.approx(truth, rel=0.01) and found.bias == "reads low"
        by_mass = bath.Weighing(made.specimen).truth()["rate_mm_per_y"]
        assert truth / by_mass == pytest.approx(bath.GAS_SHARE)


def test_log_is_as_made_and_measures_true():
    """Hours but for the change of the clock, acid that reads low, clogging, and the long cold stretch."""
    made, (entry,) = bath.rig_log(), STUDY.logs
    assert (HERE / entry.file).read_text(encoding="utf-8") == made.text()
    assert STUDY.specimens_of(entry) == tuple(s.id for s in made.specimens)
    found = measure_exposure(
        HERE / entry.file,
        entry.settings(STUDY.settings.exposure),
        material=STUDY.material_of("U28-1"),
        area_cm2=3 * AREA_CM2,
        area_relative_uncertainty=bath.SURFACE_UNCERTAINTY,
    ).summary
    truth = made.truth()
    assert truth["immersed_h"] == 24 * 28
    assert found["immersed_h"] == pytest.approx(truth["immersed_h"], abs=1)
    assert found["in_range_h"] == pytest.approx(truth["in_range_h"], abs=1)
    assert found["verdict"] == "exposure valid with reservations"
    assert found["excursion_count"] == 1 and found["longest_excursion_h"] == 10
    low, high = found["hydraulic_resistance"]["rise_fraction_ci95"]
    assert low < truth["resistance_rise_fraction"] < high
    rate = found["acid_balance"]["rate"]
    assert rate["rate_mm_per_y"] == pytest.approx(truth["acid_rate_mm_per_y"], rel=0.01)
    assert rate["bias"] == "reads low"
    by_mass = np.mean([bath.Weighing(s).truth()["rate_mm_per_y"] for s in made.specimens])
    assert truth["acid_rate_mm_per_y"] / by_mass == pytest.approx(bath.ACID_SHARE)


def test_true_rates_are_stored():
    """truth_rates.csv names the entries of the study, each with the figures of its kind."""
    lines = (HERE / "truth_rates.csv").read_text(encoding="utf-8").splitlines()
    assert lines[0] == "entry,figure,true_value"
    assert {line.split(",")[0] for line in lines[1:]} == {e.entry_id for e in STUDY.rate_entries}
    for entry in make_demo.rate_entries():
        for figure, value in entry.truth().items():
            assert f"{entry.entry_id},{figure},{value:.5g}" in lines

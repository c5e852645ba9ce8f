"""Sweeps from file to rate: runs, reference, resistance, rest, cyclic, bad input."""

import numpy as np
import pytest

from surfscan.columns import TABLES
from surfscan.electrochemistry.analysis import measure_sweep
from surfscan.electrochemistry.mixed_control import MixedControl, current_density_uA_per_cm2
from surfscan.electrochemistry.reading import read_sweep
from surfscan.electrochemistry.settings import SweepSettings
from surfscan.errors import InputError
from surfscan.materials.catalogue import find_material

HALF = -0.5 + np.arange(-0.2, 0.2003, 0.002)
CURVE = MixedControl(-0.5, 10.0, 0.08, 0.12, 0.1)


def write(path, potential, current, head="Potential (V vs SCE),Current (A)"):
    """A sweep as text."""
    rows = [f"{e:.7g},{i:.7g}" for e, i in zip(potential, current, strict=True)]
    path.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")
    return path


def up_and_down(shift=0.0):
    """Potential and density of a run up and a run down, the second with its zero moved."""
    down = HALF[::-1][1:]
    moved = MixedControl(-0.5 + shift, 10.0, 0.08, 0.12, 0.1)
    density = np.concatenate(
        [current_density_uA_per_cm2(HALF, CURVE), current_density_uA_per_cm2(down, moved)]
    )
    return np.concatenate([HALF, down]), density


def pitting():
    """Passive from -0.2 V, breaking down at 0.35 V, protected below 0.05 V."""
    up = np.arange(-0.35, 0.45, 0.001)
    down = up[::-1][1:650]
    passive = 0.5 * np.tanh((up + 0.25) / 0.02)
    forward = passive + 0.5 * 10 ** np.clip(25 * (up - 0.35), -9, 9)
    share = np.clip((down - 0.05) / 0.4, -0.2, 1)
    reverse = 0.5 * np.tanh((down + 0.25) / 0.02) + forward[-1] * np.sign(share) * share**2
    return np.concatenate([up, down]), np.concatenate([forward, reverse])


def test_from_file_to_rate(tmp_path):
    potential, density = up_and_down()
    read = read_sweep(write(tmp_path / "a.csv", potential, 2e-6 * density))
    found = measure_sweep(read, area_cm2=2.0, area_relative_uncertainty=0.02, material=find_material("Fe"))
    summary = found.summary
    assert found.procedure == "sweep"
    assert found.calibration is None
    assert dict(found.masks) == {}
    assert set(found.tables) == {"sweep", "sweep_runs", "sweep_methods", "sweep_windows"}
    assert all(list(found.tables[name]) == [c.name for c in TABLES[name]] for name in found.tables)
    assert (summary["scan"], summary["direction"], summary["scan_count"]) == (1, "up", 2)
    assert summary["icorr_uA_per_cm2"] == pytest.approx(10.0, rel=0.02)
    assert summary["rate_mm_per_y"] == pytest.approx(0.1160, rel=0.03)
    assert summary["rate_mm_per_y_ci95"][0] < summary["rate_mm_per_y"] < summary["rate_mm_per_y_ci95"][1]
    assert summary["reference"] == "SCE"
    assert found.settings == SweepSettings().model_dump(mode="json")
    again = measure_sweep(read, area_cm2=2.0, area_relative_uncertainty=0.02, material=find_material("Fe"))
    assert again.summary == summary


def test_run_is_the_stated_one(tmp_path):
    potential, density = up_and_down(shift=-0.02)
    read = read_sweep(write(tmp_path / "a.csv", potential, 1e-6 * density))
    first = measure_sweep(read, area_cm2=1.0)
    assert first.summary["Ecorr_V"] == pytest.approx(-0.5, abs=1e-3)
    assert first.summary["drift_between_scans_V"] == pytest.approx(-0.02, abs=1e-3)
    assert any("-20 mV between runs" in text for text in first.warnings)
    second = measure_sweep(read, SweepSettings(scan=2), area_cm2=1.0)
    assert (second.summary["scan"], second.summary["direction"]) == (2, "down")
    assert second.summary["Ecorr_V"] == pytest.approx(-0.52, abs=1e-3)
    with pytest.raises(InputError, match="there is no run 3: the sweep has 2"):
        measure_sweep(read, SweepSettings(scan=3), area_cm2=1.0)


def test_first_rising_run_is_taken(tmp_path):
    """Down first, then up: the second run is analysed."""
    potential = np.concatenate([HALF[::-1], HALF[1:]])
    density = current_density_uA_per_cm2(potential, CURVE)
    read = read_sweep(write(tmp_path / "a.csv", potential, 1e-6 * density))
    found = measure_sweep(read, area_cm2=1.0)
    assert (found.summary["scan"], found.summary["direction"]) == (2, "up")


def test_reference_is_converted_with_its_uncertainty(tmp_path):
    read = read_sweep(write(tmp_path / "a.csv", *[HALF, 1e-6 * current_density_uA_per_cm2(HALF, CURVE)]))
    found = measure_sweep(read, area_cm2=1.0, to_reference="SHE", rest_potential_V=-0.495).summary
    assert found["Ecorr_V"] == pytest.approx(-0.5 + 0.2425, abs=1e-3)
    assert found["rest_potential_V"] == pytest.approx(-0.495 + 0.2425)
    assert found["drift_from_rest_V"] == pytest.approx(-0.005, abs=1e-3)
    low, high = found["Ecorr_V_ci95"]
    assert high - low > 4e-3
    assert (found["reference"], found["read_reference"]) == ("SHE", "SCE")
    unnamed = read_sweep(
        write(tmp_path / "b.csv", HALF, 1e-6 * current_density_uA_per_cm2(HALF, CURVE), "E (V),I (A)")
    )
    with pytest.raises(InputError, match="does not name their reference"):
        measure_sweep(unnamed, area_cm2=1.0, to_reference="SHE")


def test_solution_resistance_comes_off(tmp_path):
    """Points as a cell with 500 ohm in the way shows them, 1 cm²; freed of it they give the truth again."""
    density = current_density_uA_per_cm2(HALF, CURVE)
    read = read_sweep(write(tmp_path / "a.csv", HALF + 500e-6 * density, 1e-6 * density))
    found = measure_sweep(read, area_cm2=1.0, solution_resistance_ohm=500.0).summary
    assert found["icorr_uA_per_cm2"] == pytest.approx(10.0, rel=0.02)
    truth = 1e6 / (10 * np.log(10) * (1 / 0.08 + 0.9 / 0.12))
    assert found["polarization_resistance_ohm_cm2"] == pytest.approx(truth, rel=0.01)
    with pytest.raises(InputError, match="0 or above"):
        measure_sweep(read, area_cm2=1.0, solution_resistance_ohm=-1.0)


def test_drifted_rest_potential_refuses(tmp_path):
    read = read_sweep(write(tmp_path / "a.csv", HALF, 1e-6 * current_density_uA_per_cm2(HALF, CURVE)))
    found = measure_sweep(read, area_cm2=1.0, rest_potential_V=-0.4)
    assert found.summary["icorr_uA_per_cm2"] is None
    assert found.summary["method"] is None
    assert any("No corrosion current" in text for text in found.warnings)


def test_cyclic(tmp_path):
    potential, density = pitting()
    read = read_sweep(write(tmp_path / "a.csv", potential, 1e-6 * density))
    summary = measure_sweep(read, area_cm2=1.0, rest_potential_V=-0.24).summary
    assert summary["breakdown_V"] == pytest.approx(0.35, abs=0.006)
    assert summary["protection_V"] == pytest.approx(0.05, abs=0.02)
    assert summary["passive_current_density_uA_per_cm2"] == pytest.approx(0.5, rel=0.05)
    assert summary["breakdown_margin_V"] == pytest.approx(0.59, abs=0.01)
    assert summary["protection_margin_V"] == pytest.approx(0.29, abs=0.02)
    assert summary["margin_from"] == "rest potential"
    assert summary["breakdown_at_least_V"] is None


def test_oxygen_line_follows_reference_and_pH(tmp_path):
    """Up only, rising at 0.35 V vs SCE: 0.59 V vs SHE is above the line of pH 14 and below that of pH 7."""
    potential, density = pitting()
    up = slice(0, 800)
    read = read_sweep(write(tmp_path / "a.csv", potential[up], 1e-6 * density[up]))
    assert measure_sweep(read, area_cm2=1.0).summary["rise_is"] == "undecided"
    assert measure_sweep(read, SweepSettings(pH=7.0), area_cm2=1.0).summary["rise_is"] == "breakdown"
    assert measure_sweep(read, SweepSettings(pH=13.0), area_cm2=1.0).summary["rise_is"] == "undecided"


def test_only_anodic_has_potentials_of_none(tmp_path):
    density = current_density_uA_per_cm2(HALF, CURVE)[150:]
    found = measure_sweep(read_sweep(write(tmp_path / "a.csv", HALF[150:], 1e-6 * density)), area_cm2=1.0)
    assert found.summary["Ecorr_V"] is None
    assert found.summary["icorr_uA_per_cm2"] is None
    assert any("anodic throughout" in text for text in found.warnings)


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"area_cm2": 0.0}, "an area of 0 cm² cannot be"),
        ({"area_cm2": 1.0, "area_relative_uncertainty": 2.0}, "no fraction"),
        ({"area_cm2": 1.0, "to_reference": "tin can"}, "not known"),
        ({"area_cm2": 1.0, "to_reference": "SHE", "temperature_degC": 500.0}, "500"),
    ],
    ids=["area", "uncertainty", "reference", "temperature"],
)
def test_what_cannot_be_is_refused(tmp_path, given, said):
    read = read_sweep(write(tmp_path / "a.csv", HALF, 1e-6 * current_density_uA_per_cm2(HALF, CURVE)))
    with pytest.raises(InputError, match=said):
        measure_sweep(read, **given)


def test_milliampere_called_ampere_is_told(tmp_path):
    density = current_density_uA_per_cm2(HALF, MixedControl(-0.5, 200.0, 0.08, 0.12))
    found = measure_sweep(read_sweep(write(tmp_path / "a.csv", HALF, 1e-3 * density)), area_cm2=1.0)
    assert any("mA" in text and "called A" in text for text in found.warnings)


def test_currents_a_million_times_too_large_are_told_and_not_stumbled_over(tmp_path):
    """1 % noise on mA called A over a quarter of a volt: a trial step of the fit leaves the range."""
    potential = -0.5 + np.arange(-0.25, 0.25, 0.001)
    density = 100 * current_density_uA_per_cm2(potential, MixedControl(-0.5, 10.0, 0.08, 0.12, 1 / 8))
    noise = 1 + 0.01 * np.random.default_rng(0).standard_normal(potential.size)
    path = write(tmp_path / "a.csv", potential, 1e-3 * density * noise, "E (V),I (A)")
    found = measure_sweep(read_sweep(path), area_cm2=1.0)
    assert any("called A" in text for text in found.warnings)
    assert found.summary["method"] is None
    assert "no wall in a cell carries that" in found.summary["fit_refused"]


def test_current_that_no_wall_carries_gives_no_rate(tmp_path):
    """µA called A: no rate, resistance or passive current, and the reason stands with each."""
    potential, density = up_and_down()
    read = read_sweep(write(tmp_path / "a.csv", potential, density))
    found = measure_sweep(read, area_cm2=1.0, material=find_material("Fe"))
    for name in ("icorr_uA_per_cm2", "rate_mm_per_y", "polarization_resistance_ohm_cm2", "fit_note"):
        assert not found.summary[name]
    assert "no wall in a cell carries that" in found.summary["fit_refused"]
    assert "no wall in a cell carries that" in found.summary["polarization_refused"]
    assert any(text.startswith("No corrosion current: the densities reach") for text in found.warnings)
    assert np.isnan(found.tables["sweep_runs"]["icorr_uA_per_cm2"]).all()
    assert found.summary["Ecorr_V"] == pytest.approx(-0.5, abs=1e-3)


def test_brackets_of_breakdown_and_protection_stand_in_the_summary(tmp_path):
    potential, density = pitting()
    summary = measure_sweep(
        read_sweep(write(tmp_path / "a.csv", potential, 1e-6 * density)), area_cm2=1.0
    ).summary
    for name in ("breakdown", "protection"):
        low, high = summary[f"{name}_range_V"]
        assert low - 1e-9 <= summary[f"{name}_V"] <= high + 1e-9

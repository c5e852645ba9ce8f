"""Hydrogen: gas law, blank, refusals by metal, series. Factors of papers: tests/published."""

import numpy as np
import pytest

from surfscan.immersion.gas import gas_rates, hydrogen_mmol
from surfscan.immersion.settings import ImmersionSettings
from surfscan.materials.catalogue import StatedMaterial, find_material

MG = find_material("Mg")
CELL = {"material": MG, "area_cm2": 10.0, "temperature_degC": 25.0, "area_relative_uncertainty": 0.0}


def test_gas_law():
    """1 kPa mL is 1e-3 J, so kPa mL over J gives mmol."""
    assert hydrogen_mmol(24.4654, 25, 101.325, is_wet=False) == pytest.approx(1.0, rel=1e-5)
    assert hydrogen_mmol(10, 25, 50, is_wet=False) == pytest.approx(hydrogen_mmol(5, 25, 100, is_wet=False))


def test_column_and_vapour_lower_the_pressure():
    dry = hydrogen_mmol(10, 25, 101.325, is_wet=False)
    assert hydrogen_mmol(10, 25, 101.325) / dry == pytest.approx(1 - 3.1698 / 101.325, rel=1e-4)
    raised = hydrogen_mmol(10, 25, 101.325, is_wet=False, column_cm=20)
    assert raised / dry == pytest.approx(1 - 1.96133 / 101.325)


@pytest.mark.parametrize(
    ("temperature", "pressure", "said"),
    [(310.0, 101.3, "0 to 100"), (25.0, 1013.0, "50 to 120 kPa"), (25.0, 1.0, "50 to 120 kPa")],
)
def test_wrong_units_are_noticed(temperature, pressure, said):
    with pytest.raises(ValueError, match=said):
        hydrogen_mmol(1.0, temperature, pressure)


def test_no_pressure_left():
    with pytest.raises(ValueError, match="no pressure is left"):
        hydrogen_mmol(1.0, 90.0, 60.0)


def test_rate_from_first_principles():
    """20 mL of wet gas at 25 °C and 1 atm in 48 h off 10 cm² of Mg, one mole of hydrogen per mole of Mg."""
    found = gas_rates([48], [20], **CELL)
    moles = (101325 - 3169.8) * 20e-6 / (8.314462618 * 298.15)
    assert found.metal_mg[-1] == pytest.approx(1000 * moles * 24.305, rel=1e-5)
    assert found.estimate.rate_g_per_m2_d == pytest.approx(moles * 24.305 / 1e-3 / 2, rel=1e-5)
    assert found.estimate.bias == "reads low" and "bubbles" in found.estimate.reasons[0]
    assert found.intervals == ()
    assert found.metal_mg_per_mL == pytest.approx(found.metal_mg[-1] / 20)


def test_trivalent_metal_gives_one_and_a_half():
    """Hydrogen is half the electrons: 1 mol of Al gives 1.5 mol."""
    own = StatedMaterial("my Al", 2.7, {"Al": 100}, {"Al": 3}, source="invented")
    cell = {**CELL, "material": find_material("my Al", [own])}
    found = gas_rates([24], [10], is_hydrogen_only=True, **cell)
    assert found.metal_mg[-1] == pytest.approx(found.hydrogen_mmol[-1] / 1.5 * 26.982)
    assert "stated, not checked" in found.estimate.warnings[0]


def test_dry_gas_by_setting():
    dry = gas_rates([24], [10], settings=ImmersionSettings(gas_is_wet=False), **CELL)
    assert dry.metal_mg[-1] / gas_rates([24], [10], **CELL).metal_mg[-1] == pytest.approx(
        101.325 / (101.325 - 3.1698), rel=1e-5
    )


def test_blank_is_subtracted_and_adds_its_reading():
    plain, less = gas_rates([24], [10], **CELL), gas_rates([24], [12], blank_mL=2.0, **CELL)
    assert less.metal_mg[-1] == pytest.approx(plain.metal_mg[-1])
    ratio = (
        less.estimate.contributions_percent["volume readings"]
        / (plain.estimate.contributions_percent["volume readings"])
    )
    assert ratio == pytest.approx(2**0.5)


def test_series_with_a_temperature_each():
    found = gas_rates([24, 48], [10, 20], **{**CELL, "temperature_degC": [20, 30]})
    assert len(found.intervals) == 2
    expected = hydrogen_mmol(20, 30) - hydrogen_mmol(10, 20)
    assert found.hydrogen_mmol[2] - found.hydrogen_mmol[1] == pytest.approx(float(expected))


def test_temperature_uncertainty_by_hand():
    """Dry gas: 1/T, 0.17 % for 0.5 K; wet gas also by its vapour."""
    dry = gas_rates([24], [10], settings=ImmersionSettings(gas_is_wet=False), **CELL)
    assert dry.estimate.contributions_percent["gas temperature"] == pytest.approx(50 / 298.15, rel=1e-3)
    wet = gas_rates([24], [10], **CELL)
    assert wet.estimate.contributions_percent["gas temperature"] > 1.5 * 50 / 298.15


@pytest.mark.parametrize(
    ("name", "said"),
    [("Zn", "oxidised by oxygen"), ("316L", "oxidised by oxygen"), ("Ti", "is not known here")],
)
def test_metals_whose_gas_does_not_tell(name, said):
    found = gas_rates([24], [10], **{**CELL, "material": find_material(name)})
    assert found.estimate.rate_g_per_m2_d is None
    assert said in found.estimate.refused
    assert np.isnan(found.metal_mg).all()
    stated = gas_rates([24], [10], **{**CELL, "material": find_material(name)}, is_hydrogen_only=True)
    assert stated.estimate.rate_g_per_m2_d > 0


def test_hydrogen_that_the_solution_holds():
    found = gas_rates([24], [10], solution_mL=400.0, **CELL)
    assert found.held_mL == pytest.approx(7.6)
    assert "7.6 mL of hydrogen beside the 10 mL" in found.estimate.warnings[0]
    assert gas_rates([24], [1000], solution_mL=400.0, **CELL).estimate.warnings == ()


def test_ready_for_json():
    from surfscan.cli.result_json import plain_json

    assert '"bias": "reads low"' in plain_json(gas_rates([24, 48], [10, 20], **CELL).as_dict())


def test_interval_holds_the_rate():
    """Invented cells with errors of every kind in their stated sizes: 95 % intervals hold 93 to 99 %."""
    rng, draws, held = np.random.default_rng(5), 400, 0
    for _ in range(draws):
        off = rng.normal(0, [0.5, 0.2, 0.1, 0.03])
        moles = 10.0 / 24.305  # of 10 mg, mmol
        dry = 100.0 - 3.1698
        volume = moles * 8.314462618 * 298.15 / dry
        found = gas_rates(
            [48 + off[2]],
            [volume + rng.normal(0, 0.1) - rng.normal(0, 0.1)],
            material=MG,
            area_cm2=10.0 * (1 + off[3]),
            area_relative_uncertainty=0.03,
            temperature_degC=25 + off[0],
            pressure_kPa=100 + off[1],
        )
        low, high = found.estimate.rate_g_per_m2_d_ci95
        held += low <= 5.0 <= high
    assert 0.93 <= held / draws <= 0.99

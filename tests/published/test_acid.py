"""Acid that holds the pH as metal dissolves.

Source: stoichiometry of Mg + 2 H2O -> Mg2+ + 2 OH- + H2 and Zn + 1/2 O2 + H2O -> Zn2+ + 2 OH- (no paper with
a fully quoted equation for a bath held at constant pH was found). Metal for 1 mL of 0.100 M strong acid
recomputed by hand: 1.2153 mg Mg, 3.269 mg Zn. For Fe, Fe(OH)3 gives the acid back: not quantitative.
"""

import pytest

from surfscan.immersion.acid import acid_rates
from surfscan.immersion.gas import gas_rates
from surfscan.materials.catalogue import find_material


def _one_mL(name):
    return acid_rates([24.0], [1.0], concentration_mol_per_L=0.1, material=find_material(name), area_cm2=1.0)


@pytest.mark.parametrize(("name", "mg", "digits"), [("Mg", 1.2153, 4), ("Zn", 3.269, 3)])
def test_metal_of_one_millilitre(name, mg, digits):
    assert _one_mL(name).metal_mg_per_mL == pytest.approx(mg, abs=0.51 * 10**-digits)


def test_iron_is_not_quantitative():
    assert _one_mL("Fe").estimate.refused
    assert _one_mL("carbon steel").estimate.rate_mm_per_y is None


def test_acid_and_gas_of_one_reaction_agree():
    """Two H+ and one H2 for each Mg: 2 mmol of acid and 24.465 mL of dry gas at 25 °C are one rate."""
    from surfscan.immersion.settings import ImmersionSettings

    material = find_material("Mg")
    acid = acid_rates([24.0], [20.0], concentration_mol_per_L=0.1, material=material, area_cm2=1.0)
    gas = gas_rates(
        [24.0],
        [24.4654],
        material=material,
        area_cm2=1.0,
        temperature_degC=25.0,
        settings=ImmersionSettings(gas_is_wet=False),
    )
    assert acid.estimate.rate_mm_per_y == pytest.approx(gas.estimate.rate_mm_per_y, rel=1e-5)
    assert acid.metal_mg[-1] == pytest.approx(24.305)

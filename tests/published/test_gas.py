"""Hydrogen from magnesium.

Sources: Shi, Liu and Atrens, Corros. Sci. 52 (2010) 579, and Shi and Atrens, Corros. Sci. 53 (2011) 226
(2.279 mm/y for 1 mL/(cm² d), from memory); molar volumes by the gas law with CODATA's R; vapour pressures
2.34, 3.17, 6.28 kPa at 20, 25, 37 °C (handbooks, from memory); Buck, J. Appl. Meteorol. 20 (1981) 1527,
revised 1996 (from memory), as a second equation for vapour. Factors at 25 and 37 °C were recomputed outside
this package with a year of 365 d."""

import math

import pytest

from surfscan.immersion.gas import gas_rates, hydrogen_mmol, water_vapour_kPa
from surfscan.immersion.settings import ImmersionSettings
from surfscan.materials.catalogue import find_material
from surfscan.materials.rates import YEAR_D

MG = find_material("Mg")
DRY = ImmersionSettings(gas_is_wet=False)


def _of_one_mL(temperature, settings):
    """1 mL in 24 h off 1 cm² at 1 atm."""
    return gas_rates(
        [24.0], [1.0], material=MG, area_cm2=1.0, temperature_degC=temperature, settings=settings
    )


@pytest.mark.parametrize(("temperature", "kPa"), [(20, 2.34), (25, 3.17), (37, 6.28)])
def test_vapour_pressure_of_handbooks(temperature, kPa):
    assert round(float(water_vapour_kPa(temperature)), 2) == kPa


def test_vapour_pressure_at_fixed_points():
    """Triple point 0.611657 kPa; at 100 °C (ITS-90) 101.42 kPa (from memory)."""
    assert float(water_vapour_kPa(0.01)) == pytest.approx(0.611657, rel=1e-5)
    assert float(water_vapour_kPa(100)) == pytest.approx(101.42, abs=5e-3)


@pytest.mark.parametrize("temperature", [5, 15, 20, 25, 30, 37, 45])
def test_vapour_pressure_by_another_equation(temperature):
    buck = 0.61121 * math.exp((18.678 - temperature / 234.5) * temperature / (257.14 + temperature))
    assert float(water_vapour_kPa(temperature)) == pytest.approx(buck, rel=1e-3)


@pytest.mark.parametrize(("temperature", "litres"), [(0, 22.414), (25, 24.465), (37, 25.450)])
def test_molar_volume(temperature, litres):
    """One atmosphere, dry: L/mol."""
    assert 1 / float(hydrogen_mmol(1.0, temperature, is_wet=False)) == pytest.approx(litres, abs=6e-4)


@pytest.mark.parametrize(("temperature", "mg"), [(0, 1.0844), (25, 0.9934), (37, 0.9550)])
def test_magnesium_of_one_millilitre(temperature, mg):
    """Papers take 1.085 mg/mL, of 22.4 L/mol; that holds at 0 °C only."""
    assert _of_one_mL(temperature, DRY).metal_mg_per_mL == pytest.approx(mg, abs=6e-5)
    assert round(24.305 / 22.4, 3) == 1.085


@pytest.mark.parametrize(("temperature", "mm_per_y"), [(0, 2.2747), (25, 2.0839), (37, 2.0033)])
def test_factor_dry(temperature, mm_per_y):
    """mm/y for 1 mL/(cm² d): 2.279 is the convention of 0 °C and 22.4 L/mol; at 37 °C it is 14 % too much."""
    found = _of_one_mL(temperature, DRY).estimate.rate_mm_per_y * 365 / YEAR_D
    assert found == pytest.approx(mm_per_y, abs=6e-5)


def test_convention_of_papers():
    """2.279: 1.085 mg/(cm² d) x 2.10 mm/y for each."""
    assert abs(1.085 * 2.10 - 2.279) < 5e-4
    assert 2.279 / (_of_one_mL(37, DRY).estimate.rate_mm_per_y * 365 / YEAR_D) == pytest.approx(
        1.14, abs=5e-3
    )


@pytest.mark.parametrize(
    ("temperature", "vapour_kPa", "mm_per_y"),
    [(0.01, 0.6117, 2.2609), (25, 3.1698, 2.0187), (37, 6.2824, 1.8791)],
)
def test_factor_wet(temperature, vapour_kPa, mm_per_y):
    """The dry factor times (101.325 - vapour) / 101.325, by hand."""
    found = _of_one_mL(temperature, None).estimate.rate_mm_per_y * 365 / YEAR_D
    dry = {0.01: 2.2746, 25: 2.0839, 37: 2.0033}[temperature]
    assert found == pytest.approx(dry * (101.325 - vapour_kPa) / 101.325, abs=2e-4)
    assert found == pytest.approx(mm_per_y, abs=3e-4)

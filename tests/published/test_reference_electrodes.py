"""Reference electrode potentials against the standard hydrogen electrode at 25 °C.

Source: ASTM G3 appendix and handbooks, as recalled (from memory); 0.2412 V and -0.661 mV/K for the saturated
calomel electrode are the usual polynomial, 0.2412 - 6.61e-4 (T - 25) - 1.75e-6 (T - 25)², from memory.
"""

import pytest

from surfscan.electrochemistry.references import ELECTRODES, SHE, convert_potential, temperature_allowance_V


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [
        ("SCE", 0.241, 0.244),
        ("Ag/AgCl sat. KCl", 0.197, 0.199),
        ("Ag/AgCl 3 M KCl", 0.207, 0.210),
        ("Cu/CuSO4", 0.316, 0.318),
        ("Hg/Hg2SO4 sat. K2SO4", 0.64, 0.656),
    ],
)
def test_offsets(name, low, high):
    found = convert_potential(0.0, name, SHE)
    assert low <= float(found.potential_V) <= high
    assert (high - low) / 12**0.5 <= found.standard_uncertainty_V < 0.01
    assert ELECTRODES[name].status == "from memory"


@pytest.mark.parametrize("temperature_degC", [5, 15, 37, 50, 60])
def test_allowance_holds_the_polynomial_of_the_calomel_electrode(temperature_degC):
    off = temperature_degC - 25
    change = -6.61e-4 * off - 1.75e-6 * off**2
    allowed = temperature_allowance_V(ELECTRODES["SCE"], ELECTRODES[SHE], temperature_degC)
    assert abs(change) <= allowed <= 1.5 * abs(change)

"""Rates from current density.

Sources: ASTM G102 Eq 5 and 6 with K1 = 3.27e-3 mm g/(µA cm y), K2 = 8.954e-3 g cm²/(µA m² d) and its
appendix X1 (27.0 µA on a round area of 1.30 cm; from memory, medium confidence: 20.5 µA/cm² comes of an
area rounded to 1.32 cm², the exact one is 20.34). 0.2121 mm/y and 4.611 g/(m² d) for 304 at 20.5 µA/cm²
were computed outside this package from K1 and K2 with EW 25.12 and 7.94 g/cm³. mm/y per µA/cm²: computed
outside with 365.25 d; 0.0116 for iron was read in a secondary source.
"""

import math

import pytest

from surfscan.electrochemistry.rates import rate_of_current
from surfscan.materials.catalogue import find_material

NARROW = (1 - 1e-9, 1 + 1e-9)


def _rate(name, density):
    return rate_of_current(density, (density * NARROW[0], density * NARROW[1]), find_material(name))


def test_304_at_the_density_of_the_appendix():
    found = _rate("304", 20.5)
    assert found.rate_mm_per_y == pytest.approx(0.2121, abs=1e-4)
    assert found.rate_g_per_m2_d == pytest.approx(4.611, abs=1e-3)


def test_density_of_the_appendix():
    area = math.pi / 4 * 1.30**2
    assert 27.0 / area == pytest.approx(20.34, abs=5e-3)
    assert pytest.approx(20.5, abs=0.05) == 27.0 / 1.32


@pytest.mark.parametrize(
    ("name", "mm_per_y"),
    [("Fe", 0.011604), ("Mg", 0.022843), ("Zn", 0.014975), ("304", 0.010348), ("316", 0.010452)],
)
def test_penetration_of_one_microampere(name, mm_per_y):
    assert _rate(name, 1.0).rate_mm_per_y == pytest.approx(mm_per_y, rel=5e-4)


def test_iron_of_the_secondary_source():
    assert round(_rate("Fe", 1.0).rate_mm_per_y, 4) == 0.0116


@pytest.mark.parametrize("name", ["Fe", "304"])
def test_depth_and_mass_agree(name):
    """mm/y = g/(m² d) times 0.36525 over g/cm³."""
    found = _rate(name, 7.0)
    density = find_material(name).density_g_per_cm3.value
    assert found.rate_mm_per_y == pytest.approx(found.rate_g_per_m2_d * 0.36525 / density, rel=1e-9)

"""Rates of a corrosion current: interval, density, valences."""

import math
from dataclasses import replace

import pytest

from surfscan.electrochemistry.rates import rate_of_current, widen
from surfscan.errors import InputError
from surfscan.materials.catalogue import find_material
from surfscan.materials.material import Material, Value


def test_widened_in_quadrature_of_logarithms():
    low, high = widen(10.0, (10 / 1.1, 10 * 1.1), math.log(1.1) / 1.959964)
    assert high == pytest.approx(10 * 1.1 ** math.sqrt(2))
    assert low == pytest.approx(10 / 1.1 ** math.sqrt(2))
    assert widen(10.0, (9.0, 12.0), 0.0) == pytest.approx((9.0, 12.0))
    with pytest.raises(ValueError, match="above 0 and hold"):
        widen(10.0, (0.0, 12.0), 0.1)


def test_valences_are_a_range_and_no_part_of_the_interval():
    found = rate_of_current(10.0, (9.0, 11.0), find_material("316"))
    low, high = found.mm_per_y_range
    assert low < found.rate_mm_per_y == pytest.approx(high)
    assert found.rate_mm_per_y_ci95[0] == pytest.approx(0.9 * found.rate_mm_per_y, rel=1e-6)
    assert "Fe3" in found.range_reason
    assert rate_of_current(10.0, (9.0, 11.0), find_material("Mg")).mm_per_y_range is None


def test_range_of_the_density_widens_depth_only():
    plain = find_material("Mg")
    wide = replace(plain, density_g_per_cm3=Value(1.74, "g/cm3", "a table", "from memory", 1.6, 1.9))
    a, b = (rate_of_current(10.0, (9.0, 11.0), m) for m in (plain, wide))
    assert b.rate_g_per_m2_d_ci95 == a.rate_g_per_m2_d_ci95
    assert b.rate_mm_per_y_ci95[1] > a.rate_mm_per_y_ci95[1]


def test_what_is_not_known_of_the_metal():
    with pytest.raises(InputError, match="equivalent weight"):
        rate_of_current(1.0, (0.9, 1.1), Material("stuff"))
    weight = Value(25.0, "g/mol", "me", "stated by the user")
    found = rate_of_current(1.0, (0.9, 1.1), Material("stuff", stated_equivalent_weight=weight))
    assert found.rate_mm_per_y is None
    assert found.rate_g_per_m2_d == pytest.approx(25 * 1e-2 * 86400 / 96485.33212, rel=1e-9)

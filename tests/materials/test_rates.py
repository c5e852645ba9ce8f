"""Rates: inverses, scaling and nonsense. Constants of standards: tests/published."""

import numpy as np
import pytest

from surfscan.materials.rates import (
    G1_YEAR_D,
    current_density_of_penetration,
    mass_loss_constant,
    mass_loss_rate,
    mass_rate_g_per_m2_d,
    mass_rate_of_penetration,
    penetration_of_mass_rate,
    penetration_rate_mm_per_y,
)


def test_inverses():
    assert penetration_of_mass_rate(mass_rate_of_penetration(0.3, 1.74), 1.74) == pytest.approx(0.3)
    rate = penetration_rate_mm_per_y(12.5, 12.15, 1.74)
    assert current_density_of_penetration(rate, 12.15, 1.74) == pytest.approx(12.5)


def test_depth_and_mass_of_one_current_agree():
    """Both come from one charge; the density ties them."""
    depth = penetration_rate_mm_per_y(7.0, 32.69, 7.14)
    assert mass_rate_of_penetration(depth, 7.14) == pytest.approx(mass_rate_g_per_m2_d(7.0, 32.69))


def test_arrays():
    currents = np.array([0.0, 1.0, -2.0])
    rates = penetration_rate_mm_per_y(currents, 27.92, 7.87)
    np.testing.assert_allclose(rates, currents * rates[1])


def test_mass_loss_in_first_principles():
    """1 g off 1 cm² of density 1 in a year is 1 cm."""
    assert mass_loss_rate(1, 1, 365.25 * 24, 1.0) == pytest.approx(10.0)
    assert mass_loss_rate(1, 1, 365 * 24, 1.0, year_d=G1_YEAR_D) == pytest.approx(10.0)
    assert mass_loss_rate(1, 1, 24, 5.0, "mdd") == pytest.approx(1e5)
    assert mass_loss_rate(1, 1, 1, 5.0, "g_per_m2_h") == pytest.approx(1e4)


def test_refusals():
    with pytest.raises(ValueError, match="area_cm2 must be above 0"):
        mass_loss_rate(1, 0, 24, 1.74)
    with pytest.raises(ValueError, match="equivalent_weight"):
        mass_rate_g_per_m2_d(1.0, float("nan"))
    with pytest.raises(ValueError, match="needs the density"):
        mass_loss_constant("mdd")

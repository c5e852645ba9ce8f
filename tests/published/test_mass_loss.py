"""Mass loss by repeated cleaning, and practice of immersion tests.

Sources: ASTM G1-03 (R2017), clause 7.1.2 and Fig. 1, and ISO 8407: loss against number of cleaning cycles,
two lines, the second followed back to zero cycles (from memory; a secondary source agrees). ASTM G31-72:
volume of solution and length of test (from memory). The worked cases are invented, with figures done by hand.
"""

import numpy as np
import pytest

from surfscan.immersion.mass_loss import mass_loss_rate_of_cycles
from surfscan.immersion.solution import least_hours, solution_ratio
from surfscan.materials.catalogue import find_material
from surfscan.materials.rates import mass_loss_rate


def test_construction_by_hand():
    """After cycles 1 to 5: 90, 103, 104, 105, 106 mg lost.

    By hand: cycles 2 to 5 lie on 101 + 1 k; the first still removed product. 101 mg off 20 cm² in 720 h with
    1.74 g/cm³ is 8.766e4 x 0.101 / (20 x 720 x 1.74) = 0.35336 mm/y, and 101 mg / 20 cm² / 30 d is
    1.68333 g/(m² d).
    """
    found = mass_loss_rate_of_cycles(
        5.0,
        [4.910, 4.897, 4.896, 4.895, 4.894],
        area_cm2=20.0,
        hours=720.0,
        density=find_material("Mg").known_density(),
    )
    assert (found.product_cycles, found.loss_mg) == (1, pytest.approx(101.0))
    assert found.loss_at_bend_mg == pytest.approx(103.0)
    assert found.line.slope_mg_per_cycle == pytest.approx(1.0)
    assert found.estimate.rate_mm_per_y == pytest.approx(0.35336, abs=1e-5)
    assert found.estimate.rate_g_per_m2_d == pytest.approx(1.68333, abs=1e-5)


def test_construction_against_a_general_fit():
    """The same line by numpy's polynomial fit, weighings with 0.1 mg of noise."""
    losses = np.array([61.32, 78.94, 84.55, 85.61, 86.38, 87.44, 88.47])
    found = mass_loss_rate_of_cycles(
        3.0, 3.0 - losses / 1000, area_cm2=12.0, hours=336.0, density=find_material("Zn").known_density()
    )
    assert found.product_cycles == 2
    (slope, intercept), covariance = np.polyfit([3, 4, 5, 6, 7], losses[2:], 1, cov="unscaled")
    assert found.line.intercept_mg == pytest.approx(intercept, rel=1e-9)
    assert found.line.slope_mg_per_cycle == pytest.approx(slope, rel=1e-9)
    expected = 0.1 * np.sqrt(covariance[1, 1] + 1)  # and the weighing before exposure
    assert found.line.intercept_uncertainty_mg == pytest.approx(expected, rel=1e-9)


def test_rate_with_the_year_of_the_standard():
    """G1: 100 mg, 20 cm², 720 h, 1.74 g/cm³ with K = 8.76e4 gives 0.34962 mm/y; 365.25 d give 0.07 % more."""
    printed = mass_loss_rate(0.1, 20, 720, 1.74, year_d=365)
    assert printed == pytest.approx(0.34962, abs=5e-6)
    assert mass_loss_rate(0.1, 20, 720, 1.74) / printed == pytest.approx(365.25 / 365)


def test_volume_of_solution():
    """G31: 0.20 mL/mm² at least (125 mL/in²), 0.40 preferred (250 mL/in²); a secondary source's 250 mL/cm² is
    a slip for the square inch."""
    assert solution_ratio(0.20 * 100, 1.0).verdict == "acceptable"
    assert solution_ratio(0.40 * 100, 1.0).verdict == "preferred"
    assert solution_ratio(125 / 6.4516, 1.0).mL_per_cm2 == pytest.approx(20, rel=0.04)
    assert solution_ratio(250 / 6.4516, 1.0).mL_per_cm2 == pytest.approx(40, rel=0.04)


def test_length_of_test():
    """G31: hours = 2000 / mpy, given as 50 / (mm/y) in SI."""
    assert least_hours(10 * 0.0254) == pytest.approx(200)
    assert least_hours(0.5) == pytest.approx(50 / 0.5, rel=0.02)

"""Propagation of distributions against the worked examples of Supplement 1 to the Guide.

Source: JCGM 101:2008, clauses 9.2 (additive model) and 9.3 (mass calibration);
https://www.bipm.org/en/doi/10.59161/jcgm101-2008. Models, inputs and printed results are from memory (the
document was not at hand). Beside them stand closed forms that hold without it: the sum of four rectangular
variables (Irwin-Hall), and of a normal and a rectangular one.
"""

import math

import numpy as np
import pytest

from surfscan.estimates.first_order import Input, first_order, second_order_variance
from surfscan.estimates.monte_carlo import evaluate, is_linear_enough, propagate

TRIALS = 1_000_000


def total(a, b, c, d):
    return a + b + c + d


def four(distribution, *uncertainties):
    return [
        Input(name, 0.0, u, distribution=distribution) for name, u in zip("abcd", uncertainties, strict=True)
    ]


def test_four_normal_variables():
    """9.2.2, Table 2: standard deviation 2.0, interval ±3.92; first order is right."""
    inputs = four("normal", 1, 1, 1, 1)
    made = propagate(total, inputs, trials=TRIALS)
    assert made.standard_uncertainty == pytest.approx(2.0, abs=0.01)
    assert (made.low, made.high) == pytest.approx((-3.92, 3.92), abs=0.02)
    assert made.shortest == pytest.approx((-3.92, 3.92), abs=0.1)
    assert is_linear_enough(first_order("sum", "", total, inputs), made)


def test_four_rectangular_variables():
    """9.2.3, Table 3: interval ±3.88 against ±3.92 to first order; exactly 2 √3 (2 - (3/5)^(1/4))."""
    inputs = four("rectangular", 1, 1, 1, 1)
    made = propagate(total, inputs, trials=TRIALS)
    end = 2 * math.sqrt(3) * (2 - (3 / 5) ** 0.25)
    assert end == pytest.approx(3.88, abs=0.005)
    assert (made.low, made.high) == pytest.approx((-end, end), abs=0.015)
    budget = first_order("sum", "", total, inputs)
    assert budget.interval() == pytest.approx((-3.92, 3.92), abs=0.005)
    assert is_linear_enough(budget, made, digits=1)


def test_one_wide_rectangular_variable():
    """9.2.4, Table 4: standard deviation √103 = 10.1; interval ±17.0 where first order gives ±19.9."""
    inputs = four("rectangular", 1, 1, 1, 10)
    made = propagate(total, inputs, trials=TRIALS)
    budget = first_order("sum", "", total, inputs)
    assert made.standard_uncertainty == pytest.approx(math.sqrt(103), abs=0.02)
    assert (made.low, made.high) == pytest.approx((-17.0, 17.0), abs=0.05)
    assert budget.interval() == pytest.approx((-19.9, 19.9), abs=0.05)
    assert not is_linear_enough(budget, made)


def mass_difference_mg(m_rc, dm_rc, rho_air, rho_w, rho_r):
    """9.3.1.3: conventional mass less 100 g, mg."""
    return (m_rc + dm_rc) * (1 + (rho_air - 1.2) * (1 / rho_w - 1 / rho_r)) - 100_000.0


MASS = [
    Input("m_rc", 100_000.0, 0.050),
    Input("dm_rc", 1.234, 0.020),
    Input("rho_air", 1.20, 0.10 / math.sqrt(3), distribution="rectangular"),
    Input("rho_w", 8000.0, 1000.0 / math.sqrt(3), distribution="rectangular"),
    Input("rho_r", 8000.0, 50.0 / math.sqrt(3), distribution="rectangular"),
]
"""9.3.1.4, Table 5: mg and kg/m³."""


def test_mass_calibration_by_monte_carlo():
    """9.3.2.3, Table 6: 1.2341 mg, 0.0754 mg, shortest interval [1.0834, 1.3825] mg."""
    made = propagate(mass_difference_mg, MASS, trials=TRIALS)
    assert made.mean == pytest.approx(1.2341, abs=0.0003)
    assert made.standard_uncertainty == pytest.approx(0.0754, abs=0.0003)
    assert made.shortest == pytest.approx((1.0834, 1.3825), abs=0.006)  # a flat minimum: its ends scatter
    assert made.shortest[1] - made.shortest[0] == pytest.approx(1.3825 - 1.0834, abs=0.001)


def test_mass_calibration_to_first_and_second_order():
    """Table 6: first order 0.0539 mg and [1.1285, 1.3395] mg; with the next terms 0.0750 mg."""
    budget = first_order("mass", "mg", mass_difference_mg, MASS)
    assert budget.value == pytest.approx(1.2340, abs=5e-5)
    assert budget.standard_uncertainty == pytest.approx(0.0539, abs=5e-5)
    assert budget.interval() == pytest.approx((1.1285, 1.3395), abs=2e-4)
    second = math.sqrt(budget.standard_uncertainty**2 + second_order_variance(mass_difference_mg, MASS))
    assert second == pytest.approx(0.0750, abs=3e-4)


def test_mass_calibration_is_not_left_to_first_order():
    """9.3.2.6: first order is not validated; so the interval that is printed is that of the trials."""
    made = evaluate("mass", "mg", mass_difference_mg, MASS)
    assert not made.first_order_is_enough
    assert made.ci95 == (made.simulated.low, made.simulated.high)
    assert "seed" in made.method


def test_normal_and_rectangular_variable_against_closed_form():
    """Distribution of the sum by numerical integration: F(y) = mean over the rectangle of Φ((y - x) / σ)."""
    from scipy.optimize import brentq
    from scipy.special import ndtr

    x = np.linspace(-2, 2, 20_001)
    end = brentq(lambda y: np.trapezoid(ndtr((y - x) / 0.5), x) / 4 - 0.975, 0, 10)
    inputs = [Input("a", 0.0, 0.5), Input("b", 0.0, 2 / math.sqrt(3), distribution="rectangular")]
    made = propagate(lambda a, b: a + b, inputs, trials=TRIALS)
    assert (made.low, made.high) == pytest.approx((-end, end), abs=0.01)

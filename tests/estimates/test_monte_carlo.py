"""Propagation of distributions: draws, intervals, and when first order will do."""

import math

import numpy as np
import pytest

from surfscan.estimates.first_order import Input, first_order
from surfscan.estimates.monte_carlo import evaluate, is_linear_enough, numerical_tolerance, propagate


def total(a, b):
    return a + b


AB = [Input("a", 1.0, 0.3), Input("b", 2.0, 0.4)]


def test_same_seed_same_bits():
    assert propagate(total, AB, seed=5) == propagate(total, AB, seed=5)
    assert propagate(total, AB, seed=5) != propagate(total, AB, seed=6)


def test_an_input_changes_no_draw_of_another():
    def second(a, b):
        return b

    one = propagate(second, AB, seed=1)
    other = propagate(second, [Input("a", 9.0, 2.0, distribution="triangular"), AB[1]], seed=1)
    assert one == other


def test_sum_of_two_normals():
    made = propagate(total, AB)
    assert made.mean == pytest.approx(3.0, abs=0.005)
    assert made.standard_uncertainty == pytest.approx(0.5, abs=0.005)
    assert (made.low, made.high) == pytest.approx((3 - 0.98, 3 + 0.98), abs=0.01)


@pytest.mark.parametrize("distribution", ["normal", "rectangular", "triangular", "arcsine"])
def test_spread_is_the_standard_uncertainty(distribution):
    made = propagate(lambda x: x, [Input("x", 5.0, 0.7, distribution=distribution)])
    assert made.mean == pytest.approx(5.0, abs=0.01)
    assert made.standard_uncertainty == pytest.approx(0.7, rel=0.01)


def test_few_degrees_of_freedom_are_drawn_from_t():
    made = propagate(lambda x: x, [Input("x", 0.0, 1.0, 4)])
    assert made.high == pytest.approx(2.776, abs=0.03)
    assert made.standard_uncertainty == pytest.approx(math.sqrt(2), abs=0.05)
    assert math.isnan(propagate(lambda x: x, [Input("x", 0.0, 1.0, 2)]).standard_uncertainty)


def test_correlated_draws():
    made = propagate(lambda a, b: a - b, AB, correlations={("a", "b"): 1.0})
    assert made.standard_uncertainty == pytest.approx(0.1, rel=0.01)
    bent = [Input("a", 1.0, 0.3, distribution="rectangular"), AB[1]]
    with pytest.raises(ValueError, match="only normal inputs"):
        propagate(total, bent, correlations={("a", "b"): 0.5})


def test_shortest_interval_of_a_skewed_figure():
    made = propagate(lambda x: np.exp(x), [Input("x", 0.0, 1.0)])
    assert made.low == pytest.approx(math.exp(-1.96), rel=0.02)
    assert made.high == pytest.approx(math.exp(1.96), rel=0.03)
    assert made.shortest[0] < made.low
    assert made.shortest[1] - made.shortest[0] < made.high - made.low


def test_a_straight_model_is_left_to_first_order():
    made = evaluate("sum", "µm", total, AB)
    assert made.first_order_is_enough
    assert made.method == "first order"
    assert made.ci95 == made.budget.interval()


def test_a_bent_model_is_not():
    made = evaluate("square", "µm²", lambda x: x**2, [Input("x", 0.2, 0.5)], seed=3)
    assert not made.first_order_is_enough
    assert made.ci95[0] >= 0 > made.budget.interval()[0]
    assert "seed 3" in made.method


def test_without_uncertainty_both_agree():
    fixed = [Input("a", 1.0, 0.0), Input("b", 2.0, 0.0)]
    assert is_linear_enough(first_order("sum", "", total, fixed), propagate(total, fixed))


@pytest.mark.parametrize(
    ("u", "digits", "tolerance"),
    [(0.54, 1, 0.05), (0.54, 2, 0.005), (32.0, 2, 0.5), (0.0996, 1, 0.05), (7, 1, 0.5)],
)
def test_numerical_tolerance(u, digits, tolerance):
    """JCGM 101, 7.9.2: u = 0.32 mg to two digits is 32 x 10⁻², tolerance ½ x 10⁻²."""
    assert numerical_tolerance(u, digits) == pytest.approx(tolerance)


@pytest.mark.parametrize(
    "make",
    [
        lambda: propagate(total, AB, trials=10),
        lambda: propagate(total, AB, probability=1.0),
        lambda: propagate(lambda a, b: 1.0, AB),
        lambda: propagate(lambda a, b: np.log(a - 5), AB),
        lambda: is_linear_enough(first_order("sum", "", total, AB), propagate(total, AB), digits=0),
    ],
)
def test_nonsense_is_refused(make):
    with pytest.raises(ValueError, match=r"\w"):
        make()

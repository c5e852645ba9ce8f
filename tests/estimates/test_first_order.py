"""From a model to a budget."""

import math

import numpy as np
import pytest

from surfscan.estimates.first_order import Input, first_order, second_order_variance, sensitivities


def product(a, b):
    return a * b


A, B = Input("a", 10.0, 0.3, 7, source="scale"), Input("b", 4.0, 0.1, source="edge", evaluation="A")


def test_sensitivities_of_a_product():
    assert sensitivities(product, [A, B]) == pytest.approx([4.0, 10.0])


def test_budget_keeps_what_inputs_say_of_themselves():
    made = first_order("area", "µm²", product, [A, B])
    assert made.value == 40
    assert made.standard_uncertainty == pytest.approx(math.hypot(1.2, 1.0))
    assert [(c.name, c.source, c.evaluation, c.degrees_of_freedom) for c in made.contributions] == [
        ("a", "scale", "B", 7),
        ("b", "edge", "A", math.inf),
    ]


def test_correlated_inputs():
    made = first_order("area", "µm²", product, [A, B], {("a", "b"): 1.0})
    assert made.standard_uncertainty == pytest.approx(2.2)


def test_second_order_of_a_product_is_exact():
    """Variance of a product of independent normal variables: b² u_a² + a² u_b² + u_a² u_b²."""
    assert second_order_variance(product, [A, B]) == pytest.approx((0.3 * 0.1) ** 2)


def test_second_order_of_a_square_and_a_cube_are_exact():
    """Var X² = 4 µ² σ² + 2 σ⁴; Var X³ = 9 µ⁴ σ² + 36 µ² σ⁴ + 15 σ⁶, whose last term is of higher order."""
    x = Input("x", 2.0, 0.5)
    assert second_order_variance(lambda x: x**2, [x]) == pytest.approx(2 * 0.5**4)
    step = (2.5**3 - 1.5**3) / 2  # the central difference holds u³ too
    cube = second_order_variance(lambda x: x**3, [x])
    assert cube == pytest.approx((6 * 2 * 0.25) ** 2 / 2 + step * 6 * 0.5**3)


def test_a_constant_needs_no_derivative():
    fixed = Input("b", 0.0, 0.0)
    assert sensitivities(lambda a, b: a + (1 / b if b else 0.0), [A, fixed]) == pytest.approx([1.0, 0.0])


def test_model_that_is_not_defined_beside_its_inputs():
    with pytest.raises(ValueError, match="no finite figure"):
        first_order("root", "", lambda x: float(np.sqrt(x)) if x > 0 else math.nan, [Input("x", 0.1, 0.5)])


@pytest.mark.parametrize(
    "make",
    [lambda: Input("x", math.nan, 1.0), lambda: Input("x", 1.0, -1.0), lambda: Input("x", 1.0, 1.0, 0)],
)
def test_nonsense_is_refused(make):
    with pytest.raises(ValueError, match="x: "):
        make()

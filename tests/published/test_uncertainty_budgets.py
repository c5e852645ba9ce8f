"""Uncertainty budgets against the worked example of the Guide.

Source: JCGM 100:2008 (GUM 1995 with minor corrections), Annex H.1, calibration of an end gauge of 50 mm, with
Table H.1; https://www.bipm.org/en/doi/10.59161/jcgm100-2008e. Input values and printed results were read in
several independent transcriptions of the example, since the document itself was not at hand; they agree.
Student's t: JCGM 100:2008, Table G.2, and any table of the distribution.
"""

import math

import pytest

from surfscan.estimates.first_order import Input, first_order, second_order_variance
from surfscan.estimates.groups import welch_satterthwaite
from surfscan.estimates.uncertainty import Budget, Contribution, advice, coverage_factor


def length_nm(l_s, d, alpha_s, theta, d_alpha, d_theta):
    """Equation (H.3)."""
    return l_s + d - l_s * (d_alpha * theta + alpha_s * d_theta)


def rectangular(half):
    return half / math.sqrt(3)


DIFFERENCE = [(13 / math.sqrt(5), 24), (10 / 2.57, 5), (20 / 3, 8)]
"""H.1.3.2: repeated observations (5.8), comparator at random (3.9) and systematic (6.7), nm."""

END_GAUGE = [
    Input("l_s", 50_000_623.0, 25.0, 18),  # H.1.3.1: 0.075 µm / 3
    Input(
        "d",
        215.0,
        math.hypot(*(u for u, _ in DIFFERENCE)),
        welch_satterthwaite(*zip(*DIFFERENCE, strict=True)),
    ),
    Input("alpha_s", 11.5e-6, rectangular(2e-6), distribution="rectangular"),  # H.1.3.3
    Input("theta", -0.1, math.hypot(0.2, 0.5 / math.sqrt(2))),  # H.1.3.4
    Input("d_alpha", 0.0, rectangular(1e-6), 50, "rectangular"),  # H.1.3.5
    Input("d_theta", 0.0, rectangular(0.05), 2, "rectangular"),  # H.1.3.6
]


@pytest.fixture(scope="module")
def end_gauge():
    return first_order("length of the end gauge", "nm", length_nm, END_GAUGE)


def test_length_and_combined_uncertainty(end_gauge):
    """H.1.2 and H.1.4: 50.000 838 mm, u_c² = 1002 nm², u_c = 32 nm."""
    assert end_gauge.value / 1e6 == pytest.approx(50.000838, abs=5e-7)
    assert end_gauge.standard_uncertainty**2 == pytest.approx(1002, abs=2)
    assert round(end_gauge.standard_uncertainty) == 32


@pytest.mark.parametrize(
    ("name", "printed"),
    [("l_s", 25.0), ("d", 9.7), ("alpha_s", 0.0), ("theta", 0.0), ("d_alpha", 2.9), ("d_theta", 16.6)],
)
def test_parts_of_table_h1(end_gauge, name, printed):
    """Table H.1, last column but one, nm (16.6 is worked with u = 0.029 °C there)."""
    part = next(c.part for c in end_gauge.contributions if c.name == name)
    assert abs(part) == pytest.approx(printed, abs=0.08)


def test_difference_of_the_gauges():
    """H.1.3.2: u(d) = 9.7 nm with 25.6 degrees of freedom."""
    d = END_GAUGE[1]
    assert d.standard_uncertainty == pytest.approx(9.7, abs=0.05)
    assert d.degrees_of_freedom == pytest.approx(25.6, abs=0.15)


def test_degrees_of_freedom_and_expanded_uncertainty(end_gauge):
    """H.1.6: ν_eff = 16.7, taken as 16; t_99(16) = 2.92; U_99 = 2.92 x 32 nm = 93 nm."""
    freedom = end_gauge.effective_degrees_of_freedom
    assert freedom == pytest.approx(16.7, abs=0.1)
    assert coverage_factor(math.floor(freedom), 0.99) == pytest.approx(2.92, abs=0.005)
    assert round(2.92 * round(end_gauge.standard_uncertainty)) == 93
    assert end_gauge.expanded(0.99) == pytest.approx(93, abs=1.2)  # not rounded on the way


def test_second_order_terms(end_gauge):
    """H.1.7: l_s u(δα) u(θ) = 11.7 nm and l_s u(α_s) u(δθ) = 1.7 nm bring 32 nm to 34 nm."""
    more = second_order_variance(length_nm, END_GAUGE)
    assert math.sqrt(more) == pytest.approx(math.hypot(11.7, 1.7), abs=0.05)
    assert round(math.sqrt(end_gauge.standard_uncertainty**2 + more)) == 34


def test_what_dominates(end_gauge):
    """From the printed parts: 25² / 1002 = 62 % by the standard gauge."""
    assert end_gauge.dominant().name == "l_s"
    assert end_gauge.shares()["l_s"] == pytest.approx(625 / 1002, abs=0.005)


@pytest.mark.parametrize(
    ("freedom", "percent", "t"),
    [
        (1, 95, 12.71),
        (2, 95, 4.30),
        (5, 99, 4.03),
        (10, 95, 2.23),
        (16, 95, 2.12),
        (16, 99, 2.92),
        (50, 99, 2.68),
    ],
)
def test_student_t_of_table_g2(freedom, percent, t):
    assert coverage_factor(freedom, percent / 100) == pytest.approx(t, abs=0.005)


def test_ten_resistors_in_series():
    """JCGM 100:2008, 5.2.2 example: ten of 1000 ohm, u = 0.1 ohm, from one standard: 1 ohm, not 0.32."""
    ten = tuple(Contribution(f"R{i}", "other", 1.0, 0.1) for i in range(10))
    pairs = {(f"R{i}", f"R{j}"): 1.0 for i in range(10) for j in range(i)}
    assert Budget("resistance", "ohm", 10_000.0, ten, pairs).standard_uncertainty == pytest.approx(1.0)
    assert Budget("resistance", "ohm", 10_000.0, ten).standard_uncertainty == pytest.approx(0.32, abs=0.005)


def test_fields_by_the_planning_formula():
    """ASTM E562-19 Eq. 7 (from memory) on the ten fields of `test_field_sampling`: 16 with t rounded to 2.

    With Student's t of the count itself 18 are needed: t(17) s / √18 / mean = 9.73 %, t(16) s / √17 10.06 %.
    """
    mean, s, n = 9.550, 1.8686, 10
    between = Contribution("fields", "fields", 1.0, s / math.sqrt(n), n - 1, "A")
    budget = Budget("degraded area fraction", "%", mean, (between,))
    assert advice(budget, relative_accuracy_percent=10, fields=n) == (
        "Known to 14 % (95 %), mostly differences between fields (100 % of the variance). For 10 % take "
        "about 18 fields in place of 10: 8 more."
    )

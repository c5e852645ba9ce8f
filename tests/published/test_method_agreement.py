"""Normalised error, ratio of two results, weighted mean and its consistency.

E_n = (x - X) / sqrt(U_x² + U_X²): ISO 13528, as quoted on the help page "ISO 13528 EN SCORE" of a national
institute (read), which adds that with a coverage factor of 2 a limit of 1 is that of 2 for the zeta score; no
printed worked example was found, so the arithmetic is checked in closed form. Chi-square: probabilities of
0.14, 0.11, 0.09 for chi-square over degrees of freedom of 2 with 2, 3 and 4 of them, and 0.029, 0.005, 0.0009
with 10, 20 and 30 (G. D'Agostini, www.roma1.infn.it/~dagos/curious/node4.html, read). Ratio: E. C. Fieller's
theorem as quoted in an encyclopaedia (read), here against the quadratic that defines it.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from surfscan.comparison.agreement import Context, compare, normalised_error, ratio_interval
from surfscan.comparison.blending import weighted_mean
from surfscan.comparison.rates import NORMAL_FACTOR, Method, PenetrationRate
from surfscan.comparison.york import chi_square_above


def _rate(method: Method, value: float, half: float) -> PenetrationRate:
    return PenetrationRate(
        "s", method, "mean", value, (value - half, value + half), "average", "", 0.0, 168.0
    )


@pytest.mark.parametrize(
    ("x", "reference", "u_x", "u_reference", "e_n"),
    [(10.5, 10.0, 0.3, 0.4, 1.0), (9.0, 10.0, 1.2, 0.5, -1 / 1.3), (10.0, 10.0, 0.1, 0.1, 0.0)],
)
def test_normalised_error(x: float, reference: float, u_x: float, u_reference: float, e_n: float) -> None:
    """3-4-5 and 5-12-13."""
    assert normalised_error(x, reference, u_x, u_reference) == pytest.approx(e_n)
    found = compare(_rate("mass loss", x, u_x), _rate("gas", reference, u_reference), Context())
    assert found.e_n == pytest.approx(e_n)
    assert found.agree is (abs(found.e_n or 0.0) <= 1)


def test_normalised_error_and_zeta_score() -> None:
    """With U = 2 u, E_n is half of zeta = (x - X) / sqrt(u_x² + u_X²)."""
    zeta = (10.5 - 10.0) / math.hypot(0.15, 0.2)
    assert normalised_error(10.5, 10.0, 2 * 0.15, 2 * 0.2) == pytest.approx(zeta / 2)


@pytest.mark.parametrize(
    ("free", "printed"), [(2, 0.14), (3, 0.11), (4, 0.09), (10, 0.029), (20, 0.005), (30, 0.0009)]
)
def test_probability_of_chi_square(free: int, printed: float) -> None:
    digits = len(str(f"{printed:f}".rstrip("0").split(".")[1]))
    assert chi_square_above(2.0 * free, free) == pytest.approx(printed, abs=0.51 * 10**-digits)


def test_weighted_mean_of_independent_results() -> None:
    """By hand: 10 ± 1 and 13 ± 2 give weights 4/5 and 1/5, mean 10.6, u = sqrt(4/5), chi-square 9/5."""
    found = weighted_mean([_rate("mass loss", 10.0, NORMAL_FACTOR), _rate("gas", 13.0, 2 * NORMAL_FACTOR)])
    assert found.mean == pytest.approx(10.6)
    assert found.standard_uncertainty == pytest.approx(math.sqrt(0.8))
    assert found.chi_square == pytest.approx(1.8)
    assert found.birge_ratio == pytest.approx(math.sqrt(1.8))


def test_weighted_mean_against_a_general_fit() -> None:
    """The same by weighted least squares of statsmodels on a constant."""
    import statsmodels.api as sm

    values, spreads = np.array([0.50, 0.46, 0.55, 0.41]), np.array([0.03, 0.05, 0.06, 0.08])
    methods: tuple[Method, ...] = ("section", "mass loss", "gas", "acid")
    rates = [_rate(m, v, NORMAL_FACTOR * u) for m, v, u in zip(methods, values, spreads, strict=True)]
    fit = sm.WLS(values, np.ones(4), weights=1 / spreads**2).fit()
    found = weighted_mean(rates)
    assert found.mean == pytest.approx(fit.params[0])
    assert found.birge_ratio**2 == pytest.approx(fit.scale)
    assert found.standard_uncertainty * found.birge_ratio == pytest.approx(fit.bse[0])


def test_ratio_interval_solves_its_quadratic() -> None:
    """At either end r the difference a - r b is 1.96 of its own standard deviations from 0."""
    a, b, u_a, u_b, covariance = 5.2, 2.1, 0.4, 0.3, 0.05
    limits = ratio_interval(a, b, u_a, u_b, covariance)
    assert limits is not None and limits[0] < a / b < limits[1]
    for r in limits:
        spread = math.sqrt(u_a**2 + r**2 * u_b**2 - 2 * r * covariance)
        assert abs(a - r * b) / spread == pytest.approx(NORMAL_FACTOR)

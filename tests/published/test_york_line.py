"""Straight line with errors in both directions against the literature and an independent fit.

Pearson's points (K. Pearson, Phil. Mag. 2 (1901) 559) with the weights that York gave them (D. York, Can. J.
Phys. 44 (1966) 1079, Tables I and II). Points, weights and slopes were read in public test code and manuals
that quote them: intercept and slope by J. H. Williamson, Can. J. Phys. 46 (1968) 1845, "5.47991022403,
-0.48053340745", and rounded 5.480 and -0.4805; by M. Lybanon, Am. J. Phys. 52 (1984) 22, "5.47991025,
-0.480533415"; standard errors after D. York et al., Am. J. Phys. 72 (2004) 367, "0.294970735, 0.0579850090"
with chi-square over n - 2 "1.483294149". The set with correlated errors, "Table 3.1 from Amen, S. (2012)",
and the results of a maximum likelihood fit to it were read in the test code of a public library.
"""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from surfscan.comparison.york import york_line

X = np.array([0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4])
Y = np.array([5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5])
SX = 1 / np.sqrt([1000.0, 1000, 500, 800, 200, 80, 60, 20, 1.8, 1])
SY = 1 / np.sqrt([1.0, 1.8, 4, 8, 20, 20, 70, 70, 100, 500])

# x, y, variance of x, variance of y, covariance
AMEN = np.array(
    [
        (23.371, 5.992, 0.106, 0.323, 0.170),
        (24.462, 8.899, 1.692, 10.195, 3.887),
        (22.414, 5.361, 0.124, 0.460, 0.207),
        (27.628, 10.271, 1.088, 1.460, 1.255),
        (23.802, 7.114, 0.107, 0.496, 0.191),
        (23.092, 7.975, 0.281, 1.651, 0.582),
        (23.263, 7.486, 0.316, 1.695, 0.661),
        (20.843, 4.169, 0.389, 0.335, 0.357),
        (24.421, 5.645, 0.381, 0.716, 0.507),
        (23.716, 9.220, 0.733, 3.656, 1.401),
        (22.032, 5.358, 0.094, 0.268, 0.106),
        (21.448, 3.166, 0.167, 0.170, 0.001),
        (21.631, 4.002, 0.127, 0.106, 0.082),
        (19.947, 2.073, 0.015, 0.015, 0.001),
        (20.652, 3.338, 0.040, 0.104, 0.021),
        (20.588, 2.028, 0.007, 0.011, 0.002),
        (20.745, 1.978, 0.010, 0.010, -0.001),
        (21.658, 2.526, 0.009, 0.058, -0.003),
        (19.539, 2.043, 0.044, 0.070, -0.039),
        (21.638, 3.361, 1.909, 3.961, -2.557),
        (19.863, 2.452, 0.014, 0.019, -0.010),
        (18.398, 2.199, 0.042, 0.051, -0.037),
        (20.729, 1.725, 0.013, 0.026, 0.003),
        (20.511, 1.906, 0.003, 0.010, 0.001),
        (22.140, 3.372, 0.047, 0.108, 0.062),
        (20.510, 2.130, 0.004, 0.020, 0.002),
        (20.141, 1.897, 0.006, 0.011, -0.005),
    ]
).T


def test_pearson_data_with_weights_of_york() -> None:
    line = york_line(X, Y, SX, SY)
    assert line.intercept == pytest.approx(5.47991022403, abs=1e-10)
    assert line.slope == pytest.approx(-0.48053340745, abs=1e-10)
    assert line.intercept_standard_error == pytest.approx(0.294970735, abs=1e-8)
    assert line.slope_standard_error == pytest.approx(0.0579850090, abs=1e-9)
    assert line.mswd == pytest.approx(1.483294149, abs=1e-8)
    assert line.n == 10


def test_it_is_the_least_of_chi_square() -> None:
    """A general minimiser on sum((y - a - b x)² / (sy² + b² sx²)) finds no better line."""
    from scipy.optimize import minimize

    def chi_square(p: np.ndarray) -> float:
        return float(((Y - p[0] - p[1] * X) ** 2 / (SY**2 + (p[1] * SX) ** 2)).sum())

    found = minimize(chi_square, [5.0, -0.5], method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-12})
    line = york_line(X, Y, SX, SY)
    assert (line.intercept, line.slope) == pytest.approx(tuple(found.x), abs=1e-5)
    assert line.mswd == pytest.approx(found.fun / 8, rel=1e-9)


def test_the_same_line_by_orthogonal_distance_regression() -> None:
    """SciPy's ODRPACK, an independent algorithm: same line, and standard errors within its linearisation."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)
        odr = pytest.importorskip("scipy.odr")
        fit = odr.ODR(
            odr.RealData(X, Y, SX, SY),
            odr.Model(lambda b, x: b[0] + b[1] * x),
            beta0=[5.0, -0.5],
            partol=1e-12,
            sstol=1e-14,
        ).run()
    line = york_line(X, Y, SX, SY)
    assert line.intercept == pytest.approx(fit.beta[0], abs=1e-5)
    assert line.slope == pytest.approx(fit.beta[1], abs=2e-6)
    assert line.mswd == pytest.approx(fit.res_var, rel=1e-6)
    assert line.slope_standard_error == pytest.approx(float(np.sqrt(fit.cov_beta[1, 1])), rel=1e-4)
    assert line.intercept_standard_error == pytest.approx(float(np.sqrt(fit.cov_beta[0, 0])), rel=1e-4)
    assert line.covariance == pytest.approx(fit.cov_beta[0, 1], rel=1e-4)


def test_correlated_errors() -> None:
    """Printed there: intercept -21.9553309045508, slope 1.1762288806682, root of the MSWD 3.4885539308643,
    standard errors scaled by it 1.2846101711080 and 0.0578260394408."""
    x, y, vx, vy, covariance = AMEN
    line = york_line(x, y, np.sqrt(vx), np.sqrt(vy), covariance / np.sqrt(vx * vy))
    assert line.intercept == pytest.approx(-21.9553309045508, rel=1e-9)
    assert line.slope == pytest.approx(1.1762288806682, rel=1e-9)
    assert line.mswd is not None and line.slope_standard_error is not None
    assert line.intercept_standard_error is not None
    root = float(np.sqrt(line.mswd))
    assert root == pytest.approx(3.4885539308643, rel=1e-9)
    assert root * line.intercept_standard_error == pytest.approx(1.2846101711080, rel=1e-9)
    assert root * line.slope_standard_error == pytest.approx(0.0578260394408, rel=1e-9)

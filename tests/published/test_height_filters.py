"""Areal Gaussian filters.

Sources: ISO 16610-61:2015 (linear areal Gaussian filter): its weight 1/(alpha lc)² exp(-pi r² / (alpha lc)²)
and alpha = sqrt(ln 2 / pi) = 0.46972 are from memory, the latter recomputed; that 50 % of the amplitude is
transmitted at the cut-off was read (clause 3.2). The transmission exp(-pi (alpha lc / l)²) follows from the
weight by Fourier transform. ISO 16610-71:2014 (robust areal Gaussian regression): Tukey's weights with the
limit 4.4478 times the median of absolute residuals, degree 2 usual, from memory; 4.4478 is three standard
deviations over the normal distribution's 0.6745, recomputed here. Regression of second degree has a wider
weight, alpha = 0.7309 (ISO 16610-31 and -71, from memory): by Fourier transform it transmits (1 + q) exp(-q)
with q = pi (alpha lc / l)², which has to be one half at the cut-off.
"""

import math
from statistics import NormalDist

import numpy as np
import pytest

from surfscan.preparation import robust_gaussian as robust_module
from surfscan.preparation.gaussian import ALPHA, gaussian_filter, gaussian_weights, transmission
from surfscan.preparation.robust_gaussian import ALPHA_OF_SECOND_DEGREE, TUKEY_LIMIT, robust_gaussian

CUTOFF_UM = 25.0


def test_alpha():
    """sqrt(ln 2 / pi), 0.46972 to the five digits of the standard."""
    assert math.sqrt(math.log(2) / math.pi) == ALPHA
    assert round(ALPHA, 5) == 0.46972


def test_weights_are_those_of_the_standard():
    """1/(alpha lc) exp(-pi (x / (alpha lc))²) per µm along one axis."""
    pixel = 0.25
    weights = gaussian_weights(CUTOFF_UM, pixel)
    x = (np.arange(len(weights)) - len(weights) // 2) * pixel
    density = np.exp(-math.pi * (x / (ALPHA * CUTOFF_UM)) ** 2) / (ALPHA * CUTOFF_UM)
    np.testing.assert_allclose(weights / pixel, density, rtol=1e-6)


def kept(wavelength_um, cutoff_um, pixel, direction_deg=0.0, low_pass=gaussian_filter):
    """Share of a wave's amplitude that is left in the middle of a wide field, by least squares."""
    rows, cols = np.mgrid[:320, :320]
    turn = np.radians(direction_deg)
    along = (cols * pixel[0] * np.cos(turn) + rows * pixel[1] * np.sin(turn)) * 2 * np.pi / wavelength_um
    low = low_pass(np.cos(along), cutoff_um, pixel)
    middle = (slice(120, 200), slice(120, 200))
    terms = np.stack([np.cos(along[middle]).ravel(), np.sin(along[middle]).ravel()], axis=1)
    return np.linalg.lstsq(terms, low[middle].ravel(), rcond=None)[0]


@pytest.mark.parametrize("cutoff_um", [10.0, 25.0, 40.0])
@pytest.mark.parametrize("direction_deg", [0.0, 90.0, 37.0])
def test_half_is_transmitted_at_the_cutoff(cutoff_um, direction_deg):
    """50 %, in every direction, without a shift."""
    cosine, sine = kept(cutoff_um, cutoff_um, (1.0, 1.0), direction_deg)
    assert cosine == pytest.approx(0.5, abs=1e-5)
    assert sine == pytest.approx(0, abs=1e-5)


@pytest.mark.parametrize("ratio", [0.3, 0.5, 0.75, 1.5, 2.0, 3.0, 5.0])
@pytest.mark.parametrize("pixel", [(1.0, 1.0), (0.7, 1.4)])
def test_transmission_curve(ratio, pixel):
    """exp(-pi (alpha lc / l)²) for wavelengths on both sides of the cut-off, pixels square or not."""
    expected = math.exp(-math.pi * (ALPHA / ratio) ** 2)
    assert transmission(CUTOFF_UM, ratio * CUTOFF_UM) == pytest.approx(expected, rel=1e-12)
    assert kept(ratio * CUTOFF_UM, CUTOFF_UM, pixel)[0] == pytest.approx(expected, abs=2e-5)


def test_tukey_limit():
    """3 / 0.6745, which is 4.4478."""
    assert pytest.approx(3 / NormalDist().inv_cdf(0.75), abs=5e-5) == TUKEY_LIMIT


def test_robust_filter_of_degree_1_has_nearly_the_same_transmission():
    """On a pure wave it is the linear filter but for the weights that robustness takes: within 0.01."""

    def low_pass(heights, cutoff, pixel):
        return robust_gaussian(heights, cutoff, pixel, degree=1)

    wave = 4 * CUTOFF_UM
    assert kept(wave, CUTOFF_UM, (1.0, 1.0), low_pass=low_pass)[0] == pytest.approx(
        float(transmission(CUTOFF_UM, wave)), abs=0.01
    )


def test_alpha_of_second_degree():
    """0.7309 to the four digits of the standard: the root of (1 + q) exp(-q) = 1/2, q = pi alpha²."""
    q = math.pi * ALPHA_OF_SECOND_DEGREE**2
    assert (1 + q) * math.exp(-q) == pytest.approx(0.5, abs=1e-6)
    assert round(ALPHA_OF_SECOND_DEGREE, 4) == 0.7309


@pytest.mark.parametrize("degree", [0, 1, 2])
@pytest.mark.parametrize("ratio", [0.5, 1.0, 2.0])
def test_transmission_of_the_regression_filter(monkeypatch, degree, ratio):
    """Before robustness takes anything: half at the cut-off for every degree, and the curve on both sides."""
    monkeypatch.setattr(robust_module, "_MOST_ROUNDS", 1)
    q = math.pi * (ALPHA_OF_SECOND_DEGREE / ratio) ** 2
    expected = (1 + q) * math.exp(-q) if degree == 2 else float(transmission(CUTOFF_UM, ratio * CUTOFF_UM))

    def low_pass(heights, cutoff, pixel):
        return robust_gaussian(heights, cutoff, pixel, degree=degree)

    found = kept(ratio * CUTOFF_UM, CUTOFF_UM, (1.0, 1.0), 37.0, low_pass)[0]
    assert found == pytest.approx(expected, abs=1e-4)


def test_robust_filter_of_second_degree_in_roughness():
    """A faint wave under normal roughness: Tukey's weights see it, which takes some off (derived here).

    Residuals r are roughness plus (1 - T) of the wave; with u = (r / c)² and c = 3 standard deviations the
    mean weight is E(1 - u)², its slope times r E(-4 u (1 - u)). To first order T = H (1 + s (1 - T)), with s
    their ratio and H = 1/2 the transmission at the cut-off.
    """
    u2, u4 = 1 / 9, 3 / 81
    s = -4 * (u2 - u4) / (1 - 2 * u2 + u4)
    expected = 0.5 * (1 + s) / (1 + 0.5 * s)
    roughness = np.random.default_rng(0).normal(0, 3, (320, 320))

    def low_pass(heights, cutoff, pixel):
        return robust_gaussian(heights + roughness, cutoff, pixel) - robust_gaussian(roughness, cutoff, pixel)

    assert expected == pytest.approx(0.389, abs=1e-3)
    assert kept(CUTOFF_UM, CUTOFF_UM, (1.0, 1.0), low_pass=low_pass)[0] == pytest.approx(expected, abs=0.01)

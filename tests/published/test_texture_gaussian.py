"""Areal texture of surfaces with normally distributed heights.

Source: the definitions of ISO 25178-2:2012 (from memory) applied to the normal distribution, whose quantiles
and partial moments are known: Sk is the chord of its quantile function over the middle 40 %, drawn out to
100 %; the rest follows. The figures in `EXPECTED` were computed from these formulas; `test_figures` computes
them anew.
"""

import math
from statistics import NormalDist

import cv2
import numpy as np
import pytest

from surfscan.measurement.autocorrelation import spatial_parameters
from surfscan.measurement.material_ratio import material_ratio_curve, material_ratio_parameters
from surfscan.measurement.texture import height_parameters

TOLERANCE = 1e-3
NORMAL = NormalDist()
EXPECTED = {
    "sk_um": 2.62200,
    "spk_um": 0.93698,
    "svk_um": 0.93698,
    "smr1": 0.09493,
    "smr2": 0.90507,
    "vmp_um": 0.0473432,
    "vmc_um": 0.905916,
    "vvc_um": 1.217257,
    "vvv_um": 0.111638,
}


def above(height):
    """Mean of what sticks out above a height: the partial expectation of the standard normal."""
    return NORMAL.pdf(height) - height * (1 - NORMAL.cdf(height))


def quantile_surface(side=1024):
    """A surface whose heights are the normal quantiles of evenly spaced probabilities, shuffled."""
    from scipy.special import ndtri

    n = side * side
    heights = ndtri((np.arange(n) + 0.5) / n)
    return np.random.default_rng(1).permutation(heights).reshape(side, side)


def random_surface(seed, side=900, sigma_px=3.0):
    """Filtered noise: normally distributed heights, related over a few pixels."""
    noise = np.random.default_rng(seed).standard_normal((side + 60, side + 60)).astype(np.float32)
    reach = round(8 * sigma_px)
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) / sigma_px) ** 2)
    z = cv2.sepFilter2D(noise, cv2.CV_32F, kernel, kernel)[30:-30, 30:-30]
    return z / float(np.sum(kernel**2))  # unit variance


def test_figures():
    """The expected figures, from the formulas."""
    chord = 2 * NORMAL.inv_cdf(0.7) / 0.4
    top = chord / 2
    smr1 = 1 - NORMAL.cdf(top)
    upper, lower = NORMAL.inv_cdf(0.9), NORMAL.inv_cdf(0.2)
    got = {
        "sk_um": chord,
        "spk_um": 2 * above(top) / smr1,
        "svk_um": 2 * above(top) / smr1,
        "smr1": smr1,
        "smr2": 1 - smr1,
        "vmp_um": above(upper),
        "vmc_um": above(lower) - above(upper),
        "vvc_um": above(-upper) - above(-lower),
        "vvv_um": above(-lower),
    }
    assert got == pytest.approx(EXPECTED, rel=2e-5)


@pytest.mark.parametrize("dtype", [np.float32, np.float64])
@pytest.mark.parametrize("scale", [1.0, 0.03])
def test_exact_quantiles(dtype, scale):
    z = (scale * quantile_surface()).astype(dtype)
    heights = height_parameters(z)
    assert heights.sa_um == pytest.approx(scale * math.sqrt(2 / math.pi), rel=TOLERANCE)
    assert heights.sq_um == pytest.approx(scale, rel=TOLERANCE)
    assert heights.ssk == pytest.approx(0, abs=TOLERANCE)
    assert heights.sku == pytest.approx(3, rel=TOLERANCE)
    ratio = material_ratio_parameters(material_ratio_curve(z))
    for name, value in EXPECTED.items():
        factor = 1 if name.startswith("smr") else scale
        assert getattr(ratio, name) == pytest.approx(factor * value, rel=TOLERANCE), name
    assert ratio.smr1 == pytest.approx(1 - ratio.smr2, abs=2e-6)


@pytest.mark.parametrize("gaps", [0.0, 0.02])
def test_random_surfaces_within_sampling_error(gaps):
    """Twelve surfaces scatter about the truth; their mean is within four standard errors of it."""
    found = []
    for seed in range(12):
        z = random_surface(seed)
        z[np.random.default_rng(100 + seed).random(z.shape) < gaps] = np.nan
        heights = height_parameters(z)
        ratio = material_ratio_parameters(material_ratio_curve(z))
        found.append(
            {"sa_um": heights.sa_um, "sq_um": heights.sq_um, "ssk": heights.ssk, "sku": heights.sku}
            | {name: getattr(ratio, name) for name in EXPECTED}
        )
    truth = {"sa_um": math.sqrt(2 / math.pi), "sq_um": 1.0, "ssk": 0.0, "sku": 3.0} | EXPECTED
    for name, value in truth.items():
        values = np.array([f[name] for f in found])
        error = values.std(ddof=1) / math.sqrt(len(values))
        assert error < 0.02
        assert abs(values.mean() - value) < 4 * error + TOLERANCE * abs(value), name


def test_gradient_of_random_surfaces():
    """The autocorrelation exp(-r²/4s²) has a mean squared slope of 1/s²: 1/(2 s²) along each axis.

    Differences of neighbours see 2 (1 - ACF(1 px)) per axis of it; the surface of planes is the sampled one.
    """
    s = 3.0
    seen = math.sqrt(4 * (1 - math.exp(-1 / (4 * s**2))))
    values = [height_parameters(random_surface(seed), pixel_size_um=(1, 1)).sdq for seed in range(6)]
    assert np.mean(values) == pytest.approx(seen, rel=5e-3)
    assert seen == pytest.approx(1 / s, rel=8e-3)


def test_length_of_random_surfaces():
    """exp(-r²/4s²) falls to 0.2 at 2 s sqrt(ln 5) in every direction.

    The shortest and the longest of many noisy directions lie on either side of it, so the length of their
    mean is held against the truth, and the shortest may fall short of it by some per cent.
    """
    truth = 2 * 3 * math.sqrt(math.log(5))
    found = [spatial_parameters(random_surface(seed), pixel_size_um=(1, 1)) for seed in range(6)]
    shortest = np.array([f.sal_um for f in found])
    longest = shortest / np.array([f.str_ratio for f in found])
    assert np.mean((shortest + longest) / 2) == pytest.approx(truth, rel=0.02)
    assert np.all(shortest > 0.94 * truth)
    assert np.all(shortest < 1.02 * truth)

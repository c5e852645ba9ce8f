"""Areal texture of surfaces whose parameters are known in closed form.

Source: the parameters' definitions in ISO 25178-2:2012 (from memory), integrated by hand or, where so
marked, with complete elliptic integrals (Abramowitz & Stegun 17.3.3). All within 1e-3, relative, or absolute
where the truth is zero. Sampling is fine enough for a sampled surface to come that near: 240 points a period
or more.
"""

import math

import numpy as np
import pytest
from scipy.special import ellipe

from surfscan import Calibration, HeightMap, Source
from surfscan.measurement.autocorrelation import spatial_parameters
from surfscan.measurement.material_ratio import material_ratio_curve, material_ratio_parameters
from surfscan.measurement.texture import height_parameters
from surfscan.procedures import TextureSettings, measure_texture

TOLERANCE = 1e-3


def agrees(got, expected):
    return got == pytest.approx(expected, rel=TOLERANCE, abs=0 if expected else TOLERANCE)


def grid(period_um, per_period, periods, *, rows=None):
    """x and y in µm over whole periods, samples half a step off the crests, and the pitch."""
    step = period_um / per_period
    n = per_period * periods
    x = (np.arange(n) + 0.5) * step
    y = (np.arange(rows or n) + 0.5) * step
    return x[None, :], y[:, None], step


def sine_area_ratio(amplitude, period):
    """Mean of sqrt(1 + k² cos²) less 1, k = 2 pi A / L: a complete elliptic integral of the second kind."""
    k2 = (2 * math.pi * amplitude / period) ** 2
    return 2 / math.pi * math.sqrt(1 + k2) * float(ellipe(k2 / (1 + k2))) - 1


SINES = [(1, 10), (1, 100), (0.2, 100), (30, 10)]


@pytest.mark.parametrize("gaps", [0.0, 0.02])
@pytest.mark.parametrize(("amplitude", "period"), SINES)
def test_sine(amplitude, period, gaps):
    x, y, step = grid(period, 240, 10, rows=400)
    z = amplitude * np.sin(2 * np.pi * x / period) + 0 * y
    z[np.random.default_rng(1).random(z.shape) < gaps] = np.nan
    got = height_parameters(z, pixel_size_um=(step, step))
    assert agrees(got.sa_um, 2 * amplitude / math.pi)
    assert agrees(got.sq_um, amplitude / math.sqrt(2))
    assert agrees(got.ssk, 0)
    assert agrees(got.sku, 1.5)
    assert agrees(got.sp_um, amplitude)
    assert agrees(got.sv_um, amplitude)
    assert agrees(got.sz_um, 2 * amplitude)
    assert agrees(got.sdq, math.sqrt(2) * math.pi * amplitude / period)
    assert agrees(got.sdr, sine_area_ratio(amplitude, period))


@pytest.mark.parametrize(("per_period", "periods"), [(100, 10), (128, 4), (64, 4)])
@pytest.mark.parametrize("phase", [0.0, 0.4, math.pi / 2])
def test_gradient_over_whole_periods_of_few_samples(per_period, periods, phase):
    """A map of n samples stands for n pitches: no part of a period is missing, wherever the map begins."""
    x, y, step = grid(10, per_period, periods, rows=90)
    got = height_parameters(np.sin(2 * np.pi * x / 10 + phase) + 0 * y, pixel_size_um=(step, step))
    assert agrees(got.sdq, math.sqrt(2) * math.pi / 10)
    assert agrees(got.sdr, sine_area_ratio(1, 10))


def test_sine_in_figures():
    """The figures for A = 1 µm, L = 10 µm and 100 µm, as computed from the closed form to six digits."""
    assert sine_area_ratio(1, 10) == pytest.approx(0.0923835, abs=5e-8)
    assert sine_area_ratio(1, 100) == pytest.approx(9.86231e-4, abs=5e-10)
    assert math.sqrt(2) * math.pi / 10 == pytest.approx(0.444288, abs=5e-7)


@pytest.mark.parametrize("degrees", [0, 37, 90])
def test_sine_in_any_direction(degrees):
    """Gradient and area do not depend on how the wave lies on the grid."""
    step = 0.04
    x, y = np.arange(1500)[None, :] * step, np.arange(1500)[:, None] * step
    t = math.radians(degrees)
    got = height_parameters(
        np.sin(2 * np.pi / 10 * (x * math.cos(t) + y * math.sin(t))), pixel_size_um=(step, step)
    )
    # Cut periods leave up to 1/(4 pi n) of the mean square for n periods, here 6.
    assert got.sdq == pytest.approx(0.444288, rel=TOLERANCE if degrees in (0, 90) else 8e-3)
    assert got.sdr == pytest.approx(0.0923835, rel=TOLERANCE if degrees in (0, 90) else 16e-3)


@pytest.mark.parametrize("amplitude", [1, 25])
def test_sine_volumes(amplitude):
    """Smc(10 %) = A cos(pi/10); volumes by integrating the arcsine distribution."""
    x, y, _ = grid(10, 2000, 10, rows=8)
    curve = material_ratio_curve(amplitude * np.sin(2 * np.pi * x / 10) + 0 * y)
    got = material_ratio_parameters(curve)
    p, q = 0.1, 0.8
    assert agrees(float(curve.height_at(p)), amplitude * math.cos(math.pi * p))
    peak = math.sin(math.pi * p) / math.pi - p * math.cos(math.pi * p)
    dale = math.sin(math.pi * q) / math.pi + (1 - q) * math.cos(math.pi * q)
    core = math.sin(math.pi * q) / math.pi - q * math.cos(math.pi * q) - peak
    void = math.sin(math.pi * p) / math.pi + (1 - p) * math.cos(math.pi * p) - dale
    assert (peak, core, void, dale) == pytest.approx((0.0032575, 0.831054, 0.929020, 0.0252945), abs=6e-7)
    assert agrees(got.vmp_um, amplitude * peak)
    assert agrees(got.vmc_um, amplitude * core)
    assert agrees(got.vvc_um, amplitude * void)
    assert agrees(got.vvv_um, amplitude * dale)


@pytest.mark.parametrize("gaps", [0.0, 0.05])
@pytest.mark.parametrize(("periods", "per_period"), [(5, 100), (10, 100), (20, 50), (12.4, 80)])
def test_sine_length(periods, per_period, gaps):
    """Sal / L = acos(0.2) / 2 pi, also over cut periods; the lay is along the crests."""
    x = np.arange(round(periods * per_period)) / per_period * 10
    z = np.sin(2 * np.pi * x / 10 + 0.3)[None, :] + np.zeros((len(x), 1))
    z[np.random.default_rng(2).random(z.shape) < gaps] = np.nan
    got = spatial_parameters(z, pixel_size_um=(10 / per_period, 10 / per_period))
    assert agrees(got.sal_um / 10, math.acos(0.2) / (2 * math.pi))
    assert agrees(got.sal_um / 10, 0.217953)
    assert got.std_deg == pytest.approx(90, abs=0.1) or got.std_deg == pytest.approx(-90, abs=0.1)
    assert got.str_ratio is None  # along the crests it never falls


@pytest.mark.parametrize("per_period", [240, 241, 1000])
def test_triangle_wave(per_period):
    """A = 1 µm, L = 10 µm; crests on samples or between them."""
    x, y, step = grid(10, per_period, 8, rows=200)
    x = x - 0.5 * step
    z = 2 / np.pi * np.arcsin(np.sin(2 * np.pi * x / 10)) + 0 * y
    got = height_parameters(z, pixel_size_um=(step, step))
    assert agrees(got.sa_um, 0.5)
    assert agrees(got.sq_um, 1 / math.sqrt(3))
    assert agrees(got.sku, 1.8)
    assert agrees(got.ssk, 0)
    corners = 1e-3 if per_period % 4 == 0 else 3 / per_period  # a cell that holds a crest has less slope
    assert got.sdq == pytest.approx(0.4, rel=corners)
    assert got.sdr == pytest.approx(0.0770330, rel=2 * corners)
    assert math.sqrt(1.16) - 1 == pytest.approx(0.0770330, abs=5e-8)


@pytest.mark.parametrize("amplitude", [1, 0.05])
def test_egg_box(amplitude):
    """A sin sin: the autocorrelation is cos cos, which falls to 0.2 soonest along the axes."""
    x, y, step = grid(10, 200, 6)
    z = amplitude * np.sin(2 * np.pi * x / 10) * np.sin(2 * np.pi * y / 10)
    got = height_parameters(z, pixel_size_um=(step, step))
    assert agrees(got.sa_um, 4 * amplitude / math.pi**2)
    assert agrees(got.sq_um, amplitude / 2)
    assert agrees(got.ssk, 0)
    assert agrees(got.sku, 2.25)
    assert agrees(got.sdq, 2 * math.pi * amplitude / 10 / math.sqrt(2))
    spatial = spatial_parameters(z, pixel_size_um=(step, step))
    along, diagonal = math.acos(0.2), math.sqrt(2) * math.acos(math.sqrt(0.2))
    assert agrees(spatial.sal_um, 10 * along / (2 * math.pi))
    assert agrees(spatial.str_ratio, along / diagonal)
    assert spatial.std_deg is None


@pytest.mark.parametrize("height", [1, 12.5])
def test_linear_material_ratio_curve(height):
    """Heights evenly spread over Sz: Sk = Sz, no peaks, no dales; volumes are triangles and trapezoids."""
    z = np.random.default_rng(1).permutation(np.linspace(0, height, 360_000)).reshape(600, 600)
    got = material_ratio_parameters(material_ratio_curve(z))
    assert agrees(got.sk_um, height)
    assert agrees(got.spk_um, 0)
    assert agrees(got.svk_um, 0)
    assert agrees(got.smr1, 0)
    assert agrees(got.smr2, 1)
    assert agrees(got.vmp_um, 0.005 * height)
    assert agrees(got.vmc_um, 0.315 * height)
    assert agrees(got.vvc_um, 0.385 * height)
    assert agrees(got.vvv_um, 0.020 * height)


@pytest.mark.parametrize("degrees", [0, 30, 45, 90])
def test_plane_at_45_degrees(degrees):
    """A plane of slope 1 in any direction has sqrt(2) of its projection; pixels need not be square."""
    t = math.radians(degrees)
    x, y = np.arange(300)[None, :] * 0.5, np.arange(200)[:, None] * 0.8
    got = height_parameters(x * math.cos(t) + y * math.sin(t), pixel_size_um=(0.5, 0.8))
    assert agrees(got.sdr, math.sqrt(2) - 1)
    assert agrees(got.sdq, 1)


def test_the_whole_procedure_on_a_wave():
    """Even about the field's centre, a cosine has no tilt to lose to the form."""
    x, y, step = grid(10, 240, 10, rows=300)
    z = np.cos(2 * np.pi * x / 10) + 0 * y
    image = HeightMap(z, Calibration(step, step, 0.01, "stated"), Source("wave.sdf"))
    got = measure_texture(image, TextureSettings(form="plane")).summary
    expected = {"Sa_um": 2 / math.pi, "Sq_um": 0.5**0.5, "Sku": 1.5, "Sz_um": 2, "Sp_um": 1, "Sv_um": 1}
    expected |= {"Sdq": 0.444288, "Sdr": 0.0923835, "Ssk": 0}
    assert {name: got[name] for name in expected if not agrees(got[name], expected[name])} == {}
    assert (got["spike_count"], got["measured_fraction"]) == (0, 1)

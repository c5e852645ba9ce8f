"""Material ratio curve and what is read off it."""

import dataclasses

import numpy as np
import pytest

from surfscan.measurement.material_ratio import (
    MaterialRatioCurve,
    material_ratio_curve,
    material_ratio_parameters,
)


def skewed(shape=(300, 400), seed=3):
    rng = np.random.default_rng(seed)
    z = -rng.gamma(2, size=shape) + rng.standard_normal(shape)
    z[rng.random(shape) < 0.03] = np.nan
    return z


def test_curve_is_that_of_the_sorted_heights():
    z = skewed()
    v = np.sort(z[~np.isnan(z)])
    curve = material_ratio_curve(z)
    ratio = np.linspace(0.01, 0.99, 99)
    sorted_heights = np.interp(1 - ratio, (np.arange(v.size) + 0.5) / v.size, v)
    np.testing.assert_allclose(curve.height_at(ratio), sorted_heights, atol=2e-4 * np.std(v))
    assert (curve.heights_um[0], curve.heights_um[-1]) == pytest.approx((v[0], v[-1]))
    assert (curve.ratios[0], curve.ratios[-1]) == (1, 0)


def test_volumes_are_means_of_what_sticks_out():
    z = skewed()
    v = z[~np.isnan(z)]
    curve = material_ratio_curve(z)
    upper, lower = curve.height_at(np.array([0.1, 0.8]))
    got = material_ratio_parameters(curve)
    above = [np.mean(np.maximum(v - c, 0)) for c in (upper, lower)]
    below = [np.mean(np.maximum(c - v, 0)) for c in (upper, lower)]
    assert got.vmp_um == pytest.approx(above[0], rel=1e-3)
    assert got.vmc_um == pytest.approx(above[1] - above[0], rel=1e-3)
    assert got.vvc_um == pytest.approx(below[0] - below[1], rel=1e-3)
    assert got.vvv_um == pytest.approx(below[1], rel=1e-3)


def test_core_is_the_line_of_least_slope():
    """A curve of three straight parts: steep peaks, a core of slope 1, steep dales."""
    curve = MaterialRatioCurve(np.array([-3.0, -1.0, -0.2, 1.8]), np.array([1.0, 0.9, 0.1, 0.0]))
    got = material_ratio_parameters(curve)
    assert got.sk_um == pytest.approx(1.0)
    # The core's line runs from -0.1 at 0 % to -1.1 at 100 %; the peaks' part meets -0.1 at 9.5 %.
    assert (got.smr1, got.smr2) == pytest.approx((0.095, 0.905))
    assert (got.spk_um, got.svk_um) == pytest.approx((1.9, 1.9), rel=1e-6)


def test_core_lies_where_the_curve_is_flattest_not_in_the_middle():
    """Slope 1.1 down to 50 %, slope 1 from there: the secant belongs to the lower half."""
    curve = MaterialRatioCurve(np.array([-0.5, 0.0, 0.55]), np.array([1.0, 0.5, 0.0]))
    got = material_ratio_parameters(curve)
    assert got.sk_um == pytest.approx(1.0, abs=1e-5)
    assert (got.smr2, got.svk_um) == (pytest.approx(1.0, abs=1e-4), pytest.approx(0, abs=1e-4))
    assert got.smr1 == pytest.approx(0.05 / 1.1, abs=1e-4)


def test_turning_upside_down_swaps_peaks_and_dales():
    z = skewed()
    up = material_ratio_parameters(material_ratio_curve(z))
    down = material_ratio_parameters(material_ratio_curve(-z))
    assert down.sk_um == pytest.approx(up.sk_um, rel=1e-3)
    assert (down.spk_um, down.svk_um) == pytest.approx((up.svk_um, up.spk_um), rel=5e-3)
    assert (down.smr1, down.smr2) == pytest.approx((1 - up.smr2, 1 - up.smr1), abs=3e-3)


@pytest.mark.parametrize("step", [0.02, 0.1, 0.25])
def test_steps_of_the_instrument_do_not_flatten_the_core(step):
    """The secant must not seek out the treads of heights that come in steps."""
    z = np.random.default_rng(5).standard_normal((700, 700))
    fine = material_ratio_parameters(material_ratio_curve(z))
    coarse = material_ratio_parameters(material_ratio_curve(np.round(z / step) * step))
    assert coarse.sk_um == pytest.approx(fine.sk_um, rel=0.02)
    assert coarse.smr1 == pytest.approx(fine.smr1, abs=0.01)


def test_two_levels_stay_two_levels():
    """A wide gap between plateaus is a feature of the surface, not a step of its numbers."""
    z = np.where(np.arange(100)[:, None] < 30, 5.0, 0.0) * np.ones((1, 50))
    curve = material_ratio_curve(z)
    assert [curve.ratio_at(h) for h in (1.0, 2.5, 4.0)] == pytest.approx([0.3, 0.3, 0.3])
    assert curve.material_above(2.5) == pytest.approx(0.3 * 2.5, rel=0.05)


def test_outliers_cost_little():
    """A spike of 100 times the range makes bins wide; what is read between them hardly moves."""
    z = np.random.default_rng(6).standard_normal((500, 500))
    clean = material_ratio_parameters(material_ratio_curve(z))
    z[0, 0] = 1000.0
    spiked = material_ratio_parameters(material_ratio_curve(z))
    for name in ("sk_um", "svk_um", "smr2", "vmc_um", "vvc_um", "vvv_um"):
        assert getattr(spiked, name) == pytest.approx(getattr(clean, name), rel=5e-3), name


def test_ties_go_to_the_middle():
    """On a straight curve every secant is as steep: the middle one is taken, so both ends are alike."""
    curve = MaterialRatioCurve(np.array([0.0, 0.5, 9.5, 10.0]), np.array([1.0, 0.99, 0.01, 0.0]))
    got = material_ratio_parameters(curve)
    assert got.spk_um == pytest.approx(got.svk_um)
    assert got.smr1 == pytest.approx(1 - got.smr2)


def test_scale_and_level():
    z = skewed()
    one = dataclasses.astuple(material_ratio_parameters(material_ratio_curve(z)))
    other = dataclasses.astuple(material_ratio_parameters(material_ratio_curve(3 * z + 100)))
    factor = np.array([3, 3, 3, 1, 1, 3, 3, 3, 3])
    np.testing.assert_allclose(other, factor * one, rtol=1e-4)


def test_same_on_any_number_of_threads():
    z = skewed((2000, 700)).astype(np.float32)
    one, three = (material_ratio_curve(z, threads=n) for n in (1, 3))
    np.testing.assert_array_equal(one.heights_um, three.heights_um)
    np.testing.assert_array_equal(one.ratios, three.ratios)


@pytest.mark.parametrize(
    ("bad", "why"),
    [
        (np.full((3, 3), np.nan), "no measured"),
        (np.full((3, 3), 2.0), "equal"),
        (np.array([[0, np.inf]]), "infinite"),
    ],
)
def test_surfaces_without_a_curve(bad, why):
    with pytest.raises(ValueError, match=why):
        material_ratio_curve(bad)

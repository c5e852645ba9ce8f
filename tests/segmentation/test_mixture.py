import numpy as np
import pytest

from surfscan.segmentation.mixture import fit_mixture, histogram_of, two_level_split


def two_normals(first=0.5, second=1.0, share=0.3, spread=0.06, n=60_000):
    rng = np.random.default_rng(1)
    few = round(share * n)
    return np.concatenate([rng.normal(first, spread, few), rng.normal(second, spread, n - few)])


def test_two_normal_classes_are_recovered():
    mixture = fit_mixture(histogram_of(two_normals()), [0.6, 0.9])
    np.testing.assert_allclose(mixture.means, [0.5, 1.0], atol=0.005)
    np.testing.assert_allclose(mixture.spreads, 0.06, atol=0.005)
    np.testing.assert_allclose(mixture.shares, [0.3, 0.7], atol=0.01)
    assert mixture.separation() == pytest.approx(0.5 / 0.06, rel=0.05)


def test_one_normal_class_is_not_torn_in_two():
    values = np.random.default_rng(2).normal(1.0, 0.1, 50_000)
    assert fit_mixture(histogram_of(values), [0.9, 1.1]).separation() < 1.0


def test_three_classes_are_recovered_in_order():
    values = np.concatenate([two_normals(0.4, 1.0, 0.1), two_normals(1.5, 1.0, 0.4)])
    mixture = fit_mixture(histogram_of(values), [1.4, 0.5, 1.0])
    np.testing.assert_allclose(mixture.means, [0.4, 1.0, 1.5], atol=0.02)


def test_densities_cross_half_way_where_classes_are_alike():
    mixture = fit_mixture(histogram_of(two_normals(share=0.5)), [0.6, 0.9])
    assert mixture.equal_density() == pytest.approx(0.75, abs=0.01)


def test_a_spike_of_clipped_pixels_is_no_class_of_its_own():
    rng = np.random.default_rng(3)
    values = np.minimum(rng.normal(1.0, 0.1, 50_000), 1.05)
    assert fit_mixture(histogram_of(values), [0.95, 1.05], least_spread=0.02).separation() < 2.5


def test_one_value_alone_is_fitted_without_fault():
    mixture = fit_mixture(histogram_of(np.full(100, 3.0)), [2.0, 3.0])
    assert np.isfinite(mixture.means).all()
    assert np.isfinite(mixture.log_likelihood)


def test_split_lies_between_two_classes():
    assert 0.6 < two_level_split(two_normals()) < 0.9
    assert two_level_split(np.full(10, 2.0)) == 2.0

"""What is timed against each other gives the same figures."""

import bench_texture
import numpy as np
import pytest

from surfscan.measurement.autocorrelation import spatial_parameters
from surfscan.measurement.material_ratio import material_ratio_curve
from surfscan.measurement.texture import height_parameters


@pytest.fixture(scope="module")
def surface():
    return bench_texture.make_surface(600)


def test_heights_agree_with_the_plain_way(surface):
    ours = height_parameters(surface, pixel_size_um=(0.5, 0.5))
    plain = bench_texture.plain_statistics(surface, 0.5)
    for name in ("sa_um", "sq_um", "sz_um", "sku"):
        assert getattr(ours, name) == pytest.approx(plain[name], rel=1e-6), name
    assert ours.ssk == pytest.approx(plain["ssk"], abs=1e-6)


@pytest.mark.parametrize("pixel_um", [0.5, 20.0])
def test_gradients_agree_with_the_same_formulas_in_double_precision(surface, pixel_um):
    ours = height_parameters(surface, pixel_size_um=(pixel_um, pixel_um))
    plain = bench_texture.plain_triangles(surface, pixel_um)
    assert ours.sdq == pytest.approx(plain["sdq"], rel=1e-6)
    assert ours.sdr == pytest.approx(plain["sdr"], rel=1e-6)


def test_curve_agrees_with_the_sorted_heights(surface):
    ours = material_ratio_curve(surface).height_at(np.arange(1, 100) / 100)
    np.testing.assert_allclose(ours, bench_texture.plain_curve(surface), atol=1e-4 * np.nanstd(surface))


def test_length_agrees_with_the_plain_autocorrelation(surface):
    """Without its weights at the edges, the plain autocorrelation of a field of many grooves is near."""
    along = bench_texture.plain_autocorrelation(surface)[0, :50]
    fall = int(np.argmax(along < 0.2))
    plain = (fall - (0.2 - along[fall]) / (along[fall - 1] - along[fall])) * 0.5
    assert spatial_parameters(surface, pixel_size_um=(0.5, 0.5)).sal_um == pytest.approx(plain, rel=0.05)

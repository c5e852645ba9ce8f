"""Height and gradient parameters: the sums spelled out, gaps, invariances, threads."""

import dataclasses

import numpy as np
import pytest

from surfscan.measurement.texture import height_parameters


def rough(shape=(150, 170), *, gaps=0.05, seed=1, dtype=np.float64):
    rng = np.random.default_rng(seed)
    z = np.cumsum(rng.standard_normal(shape), axis=1) * 0.1 + rng.gamma(2, size=shape) * 0.3
    z[rng.random(shape) < gaps] = np.nan
    return z.astype(dtype)


def spelled_out(z, px, py):
    """Cell by cell, triangle by triangle; cells at the border for their pixels' outer halves too."""
    z = z - np.nanmean(z)
    v = z[~np.isnan(z)]
    squares, areas, weights = [], [], []
    for r in range(z.shape[0] - 1):
        for c in range(z.shape[1] - 1):
            corner = z[r : r + 2, c : c + 2]
            if np.isnan(corner).any():
                continue
            for i in (0, 1):
                for j in (0, 1):
                    gx = (corner[i, 1] - corner[i, 0]) / px
                    gy = (corner[1, j] - corner[0, j]) / py
                    squares.append(gx**2 + gy**2)
                    areas.append(np.sqrt(1 + gx**2 + gy**2))
                    weights.append(
                        (1 + ((r == 0) + (r == z.shape[0] - 2)) / 2)
                        * (1 + ((c == 0) + (c == z.shape[1] - 2)) / 2)
                    )
    sq = np.sqrt(np.mean(v**2))
    return {
        "measured_px": v.size,
        "sa_um": np.mean(abs(v)),
        "sq_um": sq,
        "sz_um": np.ptp(v),
        "sp_um": v.max(),
        "sv_um": -v.min(),
        "ssk": np.mean(v**3) / sq**3,
        "sku": np.mean(v**4) / sq**4,
        "sdq": np.sqrt(np.average(squares, weights=weights)),
        "sdr": np.average(areas, weights=weights) - 1,
        "cells": len(areas) // 4,
    }


@pytest.mark.parametrize("dtype", [np.float32, np.float64])
@pytest.mark.parametrize("pixel_size", [(1, 1), (0.3, 0.5), (40.0, 40.0)])
@pytest.mark.parametrize("shape", [(40, 60), (2, 60), (60, 3)])
def test_sums_are_those_of_the_definitions(dtype, pixel_size, shape):
    z = rough(shape, dtype=dtype)
    got = dataclasses.asdict(height_parameters(z, pixel_size_um=pixel_size))
    for name, value in spelled_out(z.astype(float), *pixel_size).items():
        assert got[name] == pytest.approx(value, rel=2e-6, abs=1e-9), name


@pytest.mark.parametrize("slope", [1e-4, 1e-2, 1.0, 300.0])
def test_area_of_gentle_and_steep_planes(slope):
    """Single precision must not lose a gentle slope's area against the 1 it is added to."""
    z = slope * 0.5 * np.arange(300.0)[None, :] * np.ones((200, 1))
    got = height_parameters(z, pixel_size_um=(0.5, 0.5))
    assert got.sdr == pytest.approx(np.hypot(1, slope) - 1, rel=2e-4)
    assert got.sdq == pytest.approx(slope, rel=2e-4)


def test_same_on_any_number_of_threads():
    z = rough((3000, 301), dtype=np.float32)
    one, two, five = (height_parameters(z, pixel_size_um=(1, 1), threads=n) for n in (1, 2, 5))
    assert one == two == five


def test_strips_leave_no_seam():
    """Rows beyond one strip give what a narrow copy, cut into other strips, gives."""
    z = rough((400, 1000), dtype=np.float32)
    whole = height_parameters(z, pixel_size_um=(1, 1))
    turned = height_parameters(np.ascontiguousarray(z.T), pixel_size_um=(1, 1))
    for name in ("sa_um", "sq_um", "ssk", "sku", "sdq", "sdr"):
        assert getattr(turned, name) == pytest.approx(getattr(whole, name), rel=1e-6)
    assert turned.cells == whole.cells


def test_turning_upside_down_and_mirroring():
    z = rough()
    up, down = height_parameters(z, pixel_size_um=(1, 2)), height_parameters(-z, pixel_size_um=(1, 2))
    mirrored = height_parameters(np.ascontiguousarray(z[:, ::-1]), pixel_size_um=(1, 2))
    assert down.ssk == pytest.approx(-up.ssk, rel=1e-5)
    assert (down.sp_um, down.sv_um) == pytest.approx((up.sv_um, up.sp_um), rel=1e-6)
    assert (mirrored.sdq, mirrored.sdr) == pytest.approx((up.sdq, up.sdr), rel=1e-6)


def test_level_does_not_matter():
    z = rough()
    at_zero, lifted = height_parameters(z), height_parameters(z + 1e5)
    assert lifted.mean_um == pytest.approx(at_zero.mean_um + 1e5, rel=1e-12)
    for name in ("sa_um", "sq_um", "sz_um", "ssk", "sku"):
        assert getattr(lifted, name) == pytest.approx(getattr(at_zero, name), rel=1e-6)


def test_gap_takes_its_cells_away():
    z = np.zeros((5, 5))
    z[2, 2] = np.nan
    got = height_parameters(z, pixel_size_um=(1, 1))
    assert (got.measured_px, got.cells, got.sdr) == (24, 12, 0.0)


def test_lone_measured_pixels_have_no_gradient():
    z = np.full((9, 9), np.nan)
    z[::2, ::2] = np.arange(25.0).reshape(5, 5)
    got = height_parameters(z, pixel_size_um=(1, 1))
    assert got.sq_um == pytest.approx(np.std(np.arange(25)))
    assert (got.sdq, got.sdr, got.cells) == (None, None, 0)


def test_flat_surface_has_no_skewness():
    got = height_parameters(np.full((30, 30), 0.1, np.float32), pixel_size_um=(1, 1))
    assert (got.sq_um, got.sz_um, got.ssk, got.sku, got.sdq, got.sdr) == (0, 0, None, None, 0, 0)


def test_one_row_has_no_cells():
    assert height_parameters(np.arange(50.0)[None, :], pixel_size_um=(1, 1)).sdq is None


@pytest.mark.parametrize("shape", [(500, 1), (500, 2), (2, 500), (3, 200_000)])
def test_narrow_and_wide_maps(shape):
    z = np.random.default_rng(1).standard_normal(shape).astype(np.float32)
    got = height_parameters(z, pixel_size_um=(1, 1))
    assert got.sq_um == pytest.approx(np.std(z.astype(float)), rel=1e-5)
    assert got.cells == (shape[0] - 1) * (shape[1] - 1)


def test_without_pixel_size_no_gradients():
    got = height_parameters(rough())
    assert (got.sdq, got.sdr) == (None, None)


@pytest.mark.parametrize("bad", [np.full((4, 4), np.nan), np.array([[1.0, np.inf], [0, 0]])])
def test_nothing_to_measure(bad):
    with pytest.raises(ValueError, match="heights_um holds"):
        height_parameters(bad)

"""Layers on edges: profiles drawn from their formula, and what is no layer left alone."""

from math import erf

import numpy as np
import pytest

from surfscan.measurement.edge_layers import STEP_PX, layer_levels

OFFSETS = np.arange(-10, 10.25, STEP_PX)
N = 96


def down(t, sigma):
    """A blurred step from 1 to 0 at 0."""
    return np.vectorize(lambda x: 0.5 * (1 - erf(x / sigma / np.sqrt(2))))(t)


def profiles(*, thick=0.0, level=0.5, sigma=0.9, where=slice(None), noise=0.02, seed=0, centre=None):
    """N profiles, their metal's edge within half a px of `centre`, with a layer on some of them."""
    rng = np.random.default_rng(seed)
    edge = rng.uniform(-0.5, 0.5, N) + (0 if centre is None else centre)
    clean = down(OFFSETS[None] - edge[:, None], sigma)
    layered = (1 - level) * clean + level * down(OFFSETS[None] - edge[:, None] - thick, sigma)
    out = clean
    out[where] = layered[where]
    return (out + rng.normal(0, noise, out.shape)).astype(np.float32)


def levels(share, depth=30.0, order=None, usable=None):
    n = len(share)
    return layer_levels(
        share,
        np.ones(n, int) if order is None else order,
        np.ones(n, bool) if usable is None else usable,
        np.full(n, depth),
    )


@pytest.mark.parametrize("level", [0.25, 0.5, 0.75])
@pytest.mark.parametrize("thick", [3.0, 5.0, 8.0])
def test_level_of_the_metal_edge_under_a_layer(thick, level):
    """Half of the inner step plus what the outer one still gives there."""
    found = levels(profiles(thick=thick, level=level, centre=-thick if level > 0.5 else 0.0))
    exact = (1 - level) / 2 + level * (1 - down(np.array([thick]), 0.9)[0])
    assert np.mean(np.isfinite(found)) > 0.95
    assert np.nanmedian(found) == pytest.approx(exact, abs=0.03)


@pytest.mark.parametrize("sigma", [0.5, 1.0, 1.5, 2.0])
@pytest.mark.parametrize("noise", [0.0, 0.03])
def test_a_blurred_edge_is_no_layer(sigma, noise):
    assert not np.isfinite(levels(profiles(sigma=sigma, noise=noise))).any()


@pytest.mark.parametrize("radius", [2.0, 3.2, 4.2])
def test_defocus_is_no_layer(radius):
    """The edge of a disc-shaped spread: by the area of a circle's segment."""
    x = np.clip(OFFSETS / radius, -1, 1)
    edge = 0.5 - (x * np.sqrt(1 - x**2) + np.arcsin(x)) / np.pi
    share = edge + np.random.default_rng(0).normal(0, 0.01, (N, len(OFFSETS)))
    assert not np.isfinite(levels(share.astype(np.float32))).any()


def test_part_of_the_length():
    found = np.isfinite(levels(profiles(thick=4.0, where=slice(40, 80))))
    assert found[46:74].all()
    assert not found[:34].any()
    assert not found[86:].any()


def test_struts_are_judged_by_themselves():
    share = np.concatenate([profiles(thick=4.0), profiles(seed=1)])
    order = np.repeat([1, 2], N)
    found = np.isfinite(levels(share, order=order))
    assert found[:N].all()
    assert not found[N:].any()


def test_thin_struts_and_near_neighbours_do_not_mislead():
    """Beyond the strut's middle and in the next strut the profile is another edge's."""
    share = profiles()
    share[:, OFFSETS < -5] = 0.0
    share[:, OFFSETS > 6] = 1.0
    assert not np.isfinite(levels(share, depth=5.0)).any()


def test_profiles_outside_the_picture_do_not_count():
    share = profiles(thick=4.0)
    assert not np.isfinite(levels(share, usable=np.zeros(N, bool))).any()
    assert levels(share[:0]).shape == (0,)


def test_a_glint_beside_the_edge_is_no_layer():
    """Metal beside a lighter, or a darker, spot: the step into the spot is none out of the metal."""
    for inside in (1.6, 0.4):
        share = profiles(noise=0.01)
        share[20:60, OFFSETS < -4] += inside - 1
        assert not np.isfinite(levels(share)).any()

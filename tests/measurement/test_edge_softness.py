"""How far edges spread, and where softness may hide a layer."""

from math import erf, sqrt

import numpy as np
import pytest

from surfscan.measurement.edge_layers import STEP_PX
from surfscan.measurement.edge_softness import edge_spread, hidden_layers

OFFSETS = np.arange(-10, 10 + STEP_PX / 2, STEP_PX)


def blurred(at, sigma):
    """Share of metal in samples across edges blurred by a Gaussian, in closed form."""
    z = (OFFSETS[None] - np.asarray(at, float)[:, None]) / (np.asarray(sigma, float)[:, None] * sqrt(2))
    return 0.5 - 0.5 * np.vectorize(erf)(z)


def test_spread_is_the_blur():
    """Of a Gaussian blur it is the standard deviation, wherever the edge lies and whatever the levels."""
    sigma = np.array([0.8, 1.0, 1.5, 2.0, 1.0])
    at = np.array([0.0, 0.3, -0.8, 1.1, 0.2])
    share = blurred(at, sigma)
    assert edge_spread(share, OFFSETS, at) == pytest.approx(sigma, rel=0.04)
    assert edge_spread(0.04 + 0.9 * share, OFFSETS, at) == pytest.approx(sigma, rel=0.04)


def test_no_edge_no_spread():
    at = np.array([np.nan, 0.0])
    share = np.stack([blurred([0.0], [1.0])[0], 1 - blurred([0.0], [1.0])[0]])
    assert np.isnan(edge_spread(share, OFFSETS, at)).all()


N = 120
S = np.arange(N) * 2.0


def layers(left, right, **given):
    given = {
        "distance": (np.full(N, 15.0), np.full(N, 15.0)),
        "counts": np.ones(N, bool),
        "s": S,
        "strut": np.ones(N, int),
    } | given
    return hidden_layers((left, right), **given)


def test_sharp_edges_hide_nothing():
    noise = 0.03 * np.random.default_rng(1).standard_normal((2, N))
    assert (layers(1 + noise[0], 1 + noise[1]) == 0).all()


@pytest.mark.parametrize("share", [0.5, 0.7])
def test_layer_moves_the_edge_by_no_more_than_is_allowed(share):
    """A layer adds g (1 - g) d² to the square of the spread and moves the edge out by g d."""
    thick = 2.0
    soft = np.sqrt(1 + share * (1 - share) * thick**2)
    left = np.where((S > 80) & (S < 160), soft, 1.0)
    found = layers(left, np.ones(N))
    inside = (S > 90) & (S < 150)
    assert (found[inside] > 0.97 * share * thick).all()
    assert (found[(S < 70) | (S > 170)] == 0).all()


def test_short_runs_and_slanting_edges_say_nothing():
    """A notch's flank spreads by its slant; a few stations are noise."""
    short = np.where(np.arange(N) // 10 == 5, 1.8, 1.0)
    assert (layers(short, np.ones(N)) == 0).all()
    slant = np.where(S < 120, 0.0, 1.2 * (S - 120))
    steep = np.where(S < 120, 1.0, np.sqrt(1 + 1.2**2))
    distance = (60 + slant, np.full(N, 15.0))
    assert (layers(steep, np.ones(N), distance=distance) == 0).all()


def test_stations_that_do_not_count_and_short_struts():
    """Nothing is said there."""
    soft = np.where((S > 80) & (S < 160), 1.6, 1.0)
    assert (layers(soft, np.ones(N), counts=np.zeros(N, bool)) == 0).all()
    assert (layers(soft, np.ones(N), strut=np.arange(N) // 10 + 1) == 0).all()

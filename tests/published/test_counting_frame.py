"""Edge rules and intervals of pit counts.

Sources: Gundersen, J. Microsc. 111 (1977) 219, doi 10.1111/j.1365-2818.1977.tb00062.x (unbiased frame);
Miles in Stochastic Geometry (1974) and Lantuéjoul (1978-80) for the weight, whose inverse ISO 13322-1:2014
gives as probability of inclusion, P = (Z1 - x)(Z2 - y)/(Z1 Z2) (formula from memory); Garwood, Biometrika 28
(1936) 437 for the exact Poisson interval (values from memory, as in any table of it); Fay & Feuer, Stat. Med.
16 (1997) 791 for weighted counts. Poisson fields of known density are simulated, so that the truth is closed.
"""

import math

import numpy as np
import pytest

from surfscan.estimates.counting import (
    area_fraction_interval,
    density,
    edge_weights,
    gundersen_count,
    miles_lantuejoul_weight,
)
from surfscan.measurement.objects import measure_objects


def test_weight_of_the_iso_formula():
    """A 20 x 20 object in a 100 x 100 frame: 1 / 0.64 = 1.5625."""
    assert miles_lantuejoul_weight(20, 20, 100, 100) == pytest.approx(1.5625)
    z1, z2, x, y = 640.0, 480.0, 31.0, 57.0
    inclusion = (z1 - x) * (z2 - y) / (z1 * z2)
    assert miles_lantuejoul_weight(x, y, z1, z2) == pytest.approx(1 / inclusion)


def poisson_plane(seed, side, expected):
    """Label image of lumpy pits thrown independently: `expected` centres per side², also beyond the edges."""
    rng = np.random.default_rng(seed)
    margin = 40
    number = rng.poisson(expected * ((side + 2 * margin) / side) ** 2)
    labels = np.zeros((side, side), dtype=np.int32)
    for k in range(1, number + 1):
        r, c = rng.uniform(-margin, side + margin, 2)
        a, b, turn = rng.uniform(5, 22), rng.uniform(4, 12), rng.uniform(0, math.pi)
        rows = np.arange(max(0, int(r) - 24), min(side, int(r) + 25))[:, None]
        cols = np.arange(max(0, int(c) - 24), min(side, int(c) + 25))[None, :]
        x, y = cols - c, rows - r
        along, across = x * math.cos(turn) + y * math.sin(turn), y * math.cos(turn) - x * math.sin(turn)
        inside = (along / a) ** 2 + (across / b) ** 2 <= 1
        if inside.size:
            labels[rows[0, 0] : rows[-1, 0] + 1, cols[0, 0] : cols[0, -1] + 1][inside] = k
    return labels


def consecutive(labels):
    present, numbered = np.unique(labels, return_inverse=True)
    offset = 0 if present[0] == 0 else 1
    return numbered.reshape(labels.shape).astype(np.int32) + offset


@pytest.fixture(scope="module")
def counts():
    """Poisson planes cut into frames of 100 x 100 px, pits up to 44 px long, 500 true pits a plane."""
    total = dict.fromkeys(("true", "gundersen", "weighted", "every", "inside"), 0.0)
    for seed in range(3):
        plane = poisson_plane(seed, 1100, 500 * 1.1**2)
        for r in range(50, 1050, 100):
            for c in range(50, 1050, 100):
                field = consecutive(plane[r : r + 100, c : c + 100])
                objects = measure_objects(field, pixel_size_um=None)
                box = (objects.top_px, objects.left_px, objects.height_px, objects.width_px)
                weights = edge_weights(*box, frame=(0, 100, 0, 100)).weights
                total["gundersen"] += gundersen_count(plane, (r, r + 100, c, c + 100))
                total["weighted"] += weights.sum()
                total["every"] += len(weights)
                total["inside"] += np.count_nonzero(weights)
        total["true"] += 500
    return total


def test_gundersen_frame_is_unbiased(counts):
    """1500 pits expected: a Poisson count may stray by 3 sqrt(1500) = 116."""
    assert abs(counts["gundersen"] - counts["true"]) < 3 * math.sqrt(counts["true"])


def test_miles_lantuejoul_weights_are_unbiased(counts):
    """As above; the weights average 1.6 here, which widens the stray by about sqrt(1.6)."""
    assert abs(counts["weighted"] - counts["true"]) < 3 * math.sqrt(1.6 * counts["true"])


def test_both_rules_agree_where_plain_counting_fails(counts):
    """Counting all that shows, or only what lies inside, is out by a quarter and more on the same frames."""
    assert counts["weighted"] == pytest.approx(counts["gundersen"], rel=0.08)
    assert counts["every"] > 1.25 * counts["true"]
    assert counts["inside"] < 0.75 * counts["true"]


def test_pits_at_the_specimen_edge_count_fully():
    """A specimen strip narrower than the frame loses pits at two sides of the frame only."""
    rng = np.random.default_rng(12)
    region = np.zeros((120, 120), dtype=bool)
    region[:, 30:80] = True
    true_density, total, fields = 40 / region.sum(), 0.0, 400
    for _ in range(fields):
        number = rng.poisson(true_density * 50 * 200)
        top = rng.integers(-40, 160, number)
        left, height, width = rng.integers(30, 80, number), rng.integers(3, 30, number), np.full(number, 1)
        seen = (top + height > 0) & (top < 120)
        weights = edge_weights(
            top[seen], left[seen], height[seen], width[seen], frame=(0, 120, 0, 120), region=region
        ).weights
        total += density(weights, float(region.sum())).value
    assert total / fields == pytest.approx(true_density, rel=0.03)  # three standard errors


@pytest.mark.parametrize(
    ("count", "low", "high"),
    [
        (0, 0.0, 3.689),
        (1, 0.0253, 5.572),
        (2, 0.2422, 7.225),
        (3, 0.6187, 8.767),
        (5, 1.623, 11.668),
        (10, 4.795, 18.390),
        (20, 12.217, 30.888),
        (100, 81.36, 121.63),
    ],
)
def test_garwood_interval(count, low, high):
    """Equal weights: the exact 95 % interval of a Poisson count, to the digits that tables print."""
    estimate = density(np.ones(count), 1.0)
    assert estimate.value == count
    assert estimate.ci95 == pytest.approx((low, high), rel=4e-4, abs=5e-5)


def thrown_boxes(rng, side, expected):
    """Bounding boxes of a Poisson field with log-normal sizes, those that reach the frame."""
    margin = 120
    number = rng.poisson(expected * ((side + 2 * margin) / side) ** 2)
    centre = rng.uniform(-margin - 0.5, side + margin - 0.5, (2, number))
    half = 8 * np.exp(rng.normal(0, 0.4, (2, number)))
    first, last = np.ceil(centre - half).astype(int), np.floor(centre + half).astype(int)
    seen = ((last >= 0) & (first < side)).all(axis=0)
    first, size = first[:, seen], (last - first + 1)[:, seen]
    return first[0], first[1], size[0], size[1]


@pytest.mark.parametrize("expected", [4.0, 25.0])
def test_interval_of_a_weighted_count_holds_the_truth(expected):
    """95 % promised; over 800 fields a share of 0.927 would be three standard errors short."""
    rng = np.random.default_rng(6)
    side, held = 200, 0
    for _ in range(800):
        weights = edge_weights(*thrown_boxes(rng, side, expected), frame=(0, side, 0, side)).weights
        low, high = density(weights, side**2).ci95
        held += low <= expected / side**2 <= high
    assert held / 800 > 0.927


def test_interval_of_the_pitted_area_fraction_holds_the_truth():
    """Boxes of mean area 16² exp(0.16) px²; pixels are counted, so cut pits need no edge rule (Delesse)."""
    rng = np.random.default_rng(7)
    side, expected, held, total = 400, 30.0, 0, 0.0
    truth = expected * 256 * math.exp(0.16) / side**2
    for _ in range(800):
        top, left, height, width = thrown_boxes(rng, side, expected)
        seen_rows = np.minimum(top + height, side) - np.maximum(top, 0)
        seen_cols = np.minimum(left + width, side) - np.maximum(left, 0)
        e = area_fraction_interval(seen_rows * seen_cols, 2 * (seen_rows + seen_cols), side**2, 0.0)
        held += e.ci95[0] <= truth <= e.ci95[1]
        total += e.value
    assert total / 800 == pytest.approx(truth, rel=0.03)
    assert held / 800 > 0.927

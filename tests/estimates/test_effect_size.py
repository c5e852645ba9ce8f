"""Hedges' g: words, signs, refusals, coverage."""

import numpy as np
import pytest

from surfscan.estimates.effect_size import hedges_g, known_values


def test_no_difference():
    g = hedges_g([1, 2, 3], [1, 2, 3])
    assert g.hedges_g == 0
    assert g.ci95[0] == pytest.approx(-g.ci95[1])
    assert g.words == "negligible"


@pytest.mark.parametrize(
    ("shift", "words"),
    [(0.1, "negligible"), (0.4, "small"), (0.7, "medium"), (1.0, "large"), (3.0, "very large")],
)
def test_words(shift, words):
    a = np.tile([-1.0, 1.0], 50)
    assert hedges_g(a, a + shift).words == words


def test_it_is_far_from_nothing():
    g = hedges_g([0, 0.1, 0.2], [100, 100.1, 100.2])
    assert g.ci95[0] < g.hedges_g < g.ci95[1]
    assert g.ci95[0] > 100


def test_even_farther():
    """Twice as far in units of the same scatter: twice the interval, also where the way changes between."""
    near, far = (hedges_g([0, 0.1, 0.2], [d, d + 0.1, d + 0.2]) for d in (60.0, 120.0))
    assert far.ci95 == pytest.approx((2 * near.ci95[0], 2 * near.ci95[1]), rel=1e-3)
    immense = hedges_g([1e3, 1e3 + 1e-6, 1e3 + 2e-6], [0, 1e-6, 2e-6])
    assert immense.ci95[0] < immense.hedges_g < immense.ci95[1] < 0


@pytest.mark.parametrize(("n", "m", "true"), [(3, 3, 0.0), (3, 3, 3.0), (4, 5, 1.0), (3, 8, 4.0)])
def test_the_interval_covers(n, m, true):
    """Few specimens, true difference of so many standard deviations: 95 % to 3.7 standard errors of 400."""
    rng = np.random.default_rng(11)
    limits = [hedges_g(rng.normal(0, 1, n), rng.normal(true, 1, m)).ci95 for _ in range(400)]
    held = sum(low <= true <= high for low, high in limits)
    assert 0.91 * 400 <= held <= 0.99 * 400


@pytest.mark.parametrize(("a", "b"), [([1], [2, 3]), ([1, 1], [1, 1]), ([1, np.inf], [2, 3])])
def test_nonsense_is_refused(a, b):
    with pytest.raises(ValueError, match=r"\w"):
        hedges_g(a, b)


def test_known_values():
    assert known_values([[1, np.nan], [3, 4]]).tolist() == [1, 3, 4]

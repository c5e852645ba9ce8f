"""Few replicates and a shared uncertainty in one interval."""

import math

import numpy as np
import pytest

from surfscan.estimates.combining import combined_half_width
from surfscan.estimates.groups import t_factor


@pytest.mark.parametrize("freedom", [1, 2, 3, 10, 100])
@pytest.mark.parametrize("between", [0.0, 0.1, 0.5, 1.0, 3.0, 10.0])
def test_between_the_larger_part_and_the_root_sum_of_squares(between, freedom):
    half = combined_half_width(between, freedom, 1.0)
    assert max(between, 1.0) <= half <= math.hypot(between, 1.0) * (1 + 1e-12)


def test_one_part_alone():
    assert combined_half_width(0.7, 2, 0.0) == 0.7
    assert combined_half_width(0.0, 2, 0.7) == 0.7


def test_many_replicates_are_root_sum_of_squares():
    assert combined_half_width(3.0, 1e6, 4.0) == pytest.approx(5.0, rel=1e-4)


def test_by_hand():
    """u = 1 with 2 degrees of freedom and u = 2 known: ν = 25 / (1 / 2) = 50, t = 2.009, times √5."""
    assert combined_half_width(4.3027, 2, 2 * 1.95996) == pytest.approx(2.00856 * math.sqrt(5), rel=1e-4)


@pytest.mark.parametrize("shared", [0.2, 0.6, 1.0, 2.0, 5.0])
def test_it_covers(shared):
    """Three replicates of spread √3 (their mean: 1) and a shared error of known size."""
    rng = np.random.default_rng(3)
    held = 0
    for _ in range(2000):
        x = rng.normal(0, math.sqrt(3), 3)
        between = t_factor(2) * x.std(ddof=1) / math.sqrt(3)
        half = combined_half_width(between, 2, 1.96 * shared)
        held += abs(x.mean() + shared * rng.normal()) <= half
    assert 0.93 * 2000 <= held <= 0.985 * 2000


@pytest.mark.parametrize(("between", "common"), [(-1.0, 1.0), (1.0, -1.0), (math.nan, 1.0), (1.0, math.inf)])
def test_nonsense_is_refused(between, common):
    with pytest.raises(ValueError, match="half widths"):
        combined_half_width(between, 2, common)

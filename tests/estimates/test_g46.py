"""Binning rule of the G46 classes between and beyond the nominal values."""

import math
from itertools import pairwise

import pytest

from surfscan.estimates.g46 import (
    DENSITY_NOMINAL_PER_M2,
    SIZE_NOMINAL_MM2,
    density_class,
    rate,
    size_class,
)


@pytest.mark.parametrize(
    ("nominal", "classify", "letter", "unit"),
    [(DENSITY_NOMINAL_PER_M2, density_class, "A", 1e-6), (SIZE_NOMINAL_MM2, size_class, "B", 1e6)],
)
def test_bounds_lie_at_the_geometric_means(nominal, classify, letter, unit):
    for k, (a, b) in enumerate(pairwise(nominal), start=1):
        middle = math.sqrt(a * b) * unit
        assert classify(middle * 0.999) == f"{letter}{k}"
        assert classify(middle * 1.001) == f"{letter}{k + 1}"
    assert classify(nominal[0] * unit * 0.99) == f"below {letter}1 (outside chart)"
    assert classify(nominal[-1] * unit * 1.01) == f"above {letter}5 (outside chart)"
    assert classify(0.0) == f"below {letter}1 (outside chart)"


@pytest.mark.parametrize("bad", [-1.0, float("nan"), float("inf")])
def test_unusable_figures_are_refused(bad):
    with pytest.raises(ValueError, match="finite"):
        density_class(bad)
    with pytest.raises(ValueError, match="finite"):
        size_class(bad)


def test_no_pits_have_no_size():
    rating = rate(0.0, None)
    assert rating.density_class == "below A1 (outside chart)"
    assert rating.size_class is None
    assert rating.warnings == ()


def test_pits_cannot_cover_more_than_the_surface():
    assert rate(100.0, 10_000.0).warnings == ()  # exactly all of it
    assert "more than all of it" in rate(100.0, 10_100.0).warnings[0]


def test_a_small_field_without_a_pit_is_not_rated():
    """No pit seen says little: rated only where the upper limit lies below the chart as well."""
    small, large = rate(0.0, None, upper_per_mm2=90.0), rate(0.0, None, upper_per_mm2=0.001)
    assert small.density_class is None and "Take a larger field" in small.warnings[0]
    assert large.density_class == "below A1 (outside chart)" and not large.warnings
    assert rate(100.0, None, upper_per_mm2=150.0).density_class is not None

"""Uncertainty of B and of the corrosion current from it."""

import math

import numpy as np
import pytest

from surfscan.electrochemistry.stern_geary import (
    assumed_constant,
    constant_of_slopes,
    corrosion_current_uA_per_cm2,
    corrosion_current_with_interval,
    stern_geary_constant_V,
)


def test_uncertainty_of_B_is_that_of_drawn_slopes():
    rng = np.random.default_rng(0)
    ba, bc = 0.06 * np.exp(0.1 * rng.standard_normal(20000)), 0.12 * np.exp(0.2 * rng.standard_normal(20000))
    drawn = 1 / (math.log(10) * (1 / ba + 1 / bc))
    found = constant_of_slopes(0.06, 0.12, anodic_relative_uncertainty=0.1, cathodic_relative_uncertainty=0.2)
    assert found.relative_standard_uncertainty == pytest.approx(np.std(np.log(drawn)), rel=0.02)
    assert not found.is_assumed


def test_diffusion_limited_branch_carries_no_uncertainty():
    found = constant_of_slopes(
        0.1, math.inf, anodic_relative_uncertainty=0.1, cathodic_relative_uncertainty=0.5
    )
    assert found.relative_standard_uncertainty == pytest.approx(0.1)


def test_assumed_B_says_so_and_spans_its_range():
    found = assumed_constant(0.026, (0.013, 0.052))
    assert found.is_assumed
    assert found.relative_standard_uncertainty == pytest.approx(math.log(4) / math.sqrt(12))
    value, (low, high) = corrosion_current_with_interval(found, 1000.0, 0.0)
    assert value == pytest.approx(26.0)
    assert (low, high) == pytest.approx((26 / 2.19, 26 * 2.19), rel=0.01)


@pytest.mark.parametrize(
    "call",
    [
        lambda: stern_geary_constant_V(0.0, 0.1),
        lambda: stern_geary_constant_V(math.inf, math.inf),
        lambda: assumed_constant(0.026, (0.05, 0.01)),
        lambda: corrosion_current_uA_per_cm2(0.026, 0.0),
    ],
)
def test_nonsense_is_refused(call):
    with pytest.raises(ValueError, match=r"above 0|diffusion"):
        call()

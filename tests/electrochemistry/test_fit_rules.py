"""Rules that nothing can meet are refused."""

import pytest

from surfscan.electrochemistry.fit_rules import FitRules


@pytest.mark.parametrize(
    "wrong",
    [
        {"smallest_reach_mV": 0.0},
        {"largest_misfit": -0.1},
        {"largest_interval_ratio": 1.0},
        {"slope_limits_mV_per_decade": (500.0, 25.0)},
    ],
)
def test_impossible_rules(wrong):
    """Limits of 0 and below, and limits that fall."""
    with pytest.raises(ValueError):
        FitRules(**wrong)

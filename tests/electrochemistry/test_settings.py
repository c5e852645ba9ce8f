"""Settings of sweeps: documented, bounded, and consistent among themselves."""

import pytest
from pydantic import ValidationError

from surfscan.electrochemistry.settings import SWEEP_SETTINGS, SweepSettings


def test_every_setting_says_what_it_does():
    assert SWEEP_SETTINGS["sweep"] is SweepSettings
    assert all(field.description for field in SweepSettings.model_fields.values())


@pytest.mark.parametrize(
    "wrong",
    [
        {"unknown": 1},
        {"scan": 0},
        {"tafel_slope_limits_mV_per_decade": (100.0, 50.0)},
        {"assumed_stern_geary_V": 0.1},
        {"assumed_stern_geary_range_V": (0.0, 0.05)},
        {"cathodic_slope_mV_per_decade": 120.0},
        {"largest_interval_ratio": 1.0},
    ],
    ids=str,
)
def test_nonsense_is_refused(wrong):
    with pytest.raises(ValidationError):
        SweepSettings.model_validate(wrong)

"""Settings of rig logs."""

import pytest
from pydantic import ValidationError

from surfscan.immersion.exposure_settings import BANDS, ExposureSettings


def test_nothing_is_judged_by_default():
    assert all(ExposureSettings().band(channel) is None for channel in BANDS)


def test_band():
    settings = ExposureSettings(pH=7.4, pH_tolerance=0.2)
    assert settings.band("pH") == (7.4, 0.2)
    assert settings.band("acid") is None


@pytest.mark.parametrize(
    "stated",
    [
        {"pH": 7.4},
        {"temperature_tolerance_degC": 1.0},
        {"columns": {"level": 2}},
        {"units": {"flow": "kPa"}},
        {"units": {"flow": "room"}},
        {"least_in_range_fraction": 0.99},
        {"longest_excursion_h": 30.0},
        {"largest_gap_fraction": 0.6},
        {"gap_intervals": 1.0},
        {"acid_mol_per_L": 0.0},
        {"unknown": 1},
    ],
)
def test_refused(stated):
    with pytest.raises(ValidationError):
        ExposureSettings.model_validate(stated)


def test_every_field_is_described():
    assert all(field.description for field in ExposureSettings.model_fields.values())

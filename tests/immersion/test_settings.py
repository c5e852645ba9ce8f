"""Settings of the immersion rates."""

import pytest
from pydantic import ValidationError

from surfscan.immersion.settings import IMMERSION_SETTINGS, ImmersionSettings


def test_every_setting_is_described_with_its_unit():
    for name, field in ImmersionSettings.model_fields.items():
        assert field.description, name
        for suffix, unit in (("_mg", "mg"), ("_h", " h"), ("_mL", "mL"), ("_degC", "°C"), ("_kPa", "kPa")):
            assert not name.endswith(suffix) or unit in field.description
    assert IMMERSION_SETTINGS["immersion"] is ImmersionSettings


def test_nonsense_is_refused():
    with pytest.raises(ValidationError):
        ImmersionSettings(balance_uncertainty_mg=0)
    with pytest.raises(ValidationError):
        ImmersionSettings(balance=1)

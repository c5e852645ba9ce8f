"""Settings: documented, bounded, closed to unknown keys, ready for JSON."""

import json

import pytest
from pydantic import ValidationError

from surfscan.procedures.settings import PROCEDURE_SETTINGS, PitSettings

MODELS = tuple(PROCEDURE_SETTINGS.values())


@pytest.mark.parametrize("model", MODELS)
def test_defaults_are_valid_and_plain(model):
    """The defaults pass their own limits and go through JSON unchanged."""
    defaults = model().model_dump(mode="json")
    assert model.model_validate(json.loads(json.dumps(defaults))) == model()


@pytest.mark.parametrize(("model", "name"), [(m, n) for m in MODELS for n in m.model_fields])
def test_every_setting_is_documented(model, name):
    """Each has a description in a sentence, and a length or an area says its unit there too."""
    text = model.model_fields[name].description or ""
    assert len(text) > 20
    assert text.endswith(".")
    for suffix, unit in (("_um", "µm"), ("_um2", "µm²"), ("_px", "px")):
        if name.endswith(suffix):
            assert unit in text


@pytest.mark.parametrize("model", MODELS)
def test_unknown_keys_are_refused(model):
    """A misspelt setting is an error, never ignored."""
    with pytest.raises(ValidationError, match="min_contrasts"):
        model(min_contrasts=0.1)


@pytest.mark.parametrize(
    "wrong",
    [
        {"min_contrast": 0},
        {"min_contrast": 1},
        {"min_contrast_to_noise": 0.5},
        {"min_diameter_um": 0},
        {"min_diameter_px": 1.9},
        {"max_aspect": 1},
        {"specimen_region": "all"},
        {"data_strip": True},
        {"min_contrast": float("nan")},
    ],
    ids=str,
)
def test_values_out_of_range_are_refused(wrong):
    """Values that make no sense do not get in."""
    with pytest.raises(ValidationError):
        PitSettings(**wrong)


@pytest.mark.parametrize("model", MODELS)
def test_settings_do_not_change(model):
    """Settings that went with a result stay what they were."""
    with pytest.raises(ValidationError, match="frozen"):
        model().min_contrast = 0.5

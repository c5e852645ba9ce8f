"""What to write instead of an unknown key, another unit or a quoted number."""

from __future__ import annotations

import pytest
from pydantic import ValidationError

from surfscan.procedures.settings import PitSettings
from surfscan.study.entries import ImageEntry, Specimen, StudySettings
from surfscan.study.faults import describe, suggest_key
from surfscan.study.rate_entries import CheckEntry, LogEntry, Material


@pytest.mark.parametrize(
    ("name", "value", "remedy"),
    [
        ("pixel_size_mm", 0.0005, "write pixel_size_um = 0.5"),
        ("pixel_size_nm", [500, 250], "write pixel_size_um = [0.5, 0.25]"),
        ("pixel_size_um2", 1, "write pixel_size_um ("),
        ("pixel_size_mm", "?", "write pixel_size_um"),
        ("pixel_size", 0.5, "Say the unit: write pixel_size_um (µm)"),
        ("exposure_d", 7, "write exposure_h = 168"),
        ("exposure_days", 1.5, "write exposure_h = 36"),
        ("exposure_weeks", None, "write exposure_h"),
        ("surface_area_cm2", 4.12, "write surface_area_mm2 = 412"),
        ("density_kg_per_m3", 1760, "write density_g_per_cm3 = 1.76"),
        ("cut_angle_rad", 0.1, "write cut_angle_deg = 5.729577951"),
        ("cut_angle", 5, "Say the unit: write cut_angle_deg (°)"),
        ("specimn", "x", "Did you mean 'specimen'?"),
        ("drawn_width_um", 400, "Known here"),
        ("qqq", 1, "Known here: pixel_size_um, exposure_h"),
    ],
)
def test_unknown_keys(name: str, value: object, remedy: str) -> None:
    fields = ["pixel_size_um", "exposure_h", "surface_area_mm2", "density_g_per_cm3", "specimen"]
    fields.append("cut_angle_deg")
    assert remedy in suggest_key(name, value, fields)


def _said(model: type, row: dict) -> str:
    with pytest.raises(ValidationError) as caught:
        model.model_validate(row, strict=True)
    [(_, what, remedy)] = describe(caught.value, model)
    return f"{what}. {remedy}"


@pytest.mark.parametrize(
    ("value", "said"),
    [
        ("0.5 mm", "pixel_size_um = 500"),
        ("0,5 µm", "pixel_size_um = 0.5"),
        ("250 nm", "pixel_size_um = 0.25"),
        ("0.5", "without quotes, in µm: pixel_size_um = 0.5"),
        ("3 h", "The unit 'h' does not convert to µm"),
        ("unknown", "Write a bare number in µm: pixel_size_um = ..."),
        ("1.412,5", "Write a bare number in µm: pixel_size_um = ..."),
        (-1, "should be greater than 0"),
        (float("nan"), "pixel_size_um (µm) should be a finite number"),
        (True, "pixel_size_um = true cannot be used"),
        ([0.5, 0.5, 0.5], "cannot be used"),
    ],
)
def test_pixel_sizes(value: object, said: str) -> None:
    with pytest.raises(ValidationError) as caught:
        ImageEntry.model_validate({"file": "a", "specimen": "s", "pixel_size_um": value}, strict=True)
    assert said in " ".join(f"{what}. {remedy}" for _, what, remedy in describe(caught.value, ImageEntry))


def test_other_faults() -> None:
    specimen = {"id": "s", "group": "g"}
    assert "exposure_h (h) should be greater than or equal to 0" in _said(
        Specimen, specimen | {"exposure_h": -1}
    )
    assert _said(Specimen, {"id": "s"}) == "'group' is missing. Add group = ..."
    image = {"file": "a", "specimen": "s"}
    assert "Did you mean 'cleaned'?" in _said(ImageEntry, image | {"condition": "clean"})
    assert "Did you mean 'degraded'?" in _said(ImageEntry, image | {"procedures": ["degradd"]})
    assert "density_g_per_cm3 = 1.76" in _said(Material, {"name": "m", "density_g_per_cm3": "1760 kg/m3"})


def test_keys_of_a_table_within_a_table() -> None:
    with pytest.raises(ValidationError) as caught:
        StudySettings.model_validate({"pits": {"min_diameter_mm": 0.01}})
    [(path, what, remedy)] = describe(caught.value, StudySettings)
    assert path == ("pits", "min_diameter_mm")
    assert what == "unknown key 'min_diameter_mm'" and remedy.endswith("write min_diameter_um = 10")
    assert "Did you mean 'max_aspect'?" in _said(PitSettings, {"max_aspct": 3})


def test_one_pixel_size_for_both_directions_is_one_fault() -> None:
    assert "pixel_size_um = 0 cannot be used" in _said(
        ImageEntry, {"file": "a", "specimen": "s", "pixel_size_um": 0}
    )


def test_unknown_key_in_a_list_of_tables_lists_those_of_the_table() -> None:
    """Of [[log]], checks = [{...}]: the keys of a check, not those of the log."""
    check = {"instrument": "pH probe", "offset_before": 0.01}
    with pytest.raises(ValidationError) as caught:
        LogEntry.model_validate({"checks": [check]})
    [remedy] = [r for path, what, r in describe(caught.value, LogEntry) if "unknown key" in what]
    known = set(CheckEntry.model_fields)
    assert set(remedy.removeprefix("Known here: ").split(", ")) == known or remedy.startswith("Did you mean")
    assert not any(key in remedy for key in set(LogEntry.model_fields) - known - {"instrument"})

"""What one table of the manifest may say; `test_manifest.py` checks that each fault gets its line."""

from __future__ import annotations

from pathlib import Path

import pytest
from pydantic import ValidationError

from surfscan.procedures.settings import (
    DegradedSettings,
    HeightPitSettings,
    PitSettings,
    SectionSettings,
    StrutSettings,
    TextureSettings,
)
from surfscan.study.entries import (
    COMPANIONS,
    PROCEDURES_BY_KIND,
    SETTINGS_TABLES,
    ImageEntry,
    Specimen,
    Study,
    StudySettings,
    image_id,
)
from surfscan.study.faults import describe
from surfscan.study.rate_entries import LogEntry, WeighingEntry


def _entry(**stated: object) -> ImageEntry:
    return ImageEntry(file="a.x3p", specimen="s", **stated)


def _faults(**stated: object) -> list[tuple[tuple, str, str]]:
    with pytest.raises(ValidationError) as caught:
        _entry(**stated)
    return describe(caught.value, ImageEntry)


def test_procedures_go_by_what_the_image_shows() -> None:
    assert _entry().procedures == _entry(shows="surface").procedures == ("pits", "degraded")
    assert _entry(shows="heights").procedures == ("pits", "texture")
    assert _entry(shows="heights", procedures=["texture"]).procedures == ("texture",)
    for shows, procedures in PROCEDURES_BY_KIND.items():
        assert _entry(shows=shows, procedures=list(procedures)).procedures == procedures


def test_what_belongs_to_an_image() -> None:
    files = {"unexposed": "before.x3p", "datum": "masks\\\\d.png", "region": "./r.png"}
    named = _entry(shows="heights", **files).companions()
    assert list(named) == ["region", "datum", "unexposed"] == [role for role in COMPANIONS if role in named]
    assert named == {"region": "r.png", "datum": "masks/d.png", "unexposed": "before.x3p"}
    assert _entry().companions() == {}


@pytest.mark.parametrize("shows", [None, "surface"])
@pytest.mark.parametrize(
    "stated",
    [{"procedures": ["texture"]}, {"height_unit": "nm"}, {"datum": "d.png"}, {"unexposed": "b.x3p"}],
)
def test_a_picture_has_nothing_that_needs_heights(shows: str | None, stated: dict[str, object]) -> None:
    [(path, what, remedy)] = _faults(**{"shows": shows} if shows else {}, **stated)
    assert path == tuple(stated)
    assert "this image shows a surface" in what and 'write shows = "heights"' in remedy


def test_a_height_map_has_no_degraded_area() -> None:
    [(path, what, remedy)] = _faults(shows="heights", procedures=["pits", "degraded"])
    assert path == ("procedures",) and "told by brightness" in what and 'shows = "surface"' in remedy


def test_an_unreadable_kind_starts_no_tale_about_what_hangs_on_it() -> None:
    [(path, _, remedy)] = _faults(shows="height", datum="d.png", procedures=["texture"])
    assert path == ("shows",) and "Did you mean 'heights'?" in remedy


@pytest.mark.parametrize(("unit", "known"), [("nm", True), ("µm", True), ("um", True), ("counts", False)])
def test_height_units_are_lengths(unit: str, known: bool) -> None:
    if known:
        assert _entry(shows="heights", height_unit=unit).height_unit == unit
    else:
        [(path, what, _)] = _faults(shows="heights", height_unit=unit)
        assert path == ("height_unit",) and "no unit of length" in what


def test_settings_of_each_procedure_on_each_kind() -> None:
    settings = StudySettings()
    found = {
        (procedure, shows): type(settings.of(procedure, shows))
        for shows, procedures in PROCEDURES_BY_KIND.items()
        for procedure in procedures
    }
    assert found == {
        ("pits", "surface"): PitSettings,
        ("degraded", "surface"): DegradedSettings,
        ("pits", "heights"): HeightPitSettings,
        ("texture", "heights"): TextureSettings,
        ("struts", "strut"): StrutSettings,
        ("section", "section"): SectionSettings,
    }
    assert isinstance(settings.of("pits"), PitSettings)


def test_an_image_is_named_by_its_file_and_page() -> None:
    assert image_id("a\\b.tif", None) == "a/b.tif"
    assert _entry(page=2).image_id == image_id("a.x3p", 2) == "a.x3p#2"


def test_a_specimen_has_one_surface() -> None:
    plate = {"shape": "plate", "length_mm": 20, "width_mm": 10, "thickness_mm": 2}
    computed = Specimen(id="s", group="g", wetted_surface=plate)
    assert (computed.wetted_mm2, computed.wetted_relative_uncertainty) == (pytest.approx(520), None)
    stated = Specimen(id="s", group="g", surface_area_mm2=50, surface_area_relative_uncertainty=0.1)
    assert (stated.wetted_mm2, stated.wetted_relative_uncertainty) == (50.0, 0.1)
    assert Specimen(id="s", group="g").wetted_mm2 is None
    for contradictory, said in (
        ({"surface_area_mm2": 500, "wetted_surface": plate}, "is stated twice"),
        ({"surface_area_relative_uncertainty": 0.1}, "without surface_area_mm2"),
    ):
        with pytest.raises(ValidationError) as caught:
            Specimen(id="s", group="g", **contradictory)
        [(path, what, _)] = describe(caught.value, Specimen)
        assert path[-1] in contradictory and said in what


def test_every_settings_table_of_a_study_has_its_class() -> None:
    fields = StudySettings.model_fields
    assert {name: fields[name].annotation for name in fields} == {n: SETTINGS_TABLES[n] for n in fields}
    given = {"sweep": {"tafel_slope_limits_mV_per_decade": [30, 400]}}
    settings = StudySettings.model_validate(given, strict=True)
    assert settings.sweep.tafel_slope_limits_mV_per_decade == (30.0, 400.0)


def test_what_a_study_names(tmp_path: Path) -> None:
    study = Study(
        folder=tmp_path,
        title="T",
        specimens=(Specimen(id="a", group="g", material="Zn"), Specimen(id="b", group="h")),
        images=(ImageEntry(file="a.png", specimen="a"),),
        weighings=(WeighingEntry(specimen="a", before_g=1.0, cleaned_g=[0.9]),),
        logs=(LogEntry(file="l.csv", group="g"), LogEntry(file="m.csv", specimens=["a", "b"])),
    )
    assert study.entry_ids == {"a.png", "weighing of a", "l.csv", "m.csv"}
    assert [study.specimens_of(log) for log in study.logs] == [("a",), ("a", "b")]
    assert [log.file for log in study.logs_of("b")] == ["m.csv"]
    zinc = study.material_of("a")
    assert zinc is not None and zinc.base_element == "Zn" and study.material_of("b") is None

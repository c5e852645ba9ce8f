"""What one table of the manifest may say; `test_manifest.py` checks that each fault gets its line."""

from __future__ import annotations

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
from surfscan.study.entries import COMPANIONS, PROCEDURES_BY_KIND, ImageEntry, StudySettings, image_id
from surfscan.study.faults import describe


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

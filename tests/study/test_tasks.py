"""A fingerprint changes with all that decides a result, and with nothing else."""

from __future__ import annotations

import hashlib
import json
from importlib import import_module
from pathlib import Path

import pytest

from surfscan.errors import InputError
from surfscan.procedures.settings import DegradedSettings, HeightPitSettings, PitSettings, TextureSettings
from surfscan.study.entries import PROCEDURES_BY_KIND, ImageEntry, Study
from surfscan.study.tasks import PROCEDURES, fingerprint, plan_image

IMAGE = ImageEntry(file="a.png", specimen="s")
HEIGHTS = ImageEntry(file="a.x3p", specimen="s", shows="heights")
SETTINGS = PitSettings()


def test_what_decides_a_result_enters() -> None:
    marks = [
        fingerprint(IMAGE, "pits", SETTINGS, "0", {}),
        fingerprint(IMAGE, "pits", SETTINGS, "1", {}),
        fingerprint(IMAGE, "pits", SETTINGS, "0", {"region": "0"}),
        fingerprint(IMAGE, "pits", PitSettings(min_contrast=0.2), "0", {}),
        fingerprint(IMAGE, "degraded", DegradedSettings(), "0", {}),
        fingerprint(IMAGE, "pits", SETTINGS, "0", {}, version="0"),
        fingerprint(IMAGE.model_copy(update={"page": 0}), "pits", SETTINGS, "0", {}),
        fingerprint(IMAGE.model_copy(update={"pixel_size_um": (1.0, 1.0)}), "pits", SETTINGS, "0", {}),
        fingerprint(IMAGE.model_copy(update={"pixel_size_um": (1.0, 2.0)}), "pits", SETTINGS, "0", {}),
    ]
    assert len(set(marks)) == len(marks)


def test_nothing_else_does() -> None:
    other = {"file": "b.png", "specimen": "t", "condition": "cleaned", "field_choice": "random", "note": "n"}
    assert fingerprint(IMAGE.model_copy(update=other), "pits", SETTINGS, "0", {}) == fingerprint(
        IMAGE, "pits", SETTINGS, "0", {}
    )


def test_a_picture_s_fingerprint_knows_nothing_of_heights() -> None:
    """It is made of the keys it had before height maps came: results stored then stay up to date."""
    decisive = {
        "image": "0",
        "page": None,
        "pixel_size_um": None,
        "procedure": "pits",
        "region": None,
        "settings": SETTINGS.model_dump(mode="json"),
        "shows": "surface",
        "version": "1",
    }
    surface = IMAGE.model_copy(update={"shows": "surface"})
    expected = hashlib.sha256(json.dumps(decisive, sort_keys=True).encode()).hexdigest()
    assert fingerprint(surface, "pits", SETTINGS, "0", {}, "1") == expected


def test_original_level_and_height_unit_decide() -> None:
    settings = HeightPitSettings()

    def mark(image: ImageEntry = HEIGHTS, **files: str) -> str:
        return fingerprint(image, "pits", settings, "0", files)

    marks = [
        mark(),
        mark(datum="0"),
        mark(datum="1"),
        mark(unexposed="0"),
        mark(HEIGHTS.model_copy(update={"height_unit": "nm"})),
        mark(HEIGHTS.model_copy(update={"height_unit": "mm"})),
    ]
    assert len(set(marks)) == len(marks)
    texture = TextureSettings()
    assert fingerprint(HEIGHTS, "texture", texture, "0", {"datum": "0"}) == fingerprint(
        HEIGHTS, "texture", texture, "0", {}
    )


def _study(folder: Path, image: ImageEntry) -> Study:
    return Study(folder=folder, title="T", images=(image,))


def test_settings_go_by_what_the_image_shows(tmp_path: Path) -> None:
    for name in ("a.png", "a.x3p"):
        (tmp_path / name).write_bytes(b"content")
    picture = plan_image(_study(tmp_path, IMAGE), IMAGE)
    assert [(j.procedure, type(j.settings)) for j in picture.jobs] == [
        ("pits", PitSettings),
        ("degraded", DegradedSettings),
    ]
    heights = plan_image(_study(tmp_path, HEIGHTS), HEIGHTS)
    assert [(j.procedure, type(j.settings)) for j in heights.jobs] == [
        ("pits", HeightPitSettings),
        ("texture", TextureSettings),
    ]


def test_what_belongs_to_an_image_decides_and_must_be_there(tmp_path: Path) -> None:
    image = HEIGHTS.model_copy(update={"datum": "d.png", "unexposed": "before.x3p"})
    study = _study(tmp_path, image)
    marks = set()
    (tmp_path / "a.x3p").write_bytes(b"content")
    with pytest.raises(InputError, match=r"the datum mask d\.png is missing"):
        plan_image(study, image)
    (tmp_path / "d.png").write_bytes(b"mask")
    with pytest.raises(InputError, match=r"the unexposed height map before\.x3p is missing"):
        plan_image(study, image)
    for changed in ("before.x3p", "d.png", "before.x3p"):
        with (tmp_path / changed).open("ab") as file:
            file.write(b"more")
        pits, texture = plan_image(study, image).jobs
        marks |= {pits.fingerprint, texture.fingerprint}
    assert len(marks) == 3 + 1


def test_there_is_a_function_for_every_procedure_of_the_manifest() -> None:
    assert {name for names in PROCEDURES_BY_KIND.values() for name in names} == set(PROCEDURES)
    for place in PROCEDURES.values():
        module, name = place.split(":")
        assert callable(getattr(import_module(module), name))

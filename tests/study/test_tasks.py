"""A fingerprint changes with all that decides a result, and with nothing else."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from importlib import import_module
from pathlib import Path

import numpy as np
import pytest

from surfscan.errors import InputError
from surfscan.procedures.settings import (
    DegradedSettings,
    HeightPitSettings,
    PitSettings,
    SectionSettings,
    StrutSettings,
    TextureSettings,
)
from surfscan.store.results import StagedResult
from surfscan.study.entries import PROCEDURES_BY_KIND, ImageEntry, Specimen, Study, StudySettings
from surfscan.study.tasks import PROCEDURES, fingerprint, plan_image, settings_for
from surfscan.study.worker import measure_image

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


def test_drawn_sizes_take_the_place_of_settings(tmp_path: Path) -> None:
    drawn = Specimen(id="s", group="g", drawn_strut_width_um=400, drawn_shape="ellipse")
    bare = Specimen(id="t", group="g")
    stated = StudySettings(
        struts=StrutSettings(drawn_width_um=500, drawn_thickness_um=300),
        section=SectionSettings(drawn_width_um=600, cut_angle_deg=5),
    )
    study = Study(folder=tmp_path, title="T", specimens=(drawn, bare), settings=stated)

    def of(specimen: str, shows: str, **more: object) -> tuple:
        image = ImageEntry(file="a.png", specimen=specimen, shows=shows, **more)
        found = settings_for(study, image, image.procedures[0])
        angle = getattr(found, "cut_angle_deg", None)
        return type(found), found.drawn_width_um, found.drawn_thickness_um, found.drawn_shape, angle

    assert of("s", "strut") == (StrutSettings, 400, 300, "ellipse", None)
    assert of("t", "strut") == (StrutSettings, 500, 300, "rectangle", None)
    assert of("s", "section") == (SectionSettings, 400, None, "ellipse", 5)
    assert of("t", "section", cut_angle_deg=0.0) == (SectionSettings, 600, None, "rectangle", 0)
    surface = ImageEntry(file="a.png", specimen="s")
    assert settings_for(study, surface, "pits") == PitSettings()


def test_a_strut_is_measured_against_what_its_specimen_was_drawn(tmp_path: Path) -> None:
    """The real procedure: struts of 40 px of 10 µm, drawn 500 µm wide, were 480 µm before."""
    import cv2

    for name, half in (("a.png", 20), ("before.png", 24)):
        grey = np.random.default_rng(half).normal(200, 2, (240, 320))
        grey[80 - half : 80 + half] = 50
        grey[80:, 120 - half : 120 + half] = 50
        grey = cv2.GaussianBlur(grey, (0, 0), 1.0).astype(np.uint8)
        (tmp_path / name).write_bytes(cv2.imencode(".png", grey)[1].tobytes())
    specimen = Specimen(id="s", group="g", drawn_strut_width_um=500, drawn_thickness_um=300)
    for more, against, loss in (({}, "drawn", 0.2), ({"before": "before.png"}, "before", 1 / 6)):
        image = ImageEntry(file="a.png", specimen="s", shows="strut", pixel_size_um=(10.0, 10.0), **more)
        study = Study(folder=tmp_path, title="T", specimens=(specimen,), images=(image,))
        [(_, staged)] = measure_image(plan_image(study, image))
        assert isinstance(staged, StagedResult), staged
        summary = json.loads(staged.record)["summary"]
        assert summary["mean_width_um"] == pytest.approx(400, abs=2)
        assert summary["loss_against"] == against
        assert summary["loss_fraction"] == pytest.approx(loss, abs=0.005)
        assert summary["section_basis"].startswith("drawn thickness")


def test_a_section_is_measured_against_what_its_specimen_was_drawn(
    tmp_path: Path, draw_section: Callable[..., np.ndarray]
) -> None:
    """The real procedure: 96 x 66 px of 0.5 µm are left of 60 x 45 µm drawn, or of a twin of 61 x 46 µm."""
    import cv2

    pictures = {
        "a.png": [("rectangle", 130, 110, 132, 100, 110), ("rectangle", 130.4, 109.7, 96, 66, 210)],
        "twin.png": [("rectangle", 130, 110, 122, 92, 210)],
    }
    for name, shapes in pictures.items():
        (tmp_path / name).write_bytes(cv2.imencode(".png", draw_section((220, 260), shapes))[1].tobytes())
    specimen = Specimen(id="s", group="g", drawn_strut_width_um=60, drawn_thickness_um=45)
    for more, outline, original in (({}, "drawn size", 60 * 45), ({"twin": "twin.png"}, "twin", 61 * 46)):
        image = ImageEntry(file="a.png", specimen="s", shows="section", pixel_size_um=(0.5, 0.5), **more)
        study = Study(folder=tmp_path, title="T", specimens=(specimen,), images=(image,))
        [(_, staged)] = measure_image(plan_image(study, image))
        assert isinstance(staged, StagedResult), staged
        summary = json.loads(staged.record)["summary"]
        assert summary["original_outline"] == outline
        assert summary["remaining_fraction"] == pytest.approx(96 * 66 * 0.25 / original, abs=0.006)


def test_there_is_a_function_for_every_procedure_of_the_manifest() -> None:
    assert {name for names in PROCEDURES_BY_KIND.values() for name in names} == set(PROCEDURES)
    for place in PROCEDURES.values():
        module, name = place.split(":")
        assert callable(getattr(import_module(module), name))

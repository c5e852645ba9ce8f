"""What `check` says of corrections."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from surfscan.store.corrections import Correction, save_correction, unsaved_path
from surfscan.store.masks import file_sha256
from surfscan.study.check import check_study
from surfscan.study.folder import find_false_images, find_images


@pytest.fixture
def folder(make_study: Callable[..., Path]) -> Path:
    """A study of one picture."""
    extra = 'condition = "cleaned"\ncleaning = "acid"\nfield_choice = "random"\npixel_size_um = 0.5\n'
    return make_study({"a.png": 200}, {"a.png": f'{extra}procedures = ["pits"]'})


def _save(folder: Path, **given: object) -> Correction:
    usual: dict[str, object] = {
        "image_id": "images/a.png",
        "procedure": "pits",
        "reviewer": "A",
        "reason": "",
        "image_sha256": file_sha256(folder / "images" / "a.png"),
        "mask": np.ones((40, 40), int),
    }
    return save_correction(folder, **usual | given)  # type: ignore[arg-type]


def _said(folder: Path) -> list[str]:
    told = (str(finding) for finding in check_study(folder))
    return [text for text in told if "group 'g' has 1 specimen" not in text]


def test_a_sound_correction_is_no_matter(folder: Path) -> None:
    assert _said(folder) == []
    saved = _save(folder)
    unsaved_path(folder, "images/a.png", "pits", "A").parent.mkdir()
    assert _said(folder) == []
    assert [p.name for p in find_images(folder)] == ["a.png"]
    saved.path.with_suffix(".tif.part").write_bytes(saved.path.with_name(saved.mask_file).read_bytes())
    assert [p.name for p in find_images(folder)] == ["a.png"] and find_false_images(folder) == []


def test_a_users_own_pictures_in_that_folder_are_found(folder: Path) -> None:
    saved = _save(folder)
    (folder / "corrections" / "mine.tif").write_bytes(saved.path.with_name(saved.mask_file).read_bytes())
    assert [p.name for p in find_images(folder)] == ["mine.tif", "a.png"]


def test_damaged_files_are_named(folder: Path) -> None:
    saved = _save(folder)
    saved.path.write_bytes(b"no record")
    [text] = _said(folder)
    assert text.startswith(f"corrections/{saved.name}: this correction is damaged")
    saved.path.unlink()
    [text] = _said(folder)
    assert text.startswith(f"corrections/{saved.mask_file}: this corrected mask has no record beside it")


def test_a_correction_of_another_file_is_told_at_its_image(folder: Path) -> None:
    _save(folder, image_sha256="other")
    [text] = _said(folder)
    line = (folder / "study.toml").read_text().splitlines().index('file = "images/a.png"') + 1
    assert text.startswith(f"study.toml:{line}: images/a.png: the file changed since A on ")


def test_a_file_of_another_name_is_no_matter(folder: Path) -> None:
    _save(folder, image_id="images/old.png")
    assert _said(folder) == []


def test_images_that_are_no_longer_named_are_told(folder: Path) -> None:
    for _ in range(2):
        _save(folder, image_id="images/b.png", image_sha256="other")
    [text] = _said(folder)
    assert "images/b.png, which study.toml does not name, has 2 corrections" in text


def test_a_missing_image_is_told_once(folder: Path) -> None:
    _save(folder)
    (folder / "images" / "a.png").unlink()
    [text] = _said(folder)
    assert "images/a.png is missing" in text


def test_unsaved_work_is_told(folder: Path) -> None:
    _save(folder)
    journal = unsaved_path(folder, "images/a.png", "pits", "A")
    journal.parent.mkdir()
    journal.write_text("{}", encoding="utf-8")
    [text] = _said(folder)
    assert "unsaved work on 1 image is waiting. Run 'surfscan review'" in text


def test_a_reviewer_who_saved_nothing_is_told(folder: Path) -> None:
    _save(folder, reviewer="A. Reviewer")
    path = folder / "study.toml"
    path.write_text(path.read_text().replace("[[group]]", '[review]\nin_force = "A. Reviever"\n[[group]]', 1))
    first, second = _said(folder)
    assert (
        "no correction on record is by 'A. Reviever', so that none counts. Did you mean 'A. Reviewer'?"
        in first
    )
    assert first.startswith("study.toml:4: ") and "only corrections by A. Reviever count" in second


def test_faults_of_the_table_are_told(folder: Path) -> None:
    path = folder / "study.toml"
    path.write_text(path.read_text().replace("[[group]]", '[review]\ninforce = "A"\n[[group]]', 1))
    [text] = _said(folder)
    assert "unknown key 'inforce'. Did you mean 'in_force'?" in text


def test_a_confirmed_scale_stops_the_question_for_one(make_study: Callable[..., Path]) -> None:
    extra = 'condition = "cleaned"\ncleaning = "acid"\nfield_choice = "random"\nprocedures = ["pits"]'
    folder = make_study({"a.png": 200}, {"a.png": extra})
    assert any("pixel_size_um" in text for text in _said(folder))
    edits = {"pixel_size_x_um": 0.5, "pixel_size_y_um": 0.5, "relative_uncertainty": 0.01}
    _save(folder, procedure="scale", mask=None, edits=edits)
    assert _said(folder) == []

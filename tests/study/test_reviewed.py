"""Which corrections hold for an image as it is."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from surfscan.errors import InputError
from surfscan.images import Calibration
from surfscan.store.corrections import Correction, corrections_of, save_correction
from surfscan.study.entries import ImageEntry, Review, Study
from surfscan.study.reviewed import ImageReviews, confirmed_scale, is_of, reviews_on, told, with_scale

IMAGE = ImageEntry(file="a.png", specimen="s", procedures=("pits",))
SCALE = {
    "decision": "confirmed",
    "pixel_size_x_um": 0.5,
    "pixel_size_y_um": 0.6,
    "relative_uncertainty": 0.02,
}


def _study(folder: Path, in_force: str | None = None) -> Study:
    return Study(folder=folder, title="t", review=Review(in_force=in_force), images=(IMAGE,))


def _save(folder: Path, procedure: str = "pits", sha256: str = "one", **given: Any) -> Correction:
    has_mask = procedure in ("pits", "degraded", "section")
    usual: dict[str, Any] = {"reviewer": "A", "reason": ""}
    usual["mask" if has_mask else "edits"] = np.ones((4, 4), int) if has_mask else SCALE
    return save_correction(
        folder, image_id="a.png", procedure=procedure, image_sha256=sha256, **usual | given
    )


def _on(
    folder: Path,
    sha256: str | None = "one",
    *,
    image: ImageEntry = IMAGE,
    who: str | None = None,
    **given: Any,
) -> ImageReviews:
    return reviews_on(_study(folder, who), corrections_of(folder), image, sha256, **given)


def test_without_corrections_nothing_holds(tmp_path: Path) -> None:
    assert _on(tmp_path) == ImageReviews()
    assert ImageReviews().decisive() == {}


def test_the_latest_save_on_this_very_file_holds(tmp_path: Path) -> None:
    first, second = _save(tmp_path), _save(tmp_path, reviewer="B")
    _save(tmp_path, sha256="two")
    assert _on(tmp_path).results == {"pits": second}
    assert _on(tmp_path, who="A").results == {"pits": first}
    assert not _on(tmp_path).warnings


def test_a_changed_file_is_told_by_the_latest_save(tmp_path: Path) -> None:
    _save(tmp_path)
    latest = _save(tmp_path, reviewer="B")
    found = _on(tmp_path, "three")
    assert not found.results and found.lost == ("pits",)
    [text] = found.warnings
    assert text.startswith(f"the file changed since {latest.said} corrected pits ({latest.name})")


def test_a_file_that_nobody_read_is_taken_to_be_as_it_was(tmp_path: Path) -> None:
    saved = _save(tmp_path)
    assert _on(tmp_path, None).results == {"pits": saved}


def test_others_than_the_named_reviewer_are_told_and_not_lost(tmp_path: Path) -> None:
    _save(tmp_path)
    found = _on(tmp_path, who="C")
    assert not found.results and not found.lost
    assert "only corrections by C count" in found.warnings[0]


def test_what_the_study_does_not_ask_for_is_told(tmp_path: Path) -> None:
    _save(tmp_path, "degraded")
    found = _on(tmp_path)
    assert not found.results and "does not ask for here" in found.warnings[0]


@pytest.mark.parametrize("verify", [True, False])
def test_a_mask_that_is_gone_does_not_hold(tmp_path: Path, verify: bool) -> None:
    saved = _save(tmp_path)
    saved.path.with_name(saved.mask_file).unlink()
    found = _on(tmp_path, verify=verify)
    assert not found.results and found.lost == ("pits",)
    assert "is missing. It is not used." in found.warnings[0]


def test_a_confirmed_scale_takes_the_place_of_the_file(tmp_path: Path) -> None:
    saved = _save(tmp_path, "scale")
    found = _on(tmp_path)
    scale = Calibration(0.5, 0.6, 0.02, "confirmed by A")
    assert (found.scale, found.scale_from, found.bar_rejected) == (scale, saved, False)
    assert found.decisive() == {"scale": scale.as_dict()}
    assert with_scale(IMAGE, found.scale).pixel_size_um == (0.5, 0.6)
    assert with_scale(IMAGE, None) is IMAGE


def test_what_study_toml_states_wins(tmp_path: Path) -> None:
    _save(tmp_path, "scale")
    other = IMAGE.model_copy(update={"pixel_size_um": (0.5, 0.5)})
    found = _on(tmp_path, image=other)
    assert found.scale is None and found.decisive() == {}
    assert "pixels of 0.5 µm, and the scale confirmed by A is 0.5 x 0.6 µm" in found.warnings[0]
    same = IMAGE.model_copy(update={"pixel_size_um": (0.5, 0.6)})
    assert not _on(tmp_path, image=same).warnings


def test_a_rejected_bar_enters_the_fingerprint(tmp_path: Path) -> None:
    _save(tmp_path, "scale", edits={"decision": "rejected", "label": "50 µm"})
    found = _on(tmp_path)
    assert found.scale is None and found.bar_rejected and found.decisive() == {"scale": "bar rejected"}
    stated = IMAGE.model_copy(update={"pixel_size_um": (0.5, 0.5)})
    assert _on(tmp_path, image=stated) == ImageReviews()


@pytest.mark.parametrize(
    "edits", [{"label": "x"}, {**SCALE, "pixel_size_x_um": 0.0}, {**SCALE, "relative_uncertainty": None}]
)
def test_a_scale_without_a_size_is_told(tmp_path: Path, edits: dict) -> None:
    saved = _save(tmp_path, "scale", edits=edits)
    found = _on(tmp_path)
    assert found.scale is None and "cannot be used" in found.warnings[0]
    with pytest.raises(InputError, match="Confirm the scale again"):
        confirmed_scale(saved)


def test_a_result_knows_its_correction(tmp_path: Path) -> None:
    first, second = _save(tmp_path), _save(tmp_path)
    assert is_of({"correction": told(first)}, first) and not is_of({"correction": told(first)}, second)
    assert not is_of({}, first) and not is_of({"correction": "x"}, first)

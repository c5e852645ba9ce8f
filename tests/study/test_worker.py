"""Measuring one image: whatever goes wrong is that image's failure, in words."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import cv2
import pytest

from surfscan.procedures.settings import DegradedSettings, HeightPitSettings, PitSettings, TextureSettings
from surfscan.store.masks import file_sha256
from surfscan.store.results import Failure, StagedResult
from surfscan.study.entries import ImageEntry
from surfscan.study.tasks import PROCEDURES, ImageTask, Job
from surfscan.study.worker import limit_threads, measure_image

pytestmark = pytest.mark.usefixtures("stand_ins")
WriteImage = Callable[..., None]


def _task(folder: Path, sha256: str | None = None, **image: object) -> ImageTask:
    entry = ImageEntry(file="a.png", specimen="s", **image)
    jobs = (Job("pits", PROCEDURES["pits"], PitSettings(), "mark"),)
    return ImageTask(folder, entry, sha256 or file_sha256(folder / "a.png"), jobs)


def test_a_result_is_staged_under_the_manifest_s_name(tmp_path: Path, write_image: WriteImage) -> None:
    write_image(tmp_path / "a.png")
    [(mark, staged)] = measure_image(_task(tmp_path, pixel_size_um=(0.5, 0.25)))
    assert mark == "mark" and isinstance(staged, StagedResult)
    assert '"path": "a.png"' in staged.record and str(tmp_path) not in staged.record
    assert '"pixel_size_y_um": 0.25' in staged.record
    assert all(mask.temporary.is_file() for mask in staged.masks)


@pytest.mark.parametrize(
    ("code", "message"),
    [
        (201, "the image has no metal. Look at it."),
        (202, "unexpected KeyError in surfscan_stand_ins.py:"),
        (204, "there was not enough memory."),
    ],
)
def test_faults_become_messages(tmp_path: Path, write_image: WriteImage, code: int, message: str) -> None:
    write_image(tmp_path / "a.png", code=code)
    [(_, failure)] = measure_image(_task(tmp_path))
    assert isinstance(failure, Failure) and failure.message.startswith(message)


def test_a_file_that_changed_meanwhile_is_not_measured(tmp_path: Path, write_image: WriteImage) -> None:
    write_image(tmp_path / "a.png")
    [(_, failure)] = measure_image(_task(tmp_path, sha256="0" * 64))
    assert isinstance(failure, Failure) and "changed while it was being measured" in failure.message


def test_a_mask_of_another_size_names_the_mask(tmp_path: Path, write_image: WriteImage) -> None:
    write_image(tmp_path / "a.png")
    write_image(tmp_path / "r.png", size=20)
    [(_, failure)] = measure_image(_task(tmp_path, region="r.png"))
    assert isinstance(failure, Failure) and failure.message.startswith("r.png: the mask is 20 x 20 px")


def _height_task(folder: Path, **image: object) -> ImageTask:
    entry = ImageEntry(file="h.tif", specimen="s", **image)
    settings = {"pits": HeightPitSettings(), "texture": TextureSettings(), "degraded": DegradedSettings()}
    jobs = tuple(Job(name, PROCEDURES[name], settings[name], name) for name in entry.procedures)
    return ImageTask(folder, entry, file_sha256(folder / "h.tif"), jobs)


def _summaries(task: ImageTask) -> dict[str, dict]:
    outcomes = dict(measure_image(task))
    assert all(isinstance(outcome, StagedResult) for outcome in outcomes.values()), outcomes
    return {name: json.loads(outcome.record)["summary"] for name, outcome in outcomes.items()}


def test_heights_are_opened_as_heights_and_in_their_unit(
    tmp_path: Path, write_heights: Callable[..., None]
) -> None:
    write_heights(tmp_path / "h.tif")
    in_um = _summaries(_height_task(tmp_path, shows="heights"))
    in_nm = _summaries(_height_task(tmp_path, shows="heights", height_unit="nm"))
    assert list(in_um) == ["pits", "texture"]
    for name, summary in in_um.items():
        assert in_nm[name]["highest_um"] == pytest.approx(summary["highest_um"] / 1000)


def test_pits_alone_get_the_original_level(
    tmp_path: Path, write_image: WriteImage, write_heights: Callable[..., None]
) -> None:
    write_heights(tmp_path / "h.tif")
    write_heights(tmp_path / "before.tif", seed=1)
    write_image(tmp_path / "stripe.png")
    files = {"region": "stripe.png", "datum": "stripe.png", "unexposed": "before.tif"}
    summaries = _summaries(_height_task(tmp_path, shows="heights", **files))
    assert summaries["pits"] | {"highest_um": 0} == {
        "image_kind": "heightmap", "highest_um": 0, "region_px": 1600, "datum_px": 1600,
        "unexposed": "before.tif",
    }  # fmt: skip
    assert (summaries["texture"]["region_px"], summaries["texture"]["datum_px"]) == (1600, None)


def test_a_datum_that_cannot_be_used_keeps_only_pits_from_being_measured(
    tmp_path: Path, write_image: WriteImage, write_heights: Callable[..., None]
) -> None:
    write_heights(tmp_path / "h.tif")
    write_image(tmp_path / "stripe.png", size=20)
    pits, texture = (o for _, o in measure_image(_height_task(tmp_path, shows="heights", datum="stripe.png")))
    assert isinstance(pits, Failure) and pits.message.startswith("stripe.png: the mask is 20 x 20 px")
    assert isinstance(texture, StagedResult)


def test_heights_are_not_taken_for_brightness_unless_that_is_said(
    tmp_path: Path, write_heights: Callable[..., None]
) -> None:
    write_heights(tmp_path / "h.tif")
    for _, failure in measure_image(_height_task(tmp_path)):
        assert isinstance(failure, Failure)
        assert failure.message == (
            'the file holds heights, not brightness. Add shows = "heights", or shows = "surface" if its '
            "numbers are brightness."
        )
    (_, pits), _ = measure_image(_height_task(tmp_path, shows="surface"))
    assert isinstance(pits, StagedResult) and "are taken as brightness, as asked" in pits.record


def test_threads_are_limited_and_given_back() -> None:
    before = limit_threads(1)
    assert cv2.getNumThreads() == 1
    limit_threads(before)
    assert cv2.getNumThreads() == before

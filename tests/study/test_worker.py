"""Measuring one image: whatever goes wrong is that image's failure, in words."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import cv2
import pytest

from surfscan.procedures.settings import PitSettings
from surfscan.store.masks import file_sha256
from surfscan.store.results import Failure, StagedResult
from surfscan.study.manifest import ImageEntry
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


def test_threads_are_limited_and_given_back() -> None:
    before = limit_threads(1)
    assert cv2.getNumThreads() == 1
    limit_threads(before)
    assert cv2.getNumThreads() == before

"""Reviewing a study: its images with their state, saving a correction, and what is measured with it."""

from __future__ import annotations

import os
import threading
from collections.abc import Callable
from pathlib import Path

import cv2
import numpy as np
import pytest

from surfscan.errors import InputError
from surfscan.images import Calibration
from surfscan.store.corrections import corrections_of, read_correction_mask
from surfscan.store.lock import WriterLock
from surfscan.store.recovery import set_aside_if_damaged, tidy
from surfscan.store.results import ResultsStore
from surfscan.study.batch import measure_study
from surfscan.study.entries import Study
from surfscan.study.manifest import load_study
from surfscan.study.reviews import (
    OpenedImage,
    entry_of,
    iter_review_items,
    measure_now,
    open_for_review,
    review_items,
    save_review,
)

MANIFEST = """
title = "Reviewed"
{review}
[settings.pits]
min_contrast = {contrast}
[[group]]
name = "g"
[[specimen]]
id = "s"
group = "g"
"""


@pytest.fixture
def write_study(tmp_path: Path, pitted: np.ndarray) -> Callable[..., Study]:
    """Writes two pictures with four pits each and their manifest; called again it changes the manifest."""

    def write(*, review: str = "", contrast: float = 0.15, more: str = "", names: str = "ab") -> Study:
        text = MANIFEST.format(review=review, contrast=contrast)
        for name in names:
            picture = pitted if name == "a" else np.ascontiguousarray(pitted[::-1])
            path = tmp_path / f"{name}.png"
            if not path.exists():
                path.write_bytes(cv2.imencode(".png", picture)[1].tobytes())
            text += f'[[image]]\nfile = "{name}.png"\nspecimen = "s"\nprocedures = ["pits"]\n{more}\n'
        (tmp_path / "study.toml").write_text(text, encoding="utf-8")
        return load_study(tmp_path)

    return write


@pytest.fixture
def measured(write_study: Callable[..., Study]) -> Study:
    """That study, measured, with 0.5 µm pixels."""
    study = write_study(more="pixel_size_um = 0.5")
    measure_study(study.folder, workers=1)
    return study


def _reject_first(opened: OpenedImage) -> np.ndarray:
    labels = opened.automatic["pits"].read_mask("pits")
    return np.where(labels == 1, 0, labels)


def _save(
    study: Study, reviewer: str = "A. Reviewer", image: str = "a.png", said: list | None = None
) -> None:
    opened = open_for_review(study, image)
    said = [] if said is None else said
    save_review(
        study,
        opened,
        "pits",
        reviewer=reviewer,
        reason="a scratch",
        mask=_reject_first(opened),
        changes={"rejected_count": 1},
        marks={1: "rejected", 2: "accepted", 3: "accepted", 4: "unsure"},
        tell=said.append,
    )


def _stored(study: Study, image: str = "a.png") -> dict:
    return ResultsStore(study.folder).of_image(image)


def _states(study: Study) -> dict[str, str]:
    return {item.image_id: item.state for item in review_items(study)}


def test_a_correction_is_measured_beside_the_automatic_result(measured: Study) -> None:
    before = _stored(measured)["pits"]
    said: list[str] = []
    _save(measured, said=said)
    assert said == ["Saved and measured."]
    after = _stored(measured)
    automatic, reviewed = after["pits"], after["pits_reviewed"]
    assert automatic.fingerprint == before.fingerprint and dict(automatic.summary) == dict(before.summary)
    assert automatic.summary["pit_count"] == 4 and reviewed.summary["pit_count"] == 3
    assert reviewed.summary["corrected_by_hand"] is True
    [correction] = corrections_of(measured.folder)
    assert reviewed.summary["correction"] == {
        "file": correction.name,
        "sha256": correction.sha256,
        "reviewer": "A. Reviewer",
        "saved_at": correction.saved_at,
        "reason": "a scratch",
    }
    assert correction.base_fingerprint == before.fingerprint
    assert correction.base_mask_sha256 == before.mask_sha256["pits"]
    assert np.count_nonzero(reviewed.read_mask("pits")) == np.count_nonzero(read_correction_mask(correction))
    assert _states(measured) == {"a.png": "reviewed", "b.png": "measured"}


def test_the_batch_leaves_it_alone_and_takes_up_what_is_new(measured: Study) -> None:
    _save(measured)
    files = {p: p.read_bytes() for p in (measured.folder / "corrections").iterdir()}
    assert measure_study(measured.folder, workers=1).skipped == ["a.png", "b.png"]
    [row] = [r for r in ResultsStore(measured.folder).done() if r.procedure == "pits_reviewed"]
    _save(measured, "B. Reviewer", "b.png")
    ResultsStore(measured.folder).path.unlink()  # everything that was measured is lost
    outcome = measure_study(measured.folder, workers=2)
    assert outcome.done == ["a.png", "b.png"] and not outcome.warnings
    assert _stored(measured)["pits_reviewed"].fingerprint == row.fingerprint
    assert "pits_reviewed" in _stored(measured, "b.png")
    assert {p: p.read_bytes() for p in files} == files


def test_settings_that_change_keep_the_mask_and_mark_what_is_stale(
    measured: Study, write_study: Callable[..., Study]
) -> None:
    _save(measured)
    mask = _stored(measured)["pits_reviewed"].mask_sha256["pits"]
    study = write_study(contrast=0.2, more="pixel_size_um = 0.5")
    assert _states(study) == {"a.png": "stale", "b.png": "stale"}
    assert "A. Reviewer" in review_items(study)[0].said
    assert measure_study(study.folder, workers=1).done == ["a.png", "b.png"]
    reviewed = _stored(study)["pits_reviewed"]
    assert reviewed.mask_sha256["pits"] == mask and reviewed.settings["min_contrast"] == 0.2
    assert _states(study) == {"a.png": "reviewed", "b.png": "measured"}


def test_a_changed_image_takes_the_correction_out_with_a_word(measured: Study) -> None:
    _save(measured)
    path = measured.folder / "a.png"
    content = path.read_bytes()
    picture = cv2.imdecode(np.frombuffer(content, np.uint8), cv2.IMREAD_GRAYSCALE)
    picture[0, 0] ^= 1
    path.write_bytes(cv2.imencode(".png", picture)[1].tobytes())
    outcome = measure_study(measured.folder, workers=1)
    [warning] = outcome.warnings
    assert (
        warning.startswith("a.png: the file changed since A. Reviewer on ") and "kept and not used" in warning
    )
    item = review_items(measured)[0]
    assert item.state == "stale" and "the file changed" in item.said
    path.write_bytes(content)
    assert not measure_study(measured.folder, workers=1).warnings
    assert review_items(measured)[0].state == "reviewed"


def test_a_mask_of_another_shape_fails_and_leaves_the_automatic_result(measured: Study) -> None:
    opened = open_for_review(measured, "a.png")
    with pytest.raises(InputError, match="the mask has shape"):
        save_review(measured, opened, "pits", reviewer="A", reason="", mask=np.ones((3, 3), int))
    from surfscan.store.corrections import save_correction

    save_correction(
        measured.folder,
        image_id="a.png",
        procedure="pits",
        reviewer="A",
        reason="",
        image_sha256=opened.image.source.sha256,
        mask=np.ones((3, 3), int),
    )
    outcome = measure_study(measured.folder, workers=1)
    [(name, message)] = outcome.failed
    assert name == "a.png" and "3 x 3 px, the image 240 x 300 px" in message
    assert _stored(measured)["pits"].status == "done"
    assert review_items(measured)[0].state == "failed"


def test_a_batch_at_work_leaves_the_file_for_the_next_run(measured: Study) -> None:
    said: list[str] = []
    with WriterLock(measured.folder):
        _save(measured, said=said)
    assert len(corrections_of(measured.folder)) == 1
    assert said[0].startswith("Saved, not measured yet (another 'surfscan measure' is at work")
    assert "pits_reviewed" not in _stored(measured)
    assert review_items(measured)[0].state == "stale"
    assert measure_study(measured.folder, workers=1).done == ["a.png"]
    assert review_items(measured)[0].state == "reviewed"


def test_damaged_results_are_set_aside_and_corrections_stay(measured: Study) -> None:
    _save(measured)
    store = ResultsStore(measured.folder)
    store.path.write_bytes(b"damaged" * 1000)
    said: list[str] = []
    opened_before = corrections_of(measured.folder)
    with WriterLock(measured.folder):
        assert set_aside_if_damaged(store)
        tidy(store)
    assert corrections_of(measured.folder).all == opened_before.all
    assert not said and read_correction_mask(opened_before[0]).shape == (240, 300)
    assert measure_study(measured.folder, workers=1).done == ["a.png", "b.png"]
    assert _stored(measured)["pits_reviewed"].summary["pit_count"] == 3


def test_a_damaged_record_brings_the_one_before_back_with_a_word(measured: Study) -> None:
    _save(measured, "A")
    _save(measured, "B")
    latest = corrections_of(measured.folder)[-1]
    latest.path.write_bytes(latest.path.read_bytes()[:-1])
    outcome = measure_study(measured.folder, workers=1)
    [warning] = [text for text in outcome.warnings if latest.name in text]
    assert warning.startswith(f"corrections/{latest.name}: this correction is damaged")
    assert _stored(measured)["pits_reviewed"].summary["correction"]["reviewer"] == "A"
    assert latest.path.is_file() and open_for_review(measured, "a.png").notes[0] == warning


def test_a_failed_automatic_measurement_does_not_stand_in_the_way(
    measured: Study, monkeypatch: pytest.MonkeyPatch
) -> None:
    from surfscan.procedures import pits

    _save(measured)
    real = pits.measure_pits

    def fails(image: object, settings: object, *, corrected: object = None, **given: object) -> object:
        if corrected is None:
            raise InputError("a.png", "nothing can be found", "Look at it")
        return real(image, settings, corrected=corrected, **given)  # type: ignore[arg-type]

    monkeypatch.setattr("surfscan.procedures.measure_pits", fails, raising=False)
    ResultsStore(measured.folder).path.unlink()
    assert [name for name, _ in measure_study(measured.folder, workers=1).failed] == ["a.png", "b.png"]
    stored = _stored(measured)
    assert stored["pits"].status == "failed" and stored["pits_reviewed"].status == "done"
    assert _states(measured) == {"a.png": "reviewed", "b.png": "failed"}


def test_the_named_reviewer_counts_and_nobody_else(
    measured: Study, write_study: Callable[..., Study]
) -> None:
    _save(measured, "A")
    _save(measured, "B")
    assert _stored(measured)["pits_reviewed"].summary["correction"]["reviewer"] == "B"
    study = write_study(review='[review]\nin_force = "A"', more="pixel_size_um = 0.5")
    measure_study(study.folder, workers=1)
    assert _stored(study)["pits_reviewed"].summary["correction"]["reviewer"] == "A"
    said: list[str] = []
    _save(study, "C", "b.png", said)
    assert said == [
        f"Saved. pits was corrected by C on {corrections_of(study.folder)[-1].saved_at[:10]}, and study.toml "
        "lets only corrections by A count; the automatic result is used."
    ]
    assert _states(study) == {"a.png": "reviewed", "b.png": "measured"}


def test_images_taken_out_of_the_study_keep_their_corrections(
    measured: Study, write_study: Callable[..., Study]
) -> None:
    _save(measured)
    study = write_study(names="b", more="pixel_size_um = 0.5")
    outcome = measure_study(study.folder, workers=1)
    assert outcome.skipped == ["b.png"] and not outcome.warnings
    assert len(corrections_of(study.folder)) == 1
    with pytest.raises(InputError, match=r"there is no image 'a\.png'"):
        entry_of(study, "a.png")
    study = write_study(more="pixel_size_um = 0.5")
    assert measure_study(study.folder, workers=1).skipped == ["a.png", "b.png"]
    assert review_items(study)[0].state == "reviewed"


def test_a_file_of_another_name_keeps_its_review(measured: Study, write_study: Callable[..., Study]) -> None:
    _save(measured)
    (measured.folder / "a.png").rename(measured.folder / "z.png")
    study = write_study(names="zb", more="pixel_size_um = 0.5")
    assert measure_study(study.folder, workers=1).done == ["z.png"]
    assert _stored(study, "z.png")["pits_reviewed"].summary["pit_count"] == 3
    assert [item.state for item in review_items(study)] == ["reviewed", "measured"]
    assert open_for_review(study, "z.png").corrections["pits"][0].image_id == "a.png"


def _confirm(study: Study, decision: str = "confirmed", size: float = 0.25) -> list[str]:
    said: list[str] = []
    save_review(
        study,
        open_for_review(study, "a.png"),
        "scale",
        reviewer="A. Reviewer",
        reason="",
        edits={
            "decision": decision,
            "pixel_size_x_um": size,
            "pixel_size_y_um": size,
            "relative_uncertainty": 0.02,
            "label": "50 µm",
        },
        tell=said.append,
    )
    return said


def test_a_confirmed_scale_enters_everything(write_study: Callable[..., Study]) -> None:
    study = write_study()
    measure_study(study.folder, workers=1)
    assert _stored(study)["pits"].calibration is None
    assert _confirm(study) == ["Saved and measured."]
    confirmed = Calibration(0.25, 0.25, 0.02, "confirmed by A. Reviewer")
    assert _stored(study)["pits"].calibration == confirmed
    opened = open_for_review(study, "a.png")
    assert opened.image.calibration == confirmed and opened.entry == study.images[0]
    assert measure_now(study, "a.png", "pits").calibration == confirmed
    assert "scale confirmed by A. Reviewer" in review_items(study)[0].said
    _save(study)
    assert _stored(study)["pits_reviewed"].calibration == confirmed
    _confirm(study, size=0.3)
    assert {r.calibration.pixel_size_x_um for r in _stored(study).values()} == {0.3}
    assert measure_study(study.folder, workers=1).skipped == ["a.png", "b.png"]


def test_a_stated_pixel_size_wins_over_a_confirmed_one(measured: Study) -> None:
    [said] = _confirm(measured)
    assert "study.toml states pixels of 0.5 µm, and the scale confirmed by A. Reviewer is 0.25 µm" in said
    assert _stored(measured)["pits"].calibration.origin != "confirmed by A. Reviewer"
    [warning] = measure_study(measured.folder, workers=1).warnings
    assert "Take pixel_size_um out" in warning
    assert review_items(measured)[0].state == "measured"
    _confirm(measured, size=0.5)
    assert not measure_study(measured.folder, workers=1).warnings


def test_a_rejected_bar_gives_no_scale(
    write_study: Callable[..., Study], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A picture whose scale comes from its bar, as opening says, loses it; one from the file would stay."""
    from surfscan import opening
    from surfscan.calibration.bar_scale import ScaleReading

    study = write_study()
    scale = Calibration(0.5, 0.5, 0.01, "scale bar '50 µm'")
    real = opening.read_scale

    def reads(*given: object, **named: object) -> ScaleReading:
        from dataclasses import replace

        return replace(real(*given, **named), calibration=scale)  # type: ignore[arg-type]

    monkeypatch.setattr(opening, "read_scale", reads)
    measure_study(study.folder, workers=1)
    assert _stored(study)["pits"].calibration == scale
    _confirm(study, "rejected")
    stored = _stored(study)["pits"]
    assert stored.calibration is None and any("A. Reviewer on" in text for text in stored.warnings)
    assert "scale rejected by A. Reviewer" in review_items(study)[0].said
    assert measure_study(study.folder, workers=1).skipped == ["a.png", "b.png"]


def test_what_is_opened_holds_all_that_is_known(measured: Study) -> None:
    opened = open_for_review(measured, "a.png")
    assert opened.image.shape == (240, 300) and opened.image.source.path == "a.png"
    assert list(opened.automatic) == ["pits"] and not opened.corrections and not opened.notes
    assert opened.settings["pits"].min_contrast == 0.15
    _save(measured, "A")
    _save(measured, "B")
    opened = open_for_review(measured, "a.png")
    assert [c.reviewer for c in opened.corrections["pits"]] == ["A", "B"]
    assert opened.in_force["pits"].reviewer == "B" and opened.reviewed["pits"].summary["pit_count"] == 3
    assert opened.automatic["pits"].summary["pit_count"] == 4


def test_measuring_now_keeps_nothing(measured: Study) -> None:
    from surfscan.procedures.settings import PitSettings

    opened = open_for_review(measured, "a.png")
    found = measure_now(measured, "a.png", "pits", PitSettings(min_diameter_px=24), opened.image)
    assert found.summary["pit_count"] < 4
    assert _stored(measured)["pits"].summary["pit_count"] == 4
    with pytest.raises(InputError, match="not to be measured for degraded"):
        measure_now(measured, "a.png", "degraded")


def test_images_not_measured_missing_or_failed_have_their_state(write_study: Callable[..., Study]) -> None:
    study = write_study(more="pixel_size_um = 0.5")
    assert _states(study) == {"a.png": "not measured", "b.png": "not measured"}
    measure_study(study.folder, workers=1)
    (study.folder / "b.png").unlink()
    for hash_files in (True, False):
        items = review_items(study, hash_files=hash_files)
        assert [item.state for item in items] == ["measured", "failed"]
        assert items[1].said == "b.png is missing or cannot be read"
    seen: list[tuple[int, int]] = []
    review_items(study, lambda *at: seen.append(at))
    assert seen == [(1, 2), (2, 2)]


def test_files_known_from_before_are_not_read_again(measured: Study, monkeypatch: pytest.MonkeyPatch) -> None:
    for name in "ab":
        os.utime(measured.folder / f"{name}.png", (1e9, 1e9))
    read: list[Path] = []
    from surfscan.study import file_hashes

    real = file_hashes.file_sha256
    monkeypatch.setattr(file_hashes, "file_sha256", lambda path: (read.append(path), real(path))[1])
    items = iter_review_items(measured)
    next(items)
    assert len(read) == 1  # one at a time
    assert review_items(measured, hash_files=False)[0].state == "measured" and len(read) == 1
    items.close()  # type: ignore[attr-defined]
    review_items(measured)
    assert len(read) == 2
    review_items(measured)
    assert len(read) == 2


def test_a_review_beside_a_running_batch_keeps_both_whole(measured: Study) -> None:
    """Saves from one thread while another measures the study over and over: nothing is lost or half there."""
    stop, failures = threading.Event(), []

    def batches() -> None:
        while not stop.is_set():
            try:
                measure_study(measured.folder, workers=1)
            except InputError as error:
                if "is at work" not in error.fault:
                    failures.append(error)

    thread = threading.Thread(target=batches)
    thread.start()
    try:
        for k in range(6):
            _save(measured, f"R{k}")
    finally:
        stop.set()
        thread.join()
    measure_study(measured.folder, workers=1)
    assert not failures
    assert [c.reviewer for c in corrections_of(measured.folder)] == [f"R{k}" for k in range(6)]
    assert _stored(measured)["pits_reviewed"].summary["correction"]["reviewer"] == "R5"
    assert not _stored(measured)["pits_reviewed"].mask_faults()

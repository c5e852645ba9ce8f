"""A review from opening to saving, in a viewer without a screen, on a measured study."""

import json
import signal
import subprocess
import sys
import textwrap

import numpy as np
import pytest
from napari.components import ViewerModel
from napari_surfscan.review_desk import ReviewDesk
from napari_surfscan.session import ReviewSession, loose
from napari_surfscan.workers import run_at_once

from surfscan.store.corrections import corrections_of, read_correction_mask
from surfscan.store.results import ResultsStore
from surfscan.study.reviews import review_items


@pytest.fixture
def open_desk():
    """Function that opens a study, or nothing yet, at a desk of its own; all are closed at the end."""
    desks = []

    def make(study=None):
        viewer = ViewerModel()
        desk = ReviewDesk(ReviewSession(viewer, run_at_once))
        desk.viewer, desk.heard, desk.offers = viewer, [], []
        desk.said.connect(lambda words, _: desk.heard.append(words))
        desk.failed.connect(lambda error: desk.heard.append(str(error)))
        desk.offered.connect(desk.offers.append)
        desks.append(desk)
        if study is not None:
            desk.session.open_study(study)
        return desk

    yield make
    for desk in desks:
        desk.session.close_image()


def _reject(desk, count=2):
    pits = list(desk.editing._places)[:count]
    desk.editing.select(pits)
    desk.editing.reject()
    return pits


def test_edits_that_cannot_be_kept_are_said_to_be_so(open_desk, study):
    """Where the disk takes no journal the panel says it after every edit, and keeps all once it can."""
    desk = open_desk(study)
    states, order = [], []
    desk.saved_state.connect(lambda words, _: states.append(words))
    desk.edited.connect(lambda: order.append("edited"))
    desk.failed.connect(lambda _: order.append("failed"))
    (study / "corrections").write_text("a file where a folder should be", encoding="utf-8")
    _reject(desk, 1)
    assert order == ["edited", "failed"] and "cannot be kept" in desk.heard[-1]
    assert states[-1] == "● Not saved yet, and not kept in case of a crash"
    (study / "corrections").unlink()
    desk.editing.undo()
    assert order == ["edited", "failed", "edited"]
    assert states[-1] == "● Not saved yet; kept in case of a crash"


def test_opening_an_image_puts_its_pits_up_for_review(open_desk, study):
    """The stored result is there at once, with its figures."""
    desk = open_desk(study)
    assert desk.procedures == ["pits"]
    stored = desk.opened.automatic["pits"]
    assert desk.editing.review.tally().pit_count == stored.summary["pit_count"]
    assert [line[0] for line in desk.tally_lines()] == ["Pits", "Density", "Pit area"]
    assert desk.changes_in_words() == "Nothing has changed against the automatic result."
    assert desk.save_hindrance == ""


def test_saving_writes_a_correction_and_measures_with_it(open_desk, study):
    """Two rejected pits: in the file with name and reason, gone from mask and stored figures."""
    desk = open_desk(study)
    image_id = desk.opened.entry.image_id
    before = desk.editing.review.tally().pit_count
    pits = _reject(desk)
    assert desk.has_unsaved
    desk.save("A. Reviewer", "Stains or dirt were counted as pits")
    assert not desk.has_unsaved
    (saved,) = corrections_of(study)
    assert (saved.reviewer, saved.reason) == ("A. Reviewer", "Stains or dirt were counted as pits")
    assert saved.changes["rejected_count"] == 2
    assert not np.isin(read_correction_mask(saved), pits).any()
    found = ResultsStore(study).of_image(image_id)
    assert found["pits_reviewed"].summary["pit_count"] == before - 2
    assert found["pits"].summary["pit_count"] == before
    state = {item.image_id: item.state for item in review_items(desk.session.study)}
    assert state[image_id] == "reviewed"


def test_reopening_goes_on_from_the_save(open_desk, study):
    """Marks and mask are as they were left, and a second save adds to them."""
    desk = open_desk(study)
    rejected = _reject(desk)
    unsure = list(desk.editing._places)[5]
    desk.editing.select([unsure])
    desk.editing.mark_unsure()
    desk.editing.painted.paint((3, 3), 9999)
    desk.save("A", "first look")
    mask = desk.editing.review.corrected_labels() > 0
    tally = desk.editing.review.tally()
    again = open_desk(study)
    assert np.array_equal(again.editing.review.corrected_labels() > 0, mask)
    assert again.editing.review.tally() == tally
    assert all(again.editing.review.status[pit] == "rejected" for pit in rejected)
    assert again.editing.review.status[unsure] == "unsure"
    assert not again.has_unsaved
    again.save("B", "second look")
    first, second = corrections_of(study)
    assert np.array_equal(read_correction_mask(first) > 0, read_correction_mask(second) > 0)


def test_leaving_with_unsaved_edits_keeps_them_and_says_so(open_desk, study):
    """Nothing is asked; the edits wait, and come back when the image is opened again."""
    desk = open_desk(study)
    first = desk.opened.entry.image_id
    pits = _reject(desk)
    desk.session.next()
    assert any("Unsaved corrections" in words and "kept" in words for words in desk.heard)
    assert not any(layer.name == "rejected" and layer.data.any() for layer in desk.session.viewer.layers)
    desk.session.open_image(first)
    assert "1 edit" in desk.offers[-1]
    desk.recover()
    assert all(desk.editing.review.status[pit] == "rejected" for pit in pits)
    assert desk.has_unsaved
    assert desk.offers[-1] == ""
    desk.save("A", "recovered")
    desk.session.next()
    desk.session.open_image(first)
    assert desk.offers[-1] == ""


def test_unsaved_work_that_is_let_go_is_gone(open_desk, study):
    """It is not offered a second time."""
    desk = open_desk(study)
    first = desk.opened.entry.image_id
    _reject(desk)
    desk.session.next()
    desk.session.open_image(first)
    desk.drop_recovery()
    assert not list(study.rglob("*.jsonl"))


def test_edits_after_a_save_are_recovered_on_top_of_it(open_desk, study):
    """A save in between does not cut off what came after it."""
    desk = open_desk(study)
    first = desk.opened.entry.image_id
    _reject(desk, 1)
    desk.save("A", "first")
    more = list(desk.editing._places)[3]
    desk.editing.select([more])
    desk.editing.reject()
    expected = desk.editing.review.corrected_labels()
    desk.session.next()
    desk.session.open_image(first)
    desk.recover()
    assert np.array_equal(desk.editing.review.corrected_labels(), expected)


KILLED = """
    import os, signal, sys
    from napari.components import ViewerModel
    from napari_surfscan.review_desk import ReviewDesk
    from napari_surfscan.session import ReviewSession
    from napari_surfscan.workers import run_at_once

    viewer = ViewerModel()
    desk = ReviewDesk(ReviewSession(viewer, run_at_once))
    desk.session.open_study(sys.argv[1])
    for pit in list(desk.editing._places)[:5]:
        desk.editing.select([pit])
        desk.editing.reject()
    print(desk.editing.review.tally().pit_count, flush=True)
    os.kill(os.getpid(), signal.SIGKILL)
"""


@pytest.mark.skipif(sys.platform == "win32", reason="Windows has no SIGKILL")
def test_a_killed_viewer_loses_no_edit(open_desk, study):
    """Five edits, then the process is killed without a word: all five come back."""
    done = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(KILLED), str(study)],
        capture_output=True,
        text=True,
        timeout=120,
    )
    assert done.returncode == -signal.SIGKILL, done.stderr
    desk = open_desk(study)
    assert "5 edits" in desk.offers[-1]
    desk.recover()
    assert desk.editing.review.tally().pit_count == int(done.stdout)


def test_running_again_puts_up_the_new_result_and_asks_once_before_it_drops_edits(open_desk, study):
    """Other settings give other pits; unsaved edits are not dropped by one press."""
    desk = open_desk(study)
    before = desk.editing.review.tally().pit_count
    _reject(desk)
    strict = type(desk.settings)(min_diameter_px=14)
    desk.run(strict)
    assert "press Run again" in desk.heard[-1]
    assert desk.has_unsaved
    desk.run(strict)
    assert desk.editing.review.tally().pit_count < before
    assert not desk.has_unsaved
    assert not list(study.rglob("*.jsonl"))
    _reject(desk, 1)
    desk.save("A", "stricter")
    (saved,) = corrections_of(study)
    assert saved.settings["min_diameter_px"] == 14


def test_edits_on_a_run_with_other_settings_are_recovered_too(open_desk, study):
    """The run is made again with the settings that the journal holds."""
    desk = open_desk(study)
    first = desk.opened.entry.image_id
    desk.run(type(desk.settings)(min_diameter_px=14))
    _reject(desk)
    expected = desk.editing.review.corrected_labels()
    desk.session.next()
    desk.session.open_image(first)
    desk.recover()
    assert np.array_equal(desk.editing.review.corrected_labels(), expected)
    assert desk.settings.min_diameter_px == 14


def test_another_mask_by_now_refuses_the_edits_and_keeps_them(open_desk, study):
    """Numbers of pits of an older search mean nothing on a new one."""
    desk = open_desk(study)
    first = desk.opened.entry.image_id
    _reject(desk)
    desk.session.next()
    (journal,) = study.rglob("*.jsonl")
    text = journal.read_text(encoding="utf-8")
    header = json.loads(text.splitlines()[0].partition(" ")[2])[1]["header"]
    from surfscan.corrections.journal import Journal

    header["base"]["mask_sha256"] = "0" * 64
    with Journal(journal) as other:
        other.begin(header)
        other.append({"kind": "reject", "ids": [1]})
    desk.session.open_image(first)
    desk.recover()
    assert "measured anew" in desk.heard[-1]
    assert journal.exists()


def test_an_image_of_no_study_is_measured_and_reviewed_but_not_saved(open_desk, pitted):
    """Everything but saving works on a file that was dropped in."""
    desk = open_desk()
    desk.session.show(loose(pitted))
    assert desk.editing is None
    desk.open("pits")
    desk.run(desk.settings)
    assert desk.editing.review.tally().pit_count == 6
    assert "belongs to no study" in desk.save_hindrance
    _reject(desk)
    desk.session.close_image()
    assert [layer.name for layer in desk.session.viewer.layers] == []


def test_classes_are_painted_with_undo_and_change_the_share(open_desk, pitted):
    """The degraded share follows the brush of a class, both ways."""
    desk = open_desk()
    desk.session.show(loose(pitted))
    desk.open("degraded")
    desk.run(desk.settings)
    editing = desk.editing
    assert editing.names == {0: "metal", 1: "tarnished", 2: "degraded"}
    before = editing.review.tally().degraded_fraction
    editing.take_brush(2)
    with editing.painted.block_history():
        editing.painted.paint((180, 100), 2)
    assert editing.review.tally().degraded_fraction > before
    assert desk.tally_lines()[0][0] == "Degraded"
    assert "added by hand" in desk.changes_in_words()
    editing.undo()
    assert editing.review.tally().degraded_fraction == before
    assert np.array_equal(editing.painted.data, editing.review.labels)
    editing.take_brush(0)
    with editing.painted.block_history():
        editing.painted.paint((40, 40), 0)
    assert editing.review.tally().degraded_fraction < before


def test_a_class_that_does_not_exist_is_refused_and_wiped_off(open_desk, pitted):
    """Painting with a free number leaves the mask as it was."""
    desk = open_desk()
    desk.session.show(loose(pitted))
    desk.open("degraded")
    desk.run(desk.settings)
    before = desk.editing.review.labels.copy()
    with desk.editing.painted.block_history():
        desk.editing.painted.paint((180, 100), 7)
    assert np.array_equal(desk.editing.review.labels, before)
    assert np.array_equal(desk.editing.painted.data, before)

"""Unsaved work: kept edit by edit, found again, taken up or let go."""

import os

import pytest
from napari_surfscan.recovery import Base, Keeper, leftovers_on, require_same

from surfscan.errors import InputError

BASE = Base("images/a.png", "pits", "ab" * 32, mask_sha256="cd" * 32)
EDITS = [{"kind": "reject", "ids": [k]} for k in range(1, 4)]


def _found(folder, base=BASE):
    return leftovers_on(folder, base.image_id, base.procedure)[0]


def test_nothing_is_written_before_the_first_edit(tmp_path):
    """A review that is only looked at leaves no file."""
    keeper = Keeper(tmp_path, "A. Reviewer", BASE)
    keeper.close(has_unsaved=False)
    assert not list(tmp_path.rglob("*"))


def test_edits_are_found_again_with_who_and_how_many(tmp_path):
    """What stands on the disk when the viewer dies is offered with its reviewer."""
    keeper = Keeper(tmp_path, "A. Reviewer", BASE)
    for edit in EDITS:
        keeper.append(edit)
    keeper.close(has_unsaved=True)
    (found,) = _found(tmp_path)
    assert found.edits == EDITS
    assert found.base == BASE
    assert "by A. Reviewer" in found.words
    assert "3 edits" in found.words
    assert not leftovers_on(tmp_path, "images/other.png", "pits")[0]


def test_edits_before_a_save_are_kept_for_those_after_it(tmp_path):
    """Only what came after the save is unsaved, but it is understood after all of it."""
    keeper = Keeper(tmp_path, "A", BASE)
    keeper.append(EDITS[0])
    keeper.append(EDITS[1])
    keeper.note_saved(2)
    keeper.append(EDITS[2])
    keeper.close(has_unsaved=True)
    (found,) = _found(tmp_path)
    assert found.unsaved_count == 1
    assert found.edits == EDITS


def test_a_journal_that_holds_saved_edits_only_is_cleared_away(tmp_path):
    """A viewer that died after a save leaves nothing to offer."""
    keeper = Keeper(tmp_path, "A", BASE)
    keeper.append(EDITS[0])
    keeper.note_saved(1)
    keeper.close(has_unsaved=True)
    assert not _found(tmp_path)
    assert not list(tmp_path.rglob("*.jsonl"))


def test_unsaved_work_is_never_written_over(tmp_path):
    """A second journal of the same reviewer gets a name of its own, and both are offered, newest first."""
    first = Keeper(tmp_path, "A", BASE)
    first.append(EDITS[0])
    first.close(has_unsaved=True)
    second = Keeper(tmp_path, "A", BASE)
    second.append(EDITS[1])
    second.append(EDITS[2])
    second.close(has_unsaved=True)
    assert first.path != second.path
    assert {each.unsaved_count for each in _found(tmp_path)} == {1, 2}


def test_going_on_cuts_off_a_torn_end(tmp_path):
    """Half a line, as a power loss leaves it, is said and left out; what follows is whole again."""
    keeper = Keeper(tmp_path, "A", BASE)
    keeper.append(EDITS[0])
    keeper.close(has_unsaved=True)
    with keeper.path.open("ab") as handle:
        handle.write(b'0badc0de [2,{"kind":"rej')
    (found,) = _found(tmp_path)
    assert found.edits == EDITS[:1]
    assert "torn" in found.words
    again = Keeper.going_on(found.path)
    again.append(EDITS[1])
    again.close(has_unsaved=True)
    (found,) = _found(tmp_path)
    assert found.edits == EDITS[:2]
    assert found.said == ""


def test_letting_go_removes_the_file(tmp_path):
    """What was let go is not offered again."""
    keeper = Keeper(tmp_path, "A", BASE)
    keeper.append(EDITS[0])
    keeper.close(has_unsaved=True)
    _found(tmp_path)[0].discard()
    assert not _found(tmp_path)


@pytest.mark.parametrize(
    ("image", "mask", "words"), [("00", "cd", "image file"), ("ab", "00", "measured anew")]
)
def test_edits_that_do_not_fit_any_more_are_refused(image, mask, words):
    """Another file, or another automatic mask: edits by number would hit the wrong pits."""
    with pytest.raises(InputError, match=words):
        require_same(BASE, image * 32, mask * 32)
    require_same(BASE, "ab" * 32, "cd" * 32)


def test_an_unreadable_journal_is_named_and_left(tmp_path):
    """It may be somebody's work: it is not removed."""
    keeper = Keeper(tmp_path, "A", BASE)
    keeper.append(EDITS[0])
    keeper.close(has_unsaved=True)
    keeper.path.write_bytes(b"nothing of ours" + os.linesep.encode())
    found, faults = leftovers_on(tmp_path, BASE.image_id, "pits")
    assert not found
    assert len(faults) == 1
    assert keeper.path.exists()


def test_edits_made_while_a_save_was_under_way_stay_unsaved(tmp_path):
    """A save holds the edits that it began with."""
    keeper = Keeper(tmp_path, "A", BASE)
    for edit in EDITS:
        keeper.append(edit)
    keeper.note_saved(2)
    keeper.close(has_unsaved=True)
    assert _found(tmp_path)[0].unsaved_count == 1

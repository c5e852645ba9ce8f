import dataclasses

import pytest

from surfscan.corrections.edit import Edit, replayed
from surfscan.corrections.pit_review import PitReview


def test_an_edit_says_what_it_did(plate):
    review = PitReview.start(*plate)
    edit = review.reject([2])
    assert isinstance(edit, Edit)
    assert edit.record == {"kind": "reject", "ids": [2]}
    assert edit.said == () and edit.new_ids == ()
    with pytest.raises(dataclasses.FrozenInstanceError):
        edit.kind = "accept"


def test_replay_says_which_edit_cannot_be_read():
    """Those before the faulty one stay done, and its number is told."""
    done = []
    edits = [{"kind": "a"}, {"kind": "b"}, {}]
    with pytest.raises(ValueError, match="edit 3 of the journal cannot be read"):
        replayed(edits, lambda edit: done.append(edit["kind"]))
    assert done == ["a", "b"]
    assert replayed(edits[:2], lambda edit: None) == 2
    assert replayed([], done.append) == 0

import dataclasses

import pytest

from surfscan.corrections.edit import Edit
from surfscan.corrections.pit_review import PitReview


def test_an_edit_says_what_it_did(plate):
    review = PitReview.start(*plate)
    edit = review.reject([2])
    assert isinstance(edit, Edit)
    assert edit.record == {"kind": "reject", "ids": [2]}
    assert edit.said == () and edit.new_ids == ()
    with pytest.raises(dataclasses.FrozenInstanceError):
        edit.kind = "accept"

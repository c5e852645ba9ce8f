"""Steps of a correction of struts as dictionaries, and its figures without what is not known."""

import math
from dataclasses import replace

import pytest

from surfscan.corrections.strut_changes import StrutChanges, StrutEdit
from surfscan.measurement.strut_edges import EdgeMove

MOVE = EdgeMove(2, "left", 40.0, -3.5, 20.0, 97.25, 180.5)


def test_steps_there_and_back():
    """Each kind of step; a move keeps every digit."""
    for step in (StrutEdit("move", MOVE), StrutEdit("note", note="x"), StrutEdit("undo"), StrutEdit("redo")):
        assert StrutEdit.from_dict(step.as_dict()) == step
    assert StrutEdit("undo").as_dict() == {"kind": "undo"}


def test_nonsense_is_no_step():
    """Another kind, and a move with a side that is none."""
    with pytest.raises(ValueError, match="kind must be"):
        StrutEdit.from_dict({"kind": "paint"})
    with pytest.raises(ValueError, match="side"):
        StrutEdit.from_dict({"kind": "move", "move": MOVE.as_dict() | {"side": "up"}})


def test_what_is_not_known_is_left_out():
    """TOML has no None: without a scale the lengths in µm are missing."""
    known = StrutChanges(1, 0, 1, 12, 300, 24.0, 12.0, 0.08, 3.5, 1.75, 70.0, 0.0, 31.0, 30.5, 20.0, 20.0)
    assert list(known.as_dict()) == list(StrutChanges.__dataclass_fields__)
    unscaled = replace(known, moved_length_um=math.nan, largest_move_um=math.nan)
    assert set(known.as_dict()) - set(unscaled.as_dict()) == {"moved_length_um", "largest_move_um"}

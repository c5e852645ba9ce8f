"""A result: its version and the way to a data frame."""

import numpy as np
import pytest

import surfscan
from surfscan.columns import columns, empty_table
from surfscan.images import Source
from surfscan.procedures.result import Result


def _result(**tables):
    return Result("pits", Source("a.png"), None, {}, {}, tables)


def test_carries_the_version():
    """Every result says which surfscan made it."""
    assert _result().version == surfscan.__version__


def test_frame_keeps_columns_and_types():
    """Same columns in the same order, same values; also with no rows."""
    table = empty_table("pits")
    frame = _result(pits=table).to_frame("pits")
    assert list(frame.columns) == [c.name for c in columns("pits")]
    assert len(frame) == 0
    some = {name: np.zeros(2, values.dtype) for name, values in table.items()}
    some["area_px"] = np.array([3, 5])
    assert _result(pits=some).to_frame("pits")["area_px"].tolist() == [3, 5]


def test_unknown_table():
    """A table that is not there is a KeyError."""
    with pytest.raises(KeyError):
        _result().to_frame("pits")

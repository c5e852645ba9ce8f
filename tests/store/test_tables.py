"""Tables as bytes and back."""

from __future__ import annotations

import io
import time
from collections.abc import Callable

import numpy as np
import pytest

from surfscan.columns import empty_table
from surfscan.procedures.result import Result
from surfscan.store.tables import StoredTables, decode_table, encode_table


def test_a_table_comes_back_as_it_was(make_result: Callable[..., Result]) -> None:
    table = make_result().tables["pits"]
    back = decode_table(encode_table(table))
    assert list(back) == list(table)
    for name, column in table.items():
        assert back[name].dtype == column.dtype
        np.testing.assert_array_equal(back[name], column)


def test_an_empty_table_keeps_its_columns() -> None:
    back = decode_table(encode_table(empty_table("pits")))
    assert {n: c.dtype for n, c in back.items()} == {n: c.dtype for n, c in empty_table("pits").items()}


def test_same_table_same_bytes_whatever_the_clock(
    make_result: Callable[..., Result], monkeypatch: pytest.MonkeyPatch
) -> None:
    first = encode_table(make_result().tables["pits"])
    monkeypatch.setattr(time, "time", lambda: 2e9)
    monkeypatch.setattr(time, "localtime", lambda *_: time.gmtime(2e9))
    assert encode_table(make_result().tables["pits"]) == first


def test_anyone_can_read_it_without_pickles(make_result: Callable[..., Result]) -> None:
    with np.load(io.BytesIO(encode_table(make_result().tables["pits"])), allow_pickle=False) as archive:
        np.testing.assert_array_equal(archive["label"], [1, 2, 3])
    with pytest.raises(ValueError, match="allow_pickle"):
        encode_table({"thing": np.array([object()])})


def test_stored_tables_are_unpacked_when_asked_for(make_result: Callable[..., Result]) -> None:
    tables = StoredTables({"pits": encode_table(make_result().tables["pits"]), "other": b"never looked at"})
    assert list(tables) == ["pits", "other"] and len(tables) == 2
    assert list(tables["pits"]["label"]) == [1, 2, 3]
    with pytest.raises(KeyError):
        tables["none"]

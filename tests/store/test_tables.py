"""Tables as bytes and back."""

from __future__ import annotations

import hashlib
import io
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from surfscan.columns import empty_table
from surfscan.errors import InputError
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


def test_a_changed_byte_anywhere_is_noticed(make_result: Callable[..., Result]) -> None:
    content = encode_table(make_result().tables["pits"])
    sha256 = hashlib.sha256(content).hexdigest()
    assert list(StoredTables(Path("r"), {"pits": (content, sha256)})["pits"]["label"]) == [1, 2, 3]
    for position in range(0, len(content), 97):
        damaged = bytearray(content)
        damaged[position] ^= 1
        with pytest.raises(InputError, match="damaged"):
            StoredTables(Path("r"), {"pits": (bytes(damaged), sha256)})["pits"]


def test_stored_tables_name_the_database_at_fault() -> None:
    tables = StoredTables(Path("results.sqlite"), {"pits": (b"rubbish", "0")})
    assert list(tables) == ["pits"] and len(tables) == 1
    with pytest.raises(InputError, match=r"results\.sqlite: table 'pits' is damaged"):
        tables["pits"]
    with pytest.raises(KeyError):
        tables["none"]

"""Tables as bytes and back."""

from __future__ import annotations

import io
import time
import zipfile
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


def test_a_damaged_column_is_told_of() -> None:
    content = encode_table({"x": np.arange(4.0)})
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        member = archive.read("x.npy")
    for damaged in (member[:-8], b"\x93NUMPY\x02" + member[7:], b"no such thing"):
        out = io.BytesIO()
        with zipfile.ZipFile(out, "w") as archive:
            archive.writestr("x.npy", damaged)
        with pytest.raises(ValueError, match=r"format|reshape|magic|buffer"):
            decode_table(out.getvalue())
    objects = io.BytesIO()
    with zipfile.ZipFile(objects, "w") as archive:
        held = io.BytesIO()
        np.save(held, np.array([object()]), allow_pickle=True)
        archive.writestr("x.npy", held.getvalue())
    with pytest.raises(ValueError, match="objects"):
        decode_table(objects.getvalue())


def test_columns_may_be_changed_without_changing_what_is_stored() -> None:
    content = encode_table({"x": np.arange(4.0), "name": np.array(["a", "bé", "", "d"])})
    first = decode_table(content)
    first["x"][:] = -1
    assert decode_table(content)["x"].tolist() == [0, 1, 2, 3]
    assert decode_table(content)["name"].tolist() == ["a", "bé", "", "d"]

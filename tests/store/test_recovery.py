"""Damage is set aside whole; what is sound, foreign or newer is left alone."""

from __future__ import annotations

import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path

import pytest

from surfscan.errors import InputError
from surfscan.procedures.result import Result
from surfscan.store.recovery import set_aside_if_damaged, tidy
from surfscan.store.results import ResultsStore

MakeResult = Callable[..., Result]


@pytest.fixture
def store(tmp_path: Path, make_result: MakeResult) -> ResultsStore:
    store = ResultsStore(tmp_path)
    store.save("a.png", "s", "mark", make_result())
    return store


def _execute(store: ResultsStore, statement: str) -> None:
    with closing(sqlite3.connect(store.path)) as database, database:
        database.execute(statement)


def test_a_sound_store_stays(store: ResultsStore, tmp_path: Path) -> None:
    before = store.path.read_bytes()
    assert set_aside_if_damaged(store) is None and tidy(store) == []
    assert store.path.read_bytes() == before
    assert set_aside_if_damaged(ResultsStore(tmp_path / "none")) is None


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE result SET record = '{'",
        "UPDATE result SET record = '{}'",
        "UPDATE data_table SET content = x'00'",
    ],
)
def test_damage_within_a_row_counts(store: ResultsStore, statement: str) -> None:
    _execute(store, statement)
    warning = set_aside_if_damaged(store)
    assert warning is not None and "results-set-aside-1" in warning
    assert store.all() == []


def test_the_copy_is_a_store_of_its_own(store: ResultsStore, make_result: MakeResult) -> None:
    store.save("b.png", "s", "mark", make_result(5))
    _execute(store, "UPDATE data_table SET content = x'00' WHERE name = 'pits' AND image_id = 'b.png'")
    (store.folder / "masks/own.png").write_text("the user's")
    set_aside_if_damaged(store)
    aside = ResultsStore(store.folder / "results-set-aside-1")
    _execute(aside, "DELETE FROM result WHERE image_id = 'b.png'")
    _execute(aside, "DELETE FROM data_table WHERE image_id = 'b.png'")
    [copy] = ResultsStore(store.folder / "results-set-aside-1").all()
    assert copy.mask_faults() == [] and copy.read_mask("pits").max() == 3
    assert [p.name for p in (store.folder / "masks").iterdir()] == ["own.png"]


def test_a_second_copy_gets_a_second_folder(store: ResultsStore, make_result: MakeResult) -> None:
    for number in (1, 2):
        store.path.write_bytes(b"rubbish" * 100)
        warning = set_aside_if_damaged(store)
        assert warning is not None and f"results-set-aside-{number}" in warning
        store.save("a.png", "s", "mark", make_result())


def test_a_newer_store_is_no_damage(store: ResultsStore) -> None:
    _execute(store, "PRAGMA user_version = 99")
    with pytest.raises(InputError, match="Upgrade"):
        set_aside_if_damaged(store)
    assert store.path.exists()


def test_every_changed_byte_of_a_table_or_record_counts(store: ResultsStore) -> None:
    with closing(sqlite3.connect(store.path)) as database:
        [(content,)] = database.execute("SELECT content FROM data_table WHERE name = 'pits'").fetchall()
    for position in range(0, len(content), 997):
        damaged = bytearray(content)
        damaged[position] ^= 1
        with closing(sqlite3.connect(store.path)) as database, database:
            database.execute("UPDATE data_table SET content = ? WHERE name = 'pits'", (bytes(damaged),))
        with pytest.raises(InputError, match=r"what is stored of a\.png is damaged"):
            store.all()
    _execute(store, "UPDATE data_table SET content = x'00'")
    _execute(store, "UPDATE result SET record = replace(record, '0.5', '0.6')")
    with pytest.raises(InputError, match="is damaged"):
        store.all()


def test_a_reader_is_told_what_to_do(store: ResultsStore) -> None:
    store.path.write_bytes(b"rubbish" * 100)
    with pytest.raises(InputError, match=r"database is damaged .* sets the damaged results aside"):
        store.all()


def test_tidy_keeps_what_results_need(store: ResultsStore, make_result: MakeResult) -> None:
    store.save_failure("a.png", "s", "pits", "other", "later failure")
    store.save("b.png", "s", "mark", make_result(5))
    _execute(store, "DELETE FROM mask WHERE image_id = 'b.png'")
    assert {path.name[:2] for path in tidy(store)} == {"b-"}
    [hidden] = [result for result in store.done() if result.image_id == "a.png"]
    assert hidden.mask_faults() == []

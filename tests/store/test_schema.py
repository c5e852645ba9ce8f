"""Schema versions, and what kind of journal."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from surfscan.errors import InputError
from surfscan.store import schema
from surfscan.store.results import ResultsStore


def _version(path: Path) -> int:
    with closing(sqlite3.connect(path)) as database:
        return int(database.execute("PRAGMA user_version").fetchone()[0])


def test_a_new_store_is_safe_on_network_shares(tmp_path: Path) -> None:
    with closing(schema.connect(tmp_path / "x.sqlite", create=True)) as database:
        assert database.execute("PRAGMA journal_mode").fetchone() == ("delete",)
        assert database.execute("PRAGMA synchronous").fetchone() == (2,)  # FULL
    assert _version(tmp_path / "x.sqlite") == schema.SCHEMA_VERSION
    assert [p.name for p in tmp_path.iterdir()] == ["x.sqlite"]


def test_reading_does_not_make_a_database(tmp_path: Path) -> None:
    with pytest.raises(sqlite3.OperationalError):
        schema.connect(tmp_path / "x.sqlite")
    assert ResultsStore(tmp_path).all() == [] and not list(tmp_path.iterdir())


def test_a_newer_schema_is_refused_and_untouched(tmp_path: Path) -> None:
    path = tmp_path / "results.sqlite"
    with closing(schema.connect(path, create=True)) as database:
        database.execute(f"PRAGMA user_version = {schema.SCHEMA_VERSION + 1}")
    before = path.read_bytes()
    with pytest.raises(InputError, match="Upgrade surfscan"):
        ResultsStore(tmp_path).all()
    assert path.read_bytes() == before


def test_another_program_s_database_is_refused(tmp_path: Path) -> None:
    with closing(sqlite3.connect(tmp_path / "results.sqlite")) as database:
        database.execute("CREATE TABLE theirs (x)")
    with pytest.raises(InputError, match="not made by surfscan"):
        ResultsStore(tmp_path).all()


def test_an_older_store_is_brought_up_to_date(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "results.sqlite"
    with closing(schema.connect(path, create=True)) as database:
        database.execute("INSERT INTO failure VALUES ('a', 'pits', 's', 'f', 'm')")
    newer = (*schema._MIGRATIONS, ("ALTER TABLE failure ADD COLUMN more TEXT DEFAULT 'x'",))
    monkeypatch.setattr(schema, "_MIGRATIONS", newer)
    monkeypatch.setattr(schema, "SCHEMA_VERSION", len(newer))
    with closing(schema.connect(path)) as database:
        assert database.execute("SELECT * FROM failure").fetchall() == [("a", "pits", "s", "f", "m", "x")]
    assert _version(path) == len(newer)


def test_a_failed_migration_changes_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "results.sqlite"
    schema.connect(path, create=True).close()
    before = path.read_bytes()
    newer = (*schema._MIGRATIONS, ("ALTER TABLE failure ADD COLUMN more TEXT", "NOT SQL"))
    monkeypatch.setattr(schema, "_MIGRATIONS", newer)
    monkeypatch.setattr(schema, "SCHEMA_VERSION", len(newer))
    with pytest.raises(sqlite3.OperationalError):
        schema.connect(path)
    assert path.read_bytes() == before

"""Layout of `results.sqlite`, its version, and the way from older versions to this one."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from surfscan.errors import InputError

APPLICATION_ID = 0x73726673  # "srfs": marks the file as a surfscan store

_MIGRATIONS = (
    (
        "CREATE TABLE result (image_id TEXT NOT NULL, procedure TEXT NOT NULL, specimen TEXT NOT NULL, "
        "fingerprint TEXT NOT NULL, version TEXT NOT NULL, record TEXT NOT NULL, sha256 TEXT NOT NULL, "
        "measured_at TEXT NOT NULL, PRIMARY KEY (image_id, procedure)) WITHOUT ROWID",
        "CREATE TABLE data_table (image_id TEXT NOT NULL, procedure TEXT NOT NULL, name TEXT NOT NULL, "
        "content BLOB NOT NULL, sha256 TEXT NOT NULL, PRIMARY KEY (image_id, procedure, name), "
        "FOREIGN KEY (image_id, procedure) REFERENCES result ON DELETE CASCADE)",
        "CREATE TABLE mask (image_id TEXT NOT NULL, procedure TEXT NOT NULL, name TEXT NOT NULL, "
        "file TEXT NOT NULL, sha256 TEXT NOT NULL, PRIMARY KEY (image_id, procedure, name), "
        "FOREIGN KEY (image_id, procedure) REFERENCES result ON DELETE CASCADE)",
        "CREATE TABLE failure (image_id TEXT NOT NULL, procedure TEXT NOT NULL, specimen TEXT NOT NULL, "
        "fingerprint TEXT NOT NULL, message TEXT NOT NULL, PRIMARY KEY (image_id, procedure))",
    ),
)
"""Statements that lead from schema version k to k + 1; to change the schema, append."""

SCHEMA_VERSION = len(_MIGRATIONS)


def connect(path: Path, *, create: bool = False) -> sqlite3.Connection:
    """Open a store of this schema, bringing an older one up to date in one transaction.

    Transactions are the caller's (``BEGIN`` and ``COMMIT``).

    Raises
    ------
    InputError
        If the file is another program's database or of a newer surfscan.
    sqlite3.DatabaseError
        If the file is damaged or out of reach.
    """
    mode = "rwc" if create else "rw"
    database = sqlite3.connect(
        f"{path.resolve().as_uri()}?mode={mode}", uri=True, isolation_level=None, timeout=10
    )
    try:
        # A rollback journal, not a write-ahead log: studies live on network shares, and write-ahead
        # logging needs memory shared between processes, which no network file system gives
        # (https://www.sqlite.org/wal.html). FULL: a result reported as saved survives a power cut.
        database.execute("PRAGMA journal_mode = DELETE")
        database.execute("PRAGMA synchronous = FULL")
        database.execute("PRAGMA foreign_keys = ON")
        _bring_up_to_date(database, path)
    except BaseException:
        database.close()
        raise
    return database


def _bring_up_to_date(database: sqlite3.Connection, path: Path) -> None:
    if _version(database, path) == SCHEMA_VERSION:
        return
    database.execute("BEGIN IMMEDIATE")
    for statements in _MIGRATIONS[_version(database, path) :]:
        for statement in statements:
            database.execute(statement)
    database.execute(f"PRAGMA user_version = {SCHEMA_VERSION}")
    database.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    database.execute("COMMIT")


def _version(database: sqlite3.Connection, path: Path) -> int:
    (version,) = database.execute("PRAGMA user_version").fetchone()
    (owner,) = database.execute("PRAGMA application_id").fetchone()
    (tables,) = database.execute("SELECT count(*) FROM sqlite_master").fetchone()
    if owner != APPLICATION_ID and (tables or version):
        raise InputError(
            path,
            "this SQLite database was not made by surfscan",
            "Move it out of the folder of the study, then run 'surfscan measure'",
        )
    if version > SCHEMA_VERSION:
        raise InputError(
            path,
            f"the results have schema version {version}; this surfscan knows versions up to {SCHEMA_VERSION}",
            "Upgrade surfscan (pip install --upgrade surfscan); nothing was changed",
        )
    return int(version)

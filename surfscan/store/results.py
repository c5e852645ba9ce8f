"""`results.sqlite`: every result of a study, one transaction an image, one writer.

The database never holds half a result. Masks are written under temporary names, renamed to names that
carry their checksum, and only then does the transaction commit that names them; the masks of the result
it replaces are deleted after that. A process killed anywhere in between leaves the old result whole, or
the new one, and at most a file that the next run tidies away.
"""

from __future__ import annotations

import hashlib
import json
import re
import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal

import numpy as np

from surfscan.errors import InputError
from surfscan.images import Calibration, Source
from surfscan.procedures.result import Result
from surfscan.store import masks
from surfscan.store.schema import connect
from surfscan.store.tables import StoredTables, encode_table

FILE_NAME = "results.sqlite"
REVIEWED = "_reviewed"
"""After the name of a procedure: its result with what a person corrected, beside the automatic one."""

_SOURCE_LENGTH = 4096
"""Characters at the start of a record that hold all of its source."""

_SHA256 = re.compile(r'"sha256": "([0-9a-f]{64})"')
_REDO = "Run 'surfscan measure': it sets the damaged results aside, deletes nothing, and measures again"


@dataclass(frozen=True)
class StagedResult:
    """A result made ready to commit: small, and cheap to hand from a worker process to the writer.

    Attributes
    ----------
    procedure : str
    record : str
        Source, calibration, settings, summary and warnings as JSON.
    version : str
    tables : mapping of str to bytes
    masks : tuple of StagedMask
    """

    procedure: str
    record: str
    version: str
    tables: Mapping[str, bytes]
    masks: tuple[masks.StagedMask, ...]


@dataclass(frozen=True)
class Failure:
    """A procedure that gave no result on an image."""

    procedure: str
    message: str


@dataclass(frozen=True)
class StoredResult:
    """One procedure on one image, as it stands in the store.

    Attributes
    ----------
    image_id : str
        The image's file as the manifest names it, and ``#page`` where a page is given.
    specimen : str
    procedure : str
        As the manifest names it: "pits", "degraded", "texture", "struts", "section".
    fingerprint : str
        SHA-256 over everything that decides the result.
    status : "done" or "failed"
        A failed entry has a message and no figures.
    message : str
        Why it failed; empty where done.
    source : Source or None
    calibration : Calibration or None
    settings, summary : mapping
        As in `surfscan.procedures.result.Result`.
    tables : mapping of str to Table
        Unpacked when asked for.
    warnings : tuple of str
    version : str
        Version of surfscan that measured.
    mask_paths : mapping of str to Path
        Label TIFFs by name.
    mask_sha256 : mapping of str to str
        SHA-256 of those files.
    """

    image_id: str
    specimen: str
    procedure: str
    fingerprint: str
    status: Literal["done", "failed"]
    message: str = ""
    source: Source | None = None
    calibration: Calibration | None = None
    settings: Mapping[str, Any] = field(default_factory=dict)
    summary: Mapping[str, Any] = field(default_factory=dict)
    tables: Mapping[str, dict[str, np.ndarray]] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()
    version: str = ""
    mask_paths: Mapping[str, Path] = field(default_factory=dict)
    mask_sha256: Mapping[str, str] = field(default_factory=dict)

    def read_mask(self, name: str) -> np.ndarray:
        """Mask `name`, shape (M, N), unsigned integers (a bool mask as 0 and 1), checksum verified.

        Raises
        ------
        KeyError
            If the result has no such mask.
        InputError
            If the file is missing or was changed.
        """
        return masks.read_mask(self.mask_paths[name], self.mask_sha256[name])

    def mask_faults(self) -> list[str]:
        """What is wrong with the mask files; empty where all are as measured."""
        faults = ((p, masks.mask_fault(p, self.mask_sha256[n])) for n, p in self.mask_paths.items())
        return [f"{path.name}: {fault}" for path, fault in faults if fault]


@dataclass(frozen=True)
class StoredEntry:
    """That there is a result, and what made it: see `ResultsStore.entries`.

    Attributes
    ----------
    image_id, procedure, fingerprint, status, message, version : str
        As in `StoredResult`.
    source_sha256 : str
        SHA-256 of the file as measured; empty where it failed.
    """

    image_id: str
    procedure: str
    fingerprint: str
    status: Literal["done", "failed"]
    message: str
    version: str
    source_sha256: str


def stage(folder: str | Path, image_id: str, result: Result) -> StagedResult:
    """Encode a result and write its masks under temporary names; any process may do it.

    Parameters
    ----------
    folder : path
        Folder of the study.
    image_id : str
    result : Result

    Returns
    -------
    StagedResult
        For `ResultsStore.commit`, in the process that holds the store.

    Raises
    ------
    ValueError
        If the summary holds a number that JSON has no word for (not-a-number, infinity).
    """
    record = {
        "source": result.source.as_dict(),
        "calibration": None if result.calibration is None else result.calibration.as_dict(),
        "settings": dict(result.settings),
        "summary": dict(result.summary),
        "warnings": list(result.warnings),
    }
    return StagedResult(
        procedure=result.procedure,
        record=json.dumps(record, ensure_ascii=False, allow_nan=False, default=_plain),
        version=result.version,
        tables={name: encode_table(table) for name, table in result.tables.items()},
        masks=tuple(
            masks.stage_mask(Path(folder), image_id, result.procedure, name, mask)
            for name, mask in result.masks.items()
        ),
    )


def _plain(value: object) -> Any:
    if isinstance(value, np.generic):
        return value.item()
    if isinstance(value, np.ndarray):
        return value.tolist()
    raise TypeError(f"{type(value).__name__} does not go into a result")


class ResultsStore:
    """The results of a study, in `results.sqlite` and `masks/` of its folder.

    Each call opens the database and closes it again, so nothing is left open between images.
    Only one process may write at a time: `surfscan.store.lock.WriterLock` sees to it.

    Parameters
    ----------
    folder : path
        Folder of the study. The database is made on the first save.

    Raises
    ------
    InputError
        From every method: if the database is damaged, no store of ours, or of a newer surfscan.
    """

    def __init__(self, folder: str | Path) -> None:
        self.folder = Path(folder)
        self.path = self.folder / FILE_NAME

    def save(self, image_id: str, specimen: str, fingerprint: str, result: Result) -> None:
        """Store a result whole; the one that it replaces goes only when the new one is complete."""
        staged = stage(self.folder, image_id, result)
        self.commit(image_id, specimen, [(fingerprint, staged)])

    def save_failure(
        self, image_id: str, specimen: str, procedure: str, fingerprint: str, message: str
    ) -> None:
        """Note that a procedure failed on an image.

        An older result of the image is kept, hidden behind the failure: it comes back as soon as the
        inputs and settings that made it do.
        """
        self.commit(image_id, specimen, [(fingerprint, Failure(procedure, message))])

    def commit(
        self, image_id: str, specimen: str, outcomes: Sequence[tuple[str, StagedResult | Failure]]
    ) -> list[str]:
        """Store all that was measured on one image in one transaction.

        Parameters
        ----------
        image_id, specimen : str
        outcomes : sequence of (fingerprint, StagedResult or Failure)

        Returns
        -------
        list of str
            Notes on mask files that somebody had changed and that were kept under another name.
        """
        notes: list[str] = []
        with self._writing() as database:
            before = _mask_files(database, image_id)
            for fingerprint, outcome in outcomes:
                key = (image_id, outcome.procedure)
                database.execute("DELETE FROM failure WHERE image_id = ? AND procedure = ?", key)
                if isinstance(outcome, Failure):
                    database.execute(
                        "INSERT INTO failure VALUES (?, ?, ?, ?, ?)",
                        (*key, specimen, fingerprint, outcome.message),
                    )
                    continue
                notes += self._place(outcome.masks)
                database.execute("DELETE FROM result WHERE image_id = ? AND procedure = ?", key)
                database.execute(
                    "INSERT INTO result VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
                    (
                        *key,
                        specimen,
                        fingerprint,
                        outcome.version,
                        outcome.record,
                        _sha256(outcome.record.encode()),
                        _now(),
                    ),
                )
                database.executemany(
                    "INSERT INTO data_table VALUES (?, ?, ?, ?, ?)",
                    [(*key, name, content, _sha256(content)) for name, content in outcome.tables.items()],
                )
                database.executemany(
                    "INSERT INTO mask VALUES (?, ?, ?, ?, ?)",
                    [(*key, mask.name, mask.file_name, mask.sha256) for mask in outcome.masks],
                )
            after = _mask_files(database, image_id)
        for superseded in before - after:
            (self.folder / masks.FOLDER / superseded).unlink(missing_ok=True)
        return notes

    def _place(self, staged: Iterable[masks.StagedMask]) -> list[str]:
        kept = [(mask.file_name, masks.place_mask(self.folder, mask)) for mask in staged]
        return [
            f"masks/{name} had been changed since it was measured; the changed file is kept as {path.name}."
            for name, path in kept
            if path
        ]

    def forget_failure(self, image_id: str, procedure: str) -> None:
        """Bring an older result back to light, now that its inputs and settings are in force again."""
        with self._writing() as database:
            database.execute(
                "DELETE FROM failure WHERE image_id = ? AND procedure = ?", (image_id, procedure)
            )

    def assign(self, image_id: str, specimen: str) -> None:
        """Move the results of an image to another specimen; nothing needs measuring for that."""
        with self._writing() as database:
            for table in ("result", "failure"):
                database.execute(f"UPDATE {table} SET specimen = ? WHERE image_id = ?", (specimen, image_id))

    def all(self) -> list[StoredResult]:
        """Every entry, by image and procedure; a failure stands before an older result.

        Images that the manifest no longer names stay in the store and are listed too: the reader decides
        by the manifest what to show.
        """
        failed = {(f.image_id, f.procedure): f for f in self._failures()}
        done = {(r.image_id, r.procedure): r for r in self.done()}
        return [found for _, found in sorted({**done, **failed}.items())]

    def of_image(self, image_id: str) -> dict[str, StoredResult]:
        """What is stored of one image, by procedure; a failure stands before an older result."""
        failed = {f.procedure: f for f in self._failures() if f.image_id == image_id}
        return {r.procedure: r for r in self.done(image_id)} | failed

    def entries(self) -> list[StoredEntry]:
        """What there is, without figures and tables: quick for thousands of images.

        A failure stands before an older result. Nothing is verified.
        """
        if not self.path.exists():
            return []
        with self._reading() as database:
            rows = database.execute(
                "SELECT image_id, procedure, fingerprint, version, substr(record, 1, ?) FROM result",
                (_SOURCE_LENGTH,),
            ).fetchall()
        found = {
            (i, p): StoredEntry(i, p, mark, "done", "", version, _source_sha256(text))
            for i, p, mark, version, text in rows
        }
        for f in self._failures():
            found[f.image_id, f.procedure] = StoredEntry(
                f.image_id, f.procedure, f.fingerprint, "failed", f.message, "", ""
            )
        return [entry for _, entry in sorted(found.items())]

    def done(self, image_id: str | None = None) -> list[StoredResult]:
        """Every complete result, or those of one image; with those hidden behind a later failure."""
        if not self.path.exists():
            return []
        with self._reading() as database:
            tables = _grouped(database, "data_table", "content", image_id)
            files = _grouped(database, "mask", "file", image_id)
            where, given = _only(image_id)
            rows = database.execute(
                "SELECT image_id, procedure, specimen, fingerprint, version, record, sha256 FROM result "
                f"{where} ORDER BY image_id, procedure",
                given,
            ).fetchall()
        for (image_id, _), contents in tables.items():
            for content, sha256 in contents.values():
                self._require_intact(content, sha256, image_id)
        found = []
        for image_id, procedure, specimen, fingerprint, version, text, sha256 in rows:
            self._require_intact(text.encode(), sha256, image_id)
            record = json.loads(text)
            scale = record["calibration"]
            key = (image_id, procedure)
            found.append(
                StoredResult(
                    image_id=image_id,
                    specimen=specimen,
                    procedure=procedure,
                    fingerprint=fingerprint,
                    status="done",
                    source=Source(**record["source"]),
                    calibration=None if scale is None else Calibration(**scale),
                    settings=record["settings"],
                    summary=record["summary"],
                    tables=StoredTables({n: content for n, (content, _) in tables.get(key, {}).items()}),
                    warnings=tuple(record["warnings"]),
                    version=version,
                    mask_paths={
                        n: self.folder / masks.FOLDER / f for n, (f, _) in files.get(key, {}).items()
                    },
                    mask_sha256={n: checksum for n, (_, checksum) in files.get(key, {}).items()},
                )
            )
        return found

    def _require_intact(self, content: bytes, sha256: str, image_id: str) -> None:
        if _sha256(content) != sha256:
            raise InputError(self.path, f"what is stored of {image_id} is damaged", _REDO)

    def _failures(self) -> list[StoredResult]:
        if not self.path.exists():
            return []
        with self._reading() as database:
            rows = database.execute(
                "SELECT image_id, procedure, specimen, fingerprint, message FROM failure"
            ).fetchall()
        return [StoredResult(i, s, p, f, "failed", message) for i, p, s, f, message in rows]

    @contextmanager
    def _reading(self) -> Iterator[sqlite3.Connection]:
        with _faults_named(self.path), closing(connect(self.path)) as database:
            yield database

    @contextmanager
    def _writing(self) -> Iterator[sqlite3.Connection]:
        with _faults_named(self.path), closing(connect(self.path, create=True)) as database:
            database.execute("BEGIN IMMEDIATE")
            try:
                yield database
            except BaseException:
                database.execute("ROLLBACK")
                raise
            database.execute("COMMIT")


def _only(image_id: str | None) -> tuple[str, tuple[str, ...]]:
    return ("", ()) if image_id is None else ("WHERE image_id = ?", (image_id,))


def _source_sha256(record: str) -> str:
    """SHA-256 of the image as measured, from the start of a record."""
    found = _SHA256.search(record)
    return found[1] if found else ""


def _grouped(
    database: sqlite3.Connection, table: str, content: str, image_id: str | None = None
) -> dict[tuple[str, str], dict[str, tuple[Any, str]]]:
    """Name -> (content, checksum) of each result's tables or masks."""
    grouped: dict[tuple[str, str], dict[str, tuple[Any, str]]] = {}
    where, given = _only(image_id)
    rows = database.execute(
        f"SELECT image_id, procedure, name, {content}, sha256 FROM {table} {where} ORDER BY rowid", given
    )
    for image_id, procedure, name, value, sha256 in rows:
        grouped.setdefault((image_id, procedure), {})[name] = (value, sha256)
    return grouped


def _sha256(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def _mask_files(database: sqlite3.Connection, image_id: str) -> set[str]:
    return {name for (name,) in database.execute("SELECT file FROM mask WHERE image_id = ?", (image_id,))}


def _now() -> str:
    return datetime.now(UTC).isoformat(timespec="seconds")


@contextmanager
def _faults_named(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise InputError(
            error.filename or path.parent,
            f"a result cannot be saved ({error.strerror})",
            "Check that the disk is not full, that you may write there, and that nothing else has it open",
        ) from error
    except sqlite3.DatabaseError as error:
        if isinstance(error, sqlite3.OperationalError) and "locked" in str(error):
            raise InputError(
                path, "another program is writing to the results", "Wait until it has finished, then retry"
            ) from error
        if isinstance(error, sqlite3.OperationalError):
            raise InputError(
                path,
                f"the results cannot be read or written ({error})",
                "Check that the disk is not full and that you may write to this folder",
            ) from error
        raise InputError(
            path,
            f"the database is damaged ({error})",
            _REDO,
        ) from error

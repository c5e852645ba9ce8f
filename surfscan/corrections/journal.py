"""A journal of edits on disk: one line an edit, each on the disk before the next is done.

Every line stands for itself: its number, a checksum and the edit as JSON. A line that a crash or a power loss
tore, and all that might follow it, is left out on reading; what came before is whole.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol, Self
from zlib import crc32

from surfscan.errors import InputError

VERSION = 1
"""Of the form of the lines."""


class Recorded(Protocol):
    """An edit that knows how to be done again."""

    @property
    def record(self) -> Mapping[str, Any]:
        """What JSON can hold of it."""


@dataclass(frozen=True)
class Replay:
    """What a journal holds.

    Attributes
    ----------
    header : dict
        As it was begun with.
    edits : list of dict
        Whole edits, in order.
    said : str
        What was wrong with its end; empty where it is whole.
    whole_bytes : int
        Length of the part that was read.
    """

    header: dict[str, Any]
    edits: list[dict[str, Any]]
    said: str
    whole_bytes: int


class Journal:
    """An append-only file of edits.

    Parameters
    ----------
    path : path
        The file; its folder is made where there is none.

    Raises
    ------
    InputError
        From every method that writes: if the disk is full, or nothing may be written there.
    """

    def __init__(self, path: str | Path) -> None:
        self.path = Path(path)
        self._count = 0
        self._whole = 0
        self._is_torn = False
        self._handle: Any = None

    def begin(self, header: Mapping[str, Any]) -> None:
        """Start a new journal in the place of any that stands there.

        The old one stands until the new one's first line is on the disk.

        Parameters
        ----------
        header : mapping
            What the edits belong to (image, its checksum, procedure, reviewer), as JSON can hold it.
        """
        self.close()
        temporary = self.path.with_name(f"{self.path.name}.part")
        line = _line(0, {"version": VERSION, "header": dict(header)})
        try:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            with temporary.open("wb") as handle:
                handle.write(line)
                handle.flush()
                os.fsync(handle.fileno())
            temporary.replace(self.path)
            _settle(self.path.parent)
            self._handle = self.path.open("r+b", buffering=0)
        except OSError as error:
            raise _cannot_write(self.path, error) from error
        self._count, self._whole, self._is_torn = 0, len(line), False

    def resume(self) -> Replay:
        """Go on with a journal that stands there: a torn end is cut off first.

        Raises
        ------
        InputError
            If there is none, or its first line cannot be read.
        """
        self.close()
        found = replay(self.path)
        try:
            self._handle = self.path.open("r+b", buffering=0)
            self._handle.truncate(found.whole_bytes)
            os.fsync(self._handle.fileno())
        except OSError as error:
            raise _cannot_write(self.path, error) from error
        self._count, self._whole, self._is_torn = len(found.edits), found.whole_bytes, False
        return found

    def append(self, edit: Recorded | Mapping[str, Any]) -> None:
        """Write one edit; it is on the disk when this returns.

        Where it cannot be written, nothing of it stays: it can be appended again. An edit that is never
        written leaves those after it without what they build on.

        Parameters
        ----------
        edit : Recorded or mapping
            An edit with a `record`, or the record itself.

        Raises
        ------
        ValueError
            If the journal was neither begun nor resumed.
        """
        if self._handle is None:
            raise ValueError("begin or resume a journal before appending to it")
        record = edit if isinstance(edit, Mapping) else edit.record
        line = _line(self._count + 1, dict(record))
        try:
            if self._is_torn:
                self._handle.truncate(self._whole)
            self._is_torn = True
            self._handle.seek(self._whole)
            left = memoryview(line)
            while left:
                left = left[self._handle.write(left) :]
            os.fsync(self._handle.fileno())
        except OSError as error:
            raise _cannot_write(self.path, error) from error
        self._count, self._whole, self._is_torn = self._count + 1, self._whole + len(line), False

    def close(self) -> None:
        """Let go of the file; it stays."""
        if self._handle is not None:
            self._handle.close()
            self._handle = None

    def discard(self) -> None:
        """Let go of the file and remove it: its edits are saved elsewhere, or not wanted."""
        self.close()
        self.path.unlink(missing_ok=True)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *what: object) -> None:
        self.close()


def replay(path: str | Path) -> Replay:
    """Read a journal as far as it is whole.

    Parameters
    ----------
    path : path

    Returns
    -------
    Replay
        `said` names what is missing at the end, if anything.

    Raises
    ------
    InputError
        If the file cannot be read, its first line is torn, or it is of a newer form.
    """
    path = Path(path)
    try:
        content = path.read_bytes()
    except OSError as error:
        raise InputError(
            path, f"the unsaved edits cannot be read ({error.strerror})", "Check that the file is there"
        ) from error
    records: list[dict[str, Any]] = []
    whole = 0
    for line in content.splitlines(keepends=True):
        record = _read_line(line, len(records))
        if record is None:
            break
        records.append(record)
        whole += len(line)
    if not records or not isinstance(records[0].get("header"), dict):
        raise InputError(
            path,
            "the unsaved edits have no readable first line, so what they belong to is not known",
            "Nothing can be recovered from this file: remove it",
        )
    if records[0].get("version") != VERSION:
        raise InputError(
            path,
            f"the unsaved edits were written by another version (form {records[0].get('version')})",
            "Open the study with that version of surfscan",
        )
    lost = len(content) - whole
    said = ""
    if lost:
        count = len(records) - 1
        before = "1 edit before that is" if count == 1 else f"{count} edits before that are"
        said = (
            f"The last {lost} bytes of the journal are torn, as a crash leaves them: {before} whole, what "
            "came after is lost."
        )
    return Replay(records[0]["header"], records[1:], said, whole)


def _line(number: int, record: dict[str, Any]) -> bytes:
    text = json.dumps([number, record], ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    body = text.encode()
    return b"%08x %s\n" % (crc32(body), body)


def _read_line(line: bytes, number: int) -> dict[str, Any] | None:
    """The record of a line; None where it is torn, changed or out of its order."""
    if not line.endswith(b"\n") or line[8:9] != b" " or line[:8] != b"%08x" % crc32(line[9:-1]):
        return None
    try:
        found = json.loads(line[9:-1])
    except ValueError:
        return None
    if not (isinstance(found, list) and len(found) == 2 and isinstance(found[1], dict)):
        return None
    return found[1] if found[0] == number else None


def _settle(folder: Path) -> None:
    """Make a new name in a folder outlast a power loss; Windows does so by itself."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _cannot_write(path: Path, error: OSError) -> InputError:
    return InputError(
        path,
        f"unsaved edits cannot be kept safe ({error.strerror})",
        "Check that the disk is not full and that you may write there, then save your work",
    )

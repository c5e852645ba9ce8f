"""Unsaved work on an image: kept edit by edit, found again after a crash, taken up or let go. No Qt."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from surfscan.corrections.journal import Journal, replay
from surfscan.errors import InputError
from surfscan.store.corrections import unsaved_files, unsaved_path
from surfscan.store.masks import encode_mask

_SAVED = "saved"


@dataclass(frozen=True)
class Base:
    """What edits are made on: taken up again, they must find the same.

    Attributes
    ----------
    image_id, procedure, image_sha256 : str
    mask_sha256 : str
        Of the automatic mask; empty where edits do not rest on one.
    settings : mapping or None
        Where the result was measured in the viewer: its settings, to measure it again.
    correction : str
        Name of the save that the review went on from; empty where it began with the automatic mask.
    """

    image_id: str
    procedure: str
    image_sha256: str
    mask_sha256: str = ""
    settings: Mapping[str, Any] | None = None
    correction: str = ""


class Keeper:
    """Keeps the edits of one review on the disk; the file begins with the first edit.

    Parameters
    ----------
    folder : path
        Folder of the study.
    reviewer : str
    base : Base
    """

    def __init__(self, folder: str | Path, reviewer: str, base: Base) -> None:
        self._journal = Journal(_free_path(folder, reviewer, base))
        self._header = {
            "reviewer": reviewer,
            "begun": datetime.now(UTC).isoformat(timespec="seconds"),
            "base": dict(vars(base)),
        }
        self._is_open = False
        self._waiting: list[Any] = []
        self._count = 0

    @classmethod
    def going_on(cls, path: Path) -> Keeper:
        """Go on with a journal that was found."""
        keeper = cls.__new__(cls)
        keeper._journal, keeper._header, keeper._is_open, keeper._waiting = Journal(path), {}, True, []
        keeper._count = len(_edits_of(keeper._journal.resume().edits))
        return keeper

    @property
    def path(self) -> Path:
        """The journal."""
        return self._journal.path

    @property
    def count(self) -> int:
        """Edits so far."""
        return self._count

    @property
    def is_whole(self) -> bool:
        """Whether every edit so far is on the disk."""
        return self._is_open and not self._waiting

    def append(self, edit: Any) -> None:
        """Write one edit; it is on the disk when this returns.

        One that cannot be written waits and goes before the next: edits build on each other, and a journal
        with a hole would bring back something else.

        Raises
        ------
        InputError
            If it cannot be written.
        """
        self._count += 1
        self._write(edit)

    def note_saved(self, count: int) -> None:
        """The first `count` edits are saved as a correction.

        The journal stays: edits that follow are understood only after those before them.

        Raises
        ------
        InputError
            If that cannot be written.
        """
        if self._is_open or self._waiting:
            self._write({"kind": _SAVED, "edits": count})

    def _write(self, record: Any) -> None:
        self._waiting.append(record)
        if not self._is_open:
            self._journal.begin(self._header)
            self._is_open = True
        while self._waiting:
            self._journal.append(self._waiting[0])
            del self._waiting[0]

    def close(self, *, has_unsaved: bool) -> None:
        """Let go of the journal, and remove it where everything in it is saved."""
        if has_unsaved:
            self._journal.close()
        else:
            self.discard()

    def discard(self) -> None:
        """Remove the journal."""
        self._waiting.clear()
        if self._is_open:
            self._journal.discard()
            self._is_open = False


@dataclass(frozen=True)
class Leftover:
    """Unsaved work that was found.

    Attributes
    ----------
    path : Path
    reviewer, begun : str
    base : Base
    edits : list of dict
        All edits from the base on, those saved meanwhile too.
    unsaved_count : int
        How many of them no save holds.
    said : str
        What was wrong with the end of the journal, if anything.
    """

    path: Path
    reviewer: str
    begun: str
    base: Base
    edits: list[dict[str, Any]]
    unsaved_count: int
    said: str

    @property
    def words(self) -> str:
        """What to offer."""
        edits = f"{self.unsaved_count} edit{'s' if self.unsaved_count != 1 else ''}"
        by = f" by {self.reviewer}" if self.reviewer else ""
        begun = self.begun.replace("T", " ")[:16]
        return f"Unsaved work{by} on this image was found: {edits}, begun {begun} UTC. {self.said}".strip()

    def discard(self) -> None:
        """Remove it for good."""
        self.path.unlink(missing_ok=True)


def leftovers_on(
    folder: str | Path, image_id: str, procedure: str
) -> tuple[list[Leftover], list[InputError]]:
    """Unsaved work on one image, newest first, and journals that cannot be read.

    A journal whose edits are all saved is removed: its viewer died after the save.
    """
    found, faults = [], []
    for path in unsaved_files(folder):
        try:
            kept = replay(path)
        except InputError as error:
            faults.append(error)
            continue
        base = Base(**kept.header["base"]) if "base" in kept.header else None
        if base is None or (base.image_id, base.procedure) != (image_id, procedure):
            continue
        edits = _edits_of(kept.edits)
        unsaved = len(edits) - max((e["edits"] for e in kept.edits if e["kind"] == _SAVED), default=0)
        if unsaved <= 0:
            path.unlink(missing_ok=True)
            continue
        found.append(
            Leftover(path, kept.header["reviewer"], kept.header["begun"], base, edits, unsaved, kept.said)
        )
    return sorted(found, key=lambda each: each.begun, reverse=True), faults


def _edits_of(records: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The edits of a journal without the notes between them."""
    return [record for record in records if record["kind"] != _SAVED]


def mask_digest(result: Any, procedure: str) -> str:
    """SHA-256 of the mask of a fresh result, as a stored one has it."""
    return hashlib.sha256(encode_mask(result.masks[procedure])).hexdigest()


def require_same(base: Base, image_sha256: str, mask_sha256: str) -> None:
    """Check that edits still fit.

    Raises
    ------
    InputError
        If the file of the image, or the automatic mask, is another one by now.
    """
    if base.image_sha256 != image_sha256:
        what = "the image file has changed since"
    elif base.mask_sha256 != mask_sha256:
        what = "the image has been measured anew since, with another mask"
        if base.settings is not None:
            what = "measured with the same settings the image now gives another mask"
    else:
        return
    raise InputError(
        base.image_id,
        f"the unsaved edits cannot be taken up: {what}",
        "They stay where they are; correct the new result, then let them go",
    )


def _free_path(folder: str | Path, reviewer: str, base: Base) -> Path:
    """A journal that nobody else's unsaved work stands in."""
    path = unsaved_path(folder, base.image_id, base.procedure, reviewer)
    count = 1
    while path.exists():
        count += 1
        path = unsaved_path(folder, base.image_id, base.procedure, f"{reviewer} {count}")
    return path

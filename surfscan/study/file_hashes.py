"""SHA-256 of files that were hashed before and have not changed since, without reading them again."""

from __future__ import annotations

import json
import time
import uuid
from contextlib import suppress
from pathlib import Path
from typing import Any

from surfscan.store.masks import file_sha256

FILE_NAME = ".surfscan-hashes.json"
_SETTLED_S = 3.0
"""A file younger than that may change again within one tick of its clock: its hash is not kept."""


class FileHashes:
    """Hashes of the files of a study, remembered by size and time of change.

    For lists on a screen only: what is measured is always hashed anew.

    Parameters
    ----------
    folder : Path
        Folder of the study; what is remembered stands in `.surfscan-hashes.json` there.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._known: dict[str, list[Any]] = {}
        self._changed = False
        with suppress(OSError, ValueError):  # it can always be made again
            known = json.loads((folder / FILE_NAME).read_text(encoding="utf-8"))
            if isinstance(known, dict):
                self._known = known

    def known(self, name: str) -> str | None:
        """SHA-256 of a file, hex, if it is as it was when hashed; None where that is not known."""
        try:
            state = (self.folder / name).stat()
        except OSError:
            return None
        found = self._known.get(name)
        if isinstance(found, list) and found[:2] == [state.st_size, state.st_mtime_ns] and len(found) == 3:
            return str(found[2])
        return None

    def of(self, name: str) -> str | None:
        """SHA-256 of a file, hex; None where it is missing or cannot be read."""
        found = self.known(name)
        if found is not None:
            return found
        path = self.folder / name
        try:
            state = path.stat()
            sha256 = file_sha256(path)
        except OSError:
            return None
        if abs(time.time() - state.st_mtime) > _SETTLED_S:
            self._known[name] = [state.st_size, state.st_mtime_ns, sha256]
            self._changed = True
        return sha256

    def keep(self) -> None:
        """Write what is remembered; where that is not possible, files are hashed again next time."""
        if not self._changed:
            return
        temporary = self.folder / f"{FILE_NAME}-{uuid.uuid4().hex}.part"
        with suppress(OSError):
            try:
                temporary.write_text(json.dumps(self._known), encoding="utf-8")
                temporary.replace(self.folder / FILE_NAME)
                self._changed = False
            finally:
                temporary.unlink(missing_ok=True)

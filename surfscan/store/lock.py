"""One writer at a time, and no lock left behind by a killed one."""

from __future__ import annotations

import sqlite3
from contextlib import suppress
from pathlib import Path
from types import TracebackType

from surfscan.errors import InputError

FILE_NAME = "results.lock"


class WriterLock:
    """Hold the sole right to write the results of a study while in this context.

    An exclusive transaction on an empty SQLite file beside the results: the operating system lets go
    of it when the process ends, however it ends, and SQLite does it alike on every platform. The empty
    file stays; deleting it while another process opens it would let two in.

    Parameters
    ----------
    folder : path
        Folder of the study.

    Raises
    ------
    InputError
        On entering, if another process holds the lock or the folder cannot be written to.
    """

    def __init__(self, folder: str | Path) -> None:
        self.path = Path(folder) / FILE_NAME
        self._connection: sqlite3.Connection | None = None

    def __enter__(self) -> WriterLock:
        connection: sqlite3.Connection | None = None
        try:
            connection = sqlite3.connect(self.path, isolation_level=None, timeout=0)
            connection.execute("BEGIN EXCLUSIVE")
        except sqlite3.Error as error:
            if connection is not None:
                connection.close()
            if "locked" in str(error):
                raise InputError(
                    self.path.parent,
                    "another 'surfscan measure' is at work on this study",
                    "Wait until it has finished, or stop it: what it has measured is kept",
                ) from error
            raise InputError(
                self.path,
                f"the lock file cannot be used ({error})",
                "Check that you may write to this folder; delete the file if it is not empty",
            ) from error
        self._connection = connection
        return self

    def __exit__(
        self, kind: type[BaseException] | None, value: BaseException | None, trace: TracebackType | None
    ) -> None:
        if self._connection is not None:
            with suppress(sqlite3.Error):
                self._connection.execute("ROLLBACK")
            self._connection.close()
            self._connection = None

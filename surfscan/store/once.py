"""Files that are written once and for good: whole on the disk under their name, or not there at all."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path


def part_of(path: Path) -> Path:
    """Temporary name of a file that is being written."""
    return path.with_name(f"{path.name}.part")


def write_once(path: Path, content: bytes, *, is_claimed: bool) -> None:
    """Write a file under its temporary name, bring it to the disk, and give it its name in one step.

    Parameters
    ----------
    path : Path
        A name that nobody else writes to.
    content : bytes
    is_claimed : bool
        Whether the file of the temporary name is there already, made by the caller to hold the name; where
        it should not be, one that is there is somebody else's.

    Raises
    ------
    FileExistsError
        If the temporary file is there and is not the caller's.
    OSError
        If it cannot be written.
    """
    part = part_of(path)
    with part.open("wb" if is_claimed else "xb") as handle:
        handle.write(content)
        handle.flush()
        os.fsync(handle.fileno())
    part.rename(path)
    if os.name == "posix":  # elsewhere a folder cannot be brought to the disk by itself
        folder = os.open(path.parent, os.O_RDONLY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


def write_claimed(path: Path, content: bytes, beside: tuple[Path, bytes] | None = None) -> None:
    """Write a file whose temporary name the caller holds, after the one that belongs to it.

    Parameters
    ----------
    path : Path
    content : bytes
    beside : (Path, bytes), optional
        Written first; its name goes with that of `path`.

    Raises
    ------
    OSError
        If one of them cannot be written; nothing of either stays then, so that a full disk has room again.
    """
    try:
        if beside is not None:
            write_once(*beside, is_claimed=False)
        write_once(path, content, is_claimed=True)
    except OSError:
        first = () if beside is None else (part_of(beside[0]), beside[0])
        for own in () if path.exists() else (*first, part_of(path)):  # the one that holds the name goes last
            with suppress(OSError):  # the first failure is the one to be told
                own.unlink(missing_ok=True)
        raise

"""Zip archives from anywhere: names judged, claims checked against what is there, contents read in chunks.

Nothing is ever unpacked to disk.
"""

from __future__ import annotations

import io
import stat
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType

from surfscan.errors import InputError

CHUNK = 2**17
"""Bytes decompressed at a time."""

MAX_LIST_OF_CONTENTS = 2**18
"""Longest list of contents read, bytes: some three thousand members."""

MAX_DEFLATE_RATIO = 1032
"""Bytes that one byte of a deflated stream can stand for at most (zlib's technical details)."""

BOMB_SIZE, BOMB_TEXT_SIZE, BOMB_RATIO = 2**28, 2**20, 200
"""A member above this many bytes (binary, and text) and shrunk more than this many times is taken for a zip
bomb (common practice, no source); measured heights hardly shrink to a fifth."""

_REMEDY = "Copy or export the file again"
_NOT_OURS = "Do not trust the file; export it again from where it was measured"
_LONGEST_SHOWN = 120
_METHODS = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_DAMAGE = (
    zipfile.BadZipFile, zlib.error, EOFError, OSError, RuntimeError, ValueError, LookupError, OverflowError,
)  # fmt: skip


class _ShortReads(io.BufferedReader):
    """A file that refuses to hand over much at once: a list of contents is asked for in one piece."""

    def __init__(self, path: Path) -> None:
        super().__init__(io.FileIO(path))
        self.length = path.stat().st_size

    def read(self, size: int | None = -1, /) -> bytes:
        """Read as any file does, up to a limit."""
        wanted = self.length - self.tell() if size is None or size < 0 else size
        if wanted > MAX_LIST_OF_CONTENTS:
            raise zipfile.BadZipFile(f"its list of contents claims {wanted} bytes")
        return super().read(size)


class Archive:
    """A zip archive, open for reading; used in a ``with`` statement.

    Parameters
    ----------
    path : Path

    Raises
    ------
    InputError
        If it is damaged or cut, has members that are encrypted, links or of a doubtful or repeated name.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._file = _ShortReads(path)
        try:
            self._zip = zipfile.ZipFile(self._file)
            self._members = self._checked_members()
        except _DAMAGE as error:
            self._file.close()
            raise self._damaged(error) from error
        except BaseException:
            self._file.close()
            raise

    def __enter__(self) -> Archive:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._zip.close()
        self._file.close()

    @property
    def names(self) -> list[str]:
        """Names of all files, folders parted by ``/``, in the order of the archive."""
        return list(self._members)

    def find(self, name: str) -> str | None:
        """The name as it is in the archive, also where only upper and lower case differ; None if absent."""
        if name in self._members:
            return name
        alike = [known for known in self._members if known.casefold() == name.casefold()]
        return alike[0] if alike else None

    def size(self, name: str, bomb_size: int = BOMB_SIZE) -> int:
        """Bytes of a file once decompressed: as the archive claims, and as its compressed bytes can hold.

        Parameters
        ----------
        name : str
        bomb_size : int
            Size from which on a file may not have shrunk more than `BOMB_RATIO` times.

        Raises
        ------
        InputError
            If the claim is impossible or that of a zip bomb.
        """
        info = self._members[name]
        claimed, stored = info.file_size, info.compress_size
        most = stored if info.compress_type == zipfile.ZIP_STORED else stored * MAX_DEFLATE_RATIO
        if stored > self._file.length or claimed > most:
            raise InputError(
                self.path,
                f"{_shown(name)} claims {claimed} bytes in {stored} compressed ones; the archive has "
                f"{self._file.length} bytes in all",
                _REMEDY,
            )
        if claimed > bomb_size and claimed > BOMB_RATIO * stored:
            raise InputError(
                self.path,
                f"{_shown(name)} would grow from {stored / 1e6:.3g} MB to {claimed / 1e6:.4g} MB: measured "
                "data do not shrink that far",
                _NOT_OURS,
            )
        return claimed

    def chunks(self, name: str) -> Iterator[bytes]:
        """Contents of a file, a piece at a time, at most as long as `size` says; its CRC-32 is verified.

        Raises
        ------
        InputError
            If it is damaged or shorter than it claims.
        """
        left = self.size(name)
        try:
            with self._zip.open(self._members[name]) as member:
                while left:
                    piece = member.read(min(CHUNK, left))
                    if not piece:
                        raise EOFError(f"{name} ends {left} bytes early")
                    left -= len(piece)
                    yield piece
                if member.read(1):
                    raise zipfile.BadZipFile(f"{name} is longer than it claims")
        except _DAMAGE as error:
            raise self._damaged(error) from error

    def read(self, name: str, limit: int) -> bytes:
        """Contents of a file of text.

        Raises
        ------
        InputError
            If it is damaged, above `limit` bytes, or a zip bomb.
        """
        size = self.size(name, BOMB_TEXT_SIZE)
        if size > limit:
            raise InputError(
                self.path,
                f"{_shown(name)} has {size} bytes, above the limit of {limit}",
                "Export the file again",
            )
        return b"".join(self.chunks(name))

    def _checked_members(self) -> dict[str, zipfile.ZipInfo]:
        members: dict[str, zipfile.ZipInfo] = {}
        seen: set[str] = set()
        for info in self._zip.infolist():
            name = info.orig_filename.replace("\\", "/")
            shown = repr(_shown(name))
            if not name or name.startswith("/") or ".." in name.split("/") or ":" in name or "\0" in name:
                raise InputError(
                    self.path,
                    f"the archive has a member {shown} that points outside of it",
                    _NOT_OURS,
                )
            if name.casefold() in seen:
                raise InputError(self.path, f"the archive has two members {shown}", _NOT_OURS)
            seen.add(name.casefold())
            if stat.S_ISLNK(info.external_attr >> 16):
                raise InputError(self.path, f"the member {shown} of the archive is a link", _NOT_OURS)
            if info.flag_bits & 1:
                raise InputError(
                    self.path,
                    f"the member {shown} of the archive is encrypted",
                    "Save it without password",
                )
            if name.endswith("/"):
                continue
            if info.compress_type not in _METHODS:
                raise InputError(
                    self.path,
                    f"the member {shown} is compressed in a way that is not read ({info.compress_type})",
                    "Save it with plain zip compression (deflate)",
                )
            members[name] = info
        return members

    def _damaged(self, error: Exception) -> InputError:
        reason = _shown(str(error) or type(error).__name__)
        return InputError(self.path, f"the archive is damaged: {reason}", _REMEDY)


def _shown(text: str) -> str:
    """A name or a reason as it can stand in a message: names of members can be 65 535 characters long."""
    return text if len(text) <= _LONGEST_SHOWN else f"{text[:_LONGEST_SHOWN]}..."

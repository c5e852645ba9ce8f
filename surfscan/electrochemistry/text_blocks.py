"""A text file in blocks of whole lines, whatever its encoding: one pass in bounded memory, and its digest."""

from __future__ import annotations

import codecs
import hashlib
from collections.abc import Iterator
from pathlib import Path

from surfscan.errors import InputError

BLOCK_BYTES = 2**22
LONGEST_LINE_BYTES = 2**16

_WORKBOOKS = (b"PK\x03\x04", b"\xd0\xcf\x11\xe0")
_CONTROL = bytes((*range(9), 11, *range(14, 32)))
_REMEDY = "Export the sweep as text (CSV, or columns parted by tabs) and name that file"


class TextBlocks:
    """Blocks of whole lines of a file, in UTF-8 with plain line ends.

    UTF-8 and UTF-16 (with or without byte order mark) are read; bytes that are no UTF-8 stay as they are, for
    `decode` to take as Windows-1252.

    Parameters
    ----------
    path : Path
    remedy : str, optional
        What to do about a file that is no such text.

    Attributes
    ----------
    sha256 : str
        Of the whole file, once it was read to its end; empty before.
    ends_with_newline : bool
        Whether the last line is known to be whole, once the file was read to its end.
    """

    def __init__(self, path: Path, remedy: str = _REMEDY) -> None:
        self.path = path
        self.remedy = remedy
        self.sha256 = ""
        self.ends_with_newline = False

    def __iter__(self) -> Iterator[bytes]:
        """Blocks of about 4 MiB, each ending with a line end.

        Raises
        ------
        InputError
            If the file cannot be read, is empty, a workbook or no text.
        """
        digest = hashlib.sha256()
        try:
            with self.path.open("rb") as file:
                rest = b""
                decoder: codecs.IncrementalDecoder | None = None
                is_first = True
                while piece := file.read(BLOCK_BYTES):
                    digest.update(piece)
                    if is_first:
                        encoding = self._encoding(piece)
                        if encoding:
                            decoder = codecs.getincrementaldecoder(encoding)("replace")
                        else:
                            piece = piece.removeprefix(codecs.BOM_UTF8)
                        is_first = False
                    if decoder is not None:
                        text = decoder.decode(piece).removeprefix("\ufeff")
                        piece = text.encode("utf-8", "replace")
                    rest, block = self._cut(rest + piece)
                    if block:
                        yield block
                if is_first:
                    raise InputError(self.path, "the file is empty", self.remedy)
        except OSError as error:
            raise InputError(
                self.path,
                f"the file cannot be read ({error.strerror or error})",
                "Check its name and the rights to it",
            ) from None
        self.sha256 = digest.hexdigest()
        rest = _plain_ends(rest)
        self.ends_with_newline = not rest or rest.endswith(b"\n")
        if rest:
            self._check_length(rest)
            yield rest if self.ends_with_newline else rest + b"\n"

    def _encoding(self, head: bytes) -> str:
        """Codec of UTF-16, empty for anything that is read byte for byte; workbooks are refused."""
        if head.startswith(_WORKBOOKS):
            raise InputError(self.path, "this is a spreadsheet workbook or an archive, not text", self.remedy)
        if head.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
            return "utf-16"
        start = head[:200]
        if len(start) > 3 and start[1::2].count(0) > 0.8 * len(start[1::2]) and start[::2].count(0) == 0:
            return "utf-16-le"
        if len(start) > 3 and start[::2].count(0) > 0.8 * len(start[::2]) and start[1::2].count(0) == 0:
            return "utf-16-be"
        return ""

    def _cut(self, data: bytes) -> tuple[bytes, bytes]:
        """What is left over after the last whole line, and the whole lines."""
        end = data.rfind(b"\n") + 1
        if not end:
            end = data.rfind(b"\r", 0, len(data) - 1) + 1  # a last \r may be half a line end
        block = _plain_ends(data[:end])
        if len(block.translate(None, _CONTROL)) < len(block):
            raise InputError(
                self.path, "the file holds bytes that are no text: it is binary or damaged", self.remedy
            )
        rest = data[end:]
        self._check_length(rest)
        return rest, block

    def _check_length(self, line: bytes) -> None:
        if len(line.translate(None, _CONTROL)) < len(line):
            raise InputError(
                self.path, "the file holds bytes that are no text: it is binary or damaged", self.remedy
            )
        if len(line) > LONGEST_LINE_BYTES and b"\n" not in line:
            raise InputError(self.path, f"a line is longer than {LONGEST_LINE_BYTES} characters", self.remedy)


def _plain_ends(data: bytes) -> bytes:
    return data.replace(b"\r\n", b"\n").replace(b"\r", b"\n") if b"\r" in data else data


def decode(line: bytes) -> str:
    """Text of a header line: UTF-8, or else Windows-1252.

    Examples
    --------
    >>> decode(b"i (\\xb5A)"), decode("i (µA)".encode())
    ('i (µA)', 'i (µA)')
    """
    try:
        return line.decode("utf-8")
    except UnicodeDecodeError:
        return line.decode("cp1252", "replace")

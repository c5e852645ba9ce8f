"""How a table of numbers is written: where it starts, what parts its columns, which decimal mark it uses."""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from surfscan.loaders.number_text import is_unmeasured, to_number
from surfscan.loaders.text_header import find_columns, last_names

_WRITTEN = (
    ("\t", "."), ("\t", ","), (";", "."), (";", ","), ("|", "."), ("|", ","), (",", "."),
    ("", "."), ("", ","),
)  # fmt: skip
_NUMBER = {
    ".": re.compile(rb"[-+]?(?:\d+(?:[.]\d*)?|[.]\d+)(?:[eEdD][-+]?\d+)?"),
    ",": re.compile(rb"[-+]?(?:\d+(?:,\d*)?|,\d+)(?:[eEdD][-+]?\d+)?"),
}
_COMMENT = (b"#", b"%", b"!", b"//")
_QUICK_GAPS = (b"BAD", b"Bad", b"bad", b"***", b"n/a", b"N/A", b"NULL", b"null")
_LINES_JUDGED = 40
_ENOUGH_LINES = (
    3  # after so many lines of numbers, another line is a fault in a table, not a sign of other text
)
_CONTROL = bytes((*range(9), *range(14, 32)))


@dataclass(frozen=True)
class TextLayout:
    """How a table of numbers is written.

    Attributes
    ----------
    header : tuple of str
        Lines above the numbers, blank ones left out.
    start : int
        Byte at which the first line of numbers starts.
    delimiter : str
        "\\t", ";", "," or "|"; empty for white space of any length.
    decimal : {".", ","}
    """

    header: tuple[str, ...]
    start: int
    delimiter: str
    decimal: str


def normalise(data: bytes) -> bytes | None:
    """Text in UTF-8 with plain line ends; None where it is no text.

    UTF-16 is told by its byte order mark. Bytes that are no UTF-8 stay, and are read as Latin-1 in headers.
    """
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        data = data[: len(data) // 2 * 2].decode("utf-16", "replace").encode("utf-8", "replace")
    data = data.removeprefix(b"\xef\xbb\xbf")
    if len(data.translate(None, _CONTROL)) < len(data):
        return None
    if b"\r" in data:
        data = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    return data


def find_layout(text: bytes, *, complete: bool) -> TextLayout | None:
    """How the numbers of a text are written; None where it holds no table of numbers alone.

    Lines above the first line of numbers are its header. A header line that names as many columns as there
    are, without x, y and z among them, makes it a table of other things: None.

    Parameters
    ----------
    text : bytes
        The text or its first part, see `normalise`.
    complete : bool
        Whether the last line is whole.
    """
    header: list[str] = []
    is_comment = False
    start = -1
    first: bytes = b""
    ways: list[tuple[str, str]] = []
    judged = 0
    for at, line, whole in _lines(text, complete=complete):
        if not line.strip():
            continue
        if start < 0:
            ways = [way for way in _WRITTEN if _is_numeric(line, *way)]
            if ways:
                start, first = at, line
            elif whole:
                header.append(_decode(line))
                is_comment = _is_comment(line) or line.startswith(b";")
            continue
        if _is_comment(line):
            continue
        left = [way for way in ways if _is_numeric(line, *way)]
        if left or judged < _ENOUGH_LINES:
            ways = left
        judged += 1
        if not left or judged == _LINES_JUDGED:
            break
    if not ways:
        return None
    delimiter, decimal = ways[0]
    count = len(split(first, delimiter))
    if delimiter and first.rstrip(b" ").endswith(delimiter.encode()):
        count -= 1
    named, _ = last_names(header, delimiter, count)
    if named and not is_comment and find_columns(header, delimiter, count) is None:
        return None
    return TextLayout(tuple(header), start, delimiter, decimal)


def _lines(text: bytes, *, complete: bool) -> Iterator[tuple[int, bytes, bool]]:
    """Start, content and completeness of each line; a last line cut short loses its last field."""
    at = 0
    while at < len(text):
        end = text.find(b"\n", at)
        if end >= 0:
            yield at, text[at:end], True
            at = end + 1
            continue
        line = text[at:]
        if not complete:
            line = line[: max(line.rfind(mark) for mark in (b"\t", b";", b"|", b" ", b",")) + 1]
            line = line.rstrip(b"\t;|, ")
        yield at, line, complete
        return


def _is_comment(line: bytes) -> bool:
    text = line.lstrip()
    return text.startswith(_COMMENT) and text[:4].upper() != b"#N/A"


def _decode(line: bytes) -> str:
    try:
        return line.decode("utf-8")
    except UnicodeDecodeError:
        return line.decode("latin-1")


def split(line: bytes, delimiter: str) -> list[bytes]:
    """Fields of a line of numbers."""
    return line.split(delimiter.encode()) if delimiter else line.split()


def _is_numeric(line: bytes, delimiter: str, decimal: str) -> bool:
    """Whether a line has at least two fields under a way of writing, each of them a number or a gap."""
    fields = split(line, delimiter)
    number = _NUMBER[decimal]
    return len(fields) > 1 and all(
        number.fullmatch(field) or not field or is_unmeasured(field) for field in map(bytes.strip, fields)
    )


def read_table(body: bytes, layout: TextLayout, first_line: int) -> np.ndarray:
    """The numbers of a table.

    Parameters
    ----------
    body : bytes
        From the first line of numbers to the end.
    layout : TextLayout
    first_line : int
        Number of the first line in the file, counted from 1, for messages.

    Returns
    -------
    ndarray of shape (lines, columns), float64
        Not-a-number where a field is empty or says that nothing was measured.

    Raises
    ------
    ValueError
        If a field is neither, or lines differ in their number of fields; the line is named.
    """
    delimiter = layout.delimiter
    body = _without_trailing_delimiters(body.rstrip(b" \n"), delimiter)
    values: np.ndarray | None = None
    if not (delimiter != "," and b"," in body):
        values = _read_quickly(body, delimiter)
    if values is None:
        values = _read_quickly(_with_plain_numbers(body, delimiter), delimiter)
    if values is None:  # a rarer word for a gap, or a fault that is to be named
        values = _read_carefully(body, delimiter, first_line)
    values[np.isinf(values)] = np.nan
    return values


def _read_quickly(body: bytes, delimiter: str) -> np.ndarray | None:
    """The numbers by one call; None where a field is none or lines differ in length."""
    try:
        return np.loadtxt(
            io.BytesIO(body), delimiter=delimiter or None, comments=None, ndmin=2, encoding="latin-1"
        )
    except ValueError:
        return None


def _without_trailing_delimiters(body: bytes, delimiter: str) -> bytes:
    """The lines without the delimiter at their ends, where every one has it."""
    if not delimiter:
        return body
    mark = delimiter.encode()
    if b" \n" in body or b"\n\n" in body:
        lines = [line.rstrip(b" ") for line in body.split(b"\n")]
        if all(line.endswith(mark) for line in lines if line and not _is_comment(line)):
            lines = [line.removesuffix(mark) for line in lines]
        return b"\n".join(lines)
    if body.endswith(mark) and body.count(mark + b"\n") == body.count(b"\n"):
        return body.replace(mark + b"\n", b"\n")[:-1]
    return body


def _with_plain_numbers(body: bytes, delimiter: str) -> bytes:
    """The text with common gaps written as nan, points for decimals and no comments."""
    if any(mark in body for mark in _COMMENT):
        body = b"\n".join(line for line in body.split(b"\n") if not _is_comment(line))
    for word in _QUICK_GAPS:
        if word in body:
            body = body.replace(word, b"nan")
    if delimiter != "," and b"," in body:
        body = body.replace(b",", b".")
    if delimiter:
        mark = delimiter.encode()
        for empty in (mark + mark, mark + mark, b"\n" + mark, mark + b"\n"):
            if empty in body:
                body = body.replace(empty, empty[:1] + b"nan" + empty[1:])
        if body.startswith(mark) or body.endswith(mark):
            body = b"nan" * body.startswith(mark) + body + b"nan" * body.endswith(mark)
    return body


def _read_carefully(body: bytes, delimiter: str, first_line: int) -> np.ndarray:
    rows: list[np.ndarray] = []
    for number, line in enumerate(body.split(b"\n"), first_line):
        if not line.strip() or _is_comment(line):
            continue
        if delimiter != ",":
            line = line.replace(b",", b".")
        fields = split(line, delimiter)
        if rows and len(fields) != rows[0].size:
            raise ValueError(
                f"line {number} has {len(fields)} values where the first line of numbers has {rows[0].size}"
            )
        convert = to_number if b"_" in line else _to_number_quickly
        try:
            rows.append(np.fromiter(map(convert, fields), np.float64, len(fields)))
        except ValueError as error:
            raise ValueError(f"line {number}: {error}") from None
    return np.stack(rows)


def _to_number_quickly(field: bytes) -> float:
    try:
        return float(field)
    except ValueError:
        return to_number(field)

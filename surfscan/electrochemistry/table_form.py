"""How the numbers of a text are written: delimiter, decimal mark, which columns hold words instead."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from surfscan.loaders.number_text import is_unmeasured

HEAD_LINES = 2000
"""Lines judged: a header longer than this is not looked through (common practice, no source)."""

_WAYS = (
    ("\t", "."), ("\t", ","), (";", "."), (";", ","), ("|", "."), ("|", ","), (",", "."),
    ("", "."), ("", ","),
)  # fmt: skip
_EXPONENT = rb"(?:[eEdD][-+]?\d+)?"
_POINT = rb"[-+]?(?:\d+(?:[.]\d*)?|[.]\d+)" + _EXPONENT
_COMMA = rb"[-+]?(?:\d+(?:,\d*)?|,\d+)" + _EXPONENT
_POINT_THOUSANDS = rb"[-+]?[1-9]\d{0,2}(?:,\d{3})+(?:[.]\d*)?" + _EXPONENT
_COMMA_THOUSANDS = rb"[-+]?[1-9]\d{0,2}(?:[.]\d{3})+(?:,\d*)?" + _EXPONENT
_NUMBER = {
    (".", False): re.compile(_POINT),
    (".", True): re.compile(_POINT + rb"|" + _POINT_THOUSANDS),
    (",", True): re.compile(_COMMA + rb"|" + _COMMA_THOUSANDS),
}
_GAPS = (b"overload", b"overflow", b"ovl", b"ol", b"ovr", b"ovrld")

_NANOAMPERE = b"nA"
_LIKE_A_NUMBER = re.compile(rb"\s*[-+]?[.,]?\d")

_CLOCK = re.compile(
    rb"(?<![\w.:])(?:(?:\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/.]\d{1,2}[-/.]\d{2,4})(?:T|[ ]+))?"
    rb"(\d{1,3}):([0-5]\d):([0-5]\d(?:[.,]\d+)?)(?![\d:])(Z|[ ]*[AaPp][Mm]\b)?"
)
_TIMES_TEN = re.compile(
    rb"(?<=[\d.,])[ ]?(?:\*|x|\xc3\x97|\xd7|\xc2\xb7|\xb7|\xe2\x8b\x85)[ ]?10\^?(?=[-+]?\d)"
)
_BROKEN_EXPONENT = re.compile(rb"(?<=[\d.,])[ ](?=[eE][-+]?\d)|(?<=[\d.,][eE])[ ](?=[-+]?\d)")
_FORTRAN_EXPONENT = re.compile(rb"(?<=[\d.,])[dD](?=[-+]?\d)")
_THOUSANDS_MARK = re.compile(rb"(?<=\d)(?:'|\xe2\x80\x99|\xc2\xa0|\xe2\x80\xaf|\xa0)(?=\d{3})")
_COMMA_IN_THOUSANDS = re.compile(rb"(?<=\d),(?=\d{3}(?!\d))")
_POINT_IN_THOUSANDS = re.compile(rb"(?<=\d)[.](?=\d{3}(?!\d))")


@dataclass(frozen=True)
class TableForm:
    """How the rows of a table are written.

    Attributes
    ----------
    delimiter : str
        "\\t", ";", "," or "|"; empty for white space of any length.
    decimal : {".", ","}
    words : tuple of bool
        For each column, whether it holds words rather than numbers.
    trailing : bool
        Whether rows end with a delimiter after the last field.
    thousands : bool
        Whether the other mark may part thousands.
    """

    delimiter: str
    decimal: str
    words: tuple[bool, ...]
    trailing: bool
    thousands: bool

    @property
    def columns(self) -> int:
        """Number of columns."""
        return len(self.words)

    def split(self, line: bytes) -> list[bytes]:
        """Fields of a line that `tidy` has seen, without white space around them."""
        return _split(line, self.delimiter, self.trailing)

    def is_row(self, fields: Sequence[bytes]) -> bool:
        """Whether fields are a row: numbers or gaps where the table has numbers, one number at least."""
        if len(fields) != self.columns:
            return False
        found = False
        for field, is_word in zip(fields, self.words, strict=True):
            if is_word:
                continue
            if self.is_number(field):
                found = True
            elif not is_gap(field):
                return False
        return found

    def is_number(self, field: bytes) -> bool:
        """Whether a field is a number in this way of writing."""
        return _NUMBER[self.decimal, self.delimiter != ","].fullmatch(field) is not None

    def plain(self, text: bytes) -> bytes:
        """The text with decimal points, plain exponents, no marks of thousands; for lines that are rows."""
        if b"D" in text or b"d" in text:
            text = _FORTRAN_EXPONENT.sub(b"e", text)
        if self.decimal == ".":
            if self.thousands and b"," in text:
                text = _COMMA_IN_THOUSANDS.sub(b"", text)
            return text
        if self.thousands and b"." in text:
            text = _POINT_IN_THOUSANDS.sub(b"", text)
        return text.replace(b",", b".")


class AmbiguousDecimalError(ValueError):
    """All numbers with a comma may have it as decimal mark or between thousands."""


def tidy(text: bytes) -> bytes:
    """Text with its numbers in plain spelling, line for line the same.

    The minus sign becomes a hyphen, quotes go, apostrophes and narrow blanks between thousands go, 1.2×10^-5
    becomes 1.2e-5, and a time of day, with or without date, becomes seconds since midnight.

    Examples
    --------
    >>> tidy("\\u22121'234.5;\\"1.2\\u00d710^-5\\"".encode())
    b'-1234.5;1.2e-5'
    >>> tidy(b"2001-02-03 00:01:02.5\\t1,5E -06")
    b'62.5\\t1,5E-06'
    """
    if b"\xe2\x88\x92" in text:
        text = text.replace(b"\xe2\x88\x92", b"-")
    if b'"' in text:
        text = text.replace(b'"', b"")
    if b"'" in text or b"\xa0" in text or b"\xe2\x80" in text:
        text = _THOUSANDS_MARK.sub(b"", text)
    if b"\xc2\xa0" in text:
        text = text.replace(b"\xc2\xa0", b" ")
    if (
        b"10^" in text
        or b"\xd7" in text
        or b"\x97" in text
        or b"\xb7" in text
        or b"*10" in text
        or b"x10" in text
    ):
        text = _TIMES_TEN.sub(b"e", text)
    if b" e" in text or b" E" in text or b"E " in text or b"e " in text:
        text = _BROKEN_EXPONENT.sub(b"", text)
    if b":" in text:
        text = _CLOCK.sub(_seconds, text)
    return text


def has_clock(text: bytes) -> bool:
    """Whether a text, as it stands in the file, holds times of day."""
    return b":" in text and _CLOCK.search(text) is not None


def _seconds(match: re.Match[bytes]) -> bytes:
    hours, minutes, seconds = int(match[1]), int(match[2]), match[3]
    half = (match[4] or b"").strip().lower()
    if half in (b"am", b"pm"):
        hours = hours % 12 + 12 * (half == b"pm")
    whole, mark, part = seconds.partition(b"," if b"," in seconds else b".")
    return b"%d%b%b" % (3600 * hours + 60 * minutes + int(whole), mark, part)


def is_gap(field: bytes) -> bool:
    """Whether a field says that nothing was measured: empty, NaN in its spellings, overload.

    NA does, nA is a unit.

    Examples
    --------
    >>> is_gap(b""), is_gap(b"NaN"), is_gap(b"OVERLOAD"), is_gap(b"good"), is_gap(b"NA"), is_gap(b"nA")
    (True, True, True, False, True, False)
    """
    return not field or (field != _NANOAMPERE and is_unmeasured(field)) or field.lower() in _GAPS


def _split(line: bytes, delimiter: str, trailing: bool) -> list[bytes]:
    if not delimiter:
        return line.split()
    fields = [field.strip() for field in line.split(delimiter.encode())]
    if trailing and len(fields) > 1 and not fields[-1]:
        fields.pop()
    return fields


def find_form(lines: Sequence[bytes], decimal: str | None = None) -> tuple[TableForm, int] | None:
    """How a table is written, and the index of its first row; None where lines hold no table.

    Every way of writing is tried; the one under which most lines are rows alike wins, then that with fewer
    columns of words and fewer empty fields.

    Parameters
    ----------
    lines : sequence of bytes
        First lines of the file, see `tidy`.
    decimal : {".", ","}, optional
        Decimal mark, where the user states it.

    Raises
    ------
    AmbiguousDecimalError
        If every comma may be a decimal mark or part thousands, and none is stated.
    """
    found: dict[tuple[str, str], _Found] = {}
    for way in _WAYS:
        if decimal is None or way[1] == decimal:
            one = _try(lines[:HEAD_LINES], *way)
            if one is not None:
                found[way] = one
    if not found:
        return None
    way = min(found, key=lambda key: (-found[key].rows, sum(found[key].words), found[key].empty))
    best = found[way]
    delimiter, mark = way
    other = found.get((delimiter, ","))
    doubtful = (
        mark == "." and decimal is None and best.commas and other is not None and other.rows >= best.rows
    )
    if doubtful and delimiter == ";":
        assert other is not None
        way, best, mark = (delimiter, ","), other, ","
    elif doubtful:
        raise AmbiguousDecimalError(
            "every number with a comma may have a decimal comma or a thousands separator"
        )
    return TableForm(delimiter, mark, best.words, best.trailing, delimiter != ","), best.first


@dataclass
class _Found:
    rows: int
    first: int
    words: tuple[bool, ...]
    trailing: bool
    empty: int
    commas: bool


def _try(lines: Sequence[bytes], delimiter: str, decimal: str) -> _Found | None:
    """The most frequent kind of row under one way of writing."""
    number = _NUMBER[decimal, delimiter != ","]
    kinds: dict[tuple[bool, ...], list[int]] = {}
    for index, line in enumerate(lines):
        fields = _split(line, delimiter, trailing=False)
        if len(fields) < 2:
            continue
        words = tuple(not (number.fullmatch(field) or is_gap(field)) for field in fields)
        if len(words) - sum(words) < 2 or not any(map(number.fullmatch, fields)):
            continue
        kinds.setdefault(words, []).append(index)
    if not kinds:
        return None
    words, rows = max(kinds.items(), key=lambda item: (len(item[1]), -sum(item[0])))
    first = next((a for a, b in zip(rows, rows[2:], strict=False) if b == a + 2), rows[0])
    known = frozenset(rows)
    for index in range(first - 1, -1, -1):  # rows before a row with a fault in it belong to the table
        if index in known:
            first = index
        elif not _LIKE_A_NUMBER.match(lines[index]):
            break
    split = [_split(lines[index], delimiter, trailing=False) for index in rows if index >= first]
    trailing = bool(delimiter) and len(words) > 2 and all(not fields[-1] for fields in split)
    empty = sum(not field for fields in split for field in fields)
    commas = delimiter != "," and any(b"," in field for fields in split for field in fields)
    return _Found(len(split), first, words[:-1] if trailing else words, trailing, empty, commas)

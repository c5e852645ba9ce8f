"""Tables of numbers from delimited text, with whatever stands above, between and below the numbers.

Read in blocks, each by one call where it holds nothing but numbers, line by line where it does not.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from surfscan.electrochemistry.sweep_units import Unit, parse_unit
from surfscan.electrochemistry.table_form import (
    HEAD_LINES,
    AmbiguousDecimalError,
    TableForm,
    find_form,
    has_clock,
    is_gap,
    tidy,
)
from surfscan.electrochemistry.text_blocks import TextBlocks, decode
from surfscan.errors import InputError
from surfscan.loaders.number_text import shown, to_number

MOST_NUMBERS = 100_000_000
"""Numbers of one table: 0.8 GB of memory."""

_HEAD_BYTES = 2**18
_COMMENT = (b"#", b"%", b"!", b"//")
_SCAN_WORDS = re.compile(
    r"\b(scan|cycle|sweep|segment|loop|curve|run|branch|half|point|points|end|mean|total)\b", re.IGNORECASE
)
_CELL_NUMBER = re.compile(rb"^[-+]?(?:\d[\d.,]*|[.,]\d+)(?:[eE][-+]?\d+)?\s*")
_QUOTED_COMMA = re.compile(rb'"[^"\n]*\d,\d[^"\n]*"')
_DECIMAL_PART = re.compile(rb"0\d+|-0|\d{2,}[eE][-+]?\d+")
_NO_UNIT = re.compile(rb"[03-9]")
_LONGEST_UNIT = 24
_MOST_WORDS = 10_000
_MOST_INTERLUDES = 10_000


@dataclass(frozen=True)
class CellUnit:
    """A unit in a cell, beside the number it belongs to.

    Attributes
    ----------
    column : int
        First column 0.
    unit : Unit
    with_number : bool
        Whether a number stands in the same cell.
    line : int
        Where it stands first, first line 1.
    """

    column: int
    unit: Unit
    with_number: bool
    line: int


@dataclass(frozen=True)
class TextTable:
    """Numbers of a delimited text and the lines around them.

    Attributes
    ----------
    values : ndarray of shape (rows, columns), float64
        Not-a-number where a field is empty, says that nothing was measured, or holds a word.
    form : TableForm
    header : tuple of str
        Lines above the first row, blank ones left out.
    interludes : tuple of (int, tuple of str)
        Lines between rows, such as a repeated header, and the index of the row after them.
    footer : tuple of str
        Lines after the last row.
    clocks : tuple of int
        Columns whose times of day were turned into seconds since midnight.
    cell_units : tuple of CellUnit
        Units that stand in cells of columns of words, each once for each column.
    line_starts : ndarray of shape (k, 2)
        Row index and line number (first line 1) where a run of lines without others in between starts.
    sha256 : str
    warnings : tuple of str
    """

    values: np.ndarray
    form: TableForm
    header: tuple[str, ...]
    interludes: tuple[tuple[int, tuple[str, ...]], ...]
    footer: tuple[str, ...]
    clocks: tuple[int, ...]
    cell_units: tuple[CellUnit, ...]
    line_starts: np.ndarray
    sha256: str
    warnings: tuple[str, ...]

    def line_of(self, row: int) -> int:
        """Number of the line in which a row stands, first line 1."""
        k = int(np.searchsorted(self.line_starts[:, 0], row, side="right")) - 1
        return int(self.line_starts[k, 1] + row - self.line_starts[k, 0])


def read_table(path: Path, decimal: str | None = None) -> TextTable:
    """Read the one table of numbers that a text file holds.

    Parameters
    ----------
    path : Path
    decimal : {".", ","}, optional
        Decimal mark; None tells it from the file.

    Returns
    -------
    TextTable

    Raises
    ------
    InputError
        If the file is empty, binary, holds no table, one column only, or a row with something that is no
        number; the line is named.
    """
    blocks = TextBlocks(path)
    reader = _Reader(path, decimal)
    for block in blocks:
        reader.take(block)
    return reader.finish(blocks.sha256, ends_whole=blocks.ends_with_newline)


class _Reader:
    def __init__(self, path: Path, decimal: str | None) -> None:
        self.path = path
        self.decimal = decimal
        self.head = b""
        self.form: TableForm | None = None
        self.parts: list[np.ndarray] = []
        self.rows = 0
        self.line = 1
        self.pending: list[tuple[int, bytes, bytes]] = []
        self.header: tuple[str, ...] = ()
        self.interludes: list[tuple[int, tuple[str, ...]]] = []
        self.line_starts: list[tuple[int, int]] = []
        self.clocks: tuple[int, ...] = ()
        self.cells: dict[tuple[int, bytes], CellUnit | None] = {}
        self.warnings: list[str] = []

    def take(self, block: bytes) -> None:
        """Take whole lines; the form of the table is settled once enough of them are there."""
        if self.form is None:
            self.head += block
            if len(self.head) < _HEAD_BYTES:
                return
            block = self._settle()
        self._read(block)

    def finish(self, sha256: str, *, ends_whole: bool) -> TextTable:
        """The table, once all lines were taken."""
        if self.form is None:
            self._read(self._settle())
        assert self.form is not None
        if not ends_whole and self.pending and self.pending[-1][1].strip():
            fields = self.form.split(self.pending[-1][2])
            if fields and self._opens_row(fields):
                number, _, _ = self.pending.pop()
                self.warnings.append(f"Line {number}, the last, is cut short and left out.")
        self._check_pending(at_end=True)
        footer = tuple(decode(raw).strip() for _, raw, _ in self.pending if raw.strip())
        values = np.empty((self.rows, self.form.columns))
        at = 0
        for k, part in enumerate(self.parts):
            values[at : at + len(part)] = part
            at += len(part)
            self.parts[k] = part[:0]
        return TextTable(
            values,
            self.form,
            self.header,
            tuple(self.interludes),
            footer,
            self.clocks,
            tuple(cell for cell in self.cells.values() if cell is not None),
            np.array(self.line_starts, np.int64).reshape(-1, 2),
            sha256,
            tuple(self.warnings),
        )

    def _settle(self) -> bytes:
        """Find the form of the table in the head; the head from its first row on."""
        raw = self.head.split(b"\n")
        lines = tidy(b"\n".join(raw[:HEAD_LINES])).split(b"\n")
        try:
            found = find_form(lines, self.decimal)
        except AmbiguousDecimalError as error:
            raise InputError(
                self.path,
                str(error),
                'State the decimal mark, "," or ".", or write the numbers without thousands',
            ) from None
        if found is None:
            raise InputError(self.path, *_no_table(lines))
        self.form, first = found
        if self.form.delimiter == ",":
            self._check_commas(raw[:HEAD_LINES], lines, first)
        header = [line for line in raw[:first] if line.strip()]
        self.header = tuple(decode(line).strip() for line in header)
        self._note_clocks(raw[first])
        self.line = first + 1
        self.head = b""
        return b"\n".join(raw[first:])

    def _check_commas(self, raw: list[bytes], lines: list[bytes], first: int) -> None:
        """Refuse rows whose commas mark decimals too."""
        assert self.form is not None
        remedy = "Export with semicolons or tabs between the columns, or with decimal points"
        rows = []
        for number, (line, tidied) in enumerate(zip(raw[first:], lines[first:], strict=True), first + 1):
            fields = self.form.split(tidied)
            if self.form.is_row(fields):
                if _QUOTED_COMMA.search(line):
                    raise InputError(
                        f"{self.path}:{number}", "commas stand within quotes and between the columns", remedy
                    )
                rows.append((number, fields))
        if self.decimal is None and not any(b"." in field for _, fields in rows for field in fields):
            for number, fields in rows:
                part = next((field for field in fields if _DECIMAL_PART.fullmatch(field)), None)
                if part is not None:
                    raise InputError(
                        f"{self.path}:{number}",
                        f"{shown(part)} looks like a part of a number: commas seem to part the columns and "
                        "to mark decimals too",
                        f'{remedy}; if commas do no more than part the columns, state decimal = "."',
                    )

    def _note_clocks(self, line: bytes) -> None:
        assert self.form is not None
        if has_clock(line):
            fields = self.form.split(tidy(line))
            bare = self.form.split(line.replace(b'"', b""))
            if len(bare) == len(fields):
                self.clocks = tuple(k for k, field in enumerate(bare) if b":" in field)

    def _read(self, block: bytes) -> None:
        assert self.form is not None
        text = tidy(block)
        values = self._quickly(text)
        if values is not None:
            self._add(values, self.line)
            self.line += len(values)
            return
        self._carefully(block, text)

    def _quickly(self, text: bytes) -> np.ndarray | None:
        """The numbers of lines by one call; None where a line holds anything else."""
        form = self.form
        assert form is not None
        if any(form.words):
            return None
        plain = form.plain(text)
        if form.trailing:
            mark = form.delimiter.encode() + b"\n"
            if plain.count(mark) != plain.count(b"\n"):
                return None
            plain = plain.replace(mark, b"\n")
        lines = plain.count(b"\n")
        if not plain.strip():
            return None
        values = _numbers(plain, form)
        if values is None or values.shape != (lines, form.columns):
            return None
        return values

    def _carefully(self, block: bytes, text: bytes) -> None:
        form = self.form
        assert form is not None
        raw_lines, lines = block.split(b"\n"), text.split(b"\n")
        run: list[list[bytes]] = []
        for raw, line in zip(raw_lines[:-1], lines[:-1], strict=True):
            fields = form.split(line)
            if form.is_row(fields):
                run.append(fields)
                if any(form.words):
                    self._note_units(fields)
            else:
                self._add_run(run)
                self.pending.append((self.line, raw, line))
                if len(self.pending) > HEAD_LINES:
                    self._check_pending(at_end=False)
                    self.pending = self.pending[-1:]
            self.line += 1
        self._add_run(run)

    def _note_units(self, fields: list[bytes]) -> None:
        """Units among the words of a row."""
        assert self.form is not None
        for column, (field, is_word) in enumerate(zip(fields, self.form.words, strict=True)):
            text = _CELL_NUMBER.sub(b"", field) if is_word else b""
            with_number = text != field
            key = column, b"1" + text if with_number else text
            is_known = key in self.cells or len(self.cells) >= _MOST_WORDS
            if not text or is_known or len(text) > _LONGEST_UNIT or _NO_UNIT.search(text):
                continue
            unit = parse_unit(decode(text))
            self.cells[key] = None if unit is None else CellUnit(column, unit, with_number, self.line)

    def _add_run(self, run: list[list[bytes]]) -> None:
        """Rows one after the other, as fields; the list is emptied."""
        form = self.form
        if not run or form is None:
            return
        keep = [k for k, is_word in enumerate(form.words) if not is_word]
        plain = form.plain(b"\n".join(b"\t".join([fields[k] for k in keep]) for fields in run) + b"\n")
        values = np.full((len(run), form.columns), np.nan)
        numbers = _numbers(plain, TableForm("\t", ".", (False,) * len(keep), False, False))
        if numbers is None:
            numbers = np.array(
                [
                    [np.nan if is_gap(f) else to_number(f) for f in line.split(b"\t")]
                    for line in plain.split(b"\n")[:-1]
                ]
            )
        values[:, keep] = numbers
        self._add(values, self.line - len(run))
        run.clear()

    def _add(self, values: np.ndarray, line: int) -> None:
        """Rows of which the first stands in a line; what was pending becomes an interlude before them."""
        if self.pending:
            self._check_pending(at_end=False)
            texts = tuple(decode(raw).strip() for _, raw, _ in self.pending if raw.strip())
            if texts and len(self.interludes) < _MOST_INTERLUDES:
                self.interludes.append((self.rows, texts))
            self.pending = []
        last = self.line_starts[-1] if self.line_starts else None
        if last is None or last[1] + self.rows - last[0] != line:
            self.line_starts.append((self.rows, line))
        values[np.isinf(values)] = np.nan
        self.parts.append(values)
        self.rows += len(values)
        if self.rows * values.shape[1] > MOST_NUMBERS:
            raise InputError(
                self.path,
                f"the table holds more than {MOST_NUMBERS:,} numbers",
                "Thin it or cut it into single sweeps",
            )

    def _opens_row(self, fields: list[bytes]) -> bool:
        """Whether the first field that should be a number is one."""
        assert self.form is not None
        for field, is_word in zip(fields, self.form.words, strict=False):
            if not is_word:
                return self.form.is_number(field)
        return False

    def _check_pending(self, *, at_end: bool) -> None:
        """Refuse lines between rows that are rows with a fault in them rather than headings or comments."""
        form = self.form
        assert form is not None
        lines = [(number, line) for number, _, line in self.pending]
        filled = [(number, line) for number, line in lines if line.strip()]
        is_apart = at_end or len(filled) > 1 or len(lines) > len(filled)
        for number, line in filled:
            if line.lstrip().startswith(_COMMENT):
                continue
            fields = form.split(line)
            numeric = [form.is_number(field) or is_gap(field) for field in fields]
            named = _SCAN_WORDS.search(decode(line)) is not None
            if self._opens_row(fields):
                if len(fields) != form.columns and all(numeric):
                    self._refuse(
                        number, f"{len(fields)} values stand here, {form.columns} in the rows before"
                    )
                if len(fields) != form.columns and (named or at_end):
                    continue
            elif is_apart or named or len(fields) != form.columns or not any(numeric):
                continue
            bad = [
                field
                for field, fine, is_word in zip(fields, numeric, form.words, strict=False)
                if not fine and not is_word
            ]
            if bad:
                self._refuse(number, f"{shown(bad[0])} is not a number")
            self._refuse(number, "this is no row of numbers like those before")

    def _refuse(self, line: int, fault: str) -> None:
        raise InputError(
            f"{self.path}:{line}", fault, "Correct the line, or remove it if it is no part of the table"
        )


def _numbers(text: bytes, form: TableForm) -> np.ndarray | None:
    """Lines of plain numbers by one call; None where a field is none or lines differ in length."""
    try:
        return np.loadtxt(
            io.BytesIO(text), delimiter=form.delimiter or None, comments=None, ndmin=2, encoding="latin-1"
        )
    except ValueError:
        return None


def _no_table(lines: Iterable[bytes]) -> tuple[str, str]:
    """Fault and remedy of a file in which no table was found."""
    remedy = "Export the sweep as columns of potential and current, one line each point"
    single = filled = 0
    for line in lines:
        fields = line.replace(b",", b".").split()
        filled += bool(fields)
        if len(fields) == 1:
            try:
                to_number(fields[0].rstrip(b".;"))
            except ValueError:
                continue
            single += 1
    if not filled:
        return "the file holds no text", remedy
    if single > 0.5 * filled:
        return "the file holds one column of numbers", remedy
    return "the file holds no table of numbers", remedy

"""Block maxima from a column of a delimited table."""

from __future__ import annotations

import csv
import hashlib
import re
from collections.abc import Iterator
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path

import numpy as np

from surfscan.errors import InputError
from surfscan.images import Source

_DELIMITERS = ("\t", ";", ",")
_YES = frozenset({"true", "yes", "y", "x", "1", "wahr", "vrai"})
_NO = frozenset({"false", "no", "n", "", "0", "falsch", "faux"})
_UNITS = {"nm": "nm", "um": "µm", "mm": "mm"}
_MOST_BYTES = 100_000_000


@dataclass(frozen=True)
class MaximaTable:
    """One column of block maxima, ready for `surfscan.procedures.extremes.analyse_maxima`.

    Attributes
    ----------
    values : ndarray of shape (n,), float64
    censored, below : ndarray of shape (n,), bool, or None
        Which are lower and upper bounds; None where no column was named.
    unit : str
        From the end of the column's name (max_depth_um is in µm); empty where it names none.
    source : Source
    warnings : tuple of str
    """

    values: np.ndarray
    censored: np.ndarray | None
    below: np.ndarray | None
    unit: str
    source: Source
    warnings: tuple[str, ...]


def read_maxima(
    path: str | Path, column: str, censored_column: str | None = None, below_column: str | None = None
) -> MaximaTable:
    """Read block maxima, one row a block.

    Parameters
    ----------
    path : str or Path
        Text table with a header line; columns set apart by comma, semicolon or tab; decimal point or comma.
        Blank lines and lines that start with # are passed over.
    column : str
        Name of the column of maxima.
    censored_column, below_column : str, optional
        Columns that mark lower and upper bounds with true or false (yes/no, 1/0, x/empty).

    Returns
    -------
    MaximaTable

    Raises
    ------
    InputError
        With file and line, if the file cannot be read, a column is missing or named twice, a row has another
        number of cells than the header, or a cell is no number or no mark.
    """
    path = Path(path)
    text, digest = _text(path)
    delimiter, header_line, header, rows = _split(path, text, column)
    wanted = [name for name in (column, censored_column, below_column) if name is not None]
    places = [_place(path, header_line, header, name) for name in wanted]
    values: list[float] = []
    marks: list[list[bool]] = [[] for _ in places[1:]]
    for line, row in rows:
        where = f"{path}:{line}"
        if len(row) != len(header):
            raise InputError(
                where, f"has {len(row)} cells, the header {len(header)}", "Give every row one cell a column"
            )
        values.append(_number(where, row[places[0]], column, delimiter))
        for mark, place, name in zip(marks, places[1:], wanted[1:], strict=True):
            mark.append(_mark(where, row[place], name))
    if not values:
        raise InputError(path, "has a header but no rows", "Give one row for each block")
    flags = iter(np.array(mark, dtype=bool) for mark in marks)
    return MaximaTable(
        values=np.array(values, dtype=np.float64),
        censored=next(flags) if censored_column is not None else None,
        below=next(flags) if below_column is not None else None,
        unit=_UNITS.get(column.rpartition("_")[2].lower(), ""),
        source=Source(str(path), digest, file_format="delimited text"),
        warnings=_unused_marks(header, column, censored_column),
    )


def _text(path: Path) -> tuple[str, str]:
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise InputError(
                path, f"is larger than {_MOST_BYTES // 10**6} MB", "Give a table of block maxima"
            )
        content = path.read_bytes()
    except OSError as fault:
        reason = fault.strerror or str(fault)
        raise InputError(path, f"cannot be read ({reason})", "Check the name of the table") from fault
    if b"\0" in content:
        raise InputError(
            path, "is not a text table", "Save it as delimited text (UTF-8), such as a comma-separated file"
        )
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = content.decode("latin-1")
    return text, hashlib.sha256(content).hexdigest()


def _split(path: Path, text: str, column: str) -> tuple[str, int, list[str], Iterator[tuple[int, list[str]]]]:
    """Delimiter, line of the header, its cells, and an iterator over the rows below it."""
    guesses = [(delimiter, _rows(path, text, delimiter)) for delimiter in _DELIMITERS]
    headers = [(delimiter, rows, *next(rows, (1, list[str]()))) for delimiter, rows in guesses]
    if not any(cells for _, _, _, cells in headers):
        raise InputError(path, "is empty", "Give a header line and one row for each block")
    found = [h for h in headers if column in h[3]] or [max(headers, key=lambda h: len(h[3]))]
    delimiter, rows, line, cells = found[0]
    return delimiter, line, cells, rows


def _rows(path: Path, text: str, delimiter: str) -> Iterator[tuple[int, list[str]]]:
    reader = csv.reader(text.splitlines(keepends=True), delimiter=delimiter)
    try:
        for row in reader:
            cells = [cell.strip() for cell in row]
            if any(cells) and not cells[0].startswith("#"):
                yield reader.line_num, cells
    except csv.Error as fault:
        raise InputError(
            f"{path}:{reader.line_num}", f"cannot be read as a table ({fault})", "Check quotes and delimiters"
        ) from fault


def _place(path: Path, line: int, header: list[str], name: str) -> int:
    if header.count(name) == 1:
        return header.index(name)
    where = f"{path}:{line}"
    if name in header:
        raise InputError(where, f"has {header.count(name)} columns named {name!r}", "Rename all but one")
    near = get_close_matches(name, header, n=1)
    listed = ", ".join(cell or "(no name)" for cell in header[:12]) + (", ..." if len(header) > 12 else "")
    hint = f"Did you mean {near[0]!r}?" if near else f"The columns are: {listed}"
    raise InputError(where, f"has no column {name!r}", hint)


def _number(where: str, cell: str, column: str, delimiter: str) -> float:
    if not cell:
        raise InputError(
            where,
            f"{column} is empty",
            "Delete the row if the block was not measured; where it has no pit, write 0 and state the "
            "detection limit",
        )
    text = cell.replace("−", "-")
    if delimiter == "," and re.fullmatch(r"-?\d{1,3}(,\d{3})+", text):
        raise InputError(
            where, f"{column} is {cell!r}: decimal or thousands comma?", "Write it with a decimal point"
        )
    if text.count(",") == 1 and "." not in text:
        text = text.replace(",", ".")
    try:
        if "_" in text:
            raise ValueError
        return float(text)
    except ValueError:
        raise InputError(where, f"{column} is {cell!r}, which is no number", "Write a number") from None


def _mark(where: str, cell: str, column: str) -> bool:
    text = cell.lower()
    if text not in _YES | _NO:
        raise InputError(where, f"{column} is {cell!r}", "Write true or false")
    return text in _YES


def _unused_marks(header: list[str], column: str, censored_column: str | None) -> tuple[str, ...]:
    stem = re.sub(r"_(nm|um|mm)$", "", column)
    hint = f"{stem}_is_lower_bound"
    if censored_column is None and hint in header:
        return (
            f"The table has a column {hint}, which was not named: every {column} is taken as measured. "
            f"Name it with --censored {hint} if pits whose floor was not seen are among them.",
        )
    return ()

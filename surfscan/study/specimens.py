"""Specimens from a CSV that a spreadsheet wrote, whatever its language settings."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from surfscan.study.faults import suggest_key
from surfscan.study.findings import Finding

_DELIMITERS = (";", "\t", ",")
_NUMBER = re.compile(r"[-+]?(\d+([.,]\d*)?|[.,]\d+)([eE][-+]?\d+)?")
_MAYBE_THOUSANDS = re.compile(r"[-+]?[1-9]\d{0,2}[.,]\d{3}")


@dataclass(frozen=True)
class Row:
    """One specimen of the CSV.

    Attributes
    ----------
    line : int
        Line of the file, first line 1.
    values : dict
        Field -> text or number; empty cells are left out.
    """

    line: int
    values: dict[str, Any]


def read_specimens_csv(
    path: Path, fields: Sequence[str], text_fields: Sequence[str]
) -> tuple[list[Row], list[Finding]]:
    """Read specimens, one row each, under a header of field names.

    Commas, semicolons and tabs part the cells; UTF-8 (with or without byte order mark), UTF-16 with a
    byte order mark, and Windows-1252 are read; blank rows are passed over. A number may have a decimal
    comma. Where a comma could as well part thousands, that is a fault: nobody can tell 1,234 from 1.234.

    Parameters
    ----------
    path : Path
    fields : sequence of str
        Columns that may stand in the header.
    text_fields : sequence of str
        Those of them that are text; the others are numbers.

    Returns
    -------
    rows : list of Row
    faults : list of Finding
        Each with its ``file:line``.
    """
    text, fault = _decode(path)
    if fault:
        return [], [fault]
    lines = _cells(text)
    if not lines:
        return [], [_fault(path, 1, "the file holds no rows", f"Head it with: {', '.join(fields)}")]
    (header_line, header), body = lines[0], lines[1:]
    header = [name.strip() for name in header]
    while header and not header[-1]:
        header.pop()
    faults = _header_faults(path, header_line, header, fields)
    if faults:
        return [], faults
    numbers = _Numbers(path, ";" if _delimiter(text) == ";" else "")
    rows = []
    for line, cells in body:
        cells = [cell.strip() for cell in cells]
        if any(cells[len(header) :]):
            faults.append(
                _fault(
                    path,
                    line,
                    f"{len(cells)} cells under {len(header)} headings",
                    "Put text that holds the delimiter in quotes, or remove the extra cells",
                )
            )
            continue
        values: dict[str, Any] = {}
        for name, cell in zip(header, cells, strict=False):
            if cell:
                values[name] = cell if name in text_fields else numbers.read(cell, name, line)
        rows.append(Row(line, values))
    faults += numbers.faults()
    return [] if faults else rows, faults


def _decode(path: Path) -> tuple[str, Finding | None]:
    try:
        content = path.read_bytes()
    except OSError as error:
        return "", _fault(path, 1, f"it cannot be read ({error.strerror})", "Check the rights to it")
    if content.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0")):
        return "", _fault(
            path, 1, "this is a spreadsheet workbook, not a CSV", "Save the sheet as CSV and name that file"
        )
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        encodings = ["utf-16"]
    else:
        encodings = ["utf-8-sig", "cp1252"]
    for encoding in encodings:
        try:
            text = content.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\0" not in text:
            return text, None
    return "", _fault(
        path, 1, "the file is not text in UTF-8, UTF-16 or Windows-1252", "Save the sheet as CSV UTF-8"
    )


def _delimiter(text: str) -> str:
    first = next((line for line in text.splitlines() if line.strip()), "")
    if match := re.fullmatch(r"sep=(.)\s*", first):
        return match[1]
    unquoted = re.sub(r'"[^"]*"', "", first)
    return max(_DELIMITERS, key=unquoted.count)


def _cells(text: str) -> list[tuple[int, list[str]]]:
    """Line number and cells of every row that is not blank."""
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=_delimiter(text), skipinitialspace=True)
    rows, start = [], 1
    for cells in reader:
        declares_delimiter = start == 1 and re.fullmatch(r"sep=.?", "".join(cells).strip())
        if any(cell.strip() for cell in cells) and not declares_delimiter:
            rows.append((start, cells))
        start = reader.line_num + 1
    return rows


def _header_faults(path: Path, line: int, header: Sequence[str], fields: Sequence[str]) -> list[Finding]:
    faults = [
        _fault(path, line, f"unknown column {name!r}", suggest_key(name, None, list(fields)))
        for name in header
        if name not in fields
    ]
    faults += [
        _fault(path, line, f"column {name!r} stands twice", "Remove one of the two")
        for name in dict.fromkeys(header)
        if name in fields and header.count(name) > 1
    ]
    return faults


class _Numbers:
    """Numbers of one file, whose decimal mark is settled only when all of it was seen."""

    def __init__(self, path: Path, delimiter: str) -> None:
        self.path = path
        self.semicolons = delimiter == ";"
        self.with_mark: dict[str, list[tuple[int, str, str]]] = {".": [], ",": []}

    def read(self, cell: str, name: str, line: int) -> float | str:
        """The number, or the cell itself where it is none, for the model to complain about."""
        bare = re.sub(r"[\s\u00a0\u202f']", "", cell)
        if not _NUMBER.fullmatch(bare):
            return cell
        for mark, cells in self.with_mark.items():
            if mark in bare:
                cells.append((line, name, bare))
        return float(bare.replace(",", "."))

    def faults(self) -> list[Finding]:
        points, commas = self.with_mark["."], self.with_mark[","]
        if points and commas:
            line, name, cell = commas[0]
            other = points[0]
            return [
                _fault(
                    self.path,
                    line,
                    f"{name} {cell!r} has a decimal comma, but {other[1]} {other[2]!r} at line {other[0]} "
                    "a decimal point",
                    "Use one decimal mark throughout",
                )
            ]
        if self.semicolons or not all(_MAYBE_THOUSANDS.fullmatch(cell) for _, _, cell in commas):
            return []
        return [
            _fault(
                self.path,
                line,
                f"{name} {cell!r} may be a decimal comma or a thousands separator",
                f"Write {cell.replace(',', '.')} or {cell.replace(',', '')}",
            )
            for line, name, cell in commas
        ]


def _fault(path: Path, line: int, what: str, remedy: str) -> Finding:
    return Finding("error", f"{path.name}:{line}", what, remedy)

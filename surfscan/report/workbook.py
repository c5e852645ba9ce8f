"""Tables to one workbook, quickly, the same bytes for the same tables.

openpyxl writes all of the workbook but the rows of numbers: frame, styles, names, units, filters. The rows,
which may be millions, are put into its sheets as text, a column at a time.
"""

from __future__ import annotations

import datetime
import io
import math
import re
import zipfile
from collections.abc import Iterator, Mapping
from html import escape
from typing import Any

import numpy as np

from surfscan.columns import TABLES, Table
from surfscan.report.writing import file_stem

SHEET_ROWS = 1_048_574
"""Rows below names and units that a sheet of the workbook format can hold."""

_FIRST_ROW = 3
_CHUNK_ROWS = 4096
_LONGEST_TEXT = 32_767
_BIG_CELLS = 10_000_000
"""From so many cells on, the size of a sheet is noted in 64 bits."""

_STAMP = datetime.datetime(1980, 1, 1)
_NO_XML = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]")
_END_OF_ROWS = b"</sheetData>"


def workbook_bytes(tables: Mapping[str, Table]) -> tuple[bytes, list[str]]:
    """All tables as sheets of one workbook: names in the first row, units in the second, both frozen.

    The first column is frozen too, and every column has a filter.
    Numbers are held in full and shown to four digits of a typical one in their column.

    Parameters
    ----------
    tables : mapping of str to Table
        By name in the column registry.

    Returns
    -------
    content : bytes
    warnings : list of str
        Tables too long for a sheet.
    """
    from openpyxl import Workbook

    book, warnings = Workbook(write_only=True), []
    styles = {}
    for name, table in tables.items():
        styles[name] = _begin_sheet(book, name, table)
        length = _length(table)
        if length > SHEET_ROWS:
            warnings.append(
                f"In tables/surfscan.xlsx sheet {file_stem(name)!r} ends after {SHEET_ROWS} of {length} "
                f"rows, the most a sheet can hold; tables/{file_stem(name)}.csv has them all."
            )
    frame = io.BytesIO()
    book.save(frame)
    sheets = {f"xl/worksheets/sheet{k}.xml": name for k, name in enumerate(tables, start=1)}
    out = io.BytesIO()
    with zipfile.ZipFile(frame) as old, zipfile.ZipFile(out, "w") as new:
        for entry in old.infolist():
            info = zipfile.ZipInfo(entry.filename, _STAMP.timetuple()[:6])
            info.create_system = 3  # the same byte on every operating system
            info.compress_type = zipfile.ZIP_DEFLATED
            content = old.read(entry)
            if entry.filename not in sheets:
                new.writestr(
                    info, _fixed_stamp(content) if entry.filename == "docProps/core.xml" else content
                )
                continue
            name = sheets[entry.filename]
            before, end, after = content.partition(_END_OF_ROWS)
            if not end:
                raise RuntimeError(f"the sheet of {name} was written without rows")
            big = len(tables[name]) * _length(tables[name]) > _BIG_CELLS
            with new.open(info, "w", force_zip64=big) as member:
                member.write(before)
                for rows in _rows(tables[name], styles[name]):
                    member.write(rows.encode("utf-8"))
                member.write(end + after)
    return out.getvalue(), warnings


def _begin_sheet(book: Any, name: str, table: Table) -> list[int]:
    """Open the sheet of a table, write names and units, and return the style of each column."""
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Font
    from openpyxl.utils import get_column_letter

    sheet = book.create_sheet(file_stem(name))
    sheet.freeze_panes = "B3"
    units = {c.name: c.unit for c in TABLES.get(name, ())}
    styles = []
    for position, (column, values) in enumerate(table.items(), start=1):
        number = values.dtype.kind == "f"
        longest = 0 if number else max((len(str(v)) for v in values[:200].tolist()), default=0)
        letter = get_column_letter(position)
        sheet.column_dimensions[letter].width = min(max(len(column) + 3, longest + 2), 60)
        style = WriteOnlyCell(sheet)
        style.number_format = _number_format(values) or "General"
        styles.append(style.style_id)
    for texts, font in (
        (list(table), Font(bold=True)),
        ([units.get(c, "") for c in table], Font(italic=True)),
    ):
        row_cells = [WriteOnlyCell(sheet, value=text or None) for text in texts]
        for cell in row_cells:
            cell.font = font
        sheet.append(row_cells)
    sheet.auto_filter.ref = f"A2:{get_column_letter(len(table))}{min(_length(table), SHEET_ROWS) + 2}"
    return styles


def _rows(table: Table, styles: list[int]) -> Iterator[str]:
    """Rows of a sheet as its XML has them, some thousand at a time."""
    from openpyxl.utils import get_column_letter

    letters = [get_column_letter(k) for k in range(1, len(table) + 1)]
    length = min(_length(table), SHEET_ROWS)
    for start in range(0, length, _CHUNK_ROWS):
        end = min(start + _CHUNK_ROWS, length)
        numbers = range(start + _FIRST_ROW, end + _FIRST_ROW)
        cells = [
            _cells(column[start:end], letter, style, numbers)
            for column, letter, style in zip(table.values(), letters, styles, strict=True)
        ]
        yield "".join(
            f'<row r="{n}">{"".join(row)}</row>'
            for n, row in zip(numbers, zip(*cells, strict=True), strict=True)
        )


def _cells(column: np.ndarray, letter: str, style: int, numbers: range) -> list[str]:
    """Cells of one column; empty where there is no value, and infinity is a text."""
    values, kind = column.tolist(), column.dtype.kind
    if kind == "f":
        begin = f'" s="{style}"><v>' if style else '"><v>'
        cells = [f'<c r="{letter}{n}{begin}{v!r}</v></c>' for n, v in zip(numbers, values, strict=True)]
        for k in np.flatnonzero(~np.isfinite(column)).tolist():
            cells[k] = (
                "" if math.isnan(values[k]) else _text_cell(f"{letter}{numbers[k]}", _inside(repr(values[k])))
            )
        return cells
    if kind == "b":
        return [f'<c r="{letter}{n}" t="b"><v>{v:d}</v></c>' for n, v in zip(numbers, values, strict=True)]
    if kind in "iu":
        return [f'<c r="{letter}{n}"><v>{v}</v></c>' for n, v in zip(numbers, values, strict=True)]
    inside = {text: _inside(str(text)) for text in set(values)}
    return [_text_cell(f"{letter}{n}", inside[v]) if v else "" for n, v in zip(numbers, values, strict=True)]


def _text_cell(place: str, inside: str) -> str:
    return f'<c r="{place}" t="inlineStr"><is>{inside}</is></c>'


def _inside(text: str) -> str:
    """A text as the XML of a sheet has it: never a formula, no longer than a cell can be."""
    shown = _NO_XML.sub("\ufffd", text)[:_LONGEST_TEXT]
    space = ' xml:space="preserve"' if shown != shown.strip() else ""
    return f"<t{space}>{escape(shown, quote=False)}</t>".replace("\r", "&#13;")


def _length(table: Table) -> int:
    return len(next(iter(table.values())))


def _number_format(column: np.ndarray) -> str:
    """How a workbook shows a column of numbers: to four digits of a typical one; empty where as they are."""
    if column.dtype.kind != "f":
        return ""
    sizes = np.abs(column[np.isfinite(column) & (column != np.rint(column))])
    if sizes.size == 0:
        return ""
    decimals = 3 - math.floor(math.log10(float(np.median(sizes))))
    return "0.000E+00" if decimals > 8 else f"0.{'0' * max(decimals, 1)}"


def _fixed_stamp(properties: bytes) -> bytes:
    """The workbook's properties with their times set to one fixed moment."""
    stamp = f"{_STAMP.isoformat()}Z".encode()
    return re.sub(rb"(<dcterms:(?:created|modified)[^>]*>)[^<]*", lambda m: m.group(1) + stamp, properties)

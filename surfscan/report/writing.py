"""Tables to CSV and to one workbook, the same bytes for the same tables."""

from __future__ import annotations

import csv
import datetime
import io
import math
import re
import zipfile
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from surfscan.columns import TABLES, Table
from surfscan.errors import InputError

SHEET_ROWS = 1_048_574
"""Rows below names and units that a sheet of the workbook format can hold."""

_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
_STAMP = datetime.datetime(1980, 1, 1)
_KINDS = {"b": "flag", "i": "whole number", "u": "whole number", "f": "number", "U": "text"}


def file_stem(table: str) -> str:
    """Name of a table's file and sheet: `study_pits` stands in pits.csv."""
    return table.removeprefix("study_")


def data_dictionary(tables: Mapping[str, Table]) -> Table:
    """Every column of the tables, and of this one, with its unit and definition from the column registry."""
    rows = [
        (file_stem(name), c.name, c.unit, _KINDS[np.dtype(c.dtype).kind], c.definition)
        for name in (*tables, "data_dictionary")
        for c in TABLES[name]
    ]
    names = [c.name for c in TABLES["data_dictionary"]]
    return {name: np.array(values) for name, values in zip(names, zip(*rows, strict=True), strict=True)}


def csv_bytes(table: Table) -> bytes:
    """A table as CSV: UTF-8, comma, decimal point, full precision, empty where there is no value.

    Text stands as it was given, also where a spreadsheet takes it for a formula: a mark put before it would
    change the name for every other program. `formula_warning` tells of it, and the workbook holds it as text.
    """
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(table)
    writer.writerows(zip(*([_text(v) for v in column.tolist()] for column in table.values()), strict=True))
    return out.getvalue().encode("utf-8")


def formula_warning(tables: Mapping[str, Table]) -> str | None:
    """What to tell where a text of the tables begins as a formula does; None where none does."""
    texts = [
        text
        for table in tables.values()
        for column in table.values()
        if column.dtype.kind == "U"
        for text in np.unique(column).tolist()
        if text.startswith(_FORMULA_STARTS)
    ]
    if not texts:
        return None
    return (
        f"A spreadsheet may take a text of tables/*.csv for a formula, such as {min(texts)!r}. Open "
        "tables/surfscan.xlsx there, which holds it as text, or rename it in the study."
    )


def workbook_bytes(tables: Mapping[str, Table]) -> tuple[bytes, list[str]]:
    """All tables as sheets of one workbook: names in the first row, units in the second, both frozen.

    The first column is frozen too, and every column has a filter.
    Numbers are held in full and shown to four digits of a typical one in their column.

    Returns
    -------
    content : bytes
    warnings : list of str
        Tables too long for a sheet.
    """
    from openpyxl import Workbook
    from openpyxl.cell import WriteOnlyCell
    from openpyxl.styles import Font
    from openpyxl.utils import get_column_letter

    book, warnings = Workbook(write_only=True), []
    for name, table in tables.items():
        sheet = book.create_sheet(file_stem(name))
        sheet.freeze_panes = "B3"
        units = {c.name: c.unit for c in TABLES.get(name, ())}
        for position, (column, values) in enumerate(table.items(), start=1):
            number = values.dtype.kind == "f"
            longest = 0 if number else max((len(_text(v)) for v in values[:200].tolist()), default=0)
            letter = get_column_letter(position)
            sheet.column_dimensions[letter].width = min(max(len(column) + 3, longest + 2), 60)
        for texts, font in (
            (list(table), Font(bold=True)),
            ([units.get(c, "") for c in table], Font(italic=True)),
        ):
            row_cells = [WriteOnlyCell(sheet, value=text or None) for text in texts]
            for cell in row_cells:
                cell.font = font
            sheet.append(row_cells)
        length = len(next(iter(table.values())))
        if length > SHEET_ROWS:
            warnings.append(
                f"In tables/surfscan.xlsx sheet {file_stem(name)!r} ends after {SHEET_ROWS} of {length} "
                f"rows, the most a sheet can hold; tables/{file_stem(name)}.csv has them all."
            )

        sheet.auto_filter.ref = f"A2:{get_column_letter(len(table))}{min(length, SHEET_ROWS) + 2}"

        def styled(value: Any, style: str, sheet: Any = sheet) -> Any:
            cell = WriteOnlyCell(sheet, value=value)
            if isinstance(value, str):
                cell.data_type = "s"
            else:
                cell.number_format = style
            return cell

        def cells(column: np.ndarray, styled: Any = styled) -> Iterator[Any]:
            style = _number_format(column)
            return (_cell(v, style, styled) for v in column[:SHEET_ROWS].tolist())

        for row in zip(*map(cells, table.values()), strict=True):
            sheet.append(row)
    content = io.BytesIO()
    book.save(content)
    return _fixed_stamps(content.getvalue()), warnings


def write_bytes(path: Path, content: bytes) -> None:
    """Write a file whole or not at all.

    Raises
    ------
    InputError
        If the file cannot be written, for example because another program holds it open.
    """
    draft = path.with_name(path.name + ".part")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        draft.write_bytes(content)
        draft.replace(path)
    except OSError as error:
        if draft.is_file():
            draft.unlink()
        raise InputError(
            path,
            f"cannot be written ({error.strerror or error})",
            "Close it in other programs, check that the folder may be written to and has room, then run "
            "surfscan report again.",
        ) from error


def _text(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return "" if value != value else repr(value).removesuffix(".0")
    return str(value)


def _number_format(column: np.ndarray) -> str:
    """How a workbook shows a column of numbers: to four digits of a typical one; empty where as they are."""
    if column.dtype.kind != "f":
        return ""
    sizes = np.abs(column[np.isfinite(column) & (column != np.rint(column))])
    if sizes.size == 0:
        return ""
    decimals = 3 - math.floor(math.log10(float(np.median(sizes))))
    return "0.000E+00" if decimals > 8 else f"0.{'0' * max(decimals, 1)}"


def _cell(value: Any, style: str, styled: Callable[[Any, str], Any]) -> Any:
    """What a workbook cell takes; text that looks like a formula stays text."""
    if isinstance(value, float):
        if not np.isfinite(value):
            return None if value != value else repr(value)
        return styled(value, style) if style else value
    if isinstance(value, str):
        value = re.sub(r"[\x00-\x08\x0b\x0c\x0e-\x1f]", "\ufffd", value)[:32767]
        return styled(value, style) if value.startswith("=") else value or None
    return value


def _fixed_stamps(workbook: bytes) -> bytes:
    """The workbook with every time in it set to one fixed moment, so that equal tables give equal bytes."""
    stamp = f"{_STAMP.isoformat()}Z".encode()
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(workbook)) as old, zipfile.ZipFile(out, "w") as new:
        for entry in old.infolist():
            content = old.read(entry)
            if entry.filename == "docProps/core.xml":
                content = re.sub(
                    rb"(<dcterms:(?:created|modified)[^>]*>)[^<]*", lambda m: m.group(1) + stamp, content
                )
            info = zipfile.ZipInfo(entry.filename, _STAMP.timetuple()[:6])
            info.create_system = 3  # the same byte on every operating system
            info.compress_type = zipfile.ZIP_DEFLATED
            new.writestr(info, content)
    return out.getvalue()

"""Tables to CSV and to one workbook, the same bytes for the same tables."""

from __future__ import annotations

import csv
import datetime
import io
import re
import zipfile
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy as np

from surfscan.columns import TABLES, Table
from surfscan.errors import InputError

SHEET_ROWS = 1_048_575
"""Rows below the header that a sheet of the workbook format can hold."""

_STAMP = datetime.datetime(1980, 1, 1)
_KINDS = {"b": "flag", "i": "whole number", "u": "whole number", "f": "number", "U": "text"}


def file_stem(table: str) -> str:
    """Name of a table's file and sheet: `study_pits` stands in pits.csv."""
    return table.removeprefix("study_")


def data_dictionary(tables: Mapping[str, Table]) -> Table:
    """Every column of the tables with its unit and definition, from the column registry."""
    rows = [
        (file_stem(name), c.name, c.unit, _KINDS[np.dtype(c.dtype).kind], c.definition)
        for name in tables
        for c in TABLES[name]
    ]
    names = [c.name for c in TABLES["data_dictionary"]]
    return {name: np.array(values) for name, values in zip(names, zip(*rows, strict=True), strict=True)}


def csv_bytes(table: Table) -> bytes:
    """A table as CSV: UTF-8, comma, decimal point, full precision, empty where there is no value."""
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(table)
    writer.writerows(zip(*([_text(v) for v in column.tolist()] for column in table.values()), strict=True))
    return out.getvalue().encode("utf-8")


def workbook_bytes(tables: Mapping[str, Table]) -> tuple[bytes, list[str]]:
    """All tables as sheets of one workbook, header row frozen.

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
        sheet.freeze_panes = "A2"
        for position, (column, values) in enumerate(table.items(), start=1):
            longest = max((len(_text(v)) for v in values[:200].tolist()), default=0)
            letter = get_column_letter(position)
            sheet.column_dimensions[letter].width = min(max(len(column), longest) + 2, 60)
        header = [WriteOnlyCell(sheet, value=column) for column in table]
        for cell in header:
            cell.font = Font(bold=True)
        sheet.append(header)
        length = len(next(iter(table.values())))
        if length > SHEET_ROWS:
            warnings.append(
                f"In tables/surfscan.xlsx sheet {file_stem(name)!r} ends after {SHEET_ROWS} of {length} "
                f"rows, the most a sheet can hold; tables/{file_stem(name)}.csv has them all."
            )

        def formula_proof(text: str, sheet: Any = sheet) -> Any:
            cell = WriteOnlyCell(sheet, value=text)
            cell.data_type = "s"
            return cell

        cells = ([_cell(v, formula_proof) for v in column[:SHEET_ROWS].tolist()] for column in table.values())
        for row in zip(*cells, strict=True):
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


def _cell(value: Any, formula_proof: Callable[[str], Any]) -> Any:
    """What a workbook cell takes; text that looks like a formula stays text."""
    if isinstance(value, float):
        return value if np.isfinite(value) else ("" if value != value else repr(value)) or None
    if isinstance(value, str):
        value = re.sub(r"[\x00-\x08\x0b\x0c\x0e-\x1f]", "\ufffd", value)[:32767]
        return formula_proof(value) if value.startswith("=") else value or None
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

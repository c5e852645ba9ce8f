"""Tables to CSV, the same bytes for the same table, and files written whole or not at all."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from pathlib import Path

import numpy as np

from surfscan.columns import TABLES, Table
from surfscan.errors import InputError

_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
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
    head = ",".join(_quoted(name) for name in table)
    rows = map(",".join, zip(*map(_fields, table.values()), strict=True))
    return "".join(f"{line}\n" for line in (head, *rows)).encode("utf-8")


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


def _fields(column: np.ndarray) -> list[str]:
    """A column as fields of CSV, quoted where they must be."""
    values, kind = column.tolist(), column.dtype.kind
    if kind == "f":
        return ["" if v != v else repr(v).removesuffix(".0") for v in values]
    if kind == "b":
        return ["true" if v else "false" for v in values]
    if kind in "iu":
        return [str(v) for v in values]
    fields = {text: _quoted(text) for text in set(values)}
    return [fields[v] for v in values]


def _quoted(text: str) -> str:
    """A text as a field of CSV among others."""
    out = io.StringIO(newline="")
    csv.writer(out, lineterminator="\n").writerow((text, ""))
    return out.getvalue().removesuffix(",\n")

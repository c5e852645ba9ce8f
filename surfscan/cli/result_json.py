"""A result as strict JSON: no not-a-number, floats to seven significant digits, tables as rows."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

import numpy as np

from surfscan.columns import TEXTURE_PARAMETERS, Table, columns
from surfscan.procedures.result import Result

SIGNIFICANT_DIGITS = 7
_TABLES_IN_PX = frozenset({"bars"})  # whose px columns have no twin in µm
_IN_PX = re.compile(r"_px(_ci95_low|_ci95_high)?$")
_ALWAYS_IN_PX = ("area_px", "row_px", "col_px")  # endings: positions, and counts of pixels


def result_json(result: Result, beside: Mapping[str, Any] = MappingProxyType({})) -> str:
    """The JSON text of one result.

    Parameters
    ----------
    result : Result
    beside : mapping of str to object, optional
        Further keys that stand before the summary.

    Returns
    -------
    str
        One object with keys procedure, source, calibration, settings, warnings, summary, one key for
        each table (rows in label order, keys in registry order) and version. Where the scale is known,
        rows leave out the px twins of physical columns; where it is not, physical values are null. Columns
        that only the other kind of image has are left out. Areal texture parameters stand in an object of
        their own, "parameters".
    """
    scaled = result.calibration is not None
    kind = str(result.summary.get("image_kind", ""))
    parameters = {c.name for c in TEXTURE_PARAMETERS} & set(result.summary)
    head = {
        "procedure": result.procedure,
        "source": result.source.as_dict(),
        "calibration": result.calibration.as_dict() if result.calibration else None,
        "settings": dict(result.settings),
        "warnings": list(result.warnings),
        **beside,
        "summary": {key: value for key, value in result.summary.items() if key not in parameters},
    }
    if parameters:
        head["parameters"] = {
            c.name: result.summary[c.name] for c in TEXTURE_PARAMETERS if c.name in parameters
        }
    parts = [f'"{key}": {plain_json(value)}' for key, value in head.items()]
    for name, table in result.tables.items():
        parts.append(f'"{name}": {_rows_text(name, table, scaled, kind)}')
    parts.append(f'"version": {plain_json(result.version)}')
    return "{\n" + ",\n".join(parts) + "\n}\n"


def row_columns(table: str, scaled: bool, kind: str = "") -> list[str]:
    """Names of the columns that rows of `table` carry on one kind of image, in registry order."""
    names = [c.name for c in columns(table) if not kind or c.only_on in ("", kind)]
    if scaled and table not in _TABLES_IN_PX:
        names = [n for n in names if not _IN_PX.search(n) or n.endswith(_ALWAYS_IN_PX)]
    return names


def _rows_text(name: str, table: Table, scaled: bool, kind: str) -> str:
    names = row_columns(name, scaled, kind)
    cells = [_column_cells(table[n]) for n in names]
    template = "{" + ", ".join(f'"{n}": {form}' for n, (form, _) in zip(names, cells, strict=True)) + "}"
    rows = ",\n".join(map(template.__mod__, zip(*(values for _, values in cells), strict=True)))
    return f"[\n{rows}\n]" if rows else "[]"


def _column_cells(values: np.ndarray) -> tuple[str, list[Any]]:
    """How to print one column (a % conversion) and what to print; one pass per column keeps it quick."""
    if values.dtype.kind in "iu":
        return "%d", values.tolist()
    if values.dtype.kind == "f":
        form = f"%.{SIGNIFICANT_DIGITS}g"
        finite = np.isfinite(values)
        if finite.all():
            return form, values.tolist()
        return "%s", [
            form % v if ok else "null" for v, ok in zip(values.tolist(), finite.tolist(), strict=True)
        ]
    if values.dtype.kind == "b":
        return "%s", ["true" if v else "false" for v in values.tolist()]
    seen = {v: json.dumps(v, ensure_ascii=False) for v in set(values.tolist())}
    return "%s", [seen[v] for v in values.tolist()]


def plain_json(value: Any) -> str:
    """Strict JSON of nested mappings, sequences, arrays and numbers; not-a-number becomes null."""
    return json.dumps(_plain(value), ensure_ascii=False, allow_nan=False)


def _plain(value: Any) -> Any:
    """Python's own types only; not-a-number and infinity become None."""
    if isinstance(value, Mapping):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, np.ndarray | np.generic):
        return _plain(value.tolist())
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    if isinstance(value, float):
        return float(f"{value:.{SIGNIFICANT_DIGITS}g}") if math.isfinite(value) else None
    return value

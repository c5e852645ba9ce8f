"""All tables by name, and how tables are made to fit them."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from surfscan.columns.base import Column, Table
from surfscan.columns.electrochemistry import ELECTROCHEMISTRY_TABLES
from surfscan.columns.exposure import EXPOSURE_TABLES
from surfscan.columns.immersion import IMMERSION_TABLES
from surfscan.columns.objects import OBJECT_TABLES
from surfscan.columns.scale import SCALE_TABLES
from surfscan.columns.section import SECTION_TABLES
from surfscan.columns.struts import STRUT_TABLES
from surfscan.columns.study import STUDY_TABLES
from surfscan.columns.study_by_hand import BY_HAND_TABLES
from surfscan.columns.study_parts import PART_TABLES
from surfscan.columns.study_rates import RATE_TABLES
from surfscan.columns.study_summary import SUMMARY_TABLES

TABLES: dict[str, tuple[Column, ...]] = (
    OBJECT_TABLES
    | SCALE_TABLES
    | STRUT_TABLES
    | SECTION_TABLES
    | STUDY_TABLES
    | PART_TABLES
    | BY_HAND_TABLES
    | ELECTROCHEMISTRY_TABLES
    | IMMERSION_TABLES
    | EXPOSURE_TABLES
    | RATE_TABLES
    | SUMMARY_TABLES
)
"""Table name -> its columns, in order."""


def columns(table: str) -> tuple[Column, ...]:
    """Columns of a named table, in order.

    Raises
    ------
    KeyError
        If the table is not registered.
    """
    return TABLES[table]


def empty_table(table: str) -> Table:
    """A table with no rows but all its columns and dtypes."""
    return {c.name: np.empty(0, dtype=c.dtype) for c in TABLES[table]}


def conform(table: str, values: Mapping[str, np.ndarray]) -> Table:
    """Order and type `values` by the registry.

    Columns that only one kind of image has may be missing: they come out empty (not-a-number, "" or False).

    Raises
    ------
    KeyError
        If any other registered column is missing or an unregistered one is present.
    ValueError
        If columns differ in length.
    """
    missing = {c.name for c in TABLES[table] if not c.only_on} - set(values)
    extra = set(values) - {c.name for c in TABLES[table]}
    if missing or extra:
        raise KeyError(f"table {table!r}: missing {sorted(missing)}, unregistered {sorted(extra)}")
    n = len(next(iter(values.values()), ()))
    out = {
        c.name: np.asarray(values[c.name]).astype(c.dtype, copy=False) if c.name in values else _blank(c, n)
        for c in TABLES[table]
    }
    lengths = {len(v) for v in out.values()}
    if len(lengths) > 1:
        raise ValueError(f"table {table!r}: columns of different lengths {sorted(lengths)}")
    return out


def _blank(column: Column, n: int) -> np.ndarray:
    return np.full(n, np.nan if column.dtype == "float64" else np.zeros(1, column.dtype)[0], column.dtype)

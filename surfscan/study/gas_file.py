"""Readings of a gas burette from a text file: hours since immersion and volume."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

import numpy as np

from surfscan.electrochemistry.delimited import read_table
from surfscan.electrochemistry.headers import read_headings
from surfscan.errors import InputError

_NAMES = {
    "hours": re.compile(r"(?i)\b(?:hours?|hrs?|time|zeit|elapsed)\b|^t\b"),
    "volume": re.compile(r"(?i)\b(?:volume|vol|gas|hydrogen|h2|v)\b"),
}
_UNITS = {
    "hours": {"h": 1.0, "hr": 1.0, "hrs": 1.0, "hour": 1.0, "hours": 1.0, "d": 24.0, "day": 24.0,
              "days": 24.0, "min": 1 / 60, "minutes": 1 / 60, "s": 1 / 3600},
    "volume": {"ml": 1.0, "cm3": 1.0, "cm³": 1.0, "l": 1000.0, "µl": 1e-3, "ul": 1e-3, "μl": 1e-3},
}  # fmt: skip
_IN = {"hours": "h", "volume": "mL"}


class GasReadings(NamedTuple):
    """Readings of a burette.

    Attributes
    ----------
    hours, volume_mL : ndarray of shape (n,)
    columns : mapping of str to str
        "hours" and "volume" -> heading they were read from, and its unit.
    sha256 : str
        Of the file.
    """

    hours: np.ndarray
    volume_mL: np.ndarray
    columns: Mapping[str, str]
    sha256: str


def read_gas(path: Path, columns: Mapping[str, str]) -> GasReadings:
    """Read hours and volume.

    Parameters
    ----------
    path : Path
        Delimited text, any delimiter and decimal mark.
    columns : mapping of str to str
        "hours" and "volume" -> heading, for those that are not to be told by name.

    Returns
    -------
    GasReadings
        Columns are told by their headings, units from brackets, ``_`` or a slash at their end: h, d, min, s;
        mL, L, µL, cm³.

    Raises
    ------
    InputError
        If the file cannot be read, a column or its unit cannot be told, or a reading is missing.
    """
    table = read_table(path)
    headings = [heading.text for heading in read_headings(table.header, table.form)]
    found: dict[str, np.ndarray] = {}
    said: dict[str, str] = {}
    for name in _NAMES:
        k = _column(path, headings, name, columns.get(name))
        unit = _unit(headings[k])
        if unit.lower() not in _UNITS[name]:
            raise InputError(
                path,
                f"the unit of the column {headings[k]!r} is not told",
                f"Write it at the end of the heading, such as {name} ({_IN[name]})",
            )
        found[name] = table.values[:, k] * _UNITS[name][unit.lower()]
        said[name] = f"{headings[k]} in {unit}"
        missing = np.flatnonzero(~np.isfinite(found[name]))
        if missing.size:
            line = table.line_of(int(missing[0]))
            raise InputError(
                path,
                f"there is no number under {headings[k]!r} in line {line}",
                "Fill it in, or remove the line",
            )
    return GasReadings(found["hours"], found["volume"], said, table.sha256)


def _unit(heading: str) -> str:
    match = re.search(r"[\[(]\s*([^\])]+?)\s*[\])]\s*$|[_/,]\s*([A-Za-zµμ0-9³]+)\s*$", heading)
    if match:
        return match[1] or match[2]
    return heading.strip().split(" ")[-1]


def _column(path: Path, headings: list[str], name: str, stated: str | None) -> int:
    there = ", ".join(repr(text) for text in headings if text) or "no headings"
    if stated is not None:
        if stated not in headings:
            raise InputError(path, f"there is no column {stated!r} for {name}", f"There are {there}")
        return headings.index(stated)
    plain = [re.sub(r"_", " ", text) for text in headings]
    fitting = [k for k, text in enumerate(plain) if _NAMES[name].search(text)]
    if len(fitting) != 1:
        what = "several columns" if fitting else "no column"
        raise InputError(
            path,
            f"{what} could be the {name} ({there})",
            f'State it in the [[gas]] table: columns = {{ {name} = "..." }}',
        )
    return fitting[0]

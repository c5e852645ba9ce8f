"""Potential sweeps from text files: any header, delimiter, decimal mark, order of columns, unit and sign."""

from __future__ import annotations

import os
import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np

from surfscan.electrochemistry.column_content import span
from surfscan.electrochemistry.column_roles import Role, assign_roles
from surfscan.electrochemistry.delimited import TextTable, read_table
from surfscan.electrochemistry.headers import (
    Heading,
    find_area_cm2,
    find_reference,
    find_scan_rate,
    find_unplaced,
    is_relative,
    read_headings,
)
from surfscan.electrochemistry.plausibility import check_columns, check_current, check_potential
from surfscan.electrochemistry.references import find_references
from surfscan.electrochemistry.scans import LEAST_POINTS, find_scans, find_strays, goes_on, jumps_about
from surfscan.electrochemistry.signs import give_sign, looks_logarithmic
from surfscan.electrochemistry.sweep import Scan, Sweep
from surfscan.errors import InputError
from surfscan.images import Source

_HALF_DAY_S, _DAY_S = 43200.0, 86400.0
_LARGEST_LOGARITHM = 12.0
_DECADES_PER_E = 0.4342944819032518
_RATE_DIFFERS = 1.5
_SCAN_NUMBER = re.compile(
    r"\b(?:scan|cycle|sweep|segment|loop|run|branch|zyklus)\W{0,3}(?:no\.?\s*)?\d", re.IGNORECASE
)
_FROM_REST = (
    "The potentials count from the rest potential, not from a reference electrode, by the heading: no "
    "electrode is taken. Add the rest potential against an electrode and name that to compare potentials."
)
_USUAL_RATES_V_PER_S = (1e-6, 10.0)


def read_sweep(
    path: Path | str,
    *,
    reference: str | None = None,
    columns: Mapping[str, str | int] | None = None,
    units: Mapping[str, str] | None = None,
    decimal: str | None = None,
) -> Sweep:
    """Read a potential sweep.

    What is not stated is told from headings, and where they say nothing from the numbers: the potential moves
    in even steps, time never runs backwards. What was taken is in ``columns`` of the result, what was
    doubtful in ``warnings``.

    Parameters
    ----------
    path : Path or str
    reference : str, optional
        Reference electrode; overrules the file.
    columns : mapping, optional
        Role ("potential", "current", "current density", "time", "scan") to heading or number, first
        column 1.
    units : mapping, optional
        Role to unit ("mV", "µA/cm²"); overrules the file.
    decimal : {".", ","}, optional
        Decimal mark.

    Returns
    -------
    Sweep
        Anodic current positive. Rows without potential or current are left out.

    Raises
    ------
    InputError
        If the file cannot be read as a sweep; says the line where there is one, and what to do.
    """
    path = Path(os.fspath(path))
    if decimal not in (None, ".", ","):
        raise InputError(path, f"{decimal!r} is no decimal mark", 'Decimal marks are "." and ","')
    table = read_table(path, decimal)
    headings = read_headings(table.header, table.form)
    if not (columns and units):
        _check_placed(path, table, headings)
    roles, notes = assign_roles(path, table.values, headings, table.form.words, table.clocks, columns, units)
    _check_cells(path, table, headings, roles, units or {})
    _check_repeated(path, table, roles)
    warnings = [*table.warnings, *notes]
    points = _points(path, table, roles, warnings)
    is_density = "current density" in roles
    flow = roles["current density" if is_density else "current"]
    reads = (roles["potential"].read, flow.read)
    check_columns(path, points.potential, points.current, reads)
    warnings += check_potential(path, points.potential, reads[0])
    if span(points.current) == 0:
        raise InputError(
            path,
            f"the current is the same at every point ({points.current[0]:.3g})",
            "Check that the cell was on and the range of the instrument not overrun, and which column is the "
            "current",
        )
    scans = find_scans(points.potential, points.boundaries)
    if not scans:
        raise InputError(
            path,
            "the potential does not move in one direction over three points or more: this is no sweep",
            'State which column is the potential, as in columns = {"potential": 1, "current": 2}',
        )
    if jumps_about(points.potential, scans):
        raise InputError(
            path,
            f"the potential jumps about: {len(scans)} runs in one direction that end anywhere",
            "Bring the lines into the order in which they were measured, and name the file of one sweep",
        )
    warnings += _outside(points, scans)
    if flow.read.how != "stated" and not flow.is_logarithm:
        _check_logarithm(path, points, scans, flow)
    signed = give_sign(
        points.potential, points.current, scans, is_absolute=flow.is_logarithm or flow.is_absolute
    )
    warnings += [*signed.warnings, *check_current(signed.current, is_density=is_density)]
    named, said = _reference(reference, *find_reference(headings, table.header))
    if is_relative([headings[roles["potential"].column]], table.header):
        named, said = None, (_FROM_REST,)
    rate, said_rate = _scan_rate(points, scans, find_scan_rate(table.header))
    area = find_area_cm2(table.header)
    if area is not None:
        warnings.append(f"The header speaks of an area of {area:g} cm²: it is not used unless it is stated.")
    return Sweep(
        source=Source(str(path), table.sha256, file_format="delimited text"),
        potential_V=points.potential,
        current_A=None if is_density else signed.current,
        density_A_per_cm2=signed.current if is_density else None,
        time_s=points.time,
        scans=scans,
        reference=named,
        scan_rate_V_per_s=rate,
        sign=signed.sign,
        columns=tuple(role.read for role in sorted(roles.values(), key=lambda role: role.column)),
        warnings=(*warnings, *said, *said_rate),
    )


def _check_placed(path: Path, table: TextTable, headings: Sequence[Heading]) -> None:
    """Refuse headings of potential and current that are more or fewer than the columns."""
    if any(heading.role not in ("", "other") for heading in headings):
        return
    fields = find_unplaced(table.header, table.form)
    if not fields:
        return
    named = ", ".join(repr(field) for field in fields)
    remedy = (
        "If commas part the columns and mark decimals too, export with semicolons or tabs; else correct the "
        'headings, or state columns = {"potential": 1, "current": 2} and units = {"potential": "V", '
        '"current": "A"}'
    )
    if table.cell_units:
        remedy = "Write units in the headings, not beside the numbers, and all values of a column in one unit"
    raise InputError(
        f"{path}:{table.line_of(0)}",
        f"{table.form.columns} values stand here, under {len(fields)} headings ({named})",
        remedy,
    )


def _check_cells(
    path: Path,
    table: TextTable,
    headings: Sequence[Heading],
    roles: Mapping[str, Role],
    units: Mapping[str, str],
) -> None:
    """Refuse units written beside the numbers, in the cells, unless they are what is taken throughout."""
    for name, role in roles.items():
        if name == "scan":
            continue
        heading = headings[role.column]
        is_stated = name in units or heading.unit is not None
        for cell in table.cell_units:
            is_beside = cell.column == role.column + 1 and not cell.with_number
            is_other = headings[cell.column].role == "other"
            if cell.unit.kind not in (name, "current density" if name == "current" else name):
                continue
            if (is_stated and (is_other or not is_beside)) or cell.unit.factor == role.factor:
                continue
            raise InputError(
                f"{path}:{cell.line}",
                f"the unit {cell.unit.text!r} stands in a cell (column {cell.column + 1}), and "
                f"{role.read.unit!r} would be taken for the {name}",
                "Write all values in one unit, and that in the heading; where all cells have the same unit, "
                f'state it, as in units = {{"{name}": "{cell.unit.text}"}}',
            )


def _check_logarithm(path: Path, points: _Points, scans: tuple[Scan, ...], flow: Role) -> None:
    """Refuse logarithms that no heading calls so."""
    if looks_logarithmic(points.potential, points.current / flow.factor, scans):
        raise InputError(
            path,
            f"column {flow.read.column} ({flow.read.name!r}), taken as {flow.read.role}, runs as logarithms "
            "do: negative throughout, with a cusp where it is lowest",
            f'If it holds logarithms, head it "log10(i / A)" or the like; if not, state it, as in '
            f'columns = {{"{flow.read.role}": {flow.read.column}}}',
        )


def _check_repeated(path: Path, table: TextTable, roles: Mapping[str, Role]) -> None:
    """Refuse headings between rows that give a column another meaning or unit than at the top."""
    seen: set[tuple[str, ...]] = set()
    for row, texts in table.interludes:
        if texts in seen:
            continue
        seen.add(texts)
        repeated = read_headings(texts, table.form)
        for name, role in roles.items():
            there = repeated[role.column]
            is_named = there.role not in ("", "other", name) and role.read.how == "name"
            is_scaled = there.unit is not None and there.unit.factor != role.factor
            if name != "scan" and (is_named or is_scaled):
                raise InputError(
                    f"{path}:{table.line_of(row)}",
                    f"the rows from here on are headed {there.text!r} in column {role.column + 1}, which is "
                    f"the {name} in {role.read.unit} above",
                    "Write the whole table in one unit and order of columns, or cut the file here",
                )


class _Points(NamedTuple):
    potential: np.ndarray
    current: np.ndarray
    time: np.ndarray | None
    boundaries: tuple[int, ...]


def _points(path: Path, table: TextTable, roles: Mapping[str, Role], warnings: list[str]) -> _Points:
    """Columns in V, A (or A/cm²) and s, less the rows that lack one, and where the file sets rows apart."""
    values = table.values
    potential = values[:, roles["potential"].column] * roles["potential"].factor
    current = _current(path, table, roles["current density" if "current density" in roles else "current"])
    whole = np.isfinite(potential) & np.isfinite(current)
    missing = int(np.count_nonzero(~whole))
    if missing:
        first = table.line_of(int(np.argmin(whole)))
        warnings.append(
            f"{missing} of {whole.size} rows hold no potential or no current (first at line {first}): they "
            "are left out."
        )
    if np.count_nonzero(whole) < LEAST_POINTS:
        count = int(np.count_nonzero(whole))
        raise InputError(
            path,
            f"the file holds {count} point{'s' * (count != 1)} with potential and current: no sweep",
            "Export the whole sweep, one line each point",
        )
    kept = np.flatnonzero(whole)
    strays = find_strays(potential[kept])
    if strays.size:
        lines = ", ".join(str(table.line_of(int(row))) for row in kept[strays[:3]])
        more = ", ..." if strays.size > 3 else ""
        warnings.append(f"{strays.size} stray readings of the potential (line {lines}{more}) are left out.")
        kept = np.delete(kept, strays)
    starts = _starts(table, potential, kept, warnings)
    if "scan" in roles:
        numbers = values[:, roles["scan"].column]
        numbered = (np.flatnonzero(np.diff(numbers) != 0) + 1).tolist()
        starts += numbered
        within = [row for row in numbered if goes_on(potential[kept], int(np.searchsorted(kept, row)))]
        if within:
            warnings.append(
                f"The scan number changes while the potential goes on ({len(within)} times, first at line "
                f"{table.line_of(within[0])}): the scan is parted there."
            )
    time = _time(table, roles.get("time"), kept, frozenset(starts), warnings)
    boundaries = np.unique(np.searchsorted(kept, np.array(starts, np.int64)))
    if kept.size < values.shape[0]:
        potential, current = potential[kept], current[kept]
    return _Points(potential, current, time, tuple(int(b) for b in boundaries if 0 < b < kept.size))


def _starts(table: TextTable, potential: np.ndarray, kept: np.ndarray, warnings: list[str]) -> list[int]:
    """Rows at which lines between rows part the sweep: not where the potential goes on over them."""
    starts: list[int] = []
    joined: list[tuple[int, str]] = []
    for row, texts in table.interludes:
        at = int(np.searchsorted(kept, row))
        if not goes_on(potential[kept], at):
            starts.append(row)
        elif any(_SCAN_NUMBER.search(text) for text in texts):
            starts.append(row)
            warnings.append(
                f"A scan starts before line {table.line_of(row)} by what stands there ({texts[0][:60]!r}), "
                "though the potential goes on: it is taken as a scan of its own."
            )
        else:
            joined.append((row, texts[0]))
    if joined:
        row, text = joined[0]
        warnings.append(
            f"Lines stand between the rows (first before line {table.line_of(row)}: {text[:60]!r}) over "
            "which the potential goes on: the rows above and below are taken as one scan."
        )
    return starts


def _current(path: Path, table: TextTable, role: Role) -> np.ndarray:
    values = table.values[:, role.column]
    if not role.is_logarithm:
        return values * role.factor
    largest = float(np.nanmax(values)) if np.isfinite(values).any() else 0.0
    largest *= _DECADES_PER_E if role.is_natural else 1.0
    if largest > _LARGEST_LOGARITHM:
        raise InputError(
            path,
            f"column {role.read.column} ({role.read.name!r}) is read as a logarithm and reaches "
            f"{largest:.3g}",
            "If it holds no logarithms, change its heading, or state which column is the current",
        )
    return np.exp(values) * role.factor if role.is_natural else 10.0**values * role.factor


def _time(
    table: TextTable, role: Role | None, kept: np.ndarray, starts: frozenset[int], warnings: list[str]
) -> np.ndarray | None:
    """Time in s from the first reading on, running on over midnight and over new starts of the clock."""
    if role is None:
        return None
    time = table.values[kept, role.column] * role.factor
    if not np.isfinite(time).all():
        warnings.append(
            f"The time is missing in {int(np.count_nonzero(~np.isfinite(time)))} rows: it is not used."
        )
        return None
    steps = np.diff(time)
    back = np.flatnonzero(steps < 0)
    for k in back.tolist():
        row, before = int(kept[k + 1]), int(kept[k])
        if role.column in table.clocks and steps[k] < -_HALF_DAY_S:
            steps[k] += _DAY_S
        elif any(before < start <= row for start in starts):
            steps[k] = 0.0
        else:
            warnings.append(
                f"The clock runs backwards by {-steps[k]:.3g} s at line {table.line_of(row)}: time and scan "
                "rate are not used. Check the order of the lines, and whether the clock was set."
            )
            return None
    if back.size:
        return time[0] + np.concatenate(([0.0], np.cumsum(steps)))
    return time


def _outside(points: _Points, scans: tuple[Scan, ...]) -> list[str]:
    """What to say of points that belong to no scan."""
    inside = np.zeros(points.potential.size, bool)
    for scan in scans:
        inside[scan.points] = True
    count = int(np.count_nonzero(~inside))
    if not count:
        return []
    first = int(np.argmin(inside)) + 1
    return [
        f"{count} of {inside.size} points belong to no scan (first: point {first}): the potential was held, "
        "jumped or turned there."
    ]


def _reference(
    stated: str | None, in_header: str | None, said: tuple[str, ...]
) -> tuple[str | None, tuple[str, ...]]:
    if stated is None:
        return in_header, said
    found = find_references(stated)
    name = found[0] if len(found) == 1 else stated.strip()
    if in_header is not None and in_header != name:
        return name, (f"The header names {in_header} as reference electrode, {name} is stated and taken.",)
    return name, ()


def _scan_rate(
    points: _Points, scans: tuple[Scan, ...], in_header: float | None
) -> tuple[float | None, tuple[str, ...]]:
    """Median rate over the scans from time, else what the header states."""
    rates = []
    for scan in scans if points.time is not None else ():
        assert points.time is not None
        lasted = float(points.time[scan.stop - 1] - points.time[scan.start])
        if lasted > 0:
            rates.append(abs(float(points.potential[scan.stop - 1] - points.potential[scan.start])) / lasted)
    if not rates:
        return in_header, ()
    rate = float(np.median(rates))
    warnings = []
    low, high = _USUAL_RATES_V_PER_S
    if not low <= rate <= high:
        warnings.append(f"The scan rate is {rate:.2g} V/s by the column of time: check the unit of time.")
    if in_header is not None and not 1 / _RATE_DIFFERS < rate / in_header < _RATE_DIFFERS:
        warnings.append(
            f"The header states {1000 * in_header:.3g} mV/s, the column of time gives {1000 * rate:.3g} "
            "mV/s, which is used."
        )
    return rate, tuple(warnings)

"""Which columns of a rig log tell the time, in what form and unit, told by headings and content."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from surfscan.electrochemistry.table_form import TableForm
from surfscan.immersion.exposure_settings import ExposureSettings
from surfscan.immersion.log_blocks import TimeForm
from surfscan.immersion.log_channels import LogColumn, channel_of, is_time_heading
from surfscan.immersion.log_times import StampParts, date_order, stamp_parts
from surfscan.immersion.log_units import parse_channel_unit

_SAMPLES = 200
_SAMPLE_BYTES = 4096
_PROBED = 200
_EPOCHS = ((1e8, 5e9, 1e6, "s"), (1e11, 5e12, 1e3, "ms"), (1e14, 5e15, 1.0, "µs"))
_SHORT_YEAR = re.compile(rb"(\d{1,2})[-/](\d{1,2})[-/](\d{2})(?!\d)")
_EPOCH_WORDS = {"epoch": 1e6, "epoch s": 1e6, "unix": 1e6, "epoch ms": 1e3, "epoch us": 1.0}
_UNIT_WORDS = ("ms", "s", "sec", "seconds", "min", "minutes", "h", "hours", "d", "days")


def find_time(
    rows: Sequence[Sequence[bytes]],
    columns: Sequence[LogColumn],
    settings: ExposureSettings,
    sample: Callable[[int], Sequence[bytes]],
) -> tuple[TimeForm, tuple[str, ...]]:
    """How the log tells the time.

    Stamps with a date come first, then date and time of day in two columns, a time of day alone, and a number
    whose heading names a time.

    Parameters
    ----------
    rows : sequence of sequence of bytes
        Fields of the first readings.
    columns : sequence of LogColumn
    settings : ExposureSettings
    sample : callable
        Column -> its fields at places all over the file, where dates in the head do not tell their order.

    Returns
    -------
    TimeForm
    warnings : tuple of str

    Raises
    ------
    ValueError
        If nothing tells the time, or its unit or order is not known; the message is "fault | remedy".
    """
    probed = rows[:_PROBED]
    stated = settings.columns.get("time")
    parts = {k: _parts(probed, k) for k in range(len(columns))}
    if stated is not None:
        index = next((c.number - 1 for c in columns if stated in (c.number, c.heading)), None)
        if index is None:
            raise ValueError(f"there is no column {stated!r} for the time | State another in `columns`")
        parts = {k: (found if k == index else None) for k, found in parts.items()}
    _refuse_halves(probed, parts)
    by_name = sorted(parts, key=lambda k: (not is_time_heading(columns[k]), k))
    whole = [k for k in by_name if (p := parts[k]) and p.has_date and p.has_clock]
    if whole:
        return _stamp((whole[0],), parts, settings, rows, sample)
    dates = [k for k in by_name if (p := parts[k]) and p.has_date]
    clocks = [k for k in by_name if (p := parts[k]) and p.has_clock]
    if dates and clocks:
        return _stamp((dates[0], clocks[0]), parts, settings, rows, sample)
    if dates:
        return _stamp((dates[0],), parts, settings, rows, sample)
    if clocks:
        words = set(columns[clocks[0]].words)
        longest = max(int(row[clocks[0]].split(b":")[0] or 0) for row in rows if b":" in row[clocks[0]])
        is_elapsed = bool(words & {"elapsed", "runtime", "duration"}) or longest > 23
        return TimeForm("elapsed" if is_elapsed else "clock", (clocks[0],)), ()
    if stated is not None and index is not None:
        return _number(index, rows, columns, settings)
    for k in by_name:
        if is_time_heading(columns[k]) and not channel_of(columns[k]):
            return _number(k, rows, columns, settings)
    heads = ", ".join(repr(column.heading) for column in columns if column.heading) or "no headings"
    raise ValueError(
        f"no column tells the time ({heads}) | Head it 'time' with its unit, or give stamps such as "
        "2001-02-03 04:05:06"
    )


def _parts(rows: Sequence[Sequence[bytes]], column: int) -> StampParts | None:
    """What of a time most fields of a column hold."""
    found = [stamp_parts(row[column]) for row in rows]
    times = [one for one in found if one is not None]
    return max(set(times), key=times.count) if 2 * len(times) > len(rows) else None


def _refuse_halves(rows: Sequence[Sequence[bytes]], parts: dict[int, StampParts | None]) -> None:
    """Refuse AM and PM in a column of their own: without them, times are wrong by half a day."""
    for k in parts:
        if all(row[k].lower() in (b"am", b"pm") for row in rows):
            raise ValueError(
                "AM and PM stand in a column of their own | Write times from 0 to 24 h, or part the columns "
                "by commas"
            )


def _refuse_short_years(
    fields: Sequence[bytes], column: int, sample: Callable[[int], Sequence[bytes]]
) -> None:
    """Refuse dates such as 24-03-01, whose year may stand first or last."""
    if not _SHORT_YEAR.match(fields[0]):
        return
    found = [match.groups() for field in (*fields, *sample(column)) if (match := _SHORT_YEAR.match(field))]
    firsts, lasts = {one[0] for one in found}, {one[2] for one in found}
    if b"-" in fields[0] or (len(lasts) > 1 and len(firsts) == 1):
        shown = fields[0].decode("ascii", "replace")
        raise ValueError(
            f"{shown!r} may have its year first or last | Write dates as 2001-02-03; if the year is last, "
            "state date_order"
        )


def _stamp(
    which: tuple[int, ...],
    parts: dict[int, StampParts | None],
    settings: ExposureSettings,
    rows: Sequence[Sequence[bytes]],
    sample: Callable[[int], Sequence[bytes]],
) -> tuple[TimeForm, tuple[str, ...]]:
    has_zone = any(p.has_zone for k in which if (p := parts[k]))
    order: str | None = settings.date_order
    notes: tuple[str, ...] = ()
    if order == "auto":
        _refuse_short_years([row[which[0]] for row in rows], which[0], sample)
        order = date_order([row[which[0]] for row in rows])
        if order is None:
            order = date_order([*(row[which[0]] for row in rows), *sample(which[0])])
        if order is None:
            shown = rows[0][which[0]].decode("ascii", "replace")
            raise ValueError(
                f"{shown!r} may be day first or month first, and the dates of the log do not tell | State "
                "date_order, 'day_first' or 'month_first', or write dates as 2001-02-03"
            )
        if order != "not needed":
            said = "day" if order == "day_first" else "month"
            notes = (f"Dates are read with the {said} first: the dates of the log tell.",)
    return TimeForm("stamp", which, day_first=order != "month_first", has_zone=has_zone), notes


def _number(
    index: int, rows: Sequence[Sequence[bytes]], columns: Sequence[LogColumn], settings: ExposureSettings
) -> tuple[TimeForm, tuple[str, ...]]:
    """Elapsed time or time since 1970 as a number."""
    column = columns[index]
    values = []
    for row in rows[:_PROBED]:
        try:
            values.append(float(row[index].replace(b",", b".")))
        except ValueError:
            continue
    typical = float(np.median(values)) if values else 0.0
    stated = settings.units.get("time", "").strip().lower()
    if stated in _EPOCH_WORDS:
        return TimeForm("epoch", (index,), _EPOCH_WORDS[stated], has_zone=True), ()
    unit = parse_channel_unit(stated) if stated else column.unit
    if stated and (unit is None or unit.quantity != "time"):
        raise ValueError(f"{stated!r} is no unit of time | Use s, ms, min, h, d, 'epoch s' or 'epoch ms'")
    if unit is None:
        words = [
            word for word in column.words if (word in _UNIT_WORDS and len(column.words) > 1) or len(word) > 3
        ]
        unit = next((u for word in words if (u := parse_channel_unit(word)) and u.quantity == "time"), None)
    for low, high, factor, text in _EPOCHS:
        if low <= typical <= high and (unit is None or (not stated and unit.factor == factor)):
            return TimeForm("epoch", (index,), factor, has_zone=True), (
                f"{column.heading!r} is taken as {text} since 1970 (UTC) by its values.",
            )
    if unit is None:
        raise ValueError(
            f"{column.heading or f'column {index + 1}'!r} has no unit of time | Write it in the heading, "
            "such as 'time (s)', or state it in `units`"
        )
    return TimeForm("elapsed", (index,), unit.factor), ()


def date_samples(path: Path, table: TableForm, column: int) -> list[bytes]:
    """Fields of one column from lines at places all over a file, in their order.

    Parameters
    ----------
    path : Path
    table : TableForm
    column : int

    Returns
    -------
    list of bytes
        Empty for text in UTF-16.
    """
    size = path.stat().st_size
    found = []
    with path.open("rb") as file:
        for at in np.linspace(0, max(size - _SAMPLE_BYTES, 0), _SAMPLES).astype(np.int64).tolist():
            file.seek(at)
            for line in file.read(_SAMPLE_BYTES).split(b"\n")[1:-1]:
                fields = table.split(line.replace(b'"', b"").strip(b"\r"))
                if len(fields) == table.columns:
                    found.append(fields[column])
    return found

"""A block of lines of a rig log as arrays: times and channels, and what could not be read."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from surfscan.electrochemistry.table_form import TableForm
from surfscan.immersion.log_channels import Channel
from surfscan.immersion.log_numbers import read_numbers
from surfscan.immersion.log_times import read_stamps
from surfscan.immersion.log_units import PLAUSIBLE
from surfscan.loaders.number_text import shown

MOST_PLACES = 5
"""Faults of one kind whose lines are named."""

_QUOTED_COMMA = re.compile(rb'"(-?\d+),(\d+)"')
_WHITE = re.compile(rb"[ \t]+")


@dataclass(frozen=True)
class TimeForm:
    """How a log tells the time.

    Attributes
    ----------
    kind : {"stamp", "clock", "elapsed", "epoch"}
        Date with or without time of day; time of day alone; time since a start; seconds since 1970.
    columns : tuple of int
        One, or two for date and time of day apart.
    factor_us : float
        Of elapsed and epoch: value × factor is in µs. 0 where elapsed time is written as hours:minutes.
    day_first : bool
    has_zone : bool
        Whether times are in UTC once read.
    """

    kind: str
    columns: tuple[int, ...]
    factor_us: float = 0.0
    day_first: bool = True
    has_zone: bool = False


@dataclass(frozen=True)
class LogForm:
    """How the lines of a log are read.

    Attributes
    ----------
    table : TableForm
    time : TimeForm
    channels : tuple of Channel
    """

    table: TableForm
    time: TimeForm
    channels: tuple[Channel, ...]


@dataclass
class Faults:
    """Readings of one kind that could not be used, and where the first of them stand.

    Attributes
    ----------
    count : int
    places : list of (int, str)
        Line, the first 1, and the text there.
    """

    count: int = 0
    places: list[tuple[int, str]] = field(default_factory=list)

    def add(self, other: Faults, shift: int = 0) -> None:
        """Take in those of lines that follow, which count from `shift`."""
        self.count += other.count
        free = MOST_PLACES - len(self.places)
        self.places += [(line + shift, text) for line, text in other.places[:free]]


@dataclass
class LogBlock:
    """Readings of some lines.

    Attributes
    ----------
    time_us : ndarray of shape (n,), int64
    values : ndarray of shape (channels, n), float64
        In the units of `UNIT_OF` (a counter: pulses); not-a-number where nothing usable stands.
    line : ndarray of shape (n,), int64
        Line of each reading, the first of the block 0.
    lines : int
        Lines of the block.
    faults : dict of str to Faults
        Channel -> fields that are no number; "line" -> lines that are no readings; "CHANNEL out of range" ->
        values no sensor can read.
    """

    time_us: np.ndarray
    values: np.ndarray
    line: np.ndarray
    lines: int
    faults: Mapping[str, Faults]


def read_block(data: bytes, form: LogForm) -> LogBlock:
    """Read whole lines.

    Parameters
    ----------
    data : bytes
        Lines, each with its end.
    form : LogForm

    Returns
    -------
    LogBlock
    """
    table = form.table
    if b'"' in data:
        data = _QUOTED_COMMA.sub(rb"\1.\2", data) if table.delimiter == "," else data
        data = data.replace(b'"', b"")
    if b"\xe2\x88\x92" in data:
        data = data.replace(b"\xe2\x88\x92", b"-")
    if not table.delimiter:
        data = _WHITE.sub(b" ", data).replace(b"\n ", b"\n").replace(b" \n", b"\n").lstrip(b" ")
    mark = (table.delimiter or " ").encode()
    buffer = np.frombuffer(data, np.uint8)
    fields = table.columns + table.trailing
    cuts, lines, line = _cuts(buffer, ord(mark), fields)
    faults: dict[str, Faults] = {"line": Faults()}
    if len(line) < lines:
        faults["line"] = _odd_lines(data, line)
    starts = np.empty_like(cuts)
    starts[:, 1:] = cuts[:, :-1] + 1
    newline = np.flatnonzero(buffer == 10) if len(line) < lines else None
    if len(line):
        if newline is None:
            starts[0, 0] = 0
            starts[1:, 0] = cuts[:-1, -1] + 1
        else:
            starts[:, 0] = np.where(line > 0, newline[line - 1] + 1, 0)
    has_blanks = bool(table.delimiter) and b" " in data

    def span(column: int) -> tuple[np.ndarray, np.ndarray]:
        start, end = np.ascontiguousarray(starts[:, column]), np.ascontiguousarray(cuts[:, column])
        return _trimmed(buffer, start, end) if has_blanks else (start, end)

    time_us, is_time = _times(data, form, span)
    values = np.empty((len(form.channels), len(line)))
    decimal = table.decimal
    for k, channel in enumerate(form.channels):
        start, end = span(channel.column)
        values[k], bad = read_numbers(data, start, end, decimal, table.plain)
        bad = bad[is_time[bad]] if not is_time.all() else bad
        faults[channel.name] = _located(data, start, end, line, bad)
        factor, offset = channel.unit.factor, channel.unit.offset
        if factor != 1.0:
            values[k] *= factor
        if offset:
            values[k] += offset
        low, high = PLAUSIBLE[channel.name]
        odd = np.flatnonzero((values[k] < low) | (values[k] > high))
        if len(odd):
            faults[f"{channel.name} out of range"] = _located(data, start, end, line, odd[is_time[odd]])
            values[k][odd] = np.nan
    if not is_time.all():
        start, end = span(form.time.columns[0])
        faults["line"].add(_located(data, start, end, line, np.flatnonzero(~is_time)))
        faults["line"].places.sort()
        time_us, values, line = time_us[is_time], np.ascontiguousarray(values[:, is_time]), line[is_time]
    return LogBlock(time_us, values, line, lines, faults)


def _cuts(buffer: np.ndarray, mark: int, fields: int) -> tuple[np.ndarray, int, np.ndarray]:
    """Ends of the fields of lines with one for each column, lines in all, and which lines those are."""
    ends = np.flatnonzero((buffer == mark) | (buffer == 10))
    is_end = buffer[ends] == 10
    lines = int(np.count_nonzero(is_end))
    if len(ends) == lines * fields and is_end[fields - 1 :: fields].all():
        return ends.reshape(lines, fields), lines, np.arange(lines)
    last = np.flatnonzero(is_end)
    counts = np.diff(np.concatenate([[-1], last]))
    whole = np.flatnonzero(counts == fields)
    return ends[last[whole][:, None] + np.arange(1 - fields, 1)], lines, whole


def _odd_lines(data: bytes, known: np.ndarray) -> Faults:
    """Lines that have not as many fields as the table, blank ones left out."""
    texts = data.split(b"\n")[:-1]
    odd = np.ones(len(texts), bool)
    odd[known] = False
    found = [(i, texts[i]) for i in np.flatnonzero(odd).tolist() if texts[i].strip()]
    return Faults(len(found), [(i, shown(text)) for i, text in found[:MOST_PLACES]])


def _located(data: bytes, start: np.ndarray, end: np.ndarray, line: np.ndarray, which: np.ndarray) -> Faults:
    first = which[:MOST_PLACES].tolist()
    return Faults(len(which), [(int(line[i]), shown(data[start[i] : end[i]])) for i in first])


def _trimmed(buffer: np.ndarray, start: np.ndarray, end: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Fields without blanks around them."""
    while (blank := (buffer[start] == 32) & (start < end)).any():
        start = start + blank
    while (blank := (buffer[end - 1] == 32) & (start < end)).any():
        end = end - blank
    return start, end


def _times(data: bytes, form: LogForm, span: object) -> tuple[np.ndarray, np.ndarray]:
    assert callable(span)
    time = form.time
    if time.factor_us:
        start, end = span(time.columns[0])
        numbers, _ = read_numbers(data, start, end, form.table.decimal, form.table.plain)
        is_time = np.isfinite(numbers)
        scaled = np.where(is_time, numbers, 0.0) * time.factor_us
        is_time &= np.abs(scaled) < 9e18
        return np.rint(np.where(is_time, scaled, 0.0)).astype(np.int64), is_time
    total, known = None, None
    for column in time.columns:
        start, end = span(column)
        part, is_part = read_stamps(data, start, end, time.day_first)
        total = part if total is None else total + part
        known = is_part if known is None else known & is_part
    assert total is not None and known is not None
    return total, known

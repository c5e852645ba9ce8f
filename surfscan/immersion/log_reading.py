"""Rig logs read from text: the form of the file is settled from its head, then blocks stream in order."""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from surfscan.electrochemistry.table_form import (
    HEAD_LINES,
    AmbiguousDecimalError,
    TableForm,
    find_form,
    is_gap,
    tidy,
)
from surfscan.electrochemistry.text_blocks import TextBlocks, decode
from surfscan.errors import InputError
from surfscan.immersion.exposure_settings import ExposureSettings
from surfscan.immersion.log_blocks import Faults, LogBlock, LogForm, read_block
from surfscan.immersion.log_channels import LogColumn, find_channels, log_columns
from surfscan.immersion.log_time_form import date_samples, find_time
from surfscan.immersion.log_times import CLOCK, DATE, HALF, ZONE
from surfscan.loaders.number_text import to_number

PAGE_ROWS = 65_536
"""Readings judged at once. Pages start at the same readings however the file was cut into blocks, so that
sums come out the same to the bit."""

_HEAD_BYTES = 2**18
_REMEDY = "Export the log as CSV: a line of headings with units, then one line each reading"
_POINT_CLOCK = CLOCK.replace(b"[.,]", b"[.]")
_JOINT = re.compile(
    rb"(?<![\w.:])(?:(?:" + DATE + rb")(?:[T ]+" + _POINT_CLOCK + rb"(?:" + HALF + rb")?(?:" + ZONE + rb")?)?"
    rb"|\d{8}T\d{6}(?:[.]\d*)?(?:"
    + ZONE
    + rb")?|"
    + _POINT_CLOCK
    + rb"(?:"
    + HALF
    + rb")?(?:"
    + ZONE
    + rb")?"
    rb")(?![\w:])"
)
_APART = re.compile(
    rb"(?<![\w.:])(?:(?:" + DATE + rb")(?:T" + _POINT_CLOCK + rb"(?:" + ZONE + rb")?)?"
    rb"|\d{8}T\d{6}(?:[.]\d*)?|" + _POINT_CLOCK + rb"(?:" + ZONE + rb")?)(?![\w:])"
)
_QUOTED_COMMA = re.compile(rb'"(-?\d+),(\d+)"')


@dataclass(frozen=True)
class Page:
    """Consecutive readings.

    Attributes
    ----------
    time_us : ndarray of shape (n,), int64
        As the file has them.
    values : ndarray of shape (channels, n), float64
    line : ndarray of shape (n,), int64
        Line of each in the file, the first 1.
    """

    time_us: np.ndarray
    values: np.ndarray
    line: np.ndarray


class LogReader:
    """A rig log, read once from start to end in bounded memory.

    Parameters
    ----------
    path : Path
    settings : ExposureSettings

    Attributes
    ----------
    form : LogForm
        Once the first page was handed out.
    columns : tuple of LogColumn
    warnings : list of str
    faults : dict of str to Faults
        As in `LogBlock`, over all lines read so far.
    sha256 : str
        Of the file, once it was read to its end.
    """

    def __init__(self, path: Path, settings: ExposureSettings) -> None:
        self.path = path
        self.settings = settings
        self.form: LogForm | None = None
        self.columns: tuple[LogColumn, ...] = ()
        self.warnings: list[str] = []
        self.faults: dict[str, Faults] = {}
        self.sha256 = ""
        self._lines = 0

    def pages(self) -> Iterator[Page]:
        """Pages of `PAGE_ROWS` readings, the last one shorter.

        Raises
        ------
        InputError
            If the file cannot be read as a log.
        """
        parts: list[Page] = []
        rows = 0
        for block in self._blocks():
            page = self._placed(block)
            parts.append(page)
            rows += len(page.time_us)
            while rows >= PAGE_ROWS:
                whole = _joined(parts)
                yield _cut(whole, 0, PAGE_ROWS)
                parts = [_cut(whole, PAGE_ROWS, rows)]
                rows -= PAGE_ROWS
        if rows:
            yield _joined(parts)

    def _placed(self, block: LogBlock) -> Page:
        """A block with its lines counted from the start of the file; its faults are taken in."""
        shift = self._lines + 1
        for name, found in block.faults.items():
            self.faults.setdefault(name, Faults()).add(found, shift)
        self._lines += block.lines
        return Page(block.time_us, block.values, block.line + shift)

    def _blocks(self) -> Iterator[LogBlock]:
        """Blocks in the order of the file, two of them read at a time."""
        texts = TextBlocks(self.path, _REMEDY)
        waiting: deque[Future[LogBlock]] = deque()
        with ThreadPoolExecutor(2) as pool:
            try:
                for data in self._after_header(texts):
                    assert self.form is not None
                    waiting.append(pool.submit(read_block, data, self.form))
                    if len(waiting) > 3:
                        yield waiting.popleft().result()
                while waiting:
                    yield waiting.popleft().result()
            finally:
                for future in waiting:
                    future.cancel()
        self.sha256 = texts.sha256

    def _after_header(self, texts: TextBlocks) -> Iterator[bytes]:
        head = b""
        for block in texts:
            if self.form is None:
                head += block
                if len(head) < _HEAD_BYTES:
                    continue
                block = self._settle(head)
            yield block
        if self.form is None:
            yield self._settle(head)

    def _settle(self, head: bytes) -> bytes:
        """Find the form of the log in its head; the head from its first reading on."""
        settings, raw = self.settings, head.split(b"\n")
        lines = [_QUOTED_COMMA.sub(rb"\1.\2", line) for line in raw[:HEAD_LINES]]
        decimal = None if settings.decimal == "auto" else settings.decimal
        table, first = self._table(lines, decimal)
        rows = self._probe(lines[first:], table)
        header = [decode(line) for line in raw[:first]]
        is_apart = not table.delimiter
        marks = {table.delimiter: int(is_apart)} | {m: 0 for m in ("\t", ";", ",") if m != table.delimiter}
        self.columns = log_columns(header, marks, table.columns)
        try:
            time, notes = find_time(
                rows, self.columns, settings, lambda column: date_samples(self.path, table, column)
            )
            numbers = _numbers(rows, table)
            medians = {k: float(np.median(v)) for k, v in numbers.items() if k not in time.columns}
            channels, more = find_channels(
                self.columns, settings.columns, settings.units, medians, time.columns
            )
        except ValueError as fault:
            what, _, remedy = str(fault).partition(" | ")
            raise InputError(self.path, what, remedy or "Correct the settings of the exposure") from None
        self.warnings += [*notes, *more]
        if not channels:
            there = ", ".join(repr(column.heading) for column in self.columns if column.heading)
            raise InputError(
                self.path,
                f"no column is known as temperature, pH, flow, pressure or acid ({there or 'no headings'})",
                "Head the columns with name and unit, or state them in `columns` and `units`",
            )
        self.form = LogForm(table, time, channels)
        self._lines = first
        return b"\n".join(raw[first:])

    def _table(self, lines: Sequence[bytes], decimal: str | None) -> tuple[TableForm, int]:
        try:
            found = find_form([tidy(_JOINT.sub(b"1", line)) for line in lines], decimal)
            if found is None or not found[0].delimiter:
                found = find_form([tidy(_APART.sub(b"1", line)) for line in lines], decimal)
        except AmbiguousDecimalError as fault:
            raise InputError(
                self.path, str(fault), 'State the decimal mark, "," or "." (setting `decimal`)'
            ) from None
        if found is None:
            named = any(re.search(rb"[A-Za-z]", line) for line in lines)
            numbers = any(re.match(rb"\s*[-+]?\d", line) for line in lines)
            what = (
                "the file holds no readings"
                if named and not numbers
                else "the file holds no table of readings"
            )
            raise InputError(self.path, what, _REMEDY)
        return found

    def _probe(self, lines: Sequence[bytes], table: TableForm) -> list[list[bytes]]:
        """Fields of the first readings."""
        rows = [table.split(line.replace(b'"', b"")) for line in lines]
        rows = [row for row in rows if len(row) == table.columns]
        if not rows:
            raise InputError(self.path, "the file holds no table of readings", _REMEDY)
        return rows


def _numbers(rows: Sequence[Sequence[bytes]], table: TableForm) -> dict[int, list[float]]:
    """Numbers of each column that holds any."""
    found: dict[int, list[float]] = {}
    for row in rows[:500]:
        for k, text in enumerate(row):
            plain = table.plain(text)
            if not is_gap(text) and b":" not in text:
                try:
                    found.setdefault(k, []).append(to_number(plain))
                except ValueError:
                    continue
    return {k: [v for v in values if np.isfinite(v)] or [np.nan] for k, values in found.items()} | {
        k: [np.nan] for k in range(table.columns) if all(is_gap(row[k]) for row in rows[:500])
    }


def _joined(parts: Sequence[Page]) -> Page:
    if len(parts) == 1:
        return parts[0]
    return Page(
        np.concatenate([part.time_us for part in parts]),
        np.concatenate([part.values for part in parts], axis=1),
        np.concatenate([part.line for part in parts]),
    )


def _cut(page: Page, a: int, b: int) -> Page:
    return Page(page.time_us[a:b], np.ascontiguousarray(page.values[:, a:b]), page.line[a:b])

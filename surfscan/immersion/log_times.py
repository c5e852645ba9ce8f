"""Time stamps of a rig log: dates, times of day and zones in their spellings, a column at a time."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np

from surfscan.immersion.log_numbers import characters_of, fields_of

HOUR_US = 3_600_000_000
DAY_US = 24 * HOUR_US

DATE = (
    rb"\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/.]\d{1,2}[-/.](?:\d{4}|\d{2})|\d{1,2}[- ][A-Za-z]{3}[- ]\d{4}"
)
CLOCK = rb"\d{1,4}:\d{2}(?::\d{2}(?:[.,]\d*)?)?"
HALF = rb"[ ]?[AaPp]\.?[Mm]\.?"
ZONE = rb"[ ]?(?:Z|UTC|GMT)(?![A-Za-z])|[ ]?[+-]\d{2}:?\d{2}"
STAMP = re.compile(
    rb"(?:(?P<date>" + DATE + rb")|(?P<tight>\d{8})(?=T\d{6}))?(?P<between>(?:T|[ ]+|,[ ]))?"
    rb"(?P<clock>" + CLOCK + rb"|(?<=T)\d{6}(?:[.,]\d*)?)?(?P<half>" + HALF + rb")?(?P<zone>" + ZONE + rb")?"
)
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_EPOCH = dt.date(1970, 1, 1).toordinal()
_YEARS = (1970, 2200)


@dataclass(frozen=True)
class StampParts:
    """What a field holds of a time.

    Attributes
    ----------
    has_date, has_clock, has_zone : bool
    """

    has_date: bool
    has_clock: bool
    has_zone: bool


def stamp_parts(field: bytes) -> StampParts | None:
    """What of a time a field holds; None where it is no date, time of day or both.

    Examples
    --------
    >>> stamp_parts(b"2001-02-03T04:05:06Z"), stamp_parts(b"37.0")
    (StampParts(has_date=True, has_clock=True, has_zone=True), None)
    """
    match = STAMP.fullmatch(field)
    if not match:
        return None
    date, clock = bool(match["date"] or match["tight"]), bool(match["clock"])
    if not (date or clock) or ((match["half"] or match["zone"]) and not clock):
        return None
    if bool(match["between"]) != (date and clock):
        return None
    return StampParts(date, clock, bool(match["zone"]))


def read_stamp(field: bytes, day_first: bool) -> int | None:
    """Microseconds since 1970-01-01 00:00 (UTC where the field has a zone), or since midnight without date.

    Parameters
    ----------
    field : bytes
    day_first : bool
        Whether 03/04/2001 is the third of April.

    Returns
    -------
    int or None
        None where it is no time.
    """
    match = STAMP.fullmatch(field)
    if not match or stamp_parts(field) is None:
        return None
    days = _days(match["date"] or match["tight"], day_first)
    clock = _clock_us(match["clock"], match["half"], may_pass_midnight=not (match["date"] or match["tight"]))
    if days is None or clock is None:
        return None
    return days * DAY_US + clock - _zone_us(match["zone"])


def _days(text: bytes | None, day_first: bool) -> int | None:
    """Days since 1970-01-01 of a date; None where there is no such day."""
    if not text:
        return 0
    if text.isdigit():
        year, month, day = int(text[:4]), int(text[4:6]), int(text[6:])
    else:
        parts = re.split(rb"[-/. ]", text)
        if parts[1].isalpha():
            name = parts[1].decode("ascii").lower()
            if name not in _MONTHS:
                return None
            year, month, day = int(parts[2]), _MONTHS.index(name) + 1, int(parts[0])
        elif len(parts[0]) == 4:
            year, month, day = map(int, parts)
        else:
            first, second, year = map(int, parts)
            is_day_first = day_first or b"." in text
            day, month = (first, second) if is_day_first else (second, first)
            year += 2000 if len(parts[2]) == 2 else 0
    if not _YEARS[0] <= year < _YEARS[1]:
        return None
    try:
        return dt.date(year, month, day).toordinal() - _EPOCH
    except ValueError:
        return None


def _clock_us(text: bytes | None, half: bytes | None, *, may_pass_midnight: bool) -> int | None:
    if not text:
        return 0
    whole, _, fraction = text.replace(b",", b".").partition(b".")
    parts = whole.split(b":") if b":" in whole else [whole[:2], whole[2:4], whole[4:]]
    hours, minutes, seconds = (*map(int, parts), 0)[:3]
    if half:
        if not 1 <= hours <= 12:
            return None
        hours = hours % 12 + 12 * (half.strip()[:1] in b"pP")
    if minutes > 59 or seconds > 59 or (hours > 23 and not may_pass_midnight):
        return None
    micro = int((fraction + b"000000")[:6]) if fraction else 0
    return ((hours * 60 + minutes) * 60 + seconds) * 1_000_000 + micro


def _zone_us(text: bytes | None) -> int:
    zone = (text or b"").strip().replace(b":", b"")
    if zone[:1] not in (b"+", b"-"):
        return 0
    return (1 if zone[:1] == b"+" else -1) * (int(zone[1:3]) * 60 + int(zone[3:])) * 60_000_000


def read_stamps(
    data: bytes, starts: np.ndarray, ends: np.ndarray, day_first: bool
) -> tuple[np.ndarray, np.ndarray]:
    """Times of the fields of one column, as `read_stamp`.

    Fields spelled like the first of their length are read all at once, the others one by one.

    Parameters
    ----------
    data : bytes
    starts, ends : ndarray of shape (n,), int
        First byte of each field and the one after its last.
    day_first : bool

    Returns
    -------
    time_us : ndarray of shape (n,), int64
        0 where unreadable.
    is_time : ndarray of shape (n,), bool
    """
    times = np.zeros(len(starts), np.int64)
    is_time = np.zeros(len(starts), bool)
    lengths = np.minimum(ends - starts, 64)
    for length in np.flatnonzero(np.bincount(lengths, minlength=1)).tolist():
        if not 3 < length < 64:
            continue
        which = np.flatnonzero(lengths == length)
        found, fits = _alike(data, starts[which], length, day_first)
        times[which] = found
        is_time[which] = fits
        for i in which[~fits].tolist():
            one = read_stamp(data[starts[i] : ends[i]], day_first)
            if one is not None:
                times[i], is_time[i] = one, True
    return times, is_time


def _alike(data: bytes, starts: np.ndarray, length: int, day_first: bool) -> tuple[np.ndarray, np.ndarray]:
    """Times of fields of one length that are spelled like the first, and which are."""
    n = len(starts)
    first = data[starts[0] : starts[0] + length]
    match = STAMP.fullmatch(first)
    if not match or read_stamp(first, day_first) is None or b":" not in (match["clock"] or b":"):
        return np.zeros(n, np.int64), np.zeros(n, bool)
    times, fits = np.zeros(n, np.int64), np.ones(n, bool)
    date, clock = match.span("date"), match.span("clock")
    if date[1] > 0:
        days, known = _runs(data, starts + date[0], date[1] - date[0], lambda text: _date_us(text, day_first))
        times += days
        fits &= known
    if clock[1] > 0:
        chars = characters_of(data, starts + clock[0], clock[1] - clock[0])
        passed, known = _clocks(chars, match["clock"], may_pass_midnight=date[1] <= 0, half=match["half"])
        times += passed
        fits &= known
    for a, b in (match.span("between"), match.span("half"), match.span("zone")):
        if b > a:
            shift, known = _runs(data, starts + a, b - a, _shift_us)
            times += shift
            fits &= known
    if match["half"]:
        fits &= _is_half_right(times, data, starts, match)
    return times, fits


def _date_us(text: bytes, day_first: bool) -> int | None:
    days = _days(text, day_first) if re.fullmatch(DATE, text) else None
    return None if days is None else days * DAY_US


def _shift_us(text: bytes) -> int | None:
    """What a mark between date and time, half of day or zone adds; None where it is none of them."""
    if re.fullmatch(rb"T|[ ]+|,[ ]", text):
        return 0
    if re.fullmatch(HALF, text):
        return 12 * HOUR_US if text.strip()[:1] in b"pP" else 0
    return -_zone_us(text) if re.fullmatch(ZONE, text) else None


def _is_half_right(times: np.ndarray, data: bytes, starts: np.ndarray, match: re.Match[bytes]) -> np.ndarray:
    """Whether hours are from 1 to 11: 12 o'clock and nonsense are left to the careful way."""
    a = match.start("clock")
    width = match["clock"].index(b":")
    chars = characters_of(data, starts + a, width) - np.uint8(48)
    hours = chars[0].astype(np.int64)
    for k in range(1, width):
        hours = 10 * hours + chars[k]
    return (hours >= 1) & (hours < 12)


def _runs(data: bytes, starts: np.ndarray, length: int, read: object) -> tuple[np.ndarray, np.ndarray]:
    """Values of texts that stay the same over many rows: each run of equal ones is read once."""
    assert callable(read)
    texts = fields_of(data, starts, length)
    cuts = np.flatnonzero(texts[1:] != texts[:-1]) + 1
    runs = np.diff(np.concatenate([[0], cuts, [len(texts)]]))
    known: dict[bytes, int | None] = {}
    values = []
    for i in (0, *cuts.tolist()):
        text = data[starts[i] : starts[i] + length]
        if text not in known:
            known[text] = read(text)
        values.append(known[text])
    shifts = np.array([0 if value is None else value for value in values], np.int64)
    return np.repeat(shifts, runs), np.repeat([value is not None for value in values], runs)


def _clocks(
    chars: np.ndarray, like: bytes, *, may_pass_midnight: bool, half: bytes | None
) -> tuple[np.ndarray, np.ndarray]:
    """Times of day, µs, of characters of shape (length, n) with the marks of `like` in the same places."""
    fits = np.ones(chars.shape[1], bool)
    times = np.zeros(chars.shape[1], np.int64)
    unit = {0: 3600 * 1_000_000, 1: 60 * 1_000_000, 2: 1_000_000}
    parts = re.split(rb"[:.,]", like)
    at = 0
    for index, part in enumerate(parts):
        for k in range(len(part)):
            digit = chars[at + k] - np.uint8(48)
            is_tens = index in (1, 2) and k == 0
            fits &= digit <= (5 if is_tens else 9)
            weight = (
                unit[index] * 10 ** (len(part) - 1 - k) if index < 3 else int(10 ** (5 - k)) if k < 6 else 0
            )
            if weight:
                times += digit.astype(np.int64) * weight
        at += len(part)
        if index == 0 and not may_pass_midnight:
            fits &= times < DAY_US
        if at < len(like):
            fits &= chars[at] == like[at]
            at += 1
    return times, fits


def date_order(fields: Sequence[bytes]) -> Literal["day_first", "month_first", "not needed"] | None:
    """Whether dates stand day first or month first, told by the dates alone; None where they do not tell.

    A number above 12 tells; else the order under which dates follow one another without jumps of weeks.

    Parameters
    ----------
    fields : sequence of bytes
        Stamps in the order of the log, from its start, its end and between.

    Returns
    -------
    {"day_first", "month_first", "not needed"} or None
    """
    pairs = []
    for field in fields:
        match = re.match(rb"(\d{1,2})[-/](\d{1,2})[-/](?:\d{4}|\d{2})(?!\d)", field)
        if match:
            pairs.append((int(match[1]), int(match[2]), match[0]))
    if not pairs:
        return "not needed"
    firsts, seconds = max(pair[0] for pair in pairs), max(pair[1] for pair in pairs)
    if firsts > 12 or seconds > 12:
        if firsts > 12 and seconds > 12:
            return None
        return "day_first" if firsts > 12 else "month_first"
    longest = {}
    for order in (True, False):
        days = [_days(pair[2], order) for pair in pairs]
        steps = [b - a for a, b in pairwise(days) if a is not None and b is not None and a != b]
        longest[order] = max((abs(step) if step > 0 else 10_000 for step in steps), default=0)
    if longest[True] == longest[False]:
        return None
    if min(longest.values()) <= 2 and max(longest.values()) > 20:
        return "day_first" if longest[True] < longest[False] else "month_first"
    return None

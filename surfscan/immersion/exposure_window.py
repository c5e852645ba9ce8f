"""From when to when specimens were immersed: stamps, or hours since the first reading of the log."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from surfscan.errors import InputError
from surfscan.immersion.log_blocks import TimeForm
from surfscan.immersion.log_times import HOUR_US, read_stamp, stamp_parts


@dataclass(frozen=True)
class Window:
    """Start and stop of an exposure, µs as the log counts them.

    Attributes
    ----------
    start_us, stop_us : int or None
        None where not stated.
    is_start_stamp, is_stop_stamp : bool
        Whether they are in the time of the log's clock, which may be put forwards or back, and not hours.
    """

    start_us: int | None
    stop_us: int | None
    is_start_stamp: bool = False
    is_stop_stamp: bool = False


def find_window(
    path: Path, form: TimeForm, first_us: int, start: str | float | None, stop: str | float | None
) -> Window:
    """Start and stop as stated.

    Parameters
    ----------
    path : Path
        Of the log, for messages.
    form : TimeForm
    first_us : int
        Time of the first reading.
    start, stop : str or float or None
        A stamp in the time of the log, or hours since its first reading.

    Raises
    ------
    InputError
        If one is no time, cannot be compared with the log, or stop does not follow start.
    """
    begin, is_begin_stamp = _time(path, form, first_us, start, "start")
    end, is_end_stamp = _time(path, form, first_us, stop, "stop")
    if end is not None and end <= (first_us if begin is None else begin):
        raise InputError(path, "the stop does not follow the start", "State a later stop or an earlier start")
    return Window(begin, end, is_begin_stamp, is_end_stamp)


def _time(
    path: Path, form: TimeForm, first_us: int, given: str | float | None, name: str
) -> tuple[int | None, bool]:
    """Time that was stated, and whether as a stamp."""
    if given is None:
        return None, False
    try:
        hours = float(given)
    except ValueError:
        hours = np.nan
    if np.isfinite(hours):
        return first_us + round(hours * HOUR_US), False
    field = str(given).strip().encode("ascii", "replace")
    parts, found = stamp_parts(field), read_stamp(field, form.day_first)
    if parts is None or found is None or not parts.has_date:
        raise InputError(
            path,
            f"{name} {given!r} is neither a stamp nor a number of hours",
            "Write it as 2001-02-03T04:05, or as hours since the first reading",
        )
    if form.kind not in ("stamp", "epoch"):
        raise InputError(
            path,
            f"{name} {given!r} is a date, and the log has none",
            "State it as hours since the first reading",
        )
    if parts.has_zone != form.has_zone:
        there = "has" if form.has_zone else "has not"
        raise InputError(
            path,
            f"{name} {given!r} cannot be compared: the log {there} a zone in its times",
            "Write it with a zone, such as 2001-02-03T04:05+00:00" if form.has_zone else "Leave the zone out",
        )
    return found, True


def stamp_text(time_us: int, form: TimeForm) -> str:
    """A time as ISO 8601, with Z where the log is in UTC.

    Examples
    --------
    >>> stamp_text(1_500_000, TimeForm("stamp", (0,)))
    '1970-01-01T00:00:01.5'
    """
    text = str(np.datetime64(time_us, "us"))
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return text + ("Z" if form.has_zone else "")

"""Which column of a rig log holds what: by its heading and unit, or as stated."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from surfscan.immersion.log_units import QUANTITIES, ChannelUnit, parse_channel_unit, split_channel_heading

_SKIP = {"set", "setpoint", "sp", "sollwert", "soll", "target", "alarm", "limit", "error", "status", "output",
         "valve", "ambient", "room", "raum", "air", "naoh", "koh", "base", "level"}  # fmt: skip
_TEMPERATURE = {"temp", "temperature", "temperatur", "température", "temperatura"}
_FLOW = {"flow", "flowrate", "durchfluss", "debit", "débit", "caudal", "volumenstrom"}
_PRESSURE = {"p", "press", "pressure", "druck", "pression", "presión", "presion"}
_ACID = {"acid", "säure", "saeure", "acide", "acido", "ácido", "titrant", "hcl", "hno3", "h2so4", "dosed",
         "dose", "dosing", "dosage"}  # fmt: skip
_BEFORE = {"before", "in", "inlet", "upstream", "pre", "vor", "1", "feed", "avant", "pin", "p1", "entry"}
_AFTER = {"after", "out", "outlet", "downstream", "post", "nach", "2", "back", "après", "pout", "p2", "exit"}
_DROP = {"drop", "dp", "delta", "difference", "differential", "diff", "δp", "deltap", "loss"}
_TIME = {"time", "t", "elapsed", "zeit", "temps", "tiempo", "timestamp", "date", "datetime", "datum",
         "uhrzeit", "clock", "epoch", "unix", "seconds", "hours", "minutes", "runtime",
         "duration"}  # fmt: skip
_CUMULATIVE = {
    "cumulative",
    "total",
    "sum",
    "cum",
    "totalised",
    "totalized",
    "integrated",
    "kumuliert",
    "gesamt",
}
_EVENTS = {"event", "events", "shot", "shots", "per", "increment", "each", "addition", "additions", "single"}
_COUNTER = {
    "counter",
    "count",
    "counts",
    "pulse",
    "pulses",
    "strokes",
    "ticks",
    "impulse",
    "zähler",
    "zaehler",
}


@dataclass(frozen=True)
class LogColumn:
    """A heading of a rig log.

    Attributes
    ----------
    number : int
        Of the column, the first 1.
    heading : str
        As it stands in the file.
    words : tuple of str
        Of the heading less its unit, in small letters.
    unit : ChannelUnit or None
    """

    number: int
    heading: str
    words: tuple[str, ...]
    unit: ChannelUnit | None


@dataclass(frozen=True)
class Channel:
    """A channel and the column it is read from.

    Attributes
    ----------
    name : str
        A key of `QUANTITIES`.
    column : int
        Index, the first 0.
    heading : str
    unit : ChannelUnit
        As in the file.
    how : {"name", "content", "stated"}
        How column and unit were told.
    """

    name: str
    column: int
    heading: str
    unit: ChannelUnit
    how: str


def log_columns(lines: Sequence[str], split: Mapping[str, int], columns: int) -> tuple[LogColumn, ...]:
    """Headings from the lines above the readings; a row of units below the names is taken as such.

    Parameters
    ----------
    lines : sequence of str
        Lines above the first reading.
    split : mapping of str to int
        Delimiters to try, "" for white space -> how many fields less than columns a heading may have, where
        date and time of day share one.
    columns : int
        Columns of the table.

    Returns
    -------
    tuple of LogColumn
        One for each column; without headings, those with empty text.
    """
    units: list[ChannelUnit | None] = [None] * columns
    has_units = False
    for line in reversed([one for one in lines[-8:] if one.strip()]):
        fields = _fields(line, split, columns)
        if fields is None or not any(re.search(r"[^\W\d_]", field) for field in fields):
            continue
        parsed = [parse_channel_unit(field) if field else None for field in fields]
        named = [field for field in fields if field not in ("", "-", "1")]
        if not has_units and len(named) > 0 and _are_units(named):
            units, has_units = parsed, True
            continue
        return tuple(_column(k, field, units[k]) for k, field in enumerate(fields))
    return tuple(_column(k, "", units[k]) for k in range(columns))


def _are_units(fields: Sequence[str]) -> bool:
    """Whether a row holds units: most are units, what is not has no unit of its own, and not all say pH."""
    parsed = [parse_channel_unit(field) for field in fields]
    known = sum(unit is not None for unit in parsed)
    others = [f for f, u in zip(fields, parsed, strict=True) if u is None]
    spelled = all(re.fullmatch(r"[\[(]?(?:YYYY|DD|hh|HH|ISO|UTC|local)[^\d]*[\])]?", text) for text in others)
    return known > 0 and spelled and any(unit is not None and unit.quantity != "pH" for unit in parsed)


def _fields(line: str, split: Mapping[str, int], columns: int) -> list[str] | None:
    text = line.strip("\n").lstrip("#%!").strip(" ")
    for mark, fewer in split.items():
        if mark:
            fields = text.split(mark)
        else:
            fields = re.split(r"\s{2,}|\t", text.strip())
            if not columns - fewer <= len(fields) <= columns:
                fields = text.split()
        fields = [field.strip().strip("\"'").strip() for field in fields]
        while len(fields) > columns and not fields[-1]:
            fields.pop()
        if len(fields) == columns:
            return fields
        if fewer and len(fields) == columns - 1:
            return [fields[0], *fields]
    return None


def _column(index: int, text: str, below: ChannelUnit | None) -> LogColumn:
    name, unit = split_channel_heading(text)
    plain = name.replace("_", " ").replace("Δ", " delta ").replace("∆", " delta ")
    spaced = re.sub(r"(?<=[a-zäöü])(?=[A-Z])", " ", plain)
    spaced = re.sub(r"\bp ?H\b", "ph", spaced)
    words = tuple(word for word in re.split(r"[^\w]+|_", spaced.lower()) if word)
    return LogColumn(index + 1, text, words, unit or below)


def is_time_heading(column: LogColumn) -> bool:
    """Whether a heading names a time."""
    if column.unit is not None and column.unit.quantity != "time":
        return False
    return bool(set(column.words) & _TIME) or (column.unit is not None and not column.words)


def channel_of(column: LogColumn) -> str:
    """Channel that a heading names; empty where none, "pressure" where it does not say which.

    Examples
    --------
    >>> channel_of(LogColumn(1, "", ("p", "inlet"), parse_channel_unit("kPa")))
    'pressure before'
    """
    words = set(column.words)
    quantity = column.unit.quantity if column.unit else ""
    if words & _SKIP:
        return ""
    if words & _ACID and quantity in ("volume", "count", ""):
        return "acid"
    if quantity == "pH" or ("ph" in words and not quantity):
        return "pH"
    if words & _TEMPERATURE or quantity == "temperature":
        return "temperature" if quantity in ("temperature", "") else ""
    if quantity == "pressure" or (words & (_PRESSURE | _DROP) and quantity == ""):
        if words & _DROP:
            return "pressure drop"
        before, after = bool(words & _BEFORE), bool(words & _AFTER)
        return "pressure" if before == after else "pressure before" if before else "pressure after"
    if words & {"pin", "p1", "pout", "p2"} and quantity in ("pressure", ""):
        return "pressure before" if words & {"pin", "p1"} else "pressure after"
    if quantity == "flow" or (words & _FLOW and quantity == ""):
        return "flow"
    return ""


def find_channels(
    columns: Sequence[LogColumn],
    stated: Mapping[str, str | int],
    stated_units: Mapping[str, str],
    medians: Mapping[int, float],
    taken: Sequence[int],
) -> tuple[tuple[Channel, ...], tuple[str, ...]]:
    """Channels of a log: the first column of each, those stated before those found.

    Parameters
    ----------
    columns : sequence of LogColumn
    stated : mapping of str to (str or int)
        Channel -> heading or number of its column.
    stated_units : mapping of str to str
        Channel -> unit.
    medians : mapping of int to float
        Index of column -> median of its first numbers, which may tell the unit of a temperature; columns
        without numbers are absent.
    taken : sequence of int
        Indexes of the columns that tell the time.

    Returns
    -------
    channels : tuple of Channel
        In the order of `QUANTITIES`.
    warnings : tuple of str

    Raises
    ------
    ValueError
        If a stated column is not there.
    """
    chosen: dict[str, tuple[LogColumn, str]] = {}
    warnings = []
    for name, which in stated.items():
        if name != "time":
            chosen[name] = (_stated_column(columns, name, which), "stated")
    used = {column.number for column, _ in chosen.values()} | {index + 1 for index in taken}
    for column in columns:
        name = channel_of(column)
        if column.number in used or not name or column.number - 1 not in medians:
            continue
        shown = column.heading or f"column {column.number}"
        if name == "pressure":
            warnings.append(
                f"The heading {shown!r} does not say whether the pressure is before or after the specimen: "
                "it is left out. State it in `columns`."
            )
        elif name in chosen:
            warnings.append(f"{shown!r} is a second {name}: {chosen[name][0].heading!r} is taken, it is not.")
        else:
            chosen[name] = (column, "name")
    channels = []
    for name in QUANTITIES:
        if name not in chosen:
            continue
        column, how = chosen[name]
        unit = parse_channel_unit(stated_units[name]) if name in stated_units else column.unit
        if unit is not None and unit.quantity not in QUANTITIES[name]:
            warnings.append(
                f"{column.heading!r} is in {unit.text}, which is no unit of {name}: it is left out. State "
                "its unit in `units`."
            )
            continue
        if unit is None:
            unit, told = _unit_by_content(name, column, medians.get(column.number - 1))
            warnings += [told] if told else []
            if unit is None:
                continue
            how = how if name == "pH" else "content"
        channels.append(Channel(name, column.number - 1, column.heading, unit, how))
    return tuple(channels), tuple(warnings)


def _stated_column(columns: Sequence[LogColumn], name: str, which: str | int) -> LogColumn:
    for column in columns:
        if which in (column.number, column.heading) or which == " ".join(column.words):
            return column
    there = ", ".join(repr(column.heading) for column in columns if column.heading) or "no headings"
    raise ValueError(f"columns: there is no column {which!r} for {name} ({there})")


def _unit_by_content(name: str, column: LogColumn, median: float | None) -> tuple[ChannelUnit | None, str]:
    """Unit of a channel without one, and what to say about it."""
    shown = column.heading or f"column {column.number}"
    if name == "pH":
        return ChannelUnit("pH", "", 1.0), ""
    if name == "acid" and set(column.words) & _COUNTER:
        return ChannelUnit("count", "", 1.0), ""
    if name == "temperature" and median is not None:
        for unit, low, high in (("°C", 0.0, 60.0), ("K", 270.0, 373.0)):
            if low <= median <= high:
                return parse_channel_unit(
                    unit
                ), f"{shown!r} has no unit: it is taken as {unit} by its values."
    return None, f"{shown!r} has no unit: it is left out. State its unit in `units`."


def acid_by_heading(channel: Channel, words: Sequence[str]) -> str:
    """What an acid column holds by its unit and heading: "counter", "cumulative", "events" or empty."""
    if channel.unit.quantity == "count" or set(words) & _COUNTER:
        return "counter"
    if set(words) & _CUMULATIVE:
        return "cumulative"
    return "events" if set(words) & _EVENTS else ""

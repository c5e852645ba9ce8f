"""What the lines above a table of numbers say: names of columns, units, pitch."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

_UNIT_IN_WORDS = (  # "in" is a word in prose, and an inch in brackets only
    "(?:[numkcdp]|\u00b5|\u03bc)?m|\u00c5|\u212b|mil|thou"
    "|(?:nano|micro|milli|centi)?met(?:er|re)s?|microns?|[a\u00e5]ngstr[o\u00f6]ms?|inch(?:es)?"
)
_UNIT = f"{_UNIT_IN_WORDS}|in"
_NUMBER = r"[-+]?(?:\d+(?:[.,]\d+)?|[.]\d+)(?:[eEdD][-+]?\d+)?|[-+]?nan\b|[-+]?inf\b"
_LONGEST_LINE, _LONGEST_FIELD = 1000, 100
_MARKS = " \t#%!;/\"'*"

_IN_BRACKETS = re.compile(r"^(.*?)\s*[\[({<]\s*([^\])}>]*?)\s*[\])}>]$")
_AFTER_STROKE = re.compile(r"^([^/]*?)\s*/\s*(\S+)$")
_AFTER_WORD = re.compile(rf"^(.+?)(?:\s+in\s+|[_\s:]+)({_UNIT})$", re.IGNORECASE)
_PLAIN_UNIT = re.compile(rf"[\[({{<]?\s*({_UNIT})\s*[\])}}>]?", re.IGNORECASE)

_LOOSE_BRACKET = re.compile(r" (?=[\[({</])|(?<=/) ")

_X = {"x", "xpos", "xposition", "xcoord", "xcoordinate", "xaxis"}
_Y = {"y", "ypos", "yposition", "ycoord", "ycoordinate", "yaxis"}
_Z = {"z", "zpos", "zposition", "zcoord", "zcoordinate", "zaxis", "zvalue", "zheight", "height", "heights"}

_PITCH = re.compile(
    r"(?<![A-Za-z])(?:(?P<before>[xy])[ _-]?(?:step|increment|spacing|pitch|pixel[ _-]?size)"
    r"|pixel[ _-]?(?:size|pitch|spacing)|(?:grid |point |sampling )?pitch"
    r"|(?:grid|point|sampling)[ _-](?:step|increment|spacing)|step[ _-]?size|d(?P<delta>[xy]))"
    r"(?:[ _-]?(?P<after>[xy]))?(?![A-Za-z])",
    re.IGNORECASE,
)
_BOTH_AXES = re.compile(r"[\[(]\s*x\s*[,;x×]\s*y\s*[\])]", re.IGNORECASE)
_VALUE = re.compile(_NUMBER, re.IGNORECASE)
_UNIT_WORD = re.compile(rf"(?<![^\W_])(?:{_UNIT_IN_WORDS})(?![^\W_])", re.IGNORECASE)
_BEFORE_NUMBER = re.compile(r"(?:[\W_]|\b(?:of|is|in|x|and|y)\b)*", re.IGNORECASE)
_BETWEEN_NUMBERS = re.compile(r"(?:[^\w.]|_|\b(?:x|and|by|y|in)\b)*", re.IGNORECASE)


def _unit_of(names: str) -> re.Pattern[str]:
    """Pattern of a unit that follows one of some names: "z / nm", "heights are given in nm", "z_unit: nm"."""
    return re.compile(
        rf"(?<![A-Za-z])(?:{names})(?:[ _-]?(?:values?|data|axis|coordinates?|positions?|units?))*"
        r"\s*(?:[:=/,;_]|\b(?:are |is )?(?:given )?in\b|\s|(?=[\[({<]))"
        rf"\s*[\[({{<]?\s*({_UNIT_IN_WORDS})(?![^\W_])",
        re.IGNORECASE,
    )


_HEIGHT_UNIT = _unit_of("heights?|z|elevation|topography")
_X_UNIT, _Y_UNIT = _unit_of("x"), _unit_of("y")
_ANY_UNIT = re.compile(
    r"(?<![A-Za-z])(?:"
    r"(?:units?|values|data|lengths)\s*(?:[:=/;]|(?=[\[({<])|\b(?:are |is )?(?:given )?in\b)"
    rf"|x[ ,;]+y[ ,;]+(?:and )?z (?:are |is )?(?:given )?in\b)\s*[\[({{<]?\s*({_UNIT_IN_WORDS})(?![^\W_])",
    re.IGNORECASE,
)


@dataclass(frozen=True)
class Columns:
    """Which columns of a list hold x, y and z, and their units, empty where none is stated."""

    x: int
    y: int
    z: int
    x_unit: str = ""
    y_unit: str = ""
    z_unit: str = ""


@dataclass(frozen=True)
class Statements:
    """What header lines state in passing.

    Attributes
    ----------
    pitch : (float or None, float or None) or None
        Along a row and along a column; None where none is stated.
    pitch_units : (str, str)
        Empty where none is stated.
    x_unit, y_unit, height_unit, any_unit : str
        Unit of the coordinates of points, of the heights, and of all numbers.
    """

    pitch: tuple[float | None, float | None] | None = None
    pitch_units: tuple[str, str] = ("", "")
    x_unit: str = ""
    y_unit: str = ""
    height_unit: str = ""
    any_unit: str = ""


def split_fields(line: str, delimiter: str) -> list[str]:
    """The fields of a header line, comment marks taken off; at white space, "X [mm]" is one field."""
    text = line.strip().lstrip(_MARKS)
    if delimiter:
        return [field.strip().strip("\"'").strip() for field in text.rstrip(delimiter).split(delimiter)]
    return _LOOSE_BRACKET.sub("", " ".join(text.split())).split()


def split_unit(field: str) -> tuple[str, str]:
    """Name and unit of a column: "X [mm]", "z / µm", "x_um", "height in nm", "Z(µm)".

    Examples
    --------
    >>> split_unit("X [mm]"), split_unit("x_um"), split_unit("label")
    (('X', 'mm'), ('x', 'um'), ('label', ''))
    """
    field = " ".join(field[:_LONGEST_FIELD].split())
    for pattern in (_IN_BRACKETS, _AFTER_STROKE, _AFTER_WORD):
        match = pattern.match(field)
        if match:
            return match[1].strip(), tidy_unit(match[2])
    return field, ""


def tidy_unit(unit: str) -> str:
    """A unit in capitals in the letters that it has ("UM" becomes "um"); any other as it is."""
    return unit.lower() if unit in ("UM", "MM", "NM", "CM", "µM", "μM", "PM") else unit


def are_units(fields: Sequence[str]) -> bool:
    """Whether every field of a line is a unit of length."""
    return bool(fields) and all(_PLAIN_UNIT.fullmatch(field) for field in fields)


def find_columns(lines: Sequence[str], delimiter: str, count: int) -> Columns | None:
    """Which columns are named x, y and z, by the last lines above the numbers.

    Parameters
    ----------
    lines : sequence of str
        Header lines.
    delimiter : str
        Empty for white space.
    count : int
        Number of columns.

    Returns
    -------
    Columns or None
        None where x, y and z are not each named once.
    """
    fields, units = last_names(lines, delimiter, count)
    places: dict[str, list[int]] = {"x": [], "y": [], "z": []}
    split = [split_unit(field) for field in fields]
    for number, (name, _) in enumerate(split):
        plain = re.sub(r"[\W_]", "", name).lower()
        for axis, known in (("x", _X), ("y", _Y), ("z", _Z)):
            if plain in known:
                places[axis].append(number)
    if any(len(found) != 1 for found in places.values()):
        return None
    x, y, z = (places[axis][0] for axis in "xyz")
    found_units = [split[k][1] or (units[k] if units else "") for k in (x, y, z)]
    return Columns(x, y, z, *found_units)


def last_names(lines: Sequence[str], delimiter: str, count: int) -> tuple[list[str], list[str]]:
    """Names of the columns and, where a line of its own gives them, their units.

    Both are empty where the last header lines have another number of fields.
    """
    fields = [f for f in (split_fields(line, delimiter) for line in lines[-2:]) if len(f) == count]
    if len(fields) == 2 and are_units(fields[1]):
        matches = [_PLAIN_UNIT.fullmatch(field) for field in fields[1]]
        return fields[0], [tidy_unit(match[1]) if match else "" for match in matches]
    if lines and fields and len(split_fields(lines[-1], delimiter)) == count:
        return fields[-1], []
    return [], []


def read_statements(lines: Sequence[str], decimal: str) -> Statements:
    """Pitch and units that header lines state in words; the first statement of each counts.

    Read are such as "pitch 0.5 µm", "pixel_size_um: 0.5 0.6", "dx = 0.5 µm, dy = 0.6 µm",
    "x pitch [nm]: 250", "heights in nm", "z / µm", "unit: µm".

    Parameters
    ----------
    lines : sequence of str
    decimal : {".", ","}
        Decimal mark of the numbers below; a header may use the point nevertheless.
    """
    values: dict[str, float] = {}
    units: dict[str, str] = {}
    found = dict.fromkeys((_X_UNIT, _Y_UNIT, _HEIGHT_UNIT, _ANY_UNIT), "")
    for raw in lines:
        line = " ".join(raw[:_LONGEST_LINE].split())
        keys = list(_PITCH.finditer(line))
        ends = [*(key.start() for key in keys[1:]), len(line)]
        for key, end in zip(keys, ends[: len(keys)], strict=True):
            rest = line[key.end() : end]
            axis = (key["before"] or key["delta"] or key["after"] or "").lower()
            _read_pitch(rest, axis, decimal, values, units)
        plain = _PITCH.sub(" ; ", line)
        for pattern, unit in found.items():
            match = pattern.search(plain)
            if match and not unit:
                found[pattern] = tidy_unit(match[1])
    x_unit, y_unit, height_unit, any_unit = found.values()
    pitch = (values.get("x"), values.get("y")) if values else None
    pitch_units = (units.get("x") or units.get("y") or any_unit, units.get("y") or units.get("x") or any_unit)
    return Statements(
        pitch,
        pitch_units if pitch else ("", ""),
        x_unit or y_unit or any_unit,
        y_unit or x_unit or any_unit,
        height_unit or any_unit,
        any_unit,
    )


def _read_pitch(rest: str, axis: str, decimal: str, values: dict[str, float], units: dict[str, str]) -> None:
    """Take what follows a word for pitch: a number or two with a unit, and nothing else in between."""
    rest = _BOTH_AXES.sub(" ", rest)
    first = _value(rest, 0, decimal)
    if first is None:
        return
    number, start, end = first
    if not _BEFORE_NUMBER.fullmatch(_UNIT_WORD.sub(" ", rest[:start])):
        return
    second = _value(rest, end, decimal)
    if second is None or not _BETWEEN_NUMBERS.fullmatch(_UNIT_WORD.sub(" ", rest[end : second[1]])):
        second = (number, end, end)
    unit = _UNIT_WORD.search(rest[:start]) or _UNIT_WORD.match(rest[second[2] :].lstrip(" ]);,"))
    unit = unit or _UNIT_WORD.match(rest[end:].lstrip(" ;,"))
    pair = {axis: number} if axis else {"x": number, "y": second[0]}
    for name, value in pair.items():
        if name not in values:
            values[name] = value
            units[name] = tidy_unit(unit[0]) if unit else ""


def _value(text: str, at: int, decimal: str) -> tuple[float, int, int] | None:
    """The next number of a text from a place on, where it starts and where it ends."""
    match = _VALUE.search(text, at)
    if match is None:
        return None
    found = match[0]
    if "," in found and decimal != "," and not found.lstrip("+-").startswith("0,"):
        return None  # 1,2 may be one number or two
    return float(found.replace(",", ".").lower().replace("d", "e")), match.start(), match.end()

"""What stands above the numbers of a sweep: headings, units, reference electrode, scan rate, area."""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass

from surfscan.electrochemistry.references import find_references
from surfscan.electrochemistry.sweep_units import Unit, parse_unit, split_heading, strip_logarithm
from surfscan.electrochemistry.table_form import TableForm

_LOOK_BACK = 8
_MARKS = " \t#%!/\"'*"
_LOOSE_BRACKET = re.compile(r" (?=[\[({</])|(?<=/) |(?<=\S) (?=(?:vs|versus)\b)|(?<=\bvs) |(?<=\bvs\.) ")
_ENDING_IN_BRACKET = re.compile(r"[^\])]+[\])]|[^\])]+$")
_STRANGE_UNIT = re.compile(r"[\[(][^\])]*[\])]\s*$|\S\s*/\s*\S+$")
_LONGEST_HEADING = 200
_NO_UNIT = ("", "-", "--", "#", "1", "[]", "()", "none", "n/a", "[-]", "(-)")

_ROLE_WORDS = {
    "current density": {"j", "stromdichte"},
    "potential": {
        "e", "u", "v", "potential", "potentials", "voltage", "volt", "volts", "spannung", "tension",
        "potentiel", "potencial",
    },
    "current": {
        "i", "current", "currents", "strom", "courant", "corriente", "ampere", "amperes", "amps",
    },
    "time": {"t", "time", "zeit", "temps", "tiempo", "elapsed"},
    "scan": {"scan", "cycle", "sweep", "loop", "segment", "zyklus"},
}  # fmt: skip
_OTHER_WORDS = {
    "range", "charge", "power", "resistance", "impedance", "temperature", "error", "std", "deviation",
    "noise", "rate", "overpotential", "ocp", "index", "point", "status", "capacity", "phase", "frequency",
    "remaining", "sigma", "ph",
}  # fmt: skip
_SET_WORDS = {"set", "setpoint", "applied", "nominal", "programmed", "target", "soll"}
_DENSITY_WORDS = {"density", "dichte", "densité", "densidad"}
_LOGARITHM_WORDS = {"log", "lg", "ln", "logarithm", "logarithmic", "db"}
_ABSOLUTE_WORDS = {"abs", "absolute", "magnitude"}

_NUMBER = r"([-+]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][-+]?\d+)?)"
_RATE = re.compile(
    r"(?:scan|sweep)[ _-]*(?:rate|speed)[\[(:=/,;_\s]*"
    rf"(?:(?P<before>[mu]?V\s*/\s*(?:s|sec|min|h))[\])]?[\s:=,;]*)?{_NUMBER}\s*"
    r"(?P<after>[mu]?V\s*(?:/|\s)\s*(?:s|sec|min|h)(?:-1|\^-1)?)?(?![A-Za-z])",
    re.IGNORECASE,
)
_RATE_UNIT = re.compile(r"([mu]?)v\s*/?\s*(sec|s|min|h)", re.IGNORECASE)
_AREA = re.compile(
    rf"\barea\b[^\d\n+-]{{0,30}}?(?:(?P<before>[cm]?m)(?:\^?2|²)[\])]?[\s:=,;]*)?{_NUMBER}\s*"
    r"(?:(?P<after>[cm]?m)(?:\^?2|²))?",
    re.IGNORECASE,
)


_REST = (
    r"(?:E[ _]?)?(?:ocp|ocv|oc|ocpt|eoc|eocp|rest|open[ -]?circuit|corr|corrosion|ecorr|ruhe\w*)(?![A-Za-z])"
)
_FROM_REST = re.compile(
    rf"(?:\b(?:vs|versus|against|gegen|minus|relative to|from|above)\b[.\s]*|[-−–]\s*)"
    rf"(?:the\s+)?[\[(]?\s*{_REST}"
    r"|[Δ∆]\s*E\b|\bdelta[ _]*E\b|over[ -]?(?:potential|voltage)|\beta\b|η|polari[sz]ation\s*[\[(/]",
    re.IGNORECASE,
)
_UNIT_FROM_REST = re.compile(r"^[^\d:=]*\b[mu]?V\W{0,3}(?:vs|versus|against|gegen)\b[^\d:=]*$", re.IGNORECASE)


@dataclass(frozen=True)
class Heading:
    """The heading of one column.

    Attributes
    ----------
    text : str
        As it stands in the file; empty where the column has none.
    role : str
        "potential", "current", "current density", "time", "scan"; "other" where it names something else;
        empty where it has no heading, or one that says nothing ("channel 1").
    unit : Unit or None
    is_logarithm : bool
        Whether values are logarithms.
    is_natural : bool
        Whether they are natural logarithms; decimal ones otherwise.
    is_set_value : bool
        Whether the column holds what was asked for and not what was measured.
    is_absolute : bool
        Whether the heading says that the sign was dropped.
    """

    text: str = ""
    role: str = ""
    unit: Unit | None = None
    is_logarithm: bool = False
    is_natural: bool = False
    is_set_value: bool = False
    is_absolute: bool = False


def read_headings(lines: Sequence[str], form: TableForm) -> tuple[Heading, ...]:
    """Heading of every column, from the last lines above the numbers.

    Parameters
    ----------
    lines : sequence of str
        Lines above the numbers.
    form : TableForm

    Returns
    -------
    tuple of Heading
        One for each column: from the last line that names a column known; else from the last that has as many
        fields as the table; else empty ones.
    """
    recent = [line.strip() for line in lines[-_LOOK_BACK:]]
    units: list[Unit | None] = [None] * form.columns
    unknown: tuple[Heading, ...] = ()
    for line in reversed(recent):
        fields = _fields(line, form)
        if fields is None or not any(re.search(r"[^\W\d_]", field) for field in fields):
            continue
        if any(form.is_number(field.encode()) for field in fields):
            continue
        found = [parse_unit(field) for field in fields]
        is_units = all(unit or _is_no_unit(field) for unit, field in zip(found, fields, strict=True))
        if is_units and any(found) and not any(units) and _has_names_above(recent, line, form):
            units = found
            continue
        headings = tuple(_heading(field, unit) for field, unit in zip(fields, units, strict=True))
        if any(heading.role not in ("", "other") for heading in headings):
            return headings
        unknown = unknown or headings
    if unknown:
        return unknown
    return tuple(_heading(unit.text if unit else "", unit) for unit in units)


def _is_no_unit(field: str) -> bool:
    return field.strip().lower() in _NO_UNIT


def _has_names_above(lines: Sequence[str], line: str, form: TableForm) -> bool:
    above = lines[: lines.index(line)]
    return any(_fields(one, form) is not None for one in above)


def _fields(line: str, form: TableForm) -> list[str] | None:
    """Fields of a header line, if it has as many as the table has columns."""
    if '"' in line:
        fields = _quoted_fields(line, form)
        if fields is not None:
            return fields
    text = line.strip("\n").lstrip(_MARKS).rstrip()
    ways = [form.delimiter] if form.delimiter else []
    ways += [mark for mark in ("\t", ";", ",", "  ", "") if mark not in ways]
    for mark in ways:
        if mark == "  ":
            fields = re.split(r"\s{2,}|\t", text)
        elif mark:
            fields = text.split(mark)
        else:
            fields = text.split()
            if len(fields) != form.columns:
                fields = _LOOSE_BRACKET.sub("\0", " ".join(text.split())).split()
            if len(fields) != form.columns:
                fields = _ENDING_IN_BRACKET.findall(text)
        fields = [field.replace("\0", " ").strip().strip("\"'").strip() for field in fields]
        while len(fields) > form.columns and not fields[-1]:
            fields.pop()
        if len(fields) == form.columns:
            return fields
    return None


def _quoted_fields(line: str, form: TableForm) -> list[str] | None:
    """Fields of a header line in which quotes hold fields together, if as many as the table has columns."""
    text = line.strip().lstrip(" \t#%!/")
    for mark in dict.fromkeys((form.delimiter or " ", "\t", ";", ",", " ")):
        fields = [field.strip() for field in next(csv.reader([text], delimiter=mark, skipinitialspace=True))]
        while len(fields) > form.columns and not fields[-1]:
            fields.pop()
        if len(fields) == form.columns:
            return fields
    return None


def find_unplaced(lines: Sequence[str], form: TableForm) -> tuple[str, ...]:
    """Headings of potential and current above the numbers that are not as many as the columns.

    Parameters
    ----------
    lines : sequence of str
        Lines above the numbers, of which no headings could be read.
    form : TableForm

    Returns
    -------
    tuple of str
        Empty where there are none.
    """
    worded = [line for line in lines[-_LOOK_BACK:] if re.search(r"[^\W\d_]", line)]
    for line in worded[-2:]:
        text = line.strip().strip(_MARKS)
        fields = text.split(form.delimiter) if form.delimiter else re.split(r"\s{2,}|[\t;,]", text)
        fields = [field.strip(_MARKS) for field in fields if field.strip(_MARKS)]
        named = {_heading(field, None).role for field in fields}
        if "potential" in named and named & {"current", "current density"} and len(fields) != form.columns:
            return tuple(fields)
    return ()


def _heading(text: str, unit: Unit | None) -> Heading:
    if not text:
        return Heading(unit=unit, role=unit.kind if unit else "")
    text = text[:_LONGEST_HEADING]
    inner = strip_logarithm(text)
    name, own = split_heading(text if inner is None else inner.inner)
    unit = own or unit
    spaced = re.sub(r"[\W\d_]+", " ", name)
    exact = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", spaced).split()
    words = {word.lower() for word in (*exact, *spaced.split())}
    role = _role(exact, words, unit)
    is_strange = not role and _STRANGE_UNIT.search(text)
    if is_strange or (inner is None and words & _LOGARITHM_WORDS and "current" in role):
        role = "other"
    is_absolute = "|" in text or bool(words & _ABSOLUTE_WORDS)
    is_natural = inner is not None and inner.is_natural
    return Heading(text, role, unit, inner is not None, is_natural, bool(words & _SET_WORDS), is_absolute)


def _role(exact: Sequence[str], words: set[str], unit: Unit | None) -> str:
    """What a heading names: by its words, and by its unit where words leave it open; empty where neither."""
    if words & _OTHER_WORDS:
        return "other"
    named = [
        role for role, known in _ROLE_WORDS.items() if words & known and not (words & known == {"t"} == set())
    ]
    if "time" in named and words & _ROLE_WORDS["time"] == {"t"} and "t" not in exact:
        return "other"  # T is a temperature
    if "scan" in named and unit is not None:
        named.remove("scan")
    if unit is not None:
        is_current = unit.kind in ("current", "current density")
        fits = not named or unit.kind in named or (is_current and {"current", "current density"} & set(named))
        return unit.kind if fits else "other"
    if "current" in named and words & _DENSITY_WORDS:
        return "current density"
    return named[0] if named else ""


def find_reference(headings: Sequence[Heading], lines: Sequence[str]) -> tuple[str | None, tuple[str, ...]]:
    """Reference electrode that a header names, and warnings.

    The heading of a potential counts more than other lines; of those, lines that say "reference" or "vs"
    count more than the rest. Names that disagree are none.

    Returns
    -------
    name : str or None
    warnings : tuple of str
    """
    in_headings = [h.text for h in headings if h.role == "potential"]
    saying = [
        line for line in lines if re.search(r"\b(?:ref|reference|vs|versus|against)\b", line, re.IGNORECASE)
    ]
    for texts in (in_headings, saying, list(lines)):
        found = tuple(dict.fromkeys(name for text in texts for name in find_references(text)))
        if len(found) == 1:
            return found[0], ()
        if found:
            return None, (
                f"The header names more than one reference electrode ({', '.join(found)}): none is taken. "
                "State which it was.",
            )
    return None, ()


def is_relative(headings: Sequence[Heading], lines: Sequence[str]) -> bool:
    """Whether a header says that potentials count from the rest potential and not from an electrode.

    The headings of potentials are looked at, and lines of units ("V vs OCP"); other lines may speak of where
    a scan was set to start.

    Examples
    --------
    >>> is_relative([Heading("E (V vs OCP)", "potential")], []), is_relative([], ["Start: -0.2 V vs OCP"])
    (True, False)
    """
    texts = [h.text for h in headings if h.role == "potential"]
    texts += [line for line in lines[-_LOOK_BACK:] if _UNIT_FROM_REST.match(line)]
    return any(_FROM_REST.search(text) for text in texts)


def find_scan_rate(lines: Sequence[str]) -> float | None:
    """Scan rate that a header states, V/s; None where it states none or no unit with it.

    Examples
    --------
    >>> find_scan_rate(["Scan rate: 10 mV/s"]), find_scan_rate(["scan rate (mV/min) = 10"])
    (0.01, 0.00016666666666666666)
    """
    for line in lines:
        match = _RATE.search(line[:1000])
        unit = match and _RATE_UNIT.match((match["before"] or match["after"] or "").strip())
        if match and unit:
            factor = {"": 1.0, "m": 1e-3, "u": 1e-6}[unit[1].lower()]
            period = {"s": 1.0, "sec": 1.0, "min": 60.0, "h": 3600.0}[unit[2].lower()]
            rate = abs(float(match[2].replace(",", "."))) * factor / period
            return rate or None
    return None


def find_area_cm2(lines: Sequence[str]) -> float | None:
    """Area that a header states with its unit, cm²; None where it states none.

    Examples
    --------
    >>> find_area_cm2(["Electrode area: 50 mm²"]), find_area_cm2(["area of interest"])
    (0.5, None)
    """
    for line in lines:
        match = _AREA.search(line[:1000].replace("cm^2", "cm2"))
        unit = match and (match["before"] or match["after"])
        if match and unit:
            factor = {"cm": 1.0, "mm": 1e-2, "m": 1e4}[unit.lower()]
            return float(match[2].replace(",", ".")) * factor
    return None

"""Units of sweep columns, in headings and in rows of units: V and mV, A to nA, per area or not, s to h."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

Kind = Literal["potential", "current", "current density", "time"]

_PREFIX = {"": 1.0, "k": 1e3, "m": 1e-3, "u": 1e-6, "n": 1e-9, "p": 1e-12}
_WORD_PREFIX = {"milli": "m", "micro": "u", "nano": "n", "pico": "p", "kilo": "k"}
_AREA_CM2 = {"": 1e4, "c": 1.0, "d": 1e2, "m": 1e-2}
_TIME = {
    "s": 1.0, "sec": 1.0, "secs": 1.0, "second": 1.0, "seconds": 1.0, "sekunden": 1.0, "ms": 1e-3,
    "msec": 1e-3,
    "min": 60.0, "mins": 60.0, "minute": 60.0, "minutes": 60.0, "h": 3600.0, "hr": 3600.0, "hrs": 3600.0,
    "hour": 3600.0, "hours": 3600.0, "d": 86400.0, "day": 86400.0, "days": 86400.0,
}  # fmt: skip
_POTENTIAL = re.compile(r"([kmun]?)v(?:olts?)?")
_CURRENT = re.compile(r"([kmunp]?)a(?:mp(?:ere)?s?)?")
_AREA = re.compile(r"(?:/|per|p)?(?:sq|square)?([cdm]?)m(?:eters?|etres?)?(?:\*\*|\^)?(?:\(?-?2\)?)?")
_BRACKETED = re.compile(r"[\[({<]([^\[\](){}<>]*(?:\([^)]*\)[^\[\](){}<>]*)?)[\])}>]")
_VERSUS = re.compile(r"\b(?:vs|versus|against|gegen)\b.*$|(?<=v)\s*\(.*\)$", re.IGNORECASE)
_LOG = re.compile(r"^\s*(?:log|lg)(?:_?10|₁₀)?\s*(?:abs)?\s*[|(\[]?(.*?)[|)\]]*\s*$", re.IGNORECASE)


@dataclass(frozen=True)
class Unit:
    """A unit of a sweep column.

    Attributes
    ----------
    kind : {"potential", "current", "current density", "time"}
    text : str
        As it stands in the file, less "vs ...".
    factor : float
        Times it, a value is in V, A, A/cm² or s.
    """

    kind: Kind
    text: str
    factor: float


def parse_unit(text: str) -> Unit | None:
    """The unit that a text is, as a whole; None where it is none.

    Examples
    --------
    >>> parse_unit("mA cm^-2"), parse_unit("µA/cm²").factor, parse_unit("A m-2").factor
    (Unit(kind='current density', text='mA cm^-2', factor=0.001), 1e-06, 0.0001)
    >>> parse_unit("V vs. SCE").kind, parse_unit("min").factor, parse_unit("Ohm")
    ('potential', 60.0, None)
    """
    shown = plain = _VERSUS.sub("", text).strip().strip("[](){}<>").strip().rstrip(".")
    for sign, letter in (("µ", "u"), ("μ", "u"), ("²", "2"), ("⁻", "-"), ("−", "-"), ("·", " "), ("⋅", " ")):
        plain = plain.replace(sign, letter)
    lowered = re.sub(r"[\s*_.]+", "", re.sub(r"(?<=\w)\*(?=\w)", " ", plain.lower()))
    for word, letter in _WORD_PREFIX.items():
        lowered = re.sub(rf"^{word}(?=v|a)", letter, lowered)
    if lowered in _TIME:
        return Unit("time", shown, _TIME[lowered])
    match = _POTENTIAL.fullmatch(lowered)
    if match:
        return Unit("potential", shown, _PREFIX[match[1]])
    match = _CURRENT.match(lowered)
    if not match:
        return None
    rest = lowered[match.end() :]
    factor = _PREFIX[match[1]]
    if not rest:
        return Unit("current", shown, factor)
    area = _AREA.fullmatch(rest)
    if area and ("2" in rest or "sq" in rest):
        return Unit("current density", shown, factor / _AREA_CM2[area[1]])
    return None


def split_heading(heading: str) -> tuple[str, Unit | None]:
    """Name and unit of a heading: "E (V vs SCE)", "I/mA", "j [mA cm^-2]", "E_mV", "Current, A", "V".

    Examples
    --------
    >>> [split_heading(text)[0] for text in ("E vs Ag/AgCl / V", "i_uA_per_cm2", "Potential applied (V)")]
    ['E vs Ag/AgCl', 'i', 'Potential applied']
    """
    text = " ".join(heading.split())[:200]
    whole = parse_unit(text) if len(text) > 1 or text in ("V", "A") else None
    if whole is not None:
        return "", whole
    for match in _BRACKETED.finditer(text):
        unit = parse_unit(match[1])
        if unit is not None:
            name = f"{text[: match.start()]} {text[match.end() :]}".strip(" _-/,:")
            return " ".join(name.split()), unit
    for match in re.finditer(r"[/,;:_\s]|\bin\b|(?<=[a-z])(?=[A-Z])", text):
        if match.start() == 0:
            continue
        tail = re.sub(r"^(?:in\b|[/,;:_\s])+", "", text[match.start() :])
        unit = parse_unit(tail) if tail else None
        if unit is not None:
            return text[: match.start()].strip(" _-/,:"), unit
    return text, None


def strip_logarithm(heading: str) -> str | None:
    """What a heading takes the decimal logarithm of; None where it is no logarithm.

    Examples
    --------
    >>> strip_logarithm("log10(|i| / A cm-2)"), strip_logarithm("lg I (A)"), strip_logarithm("logger")
    ('i / A cm-2', 'I (A)', None)
    """
    match = _LOG.match(heading)
    if not match or not match[1] or re.match(r"(?:log|lg)[A-Za-z]", heading.strip(), re.IGNORECASE):
        return None
    inner = match[1].replace("|", " ")
    if inner.count("(") > inner.count(")"):
        inner += ")" * (inner.count("(") - inner.count(")"))
    return " ".join(inner.split())

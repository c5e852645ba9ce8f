"""Units of sweep columns, in headings and in rows of units: V and mV, A to nA, per area or not, s to h."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal, NamedTuple

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
_LOG = re.compile(
    r"^\s*(?:(?P<natural>ln|log_?e(?![A-Za-z])|logₑ)|(?:log|lg)(?:_?10|₁₀)?)"
    r"(?:(?![A-Za-z])|(?=[ijIJ](?![A-Za-z])))\s*(?:abs)?\s*[|(\[]?(?P<inner>.*?)[|)\]]*\s*$",
    re.IGNORECASE,
)
_PREFIXED = re.compile(r"[mµμunp][AV]$")
_LOOSE_MARKS = "_ "
_ROLE_LETTERS = "EUIJ"
_NAMES_A_QUANTITY = re.compile(
    r"potential|voltage|volt|spannung|tension|potenti[ea]l|current|strom|courant|corriente|(?<![a-z])amp|time|"
    r"zeit|temps|tiempo|elapsed|density|dichte|(?<![^\W_])[eijtuv](?![^\W_])",
    re.IGNORECASE,
)


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
    for match in re.finditer(r"[/,;:_\s]|\bin\b|(?<=[A-Za-z])(?=[mµμunp][AV]$)|(?<=[a-z])(?=[A-Z])", text):
        if match.start() == 0:
            continue
        if _PREFIXED.match(text, match.start()) and not _NAMES_A_QUANTITY.search(text[: match.start()]):
            continue  # "columnA" ends with no nanoampere
        tail = re.sub(r"^(?:in\b|[/,;:_\s])+", "", text[match.start() :])
        unit = parse_unit(tail) if tail else None
        is_loose = not match[0] or match[0] in _LOOSE_MARKS
        if unit is not None and not (is_loose and _is_label(text[: match.start()], tail)):
            return text[: match.start()].strip(" _-/,:"), unit
    return text, None


def _is_label(name: str, tail: str) -> bool:
    """Whether a lone letter behind a name is part of it, as in "pH" and "Channel A", and no unit."""
    if len(tail) > 1 or _NAMES_A_QUANTITY.search(name):
        return False
    return tail.lower() not in ("a", "v") or not name.lstrip(" <|").startswith(tuple(_ROLE_LETTERS))


class Logarithm(NamedTuple):
    """What a heading takes the logarithm of.

    Attributes
    ----------
    inner : str
    is_natural : bool
        Whether it is the natural logarithm and not the decimal one.
    """

    inner: str
    is_natural: bool


def strip_logarithm(heading: str) -> Logarithm | None:
    """What a heading takes the logarithm of, and which; None where it is no logarithm.

    Examples
    --------
    >>> strip_logarithm("log10(|i| / A cm-2)").inner, strip_logarithm("lg I (A)").inner
    ('i / A cm-2', 'I (A)')
    >>> strip_logarithm("ln(i) (A)"), strip_logarithm("logger")
    (Logarithm(inner='i (A)', is_natural=True), None)
    """
    match = _LOG.match(heading)
    if not match or not match["inner"]:
        return None
    inner, depth = "", 0
    for sign in match["inner"].replace("|", " "):
        depth += (sign == "(") - (sign == ")")
        inner += sign if depth >= 0 else " "
        depth = max(depth, 0)
    return Logarithm(" ".join((inner + ")" * depth).split()), match["natural"] is not None)

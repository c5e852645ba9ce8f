"""Labels of scale bars: a number and a unit of length, as written and as character recognition gives it."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

from surfscan.calibration.units import um_per_unit

_MICRO = ("um", "μm")
_MISREAD_MICRO = (
    "pm", "ym", "jm", "hm", "lm", "fm", "gm", "μrn", "urn", "umm", "μmm", "pmm", "yum", "jum", "μn", "/m",
    "(m", "vm", "μ m", "u m", "p m", "#m", "цm", "μ", "mkm", "мкм",
)  # fmt: skip
_MISREAD_NANO = ("nrn", "nmm", "rnm", "n m")
_WORDS = {
    "micron": 1.0, "microns": 1.0, "micrometer": 1.0, "micrometre": 1.0, "micrometers": 1.0,
    "micrometres": 1.0, "nanometer": 1e-3, "nanometre": 1e-3, "nanometers": 1e-3, "nanometres": 1e-3,
    "millimeter": 1e3, "millimetre": 1e3, "millimeters": 1e3, "millimetres": 1e3,
}  # fmt: skip

_DASHES = "-—–―_~|[]{}<>()«»‹›¦ⅠI一丨*·•.,:;'\"`‘’“” \t="
_NUMBER = r"(?P<number>[0-9]{1,3}(?: [0-9]{3})+|[0-9OoQlISB]{1,5}(?:[.,][0-9Oo]{1,4})?)"
_LABEL = re.compile(rf"^(?i:scale ?bar|scale|bar)?[\s:=]*{_NUMBER}\s*(?P<unit>[^\d\s].*)$")
_LONE_ONE = re.compile(r"^[Il](?= ?[nuμm]m$)")  # 1 as some founts draw it
_DIGITS = str.maketrans({"O": "0", "o": "0", "Q": "0", "l": "1", "I": "1", "S": "5", "B": "8"})

_ROUND = (1.0, 2.0, 2.5, 5.0)
_USUAL = (1.25, 1.5, 3.0, 4.0, 6.0, 7.5, 8.0)


@dataclass(frozen=True)
class Label:
    """What a scale bar is said to be long.

    Attributes
    ----------
    length_um : float
        µm.
    text : str
        The label as understood ("50 µm").
    as_written : bool
        Whether every character was read as it stands; False where one had to be put right (the letter O for
        a nought, "pm" for "µm").
    """

    length_um: float
    text: str
    as_written: bool


def parse_label(text: str) -> Label | None:
    """Number and unit of a scale bar's label.

    Parameters
    ----------
    text : str
        One line of text, as written by a person or as character recognition gives it.

    Returns
    -------
    Label or None
        None unless the whole text is one length in nm, µm or mm (cm is no unit of a micrograph): a text that
        names what it tells ("WD 10 mm", "HFW 256 µm"), a voltage or a magnification is no label. Dashes,
        brackets and strokes round the label, which are often parts of the bar, are passed over. A decimal
        comma is a decimal point. "pm", "jm", "hm" and their like are read as µm: no micrograph has a
        bar of so many picometres, and the letter µ is what recognition stumbles over.

    Examples
    --------
    >>> parse_label("50 um").length_um
    50.0
    """
    plain = " ".join(unicodedata.normalize("NFKC", text).split())
    lone = _LONE_ONE.match(plain) is not None
    if lone:
        plain = f"1{plain[1:]}"
    bare = plain.lstrip(_DASHES)
    before = plain[: len(plain) - len(bare)]
    found = _LABEL.match(bare)
    if found is None or before.endswith((".", ",")):
        return None
    unit = _unit(found["unit"])
    written = found["number"].replace(" ", "")
    number = written.translate(_DIGITS)
    if unit is None or not any(character in "0123456789" for character in written):
        return None
    whole = number.replace(",", ".")
    if re.fullmatch(r"0\d+(\.\d+)?", whole) or re.fullmatch(r"[1-9]\d{0,2},\d{3}", number):
        return None
    value = float(whole)
    if value <= 0:
        return None
    symbol, factor, exact = unit
    clean = number == written and exact and not lone and not before.endswith(("|", "I", "[", "]", "¦"))
    return Label(float(f"{value * factor:.12g}"), f"{whole} {symbol}", clean)


def is_round(label: Label) -> float:
    """How much a label looks like one that is written beside a bar.

    Returns
    -------
    float
        1 for 1, 2, 2.5 or 5 times a power of ten, 0.9 for 1.25, 1.5, 3, 4, 6, 7.5 and 8, else 0.4 (common
        practice, no source).
    """
    number = float(label.text.split()[0])
    leading = float(f"{number:e}".split("e")[0])
    if any(abs(leading - round_number) < 1e-9 for round_number in _ROUND):
        return 1.0
    return 0.9 if any(abs(leading - usual) < 1e-9 for usual in _USUAL) else 0.4


def may_be_shortened(label: Label) -> bool:
    """Whether a number before this one would make another length that bars have: a digit, or "0.".

    50 may have been 150, 2 may have been 0.2 and even 20 may have been 120, but no bar is 1300 or 10.5 long.
    """
    number, symbol = label.text.split()
    if number.isdigit() and len(number) < 3:
        return True
    longer = [f"{digit}{number}" for digit in "123456789"]
    if "." not in number and not number.endswith("0"):
        longer.append(f"0.{number}")
    return any(is_round(Label(1.0, f"{text} {symbol}", True)) >= 0.9 for text in longer)


def label_step_um(label: Label) -> float:
    """Half of the last digit of a label that is not round, µm; 0 for a round one: it is drawn to be exact."""
    if is_round(label) >= 0.9:
        return 0.0
    number, symbol = label.text.split()
    decimals = len(number.partition(".")[2])
    return 0.5 * 10.0**-decimals * float(um_per_unit(symbol) or 1.0)


def _unit(text: str) -> tuple[str, float, bool] | None:
    """Symbol, µm in one, and whether it stands there as it should."""
    bare = text.strip(_DASHES.replace("(", "").replace("|", "").replace(")", "")).strip()
    low = bare.casefold()
    if bare in _MICRO or low in _MICRO:
        return "µm", 1.0, True
    if bare == "nm" or low == "nm":
        return "nm", 1e-3, True
    if low == "mm":
        return "mm", 1e3, bare == "mm"
    if low in _WORDS:
        factor = _WORDS[low]
        return {1.0: "µm", 1e-3: "nm", 1e3: "mm"}[factor], factor, True
    if low in _MISREAD_MICRO:
        return "µm", 1.0, False
    if low in _MISREAD_NANO:
        return "nm", 1e-3, False
    return None

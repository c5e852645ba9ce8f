"""Units of length, as files and labels write them."""

from __future__ import annotations

import unicodedata

_PREFIXES = {
    "Q": 1e30, "R": 1e27, "Y": 1e24, "Z": 1e21, "E": 1e18, "P": 1e15, "T": 1e12, "G": 1e9, "M": 1e6,
    "k": 1e3, "h": 1e2, "da": 1e1, "": 1.0, "d": 1e-1, "c": 1e-2, "m": 1e-3, "µ": 1e-6, "u": 1e-6,
    "n": 1e-9, "p": 1e-12, "f": 1e-15, "a": 1e-18, "z": 1e-21, "y": 1e-24, "r": 1e-27, "q": 1e-30,
}  # fmt: skip
_NAMES = {
    "metre": 1.0, "decimetre": 1e-1, "centimetre": 1e-2, "millimetre": 1e-3, "micrometre": 1e-6,
    "micron": 1e-6, "nanometre": 1e-9, "picometre": 1e-12, "kilometre": 1e3,
    "angstrom": 1e-10, "ångström": 1e-10, "inch": 0.0254,
}  # fmt: skip


def _normal(unit: str) -> str:
    return unicodedata.normalize("NFKC", unit.strip())


_METRES = {
    **{_normal(f"{prefix}m"): factor for prefix, factor in _PREFIXES.items()},
    _normal("Å"): 1e-10,
    "in": 0.0254,
    "thou": 2.54e-5,
    "mil": 2.54e-5,
    "ft": 0.3048,
    "yd": 0.9144,
}


def um_per_unit(unit: str) -> float | None:
    """Micrometres in one `unit`; None where it is no unit of length.

    Symbols keep their case (mm is not Mm); both code points of µ (U+00B5, U+03BC) and of Å (U+00C5, U+212B)
    are read, and "um". Names are read in either spelling, singular or plural.

    Examples
    --------
    >>> um_per_unit("nm")
    0.001
    """
    symbol = _normal(unit)
    metres = _METRES.get(symbol)
    if metres is None:
        name = symbol.lower().replace("meter", "metre")
        metres = _NAMES.get(name, _NAMES.get(name.removesuffix("s")))
    return None if metres is None else float(f"{metres * 1e6:.12g}")

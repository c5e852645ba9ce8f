"""Units of the channels of a rig log, and what each channel may hold."""

from __future__ import annotations

import re
from dataclasses import dataclass

QUANTITIES: dict[str, tuple[str, ...]] = {
    "temperature": ("temperature",),
    "pH": ("pH",),
    "flow": ("flow",),
    "pressure before": ("pressure",),
    "pressure after": ("pressure",),
    "pressure drop": ("pressure",),
    "acid": ("volume", "count"),
}
"""Channel -> quantities that it can hold."""

UNIT_OF = {
    "temperature": "°C",
    "pH": "1",
    "flow": "mL/min",
    "pressure before": "kPa",
    "pressure after": "kPa",
    "pressure drop": "kPa",
    "acid": "mL",
}
"""Channel -> unit that its values are turned into."""

PLAUSIBLE = {
    "temperature": (-20.0, 130.0),
    "pH": (-1.0, 15.0),
    "flow": (-1e3, 1e6),
    "pressure before": (-110.0, 1e5),
    "pressure after": (-110.0, 1e5),
    "pressure drop": (-1e4, 1e5),
    "acid": (0.0, 1e7),
}
"""Channel -> what a sensor in water can read; anything else is a fault of the sensor and left out
(common practice, no source)."""

_VOLUME = {"ul": 1e-3, "ml": 1.0, "cl": 10.0, "dl": 100.0, "l": 1e3, "cc": 1.0, "cm3": 1.0, "ccm": 1.0}
_PER_MINUTE = {"s": 60.0, "sec": 60.0, "min": 1.0, "minute": 1.0, "h": 1 / 60, "hr": 1 / 60, "hour": 1 / 60,
               "d": 1 / 1440, "day": 1 / 1440}  # fmt: skip
_PRESSURE = {
    "pa": 1e-3, "hpa": 0.1, "kpa": 1.0, "mpa": 1e3, "mbar": 0.1, "bar": 100.0, "psi": 6.894757293168361,
    "psig": 6.894757293168361, "barg": 100.0, "mbarg": 0.1, "kpag": 1.0, "mmhg": 0.133322387415,
    "torr": 0.13332236842105263, "cmh2o": 0.0980665, "mmh2o": 0.00980665, "atm": 101.325,
}  # fmt: skip
_TEMPERATURE = {
    "°c": (1.0, 0.0), "degc": (1.0, 0.0), "c": (1.0, 0.0), "celsius": (1.0, 0.0), "gradc": (1.0, 0.0),
    "k": (1.0, -273.15), "kelvin": (1.0, -273.15), "degk": (1.0, -273.15),
    "°f": (5 / 9, -160 / 9), "degf": (5 / 9, -160 / 9), "f": (5 / 9, -160 / 9),
    "fahrenheit": (5 / 9, -160 / 9),
}  # fmt: skip
_COUNT = ("pulses", "pulse", "counts", "count", "strokes", "stroke", "steps", "step", "imp", "impulse",
          "ticks", "tick")  # fmt: skip
_TIME = {
    "us": 1.0, "ms": 1e3, "s": 1e6, "sec": 1e6, "secs": 1e6, "second": 1e6, "seconds": 1e6, "sekunden": 1e6,
    "min": 6e7, "mins": 6e7, "minute": 6e7, "minutes": 6e7, "minuten": 6e7, "h": 3.6e9, "hr": 3.6e9,
    "hrs": 3.6e9, "hour": 3.6e9, "hours": 3.6e9, "stunden": 3.6e9, "d": 8.64e10, "day": 8.64e10,
    "days": 8.64e10,
}  # fmt: skip


@dataclass(frozen=True)
class ChannelUnit:
    """A unit of a channel.

    Attributes
    ----------
    quantity : {"temperature", "pH", "flow", "pressure", "volume", "count", "time"}
    text : str
        As it stands in the file.
    factor, offset : float
        value × factor + offset is in °C, mL/min, kPa, mL, or µs; a count stays one.
    """

    quantity: str
    text: str
    factor: float
    offset: float = 0.0


def parse_channel_unit(text: str) -> ChannelUnit | None:
    """The unit that a text is, as a whole; None where it is none.

    Examples
    --------
    >>> parse_channel_unit("L/h").factor, parse_channel_unit("mL min-1").factor, parse_channel_unit("room")
    (16.666666666666668, 1.0, None)
    """
    shown = text.strip().strip("[](){}<>").strip()
    plain = shown.replace("µ", "u").replace("μ", "u").replace("⁻¹", "-1").replace("º", "°").replace("℃", "°c")
    plain = plain.replace("³", "3").replace("₂", "2").lower()
    tight = re.sub(r"[\s_*·.]+", "", plain)
    if plain in ("ph", "ph units", "ph-units"):
        return ChannelUnit("pH", shown, 1.0)
    if tight in _TEMPERATURE:
        return ChannelUnit("temperature", shown, *_TEMPERATURE[tight])
    if tight in _PRESSURE:
        return ChannelUnit("pressure", shown, _PRESSURE[tight])
    if tight in _VOLUME:
        return ChannelUnit("volume", shown, _VOLUME[tight])
    if tight in _COUNT:
        return ChannelUnit("count", shown, 1.0)
    if tight in _TIME:
        return ChannelUnit("time", shown, _TIME[tight])
    for volume in sorted(_VOLUME, key=len, reverse=True):
        if tight.startswith(volume):
            rest = re.sub(r"\^?-1$", "", tight[len(volume) :])
            period = "min" if rest == "pm" else re.sub(r"^(?:/|per|p(?=min$))", "", rest)
            if period in _PER_MINUTE and (period != rest or rest != tight[len(volume) :]):
                return ChannelUnit("flow", shown, _VOLUME[volume] * _PER_MINUTE[period])
    return None


def split_channel_heading(heading: str) -> tuple[str, ChannelUnit | None]:
    """Name and unit of a heading: "Flow (mL/min)", "p before / kPa", "acid_mL", "T [°C]", "Bath temp, °C".

    Examples
    --------
    >>> [split_channel_heading(text)[0] for text in ("Flow (mL/min)", "p_before/kPa", "temperature_degC")]
    ['Flow', 'p_before', 'temperature']
    """
    text = " ".join(heading.split())[:200]
    for match in re.finditer(r"[\[({<]([^\[\](){}<>]*)[\])}>]", text):
        unit = parse_channel_unit(match[1])
        if unit is not None:
            return " ".join(f"{text[: match.start()]} {text[match.end() :]}".split()).strip(" _-/,:"), unit
    for match in re.finditer(r"[/,;:_\s]|\bin\b", text):
        if match.start() == 0:
            continue
        tail = re.sub(r"^(?:in\b|[/,;:_\s])+", "", text[match.start() :])
        unit = parse_channel_unit(re.sub(r"_per_", "/", tail)) if tail else None
        if unit is not None:
            return text[: match.start()].strip(" _-/,:"), unit
    whole = parse_channel_unit(text)
    if whole is not None and whole.quantity != "pH" and (len(text) > 1 or not text.isalpha()):
        return "", whole
    return text, None

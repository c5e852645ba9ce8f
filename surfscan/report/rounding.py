"""Numbers for people: rounded to their uncertainty, never more digits than the interval carries."""

from __future__ import annotations

import math
from dataclasses import dataclass

_SMALLEST_PLAIN, _LARGEST_PLAIN = 1e-4, 1e8
"""Outside these a number is written with a power of ten: nobody counts noughts."""

_MOST_DIGITS = 6
"""No figure from a picture carries more, however narrow its interval (common practice, no source)."""

NO_VALUE = "–"
"""Printed where there is no number to defend."""


@dataclass(frozen=True)
class Rounded:
    """A value and its 95 % interval as text, all three to the same decimal place.

    Attributes
    ----------
    value, low, high : str
        `NO_VALUE` where there is none.
    places : int
        Decimal places of the rounding; negative left of the point.
    """

    value: str
    low: str
    high: str
    places: int = 0

    @property
    def has_interval(self) -> bool:
        """Whether there are limits to show."""
        return self.low != NO_VALUE

    @property
    def interval(self) -> str:
        """ "low to high", or empty."""
        return f"{self.low} to {self.high}" if self.has_interval else ""

    def __str__(self) -> str:
        return f"{self.value} ({self.interval})" if self.has_interval else self.value


def round_to_interval(
    value: float | None,
    low: float | None = None,
    high: float | None = None,
    *,
    scale: float = 1.0,
    places: int | None = None,
    doubt: float = math.nan,
) -> Rounded:
    """Round a value and its interval to two significant digits of the interval's half width.

    Parameters
    ----------
    value : float or None
        None and not-a-number give `NO_VALUE`.
    low, high : float or None
        95 % limits; without them (or with no width) the value gets three significant digits.
    scale : float, optional
        Multiplies all three first: 100 turns a fraction into per cent.
    places : int, optional
        Decimal places to use where there is no interval, such as those of the mean that a difference
        comes from.
    doubt : float, optional
        Half width to round by where there is no interval and `places` is not given.

    Notes
    -----
    JCGM 100:2008, 7.2.6: an uncertainty is quoted to at most two significant digits and the estimate
    is rounded to agree with it. An infinite limit is printed as ∞. Where all three are below 1e-4, or one
    is from 1e8, they are written with powers of ten.
    """
    if value is None or math.isnan(value):
        return Rounded(NO_VALUE, NO_VALUE, NO_VALUE)
    value = value * scale
    if low is None or high is None or math.isnan(low) or math.isnan(high):
        if places is None and 0 < doubt < math.inf:
            places = min(_decimals(doubt * scale, 2), _decimals(value, _MOST_DIGITS))
        if places is None:
            return Rounded(significant(value), NO_VALUE, NO_VALUE, _decimals(value, 3))
        return Rounded(_fixed(value, places), NO_VALUE, NO_VALUE, places)
    low, high = low * scale, high * scale
    half = (high - low) / 2
    if not math.isfinite(half):
        half = min(abs(value - low), abs(high - value))
    if half <= 0 or not math.isfinite(half):
        places = _decimals(value, 3)
        return Rounded(_fixed(value, places), _fixed(low, places), _fixed(high, places), places)
    largest = max(abs(number) for number in (value, low, high) if math.isfinite(number))
    places = min(_decimals(half, 2), _decimals(largest, _MOST_DIGITS))
    if not _is_plain(largest):
        texts = [_with_power(number, places) for number in (value, low, high)]
        return Rounded(texts[0], texts[1], texts[2], places)
    return Rounded(_fixed(value, places), _fixed(low, places), _fixed(high, places), places)


def greatest_words(value: float, low: float, high: float, *, doubt: float = math.nan) -> tuple[str, str]:
    """A greatest value and its interval; where that holds 0, "not above" the upper limit, and nothing.

    The greatest of many readings is above 0 by noise alone, so its value says nothing there.
    """
    number = round_to_interval(value, low, high, doubt=doubt)
    if number.has_interval and low <= 0:
        return f"not above\u00a0{number.high}", ""
    return number.value, number.interval


def significant(value: float | None, digits: int = 3) -> str:
    """A number to so many significant digits; zero is "0", and below 1e-4 or from 1e8 powers of ten."""
    if value is None or math.isnan(value):
        return NO_VALUE
    if value == 0:
        return "0"
    places = _decimals(value, digits)
    return _fixed(value, places) if _is_plain(value) else _with_power(value, places)


def at_least(text: str, is_lower_bound: bool) -> str:
    """A number in words with "≥" before it where it is a lower bound."""
    return f"≥\u00a0{text}" if is_lower_bound and text != NO_VALUE else text


def at_most(text: str, is_upper_bound: bool) -> str:
    """A number in words with "≤" before it where it is an upper bound."""
    return f"≤\u00a0{text}" if is_upper_bound and text != NO_VALUE else text


def _decimals(value: float, digits: int) -> int:
    """Decimal places that show `value` to `digits` significant digits; negative left of the point."""
    if value == 0 or not math.isfinite(value):
        return 0
    exponent = int(f"{abs(value):.{digits - 1}e}".rpartition("e")[2])
    return digits - 1 - exponent


def _is_plain(value: float) -> bool:
    """Whether a number is written without a power of ten."""
    return not math.isfinite(value) or _SMALLEST_PLAIN <= abs(value) < _LARGEST_PLAIN


def _with_power(value: float, places: int) -> str:
    """A number rounded to `places` decimals, as mantissa and power of ten: 4.59 × 10⁻⁹."""
    value = round(value, places) if math.isfinite(value) else value
    if value == 0 or not math.isfinite(value):
        return "0" if value == 0 else _fixed(value, 0)
    exponent = int(f"{abs(value):.15e}".rpartition("e")[2])
    mantissa = _fixed(value / 10.0**exponent, places + exponent)
    return f"{mantissa}\u00a0×\u00a010{str(exponent).translate(_RAISED)}"


_RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")


def _fixed(value: float, places: int) -> str:
    if not math.isfinite(value):
        return "∞" if value > 0 else "−∞"
    text = f"{round(value, places):.{max(places, 0)}f}"
    if float(text) == 0:
        text = text.lstrip("-")
    return text.replace("-", "−")

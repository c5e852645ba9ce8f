"""A column of numbers in a block of text, all fields at once."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from surfscan.electrochemistry.table_form import is_gap
from surfscan.loaders.number_text import to_number

_LONGEST = 24
_MOST_DIGITS = 15  # below 2**53, so that mantissa and power of ten are exact and their quotient rounded once


def fields_of(data: bytes, starts: np.ndarray, length: int) -> np.ndarray:
    """Fields of one length, as bytes strings.

    Parameters
    ----------
    data : bytes
    starts : ndarray of shape (n,), int
    length : int
        1 or above.

    Returns
    -------
    ndarray of shape (n,), dtype S<length>
    """
    windows: np.ndarray = np.ndarray((len(data) - length + 1,), dtype=f"S{length}", buffer=data, strides=(1,))
    return windows[starts]


def characters_of(data: bytes, starts: np.ndarray, length: int) -> np.ndarray:
    """Fields of one length, as an array of shape (length, n) of bytes."""
    fields = fields_of(data, starts, length)
    return np.ascontiguousarray(fields.view(np.uint8).reshape(-1, length).T)


def read_numbers(
    data: bytes,
    starts: np.ndarray,
    ends: np.ndarray,
    decimal: str = ".",
    tidy: Callable[[bytes], bytes] = bytes,
) -> tuple[np.ndarray, np.ndarray]:
    """Numbers of the fields of one column.

    Plain decimals are read all at once; what else `float` takes, one by one, with the same value to the bit.

    Parameters
    ----------
    data : bytes
    starts, ends : ndarray of shape (n,), int
        First byte of each field and the one after its last.
    decimal : {".", ","}
    tidy : callable, optional
        Turns an unusual spelling into what `float` takes.

    Returns
    -------
    values : ndarray of shape (n,), float64
        Not-a-number where a field is empty, says that nothing was measured, or is no number.
    faults : ndarray of int
        Fields that are no number, such as a word.
    """
    values = np.full(len(starts), np.nan)
    lengths = ends - starts
    rest: list[np.ndarray] = []
    for length in np.flatnonzero(np.bincount(np.minimum(lengths, _LONGEST + 1))):
        if length == 0:
            continue
        which = np.flatnonzero(np.minimum(lengths, _LONGEST + 1) == length)
        if length > _LONGEST:
            rest.append(which)
            continue
        chars = characters_of(data, starts[which], int(length))
        found, is_plain = _plain_numbers(chars, ord(decimal))
        if is_plain.all():
            values[which] = found
            continue
        values[which[is_plain]] = found[is_plain]
        rest.append(which[~is_plain])
    faults = []
    for i in np.sort(np.concatenate(rest)).tolist() if rest else ():
        field = tidy(data[starts[i] : ends[i]]).strip()
        if is_gap(field):
            continue
        try:
            values[i] = to_number(field)
        except ValueError:
            faults.append(i)
    values[np.isinf(values)] = np.nan
    return values, np.array(faults, dtype=np.int64)


def _plain_numbers(chars: np.ndarray, decimal: int) -> tuple[np.ndarray, np.ndarray]:
    """Values of fields of one length, and which of them are digits with at most a sign and a decimal mark."""
    length, n = chars.shape
    digits = chars - np.uint8(48)
    is_digit = digits <= 9
    is_mark = chars == decimal
    is_minus = chars[0] == 45
    is_signed = is_minus | (chars[0] == 43)
    plain = is_digit[0] | is_mark[0] | is_signed
    marks = is_mark[0].astype(np.uint8)
    for k in range(1, length):
        plain &= is_digit[k] | is_mark[k]
        marks += is_mark[k]
    plain &= marks <= 1
    plain &= (marks + is_signed) < length
    if length > _MOST_DIGITS:
        plain &= length - marks - is_signed <= _MOST_DIGITS
    values = np.zeros(n)
    digits[~is_digit] = 0
    for mark in (*np.flatnonzero(is_mark.any(axis=1)).tolist(), None):
        which = is_mark[mark] if mark is not None else marks == 0
        if not which.any():
            continue
        part = digits if which.all() else digits[:, which]
        whole = np.zeros(part.shape[1], np.int64)
        for k in range(length):
            if k != mark:
                whole *= 10
                whole += part[k]
        number = whole / 10.0 ** (length - 1 - mark) if mark is not None else whole.astype(np.float64)
        values[which] = number
    if is_minus.any():
        values[is_minus] *= -1
    return values, plain

"""Numbers written as text: which words mean "not measured", and many values read quickly.

`float` is the judge of what a number is, so that nothing half-read slips through; the fast way and the
careful way differ in speed and in whether they can name the place of a fault.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np

_PIECE_BYTES = 2**20
_WORDS = (b"bad", b"nan", b"na", b"n/a", b"#n/a", b"null", b"none", b"void", b"masked")
_WORD = re.compile(
    rb"\*+|-{1,3}|[-+]?(?:nan(?:\(\w*\))?)|[-+]?1[.,]#(?:qnan|snan|ind|inf)0*|[-+]?inf(?:inity)?"
)
_FAST = ((b"BAD", b"nan"), (b"Bad", b"nan"), (b"bad", b"nan"))
_EXPONENT = re.compile(rb"[dD](?=[-+]?\d)")


def is_unmeasured(token: bytes) -> bool:
    """Whether a field says that nothing was measured: BAD, NaN in its spellings, asterisks, dashes, infinity.

    Examples
    --------
    >>> is_unmeasured(b"BAD"), is_unmeasured(b"1.#QNAN"), is_unmeasured(b"good")
    (True, True, False)
    """
    small = token.strip().lower()
    return small in _WORDS or _WORD.fullmatch(small) is not None


def to_number(token: bytes) -> float:
    """The value of one field; not-a-number where it is empty or says that nothing was measured.

    Raises
    ------
    ValueError
        If it is neither.
    """
    field = token.strip()
    if not field or is_unmeasured(field):
        return float("nan")
    if b"_" in field:  # Python's own digit separator, which no file uses
        raise ValueError(f"{shown(token)} is not a number")
    try:
        return float(_EXPONENT.sub(b"e", field))
    except ValueError:
        raise ValueError(f"{shown(token)} is not a number") from None


def shown(token: bytes) -> str:
    """A field as it can stand in a message: short, printable."""
    text = token[:40].decode("utf-8", "replace").strip()
    return repr(text + ("..." if len(token) > 40 else ""))


def read_values(text: bytes) -> np.ndarray:
    """All numbers of a text that white space separates, wherever its lines end.

    Parameters
    ----------
    text : bytes

    Returns
    -------
    ndarray of shape (n,), float64
        Not-a-number where a word says that nothing was measured, infinities included.

    Raises
    ------
    ValueError
        If a word is neither a number nor such a word.
    """
    parts = [_read_piece(piece) for piece in _pieces(text)]
    values = np.concatenate(parts) if parts else np.zeros(0)
    values[np.isinf(values)] = np.nan
    return values


def _pieces(text: bytes) -> Iterator[bytes]:
    """Cut a text at white space into pieces of about 1 MiB: split fields take ten times their length."""
    at = 0
    while at < len(text):
        end = min(at + _PIECE_BYTES, len(text))
        while end < len(text) and not text[end : end + 1].isspace():
            end += 1
        yield text[at:end]
        at = end


def _read_piece(piece: bytes) -> np.ndarray:
    if b"_" not in piece:
        quick = piece
        for word, number in _FAST:
            quick = quick.replace(word, number)
        fields = quick.split()
        try:
            return np.fromiter(map(float, fields), np.float64, len(fields))
        except ValueError:  # another spelling, a Fortran exponent, or no number
            pass
    fields = piece.split()
    return np.fromiter(map(to_number, fields), np.float64, len(fields))

"""Names of people who correct."""

from __future__ import annotations

import unicodedata


def plain_name(reviewer: str) -> str:
    """A name as it is saved and compared: single blanks, and accents as one letter, however it was typed."""
    return unicodedata.normalize("NFC", " ".join(reviewer.split()))

"""What one edit of a review did."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

from surfscan.corrections.tally import Tally

Bounds = tuple[int, int, int, int]
"""First row, row after the last, first column, column after the last."""


@dataclass(frozen=True)
class Edit:
    """What one edit did.

    Attributes
    ----------
    kind : str
        "reject", "accept", "unsure", "add", "repaint", "split", "merge", "paint", "take over", "undo" or
        "redo".
    ids_touched : tuple of int
        Objects whose pixels or marks changed; empty where nothing did.
    bounds : (row0, row1, col0, col1)
        The part of the picture to be drawn anew, ends excluded; all 0 where nothing changed.
    tally : Tally
        Figures after it.
    new_ids : tuple of int
        Objects that came into being.
    said : tuple of str
        What the person should know, in plain words.
    record : dict
        The edit for a journal: `PitReview.replay` does it again.
    """

    kind: str
    ids_touched: tuple[int, ...]
    bounds: Bounds
    tally: Tally
    new_ids: tuple[int, ...] = ()
    said: tuple[str, ...] = ()
    record: Mapping[str, Any] = field(default_factory=dict)


def replayed(edits: Iterable[Mapping[str, Any]], again: Callable[[Mapping[str, Any]], object]) -> int:
    """Do recorded edits again, one by one.

    Parameters
    ----------
    edits : iterable of mapping
        Records of a journal, in order.
    again : callable
        Does one of them.

    Returns
    -------
    int
        How many were done.

    Raises
    ------
    ValueError
        If one cannot be read or does not fit; those before it stay done.
    """
    count = 0
    for count, edit in enumerate(edits, start=1):
        try:
            again(edit)
        except (KeyError, TypeError, IndexError) as error:
            raise ValueError(f"edit {count} of the journal cannot be read ({error!r})") from error
    return count

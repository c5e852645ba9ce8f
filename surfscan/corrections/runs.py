"""Pixels of an edit as runs along rows, for a journal that is read with the naked eye if need be."""

from __future__ import annotations

import numpy as np


def as_runs(at: np.ndarray) -> list[int]:
    """Flat positions as start, length, start, length...

    Parameters
    ----------
    at : ndarray of shape (n,), int
        Flat positions in a picture, ascending.

    Returns
    -------
    list of int
        Each start is counted from the end of the run before.
    """
    if at.size == 0:
        return []
    at = np.asarray(at, np.int64)
    first = np.flatnonzero(np.diff(at, prepend=at[0] - 2) != 1)
    start = at[first]
    length = np.diff(np.append(first, at.size))
    gap = start - np.concatenate([[0], (start + length)[:-1]])
    return np.stack([gap, length], axis=1).ravel().tolist()


def from_runs(runs: list[int], size: int) -> np.ndarray:
    """Flat positions, ascending, of runs that `as_runs` made.

    Raises
    ------
    ValueError
        If the runs do not fit a picture of `size` pixels.
    """
    pairs = np.asarray(runs, np.int64).reshape(-1, 2) if len(runs) % 2 == 0 else None
    if pairs is None or (pairs[:, 1] < 1).any() or (pairs[:, 0] < 0).any() or int(pairs.sum()) > size:
        raise ValueError("the runs of an edit do not fit this picture")
    start = np.cumsum(pairs.ravel())[0::2]
    length = pairs[:, 1]
    offset = np.arange(int(length.sum())) - np.repeat(np.cumsum(length) - length, length)
    return np.asarray(np.repeat(start, length) + offset)

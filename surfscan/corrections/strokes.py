"""What a brush or a list of pixels says: flat positions and the values that they are to have."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from surfscan.corrections.edit import Bounds
from surfscan.corrections.runs import as_runs, from_runs


def flat_positions(rows: np.ndarray, cols: np.ndarray, shape: tuple[int, ...]) -> np.ndarray:
    """Flat positions of pixels on a picture of `shape`, ascending, each once.

    Raises
    ------
    ValueError
        If rows and columns are not whole numbers, as many of the one as of the other, or lie off the picture.
    """
    row, col = np.asarray(rows).ravel(), np.asarray(cols).ravel()
    if row.size == 0 or col.size == 0:
        raise ValueError("no pixel was given")
    if row.shape != col.shape or row.dtype.kind not in "iu" or col.dtype.kind not in "iu":
        raise ValueError("pixels are whole rows and columns, as many of the one as of the other")
    if min(row.min(), col.min()) < 0 or row.max() >= shape[0] or col.max() >= shape[1]:
        raise ValueError("some of these pixels lie off the picture")
    return np.unique(row.astype(np.int64) * shape[1] + col)


def read_stroke(
    before: np.ndarray, after: np.ndarray, bounds: Bounds, shape: tuple[int, ...]
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """What changed between two pictures of labels.

    Parameters
    ----------
    before, after : ndarray, int
        The part within `bounds`, or the whole picture.
    bounds : (row0, row1, col0, col1)
        Ends excluded.
    shape : (int, int)
        Of the picture.

    Returns
    -------
    at, value, shown : ndarray of shape (n,), int
        Flat positions, ascending, that differ; their labels after and before.

    Raises
    ------
    ValueError
        If shapes and bounds disagree, or a label after is below 0.
    """
    row0, row1, col0, col1 = bounds
    if not (0 <= row0 < row1 <= shape[0] and 0 <= col0 < col1 <= shape[1]):
        raise ValueError(f"the bounds {tuple(bounds)} do not lie on the picture")
    part = (slice(row0, row1), slice(col0, col1))
    before, after = (a[part] if a.shape == shape else a for a in (np.asarray(before), np.asarray(after)))
    if before.shape != after.shape or before.shape != (row1 - row0, col1 - col0):
        raise ValueError("labels before and after must both fill the bounds")
    row, col = np.nonzero(before != after)
    value = after[row, col].astype(np.int64)
    if value.size and int(value.min()) < 0:
        raise ValueError("labels must be 0 or above")
    return (row + row0) * shape[1] + col + col0, value, before[row, col].astype(np.int64)


def on_specimen(at: np.ndarray, specimen: np.ndarray | None) -> tuple[np.ndarray, tuple[str, ...]]:
    """Which of some pixels lie on the specimen, and what to say of the others.

    Parameters
    ----------
    at : ndarray of shape (n,), int
        Flat positions.
    specimen : ndarray of shape (M, N), bool, or None
        None for the whole picture.

    Returns
    -------
    inside : ndarray of shape (n,), bool
    said : tuple of str

    Raises
    ------
    ValueError
        If none does.
    """
    if specimen is None or at.size == 0:
        return np.ones(at.shape, bool), ()
    inside = specimen.reshape(-1)[at]
    lost = int(at.size - np.count_nonzero(inside))
    if lost == at.size:
        raise ValueError("that lies off the specimen, where nothing is counted: nothing was changed")
    return inside, (f"{lost} px off the specimen were left as they are.",) if lost else ()


def as_groups(at: np.ndarray, value: np.ndarray) -> list[list[Any]]:
    """Pixels for a journal: each value with the runs of its flat positions, ascending."""
    return [[int(v), as_runs(at[value == v])] for v in np.unique(value)]


def from_groups(groups: Sequence[Sequence[Any]], size: int) -> tuple[np.ndarray, np.ndarray]:
    """Flat positions, ascending, and values that `as_groups` made.

    Raises
    ------
    ValueError
        If they do not fit a picture of `size` pixels.
    """
    parts = [from_runs(runs, size) for _, runs in groups]
    at = np.concatenate([np.zeros(0, np.int64), *parts])
    value = np.repeat(np.array([v for v, _ in groups], np.int64), [len(p) for p in parts])
    order = np.argsort(at, kind="stable")
    return at[order], value[order]

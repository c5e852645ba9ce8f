"""What a screen does with masks: where a brush has been, how outlines are drawn. Plain arrays, no Qt.

Nothing is measured here; figures come from the review of `surfscan.corrections`.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

Box = tuple[int, int, int, int]
"""(row0, row1, col0, col1), ends excluded."""

VERMILION, PURPLE, YELLOW, BLUE, GREY = "#D55E00", "#CC79A7", "#F0E442", "#0072B2", "#999999"

FOUND, BY_HAND, NOT_SURE, NEAR_LIMIT, REJECTED = 1, 2, 3, 4, 5
"""What a pixel of the outlines stands for."""

OUTLINE_COLOURS = {FOUND: VERMILION, BY_HAND: PURPLE, NOT_SURE: YELLOW, NEAR_LIMIT: YELLOW, REJECTED: GREY}

_DASH_PX = 3
_MARK_PX = 3
MARGIN_PX = _MARK_PX + 1
"""How far what is drawn of a pit may reach beyond its pixels."""


def whole(shape: Sequence[int]) -> Box:
    """The box of a whole picture."""
    return (0, int(shape[0]), 0, int(shape[1]))


def slices(box: Box) -> tuple[slice, slice]:
    """A box as an index."""
    row0, row1, col0, col1 = box
    return (slice(row0, row1), slice(col0, col1))


def grown(box: Box, by: int, shape: Sequence[int]) -> Box:
    """A box with a margin, cut at the picture's edges."""
    row0, row1, col0, col1 = box
    return (
        max(row0 - by, 0),
        min(row1 + by, int(shape[0])),
        max(col0 - by, 0),
        min(col1 + by, int(shape[1])),
    )


def around(boxes: Iterable[Box]) -> Box | None:
    """The smallest box around several; None where there is none."""
    found = [box for box in boxes if box[1] > box[0] and box[3] > box[2]]
    if not found:
        return None
    rows0, rows1, cols0, cols1 = zip(*found, strict=True)
    return (min(rows0), max(rows1), min(cols0), max(cols1))


def painted_box(atoms: Iterable[Any]) -> Box | None:
    """Where a labels layer has been painted, from the value of its `paint` event.

    Parameters
    ----------
    atoms : iterable
        Each either has a `slice_key` (brush, fill bucket, polygon) or is (indices, old values, new values).
    """
    return around(_atom_box(atom) for atom in atoms)


def _atom_box(atom: Any) -> Box:
    key = getattr(atom, "slice_key", None)
    if key is not None:
        rows, cols = key[-2:]
        return (rows.start, rows.stop, cols.start, cols.stop)
    rows, cols = atom[0][-2:]
    if not np.size(rows):
        return (0, 0, 0, 0)
    return (int(np.min(rows)), int(np.max(rows)) + 1, int(np.min(cols)), int(np.max(cols)) + 1)


def is_written(data: np.ndarray, atoms: Sequence[Any]) -> bool:
    """Whether a layer's data hold already what its `paint` event tells of.

    The viewer tells of a brush stroke when it is done, but of a single polygon just before it is written.
    """
    if not len(atoms):
        return True
    atom = atoms[-1]
    key = getattr(atom, "slice_key", None)
    if key is None:
        return bool(np.all(data[atom[0]] == atom[2]))
    there = data[key] if atom.mask is None else data[key][atom.mask]
    return bool(np.all(there == atom.new_value))


def shown_of(labels: np.ndarray, rejected: Iterable[int]) -> np.ndarray:
    """Labels without the rejected objects.

    Parameters
    ----------
    labels : ndarray of int
    rejected : iterable of int

    Returns
    -------
    ndarray of the same shape
    """
    gone = np.fromiter(rejected, labels.dtype)
    return np.where(np.isin(labels, gone), 0, labels) if gone.size else labels


def with_strokes(before: np.ndarray, shown: np.ndarray, painted: np.ndarray) -> np.ndarray:
    """Labels of a review after strokes on what was shown of them.

    Parameters
    ----------
    before : ndarray of int
        Labels of the review, rejected objects included.
    shown : ndarray of int
        What the layer showed of them before the strokes.
    painted : ndarray of int
        What the layer holds now.

    Returns
    -------
    ndarray of int
        As `before` where nothing was painted, so that strokes beside a rejected object leave it alone.
    """
    return np.where(painted != shown, painted, before)


def outline_codes(
    labels: np.ndarray,
    codes: np.ndarray,
    marks: Mapping[int, tuple[float, float]],
    corner: tuple[int, int] = (0, 0),
) -> np.ndarray:
    """Outlines as they are drawn: one pixel wide along the inner side of every object.

    Parameters
    ----------
    labels : ndarray of shape (M, N), int
    codes : ndarray of shape (largest label + 1,), uint8
        What each label's outline stands for; 0 draws none.
    marks : mapping of int to (row, column)
        Objects that get a mark at this place of the whole picture: a cross where rejected, a plus elsewhere.
    corner : (row, column)
        Where `labels` starts in the whole picture, so that dashes meet across parts drawn one by one.

    Returns
    -------
    ndarray of shape (M, N), uint8
        Corrected by hand is dashed, rejected dotted: the line tells them apart as well as the colour.
    """
    inner = np.ones(labels.shape, bool)
    inner[1:] &= labels[1:] == labels[:-1]
    inner[:-1] &= labels[:-1] == labels[1:]
    inner[:, 1:] &= labels[:, 1:] == labels[:, :-1]
    inner[:, :-1] &= labels[:, :-1] == labels[:, 1:]
    rows, cols = np.nonzero(~inner & (labels > 0))
    drawn = np.zeros(labels.shape, np.uint8)
    drawn[rows, cols] = codes[labels[rows, cols]]
    at_row, at_col = rows + corner[0], cols + corner[1]
    is_gap = (at_row // _DASH_PX + at_col // _DASH_PX) % 2 == 1
    is_dot_gap = (at_row + at_col) % 2 == 1
    here = drawn[rows, cols]
    here[((here == BY_HAND) & is_gap) | ((here == REJECTED) & is_dot_gap)] = 0
    drawn[rows, cols] = here
    for label, (row, col) in marks.items():
        _draw_mark(drawn, round(row) - corner[0], round(col) - corner[1], int(codes[label]))
    return drawn


def _draw_mark(drawn: np.ndarray, row: int, col: int, code: int) -> None:
    """A cross in the colour of `code` where rejected, else a plus."""
    for step in range(-_MARK_PX, _MARK_PX + 1):
        arms = (
            ((row + step, col + step), (row + step, col - step))
            if code == REJECTED
            else ((row + step, col), (row, col + step))
        )
        for r, c in arms:
            if 0 <= r < drawn.shape[0] and 0 <= c < drawn.shape[1]:
                drawn[r, c] = code if code == REJECTED else NEAR_LIMIT


def code_of(status: str, is_by_hand: bool) -> int:
    """What the outline of a pit stands for."""
    if status == "rejected":
        return REJECTED
    if status == "unsure":
        return NOT_SURE
    return BY_HAND if is_by_hand else FOUND


def line_between(start: Sequence[float], path: Iterable[Sequence[float]]) -> np.ndarray:
    """Where a mouse was dragged, as corners of a line; steps shorter than a pixel are left out.

    Returns
    -------
    ndarray of shape (k, 2)
        Row and column, px.
    """
    corners = [np.asarray(start, float)]
    for point in path:
        here = np.asarray(point, float)
        if np.abs(here - corners[-1]).max() >= 1:
            corners.append(here)
    return np.array(corners)

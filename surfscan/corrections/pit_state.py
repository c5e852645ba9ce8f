"""The objects of a review: their pixels, their marks and their figures, and steps that can be taken back.

An object keeps its number for good: no number is given twice, not even after undo. A rejected object keeps
its pixels until something else is painted over them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

from surfscan.columns import Table, columns
from surfscan.corrections.pit_field import PitField, Window
from surfscan.segmentation.grouped import positions

STATUS = ("accepted", "rejected", "unsure")
ORIGIN = ("automatic", "added", "split", "merged")
ACCEPTED, REJECTED, UNSURE = range(3)
AUTOMATIC, ADDED, SPLIT, MERGED = range(4)

_BOX = ("row0", "row1", "col0", "col1")
_MARKS = ("status", "origin", "alive", "settled", "redrawn", "judged", "into")
_DTYPES: dict[str, Any] = {"status": np.int8, "origin": np.int8, "into": np.int32}
_OF_GREY = ("contrast", "contrast_to_noise", "near_limit")
_OF_HEIGHTS = (
    *(c.name for c in columns("pits") if c.only_on == "heightmap"),
    "near_limit",
)
_DROPPED = ("label", "nearest_pit_um", "nearest_pit_px")  # worked out when rows are asked for


@dataclass(frozen=True)
class Step:
    """One change of the state, both ways.

    Attributes
    ----------
    at : ndarray of shape (p,), int
        Flat positions of the pixels that changed, ascending.
    before, after : ndarray of shape (p,), int32
        Their numbers.
    ids : ndarray of shape (k,), int
        Objects touched.
    rows_before, rows_after : dict of str to ndarray of shape (k,)
        Marks and figures of those objects.
    """

    at: np.ndarray
    before: np.ndarray
    after: np.ndarray
    ids: np.ndarray
    rows_before: dict[str, np.ndarray]
    rows_after: dict[str, np.ndarray]


class PitState:
    """Objects by number.

    Parameters
    ----------
    labels : ndarray of shape (M, N), int
        Pits 1 to n of the automatic result; copied.
    table : Table
        Its table "pits".
    field : PitField

    Attributes
    ----------
    labels : ndarray of shape (M, N), int32
        Number of the object at every pixel, rejected ones included.
    rows : dict of str to ndarray
        Marks and figures; index is the object's number, 0 is not used.
    found : ndarray of shape (M, N), uint16 or uint32
        The automatic labels, which stay.
    found_count : int
        How many there are.
    field : PitField
    """

    def __init__(self, labels: np.ndarray, table: Table, field: PitField) -> None:
        self.labels = np.array(labels, np.int32, order="C")
        self.field = field
        self.found_count = n = len(table["label"])
        self.found = self.labels.astype(np.uint16 if n < 2**16 else np.uint32)
        self.rows: dict[str, np.ndarray] = {name: np.zeros(n + 1, _DTYPES.get(name, bool)) for name in _MARKS}
        self.rows["alive"][1:] = True
        self.rows["judged"][1:] = True
        boxes = _boxes(self.labels, n)
        self.rows |= {name: boxes[:, k] for k, name in enumerate(_BOX)}
        for column in columns("pits"):
            if column.name not in _DROPPED:
                values = np.asarray(table[column.name])
                dtype: Any = object if values.dtype.kind == "U" else values.dtype
                self.rows[column.name] = np.concatenate([_blank(dtype), values.astype(dtype)])
        self.found_area = self.rows["area_px"].copy()
        self._found_rows = {
            name: self.rows[name].copy() for name in (_OF_HEIGHTS if field.has_heights else _OF_GREY)
        }

    @property
    def size(self) -> int:
        """Numbers given so far."""
        return len(self.rows["alive"]) - 1

    def counting(self) -> np.ndarray:
        """Numbers of the objects that count, ascending."""
        return np.flatnonzero(self.rows["alive"] & (self.rows["status"] != REJECTED))

    def living(self) -> np.ndarray:
        """Numbers of all objects there are, rejected ones included, ascending."""
        return np.flatnonzero(self.rows["alive"])

    def window(self, ids: np.ndarray, margin: int = 1) -> Window:
        """The part of the picture that holds some objects, with a margin."""
        row0, row1, col0, col1 = (self.rows[name][ids] for name in _BOX)
        some = row1 > row0
        if not some.any():
            return slice(0, 0), slice(0, 0)
        return (
            slice(
                max(int(row0[some].min()) - margin, 0), min(int(row1[some].max()) + margin, len(self.labels))
            ),
            slice(
                max(int(col0[some].min()) - margin, 0),
                min(int(col1[some].max()) + margin, self.labels.shape[1]),
            ),
        )

    def pixels(self, number: int) -> np.ndarray:
        """Flat positions of one object, ascending."""
        rows, cols = self.window(np.array([number]), 0)
        row, col = np.nonzero(self.labels[rows, cols] == number)
        return np.asarray((row + rows.start) * self.labels.shape[1] + col + cols.start)

    def corrected(self, window: Window | None = None) -> np.ndarray:
        """Numbers of the objects that count, int32; the whole picture or a part, as a copy."""
        part = self.labels if window is None else self.labels[window]
        dropped = self.rows["alive"] & (self.rows["status"] == REJECTED)
        if not dropped.any():
            return part.copy()
        keep = np.arange(self.size + 1, dtype=np.int32)
        keep[dropped] = 0
        return np.asarray(keep[part])

    def new(self, count: int) -> np.ndarray:
        """Numbers never given before."""
        first = self.size + 1
        for name, values in self.rows.items():
            self.rows[name] = np.concatenate([values, np.repeat(_blank(values.dtype), count)])
        return np.arange(first, first + count)

    def change(
        self, at: np.ndarray, after: np.ndarray, ids: np.ndarray, marks: dict[str, dict[int, Any]]
    ) -> Step:
        """Change pixels and marks, and measure again what that touched.

        Parameters
        ----------
        at : ndarray of shape (p,), int
            Flat positions, ascending, each once.
        after : ndarray of shape (p,), int32
            Their numbers to be.
        ids : ndarray of shape (k,), int
            Objects touched besides those whose pixels change.
        marks : dict
            Mark -> number -> value to be.
        """
        flat = self.labels.reshape(-1)
        before = flat[at]
        differ = before != after
        at, before, after = at[differ], before[differ], after[differ]
        lost, gained = np.unique(before), np.unique(after)
        redrawn = np.union1d(lost, gained)
        redrawn = redrawn[redrawn > 0]
        touched = np.union1d(redrawn, ids)
        rows_before = {name: values[touched].copy() for name, values in self.rows.items()}
        was = self._counts(touched)
        flat[at] = after
        for name, values in marks.items():
            for number, value in values.items():
                self.rows[name][number] = value
        if redrawn.size:
            self._grow_boxes(at, after)
            self._measure(redrawn)
        changed = touched[was != self._counts(touched)]
        self._follow(at, changed)
        rows_after = {name: values[touched].copy() for name, values in self.rows.items()}
        return Step(at, before, after, touched, rows_before, rows_after)

    def restore(self, step: Step, *, forward: bool) -> None:
        """Take a step back, or take it again."""
        was = self._counts(step.ids)
        self.labels.reshape(-1)[step.at] = step.after if forward else step.before
        for name, values in (step.rows_after if forward else step.rows_before).items():
            self.rows[name][step.ids] = values
        self._follow(step.at, step.ids[was != self._counts(step.ids)])

    def judge(self) -> None:
        """Work out contrast or depths of the outlines that have none yet; the field must be prepared."""
        for number in np.flatnonzero(self.rows["alive"] & ~self.rows["judged"]).tolist():
            self._judge(number)

    def _judge(self, number: int) -> None:
        at = self.pixels(number)
        if at.size:
            for name, values in self.field.judge(*np.divmod(at, self.labels.shape[1])).items():
                self.rows[name][number] = values[0]
        self.rows["judged"][number] = True

    def _take_over(self, number: int) -> bool:
        """Give an object the figures that were found with its outline, where it is one that was found."""
        at = self.pixels(number)
        was = self.found.reshape(-1)[at]
        if was[0] == 0 or self.found_area[was[0]] != at.size or (was != was[0]).any():
            return False
        for name, values in self._found_rows.items():
            self.rows[name][number] = values[was[0]]
        self.rows["judged"][number] = True
        self.rows["redrawn"][number] = was[0] != number
        return True

    def _counts(self, ids: np.ndarray) -> np.ndarray:
        return np.asarray(self.rows["alive"][ids] & (self.rows["status"][ids] != REJECTED))

    def _grow_boxes(self, at: np.ndarray, after: np.ndarray) -> None:
        """Boxes large enough for the pixels gained."""
        for number in np.unique(after[after > 0]).tolist():
            row, col = np.divmod(at[after == number], self.labels.shape[1])
            extent = (row.min(), row.max() + 1, col.min(), col.max() + 1)
            empty = self.rows["row1"][number] == self.rows["row0"][number]
            for name, value, pick in zip(_BOX, extent, (min, max, min, max), strict=True):
                old = int(self.rows[name][number])
                self.rows[name][number] = value if empty else pick(old, int(value))

    def _measure(self, ids: np.ndarray) -> None:
        """Outline, weight and, where the field is prepared for it, depths of some objects."""
        for number in ids.tolist():
            rows, cols = self.window(np.array([number]))
            own = (self.labels[rows, cols] == number).astype(np.int32)
            if not own.any():
                self._erase(number)
                continue
            figures, objects = self.field.outline_columns(own, (rows.start, cols.start))
            for name, values in figures.items():
                if name in self.rows:
                    self.rows[name][number] = values[0]
            top, left = objects.top_px[0], objects.left_px[0]
            box = (top, top + objects.height_px[0], left, left + objects.width_px[0])
            for name, value in zip(_BOX, box, strict=True):
                self.rows[name][number] = value
            self.rows["redrawn"][number] = True
            self.rows["judged"][number] = False
            if self._take_over(number):
                continue
            if self.field.has_heights:
                self._judge(number)
            else:
                self.rows["contrast"][number] = self.rows["contrast_to_noise"][number] = np.nan
                self.rows["near_limit"][number] = ""

    def _erase(self, number: int) -> None:
        """Nothing is left of an object: it counts as rejected."""
        for name in _BOX:
            self.rows[name][number] = 0
        self.rows["area_px"][number] = 0
        self.rows["redrawn"][number] = True
        if self.rows["alive"][number]:
            self.rows["status"][number] = REJECTED

    def _follow(self, at: np.ndarray, changed: np.ndarray) -> None:
        """Let the field follow where pits that count came or went over gaps in a height map."""
        if self.field.missing is None:
            return
        window = self.window_of(at, changed)
        if window is None or not self.field.missing[window].any():
            return
        wide = self.field.widened(window)
        if not self.field.follow(self.corrected(wide) > 0, wide):
            return
        row0, row1, col0, col1 = (self.rows[name] for name in _BOX)
        some = row1 > row0
        near = some & (row0 <= wide[0].stop) & (row1 >= wide[0].start)
        near &= (col0 <= wide[1].stop) & (col1 >= wide[1].start)
        for number in np.flatnonzero(near).tolist():
            rows, cols = self.window(np.array([number]))
            own = (self.labels[rows, cols] == number).astype(np.int32)
            figures, _ = self.field.outline_columns(own, (rows.start, cols.start))
            self.rows["touches_specimen_edge"][number] = figures["touches_specimen_edge"][0]
        weights = self.field.rule.weigh(
            row0[some], col0[some], row1[some] - row0[some], col1[some] - col0[some]
        )
        self.rows["edge_weight"][some] = weights.weights

    def window_of(self, at: np.ndarray, ids: np.ndarray) -> Window | None:
        """The part of the picture that holds some pixels and some objects."""
        spans = []
        if at.size:
            row, col = np.divmod(at, self.labels.shape[1])
            spans.append((row.min(), row.max() + 1, col.min(), col.max() + 1))
        rows, cols = self.window(ids, 0)
        if rows.stop > rows.start:
            spans.append((rows.start, rows.stop, cols.start, cols.stop))
        if not spans:
            return None
        low, high = np.min(spans, axis=0), np.max(spans, axis=0)
        return slice(int(low[0]), int(high[1])), slice(int(low[2]), int(high[3]))


def parts_of(own: np.ndarray) -> int:
    """Number of 8-connected parts of a mask, bool."""
    return int(cv2.connectedComponents(own.view(np.uint8), connectivity=8)[0]) - 1


def _blank(dtype: Any) -> np.ndarray:
    """One empty value of a column."""
    if np.dtype(dtype).kind == "O":
        return np.array([""], object)
    return np.full(1, np.nan) if np.dtype(dtype).kind == "f" else np.zeros(1, dtype)


def _boxes(labels: np.ndarray, n: int) -> np.ndarray:
    """First row, end row, first column and end column of labels 1 to n, shape (n + 1, 4), int64."""
    at = positions(labels)
    of = labels.reshape(-1)[at]
    row, col = np.divmod(at, labels.shape[1])
    boxes = np.zeros((n + 1, 4), np.int64)
    boxes[:, 0], boxes[:, 2] = labels.shape
    np.minimum.at(boxes[:, 0], of, row)
    np.maximum.at(boxes[:, 1], of, row + 1)
    np.minimum.at(boxes[:, 2], of, col)
    np.maximum.at(boxes[:, 3], of, col + 1)
    boxes[boxes[:, 1] == 0] = 0
    return boxes

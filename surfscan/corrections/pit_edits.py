"""The edits of a review of pits, each recorded for a journal."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

import numpy as np

from surfscan.corrections.edit import Bounds, Edit, replayed
from surfscan.corrections.parting import part_mask
from surfscan.corrections.pit_history import PitHistory
from surfscan.corrections.pit_state import (
    ACCEPTED,
    ADDED,
    MERGED,
    REJECTED,
    SPLIT,
    STATUS,
    UNSURE,
)
from surfscan.corrections.runs import as_runs, from_runs
from surfscan.corrections.strokes import as_groups, flat_positions, from_groups, on_specimen, read_stroke


class PitEdits(PitHistory):
    """Edits of the objects of one image; `surfscan.corrections.pit_review.PitReview` is made of it."""

    def reject(self, ids: Iterable[int]) -> Edit:
        """Take objects out of the count; their pixels stay."""
        return self._mark("reject", ids, REJECTED)

    def accept(self, ids: Iterable[int]) -> Edit:
        """Let objects count and call them settled; brings rejected ones back.

        Raises
        ------
        ValueError
            If nothing is left of one of them.
        """
        numbers = self._known(ids)
        for number in numbers:
            if self._state.rows["area_px"][number] == 0:
                raise ValueError(f"nothing is left of pit {number}: undo, or add it anew")
        return self._mark("accept", numbers, ACCEPTED)

    def mark_unsure(self, ids: Iterable[int]) -> Edit:
        """Mark objects as not sure: they count, and are walked and reported."""
        numbers = self._known(ids)
        for number in numbers:
            if self._state.rows["area_px"][number] == 0:
                raise ValueError(f"nothing is left of pit {number}: undo, or add it anew")
        return self._mark("unsure", numbers, UNSURE)

    def add(self, rows: np.ndarray, cols: np.ndarray) -> Edit:
        """Add an object.

        Parameters
        ----------
        rows, cols : ndarray of shape (n,), int
            All of its pixels. Those of other objects are taken from them.

        Returns
        -------
        Edit
            `new_ids` holds its number.

        Raises
        ------
        ValueError
            If it lies off the picture or off the specimen.
        """
        at = flat_positions(rows, cols, self._state.labels.shape)
        record = {"kind": "add", "runs": as_runs(at)}
        inside, said = on_specimen(at, self._state.field.specimen)
        at = at[inside]
        number = int(self._state.new(1)[0])
        return self._draw("add", record, at, np.full(len(at), number), born={number: ADDED}, said=said)

    def repaint(self, number: int, rows: np.ndarray, cols: np.ndarray, add: bool) -> Edit:
        """Give pixels to an object, or take them off it.

        Parameters
        ----------
        number : int
            The object; a rejected one that gains pixels counts again.
        rows, cols : ndarray of shape (n,), int
            Pixels; with `add`, those of other objects are taken from them; without, only the object's own
            count.
        add : bool

        Raises
        ------
        ValueError
            If there is no such object, or the pixels lie off the picture or off the specimen.
        """
        self._known([number])
        at = flat_positions(rows, cols, self._state.labels.shape)
        record = {"kind": "repaint", "id": int(number), "add": bool(add), "runs": as_runs(at)}
        said: tuple[str, ...] = ()
        if add:
            inside, said = on_specimen(at, self._state.field.specimen)
            at = at[inside]
        else:
            at = at[self._state.labels.reshape(-1)[at] == number]
        return self._draw("repaint", record, at, np.full(len(at), number if add else 0), said=said)

    def split(self, number: int, line: np.ndarray | None = None) -> Edit:
        """Part an object; the largest part keeps its number.

        Parameters
        ----------
        number : int
        line : ndarray of shape (k, 2), float, optional
            Corners (row, column) of a line right across it, px. Not given: where it lies in parts already,
            else at its neck.

        Raises
        ------
        ValueError
            If there is no such object, or the line or neck does not part it.
        """
        self._known([number])
        window = self._state.window(np.array([number]))
        own = self._state.labels[window] == number
        corners = None
        if line is not None:
            corners = np.asarray(line, np.float64)
            if (
                corners.ndim != 2
                or corners.shape[1] != 2
                or len(corners) < 2
                or not np.isfinite(corners).all()
            ):
                raise ValueError("a line to split by needs two corners or more, each a row and a column")
            corners = corners - [window[0].start, window[1].start]
        parts = part_mask(own, corners)
        count = int(parts.max(initial=0))
        if count < 2:
            raise ValueError(
                f"pit {number} has no neck to split it at: draw a line right across it"
                if line is None
                else f"the line does not part pit {number}: draw it right across, from outside to outside"
            )
        new = self._state.new(count - 1)
        row, col = np.nonzero(parts > 1)
        after = new[parts[row, col] - 2]
        at = (row + window[0].start) * self._state.labels.shape[1] + col + window[1].start
        record = {
            "kind": "split",
            "id": int(number),
            "line": None if line is None else np.asarray(line, np.float64).tolist(),
        }
        born = {int(k): SPLIT for k in new}
        origin = {int(number): SPLIT}
        status = int(self._state.rows["status"][number])
        return self._draw("split", record, at, after, born=born, origin=origin, status=status)

    def merge(self, ids: Iterable[int]) -> Edit:
        """Make one object of several; it keeps the smallest of their numbers and counts.

        Raises
        ------
        ValueError
            If there are fewer than two of them, or nothing is left of one.
        """
        numbers = sorted(set(self._known(ids)))
        if len(numbers) < 2:
            raise ValueError("a merger takes two pits or more")
        for number in numbers:
            if self._state.rows["area_px"][number] == 0:
                raise ValueError(f"nothing is left of pit {number}: leave it out")
        kept, gone = numbers[0], numbers[1:]
        at = np.sort(np.concatenate([self._state.pixels(k) for k in gone]))
        record = {"kind": "merge", "ids": numbers}
        return self._draw(
            "merge", record, at, np.full(len(at), kept), origin={kept: MERGED}, into=dict.fromkeys(gone, kept)
        )

    def paint_over(self, before_labels: np.ndarray, after_labels: np.ndarray, bounds: Bounds) -> Edit:
        """Take in what a brush did to a picture of the labels.

        Parameters
        ----------
        before_labels, after_labels : ndarray, int
            Labels before and after the stroke: the part within `bounds`, or the whole picture. Rejected
            objects may be left out of both.
        bounds : (row0, row1, col0, col1)
            Where the stroke went, ends excluded.

        Returns
        -------
        Edit
            Pixels set to an object's number are given to it, those set to 0 are taken off the one that they
            showed, and each number that no object has becomes a new object (`new_ids`, in ascending order of
            the numbers painted). Pixels off the specimen are left as they are, and said.

        Raises
        ------
        ValueError
            If shapes and bounds disagree, labels are below 0, or the whole stroke lies off the specimen.
        """
        at, value, shown = read_stroke(before_labels, after_labels, bounds, self._state.labels.shape)
        own = shown == self._state.labels.reshape(-1)[at]
        return self._paint(at[(value > 0) | own], value[(value > 0) | own])

    def _paint(self, at: np.ndarray, value: np.ndarray) -> Edit:
        record = {"kind": "paint", "pixels": as_groups(at, value)}
        said: tuple[str, ...] = ()
        given = value > 0
        if given.any():
            stays = ~given
            stays[given], said = on_specimen(at[given], self._state.field.specimen)
            at, value = at[stays], value[stays]
        rows = self._state.rows
        known = (value > 0) & (value <= self._state.size)
        known[known] = rows["alive"][value[known]]
        unknown = np.unique(value[(value > 0) & ~known])
        new = self._state.new(len(unknown))
        for old, number in zip(unknown.tolist(), new.tolist(), strict=True):
            value[~known & (value == old)] = number
        return self._draw("paint", record, at, value, born={int(k): ADDED for k in new}, said=said)

    def take_over(self, labels: np.ndarray, marks: Mapping[int, str] | None = None) -> Edit:
        """Bring the review to where a save left it, as one edit; numbers stay as they were saved.

        Parameters
        ----------
        labels : ndarray of shape (M, N), int
            A corrected mask of this image, as `corrected_labels` gave it.
        marks : mapping, optional
            What became of the automatic objects, as `marks` gave it. One that is neither in the mask nor
            rejected was merged into what covers most of it.

        Raises
        ------
        ValueError
            If the mask is of another shape or holds labels below 0, or a mark is none.
        """
        labels, marks = np.asarray(labels), {int(k): said for k, said in (marks or {}).items()}
        if labels.shape != self._state.labels.shape or (labels.size and int(labels.min()) < 0):
            raise ValueError("a mask to go on from has the shape of the picture and labels of 0 or above")
        if strange := sorted(set(marks.values()) - set(STATUS)):
            raise ValueError(f"there is no mark {strange[0]!r}; there are {', '.join(STATUS)}")
        target, now = labels.reshape(-1), self._state.labels.reshape(-1)
        stays = np.zeros(self._state.size + 1, bool)
        stays[[k for k, said in marks.items() if said == "rejected" and 0 < k <= self._state.size]] = True
        at = np.flatnonzero((target != now) & ~((target == 0) & stays[now]))
        return self._take_over(at, target[at].astype(np.int64), marks)

    def _take_over(self, at: np.ndarray, value: np.ndarray, marks: Mapping[int, str]) -> Edit:
        state = self._state
        record = {
            "kind": "take over",
            "pixels": as_groups(at, value),
            "marks": {str(k): v for k, v in marks.items()},
        }
        inside, said = on_specimen(at, state.field.specimen)
        at, value = at[inside], value[inside]
        old = state.size
        state.new(max(int(value.max(initial=0)) - old, 0))
        after = state.labels.copy()
        after.reshape(-1)[at] = value
        area = np.bincount(after.reshape(-1), minlength=state.size + 1)
        gaining = np.unique(value[value > 0])
        changes: dict[str, dict[int, Any]] = {
            "alive": {},
            "into": {},
            "origin": {},
            "status": {},
            "settled": {},
        }
        for number in gaining.tolist():
            changes["alive"][number] = changes["settled"][number] = True
            changes["status"][number] = ACCEPTED
            if not state.rows["alive"][number]:
                changes["origin"][number] = ADDED
        for number, mark in marks.items():
            if not 0 < number <= state.size:
                continue
            changes["status"][number] = STATUS.index(mark)
            if area[number] == 0 and mark != "rejected" and number <= state.found_count:
                cover = after[state.found == number]
                if cover.size and (most := int(np.bincount(cover).argmax())) > 0:
                    changes["alive"][number], changes["into"][number] = False, most
                    changes["origin"][most] = MERGED
            if mark == "rejected":
                changes["settled"][number] = True
        born = tuple(k for k in gaining.tolist() if k > old)
        ids = sorted(set().union(*changes.values()))
        edit = self._do("take over", record, at, value, ids, changes, born)
        return self._in_parts(edit, said)

    def replay(self, edits: Iterable[Mapping[str, Any]]) -> int:
        """Do recorded edits again, on a review as it was when they were recorded.

        Parameters
        ----------
        edits : iterable of mapping
            `Edit.record` of each, in order.

        Returns
        -------
        int
            How many were done.

        Raises
        ------
        ValueError
            If one does not fit; those before it stay done.
        """
        return replayed(edits, self._again)

    def _again(self, edit: Mapping[str, Any]) -> None:
        size, cols = self._state.labels.size, self._state.labels.shape[1]
        kind = edit["kind"]
        whole: dict[str, Callable[[], Edit]] = {
            "reject": lambda: self.reject(edit["ids"]),
            "accept": lambda: self.accept(edit["ids"]),
            "unsure": lambda: self.mark_unsure(edit["ids"]),
            "add": lambda: self.add(*np.divmod(from_runs(edit["runs"], size), cols)),
            "repaint": lambda: self.repaint(
                edit["id"], *np.divmod(from_runs(edit["runs"], size), cols), edit["add"]
            ),
            "split": lambda: self.split(edit["id"], edit["line"]),
            "merge": lambda: self.merge(edit["ids"]),
            "paint": lambda: self._paint(*from_groups(edit["pixels"], size)),
            "take over": lambda: self._take_over(
                *from_groups(edit["pixels"], size), {int(k): said for k, said in edit["marks"].items()}
            ),
            "undo": self.undo,
            "redo": self.redo,
        }
        if kind not in whole:
            raise ValueError(f"a review of pits knows no edit {kind!r}")
        whole[kind]()

    def _known(self, ids: Iterable[int]) -> list[int]:
        """Numbers of objects that there are."""
        numbers = [int(k) for k in ids]
        for number in numbers:
            if not (0 < number <= self._state.size and self._state.rows["alive"][number]):
                raise ValueError(f"there is no pit {number}")
        return numbers

    def _mark(self, kind: str, ids: Iterable[int], status: int) -> Edit:
        numbers = sorted(set(self._known(ids)))
        record = {"kind": kind, "ids": numbers}
        settled = status != UNSURE
        rows = self._state.rows
        fresh = [k for k in numbers if rows["status"][k] != status or bool(rows["settled"][k]) != settled]
        marks: dict[str, dict[int, Any]] = {
            "status": dict.fromkeys(fresh, status),
            "settled": dict.fromkeys(fresh, settled),
        }
        nothing = np.zeros(0, np.int64)
        return self._do(kind, record, nothing, nothing, fresh, marks)

    def _draw(
        self,
        kind: str,
        record: dict[str, Any],
        at: np.ndarray,
        after: np.ndarray,
        *,
        born: Mapping[int, int] | None = None,
        origin: Mapping[int, int] | None = None,
        into: Mapping[int, int] | None = None,
        status: int = ACCEPTED,
        said: tuple[str, ...] = (),
    ) -> Edit:
        """Change pixels; objects that gain some, and those that come into being, count and are settled."""
        born, origin, into = born or {}, origin or {}, into or {}
        differ = self._state.labels.reshape(-1)[at] != after
        gaining = {int(k) for k in np.unique(after[differ]) if k > 0}
        drawn = gaining | set(origin)
        losing = {int(k) for k in np.unique(self._state.labels.reshape(-1)[at[differ]]) if k > 0} - set(into)
        marks: dict[str, dict[int, Any]] = {
            "alive": dict.fromkeys(born, True) | dict.fromkeys(into, False),
            "origin": dict(born) | dict(origin),
            "into": dict(into),
            "status": dict.fromkeys(drawn, status),
            "settled": dict.fromkeys(drawn | losing, True),
        }
        edit = self._do(kind, record, at, after, sorted(drawn | set(into)), marks, tuple(born))
        return self._in_parts(edit, said)

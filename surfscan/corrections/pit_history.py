"""The history of a review of pits: each edit a step that can be taken back and done again, with its tally."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from surfscan.corrections.edit import Edit
from surfscan.corrections.pit_state import REJECTED, UNSURE, PitState, Step, parts_of
from surfscan.corrections.tally import Tally, tally_of_pits

_FEW = 3
"""Up to so many pits are named one by one in what is said of an edit."""


class PitHistory:
    """Steps of one review and the figures after each.

    Parameters
    ----------
    state : PitState
    automatic : Tally
        Figures of the automatic result.
    """

    def __init__(self, state: PitState, automatic: Tally) -> None:
        self._state = state
        self._automatic = automatic
        self._done: list[Step] = []
        self._undone: list[Step] = []

    @property
    def can_undo(self) -> bool:
        """Whether there is an edit to take back."""
        return bool(self._done)

    @property
    def can_redo(self) -> bool:
        """Whether there is an edit to do again."""
        return bool(self._undone)

    def prepare(self) -> None:
        """Work out the metal that outlines are judged by; takes as long as measuring the image does."""
        self._state.field.prepare()

    def tally(self) -> Tally:
        """Figures of the field as the mask stands; those of `measure_pits(corrected=corrected_labels())`."""
        rows, counting = self._state.rows, self._state.counting()
        status = rows["status"][self._state.living()]
        names = ["area_px", "perimeter_um", "perimeter_px", "edge_weight"]
        heights = None
        if self._state.field.has_heights:
            heights = self._state.field.image.shape
            names += ["depth_um", "depth_is_lower_bound", "deepest_row_px", "deepest_col_px"]
        return tally_of_pits(
            {name: rows[name][counting] for name in names},
            area_px=self._state.field.area_px,
            scale=self._state.field.image.calibration,
            heights=heights,
            rejected_count=int(np.count_nonzero(status == REJECTED)),
            unsure_count=int(np.count_nonzero(status == UNSURE)),
            automatic=self._automatic,
        )

    def undo(self) -> Edit:
        """Take the last edit back.

        Raises
        ------
        ValueError
            If there is none.
        """
        if not self._done:
            raise ValueError("there is nothing to undo")
        step = self._done.pop()
        self._undone.append(step)
        self._state.restore(step, forward=False)
        return self._told("undo", step, {"kind": "undo"})

    def redo(self) -> Edit:
        """Do again what was taken back last.

        Raises
        ------
        ValueError
            If there is nothing to.
        """
        if not self._undone:
            raise ValueError("there is nothing to redo")
        step = self._undone.pop()
        self._done.append(step)
        self._state.restore(step, forward=True)
        return self._told("redo", step, {"kind": "redo"})

    def _do(
        self,
        kind: str,
        record: dict[str, Any],
        at: np.ndarray,
        after: np.ndarray,
        ids: Sequence[int],
        marks: dict[str, dict[int, Any]],
        new_ids: tuple[int, ...] = (),
    ) -> Edit:
        if self._state.field.has_heights:
            self.prepare()
        step = self._state.change(at, after.astype(np.int32), np.array(ids, np.int64), marks)
        if step.ids.size:
            self._done.append(step)
            self._undone.clear()
        return self._told(kind, step, record, new_ids)

    def _told(self, kind: str, step: Step, record: Mapping[str, Any], new_ids: tuple[int, ...] = ()) -> Edit:
        window = self._state.window_of(step.at, step.ids)
        bounds = (0, 0, 0, 0)
        if window is not None:
            bounds = (window[0].start, window[0].stop, window[1].start, window[1].stop)
        return Edit(kind, tuple(step.ids.tolist()), bounds, self.tally(), new_ids, (), record)

    def _in_parts(self, edit: Edit, said: tuple[str, ...]) -> Edit:
        """The edit, with a word on objects that now lie in several parts, or of which nothing is left."""
        lost, apart = [], []
        for number in edit.ids_touched:
            if not self._state.rows["alive"][number]:
                continue
            own = self._state.labels[self._state.window(np.array([number]))] == number
            parts = parts_of(own) if own.size else 0
            if parts > 1:
                apart.append((number, parts))
            elif parts == 0:
                lost.append(number)
        words = [*said]
        if len(lost) > _FEW:
            words.append(f"Nothing is left of {len(lost)} pits: they count as rejected.")
        else:
            words += [f"Nothing is left of pit {number}: it counts as rejected." for number in lost]
        if len(apart) > _FEW:
            words.append(f"{len(apart)} pits lie in several parts; each stays one pit until it is split.")
        else:
            words += [f"Pit {pit} lies in {n} parts; it stays one pit until it is split." for pit, n in apart]
        return Edit(
            edit.kind, edit.ids_touched, edit.bounds, edit.tally, edit.new_ids, tuple(words), edit.record
        )

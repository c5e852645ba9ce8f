"""A person's review of the pits of one image: edits with undo, and figures that follow each of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from surfscan.columns import Table
from surfscan.corrections.automatic import Automatic, mask_of
from surfscan.corrections.changes import Changes
from surfscan.corrections.edit import Edit as Edit
from surfscan.corrections.pit_changes import changes_of
from surfscan.corrections.pit_edits import PitEdits
from surfscan.corrections.pit_field import field_of
from surfscan.corrections.pit_rows import row_of, rows_of
from surfscan.corrections.pit_state import (
    ORIGIN,
    STATUS,
    PitState,
)
from surfscan.corrections.tally import tally_of_summary
from surfscan.images import HeightMap, Micrograph
from surfscan.procedures.settings import HeightPitSettings, PitSettings


class Marks(Mapping[int, str]):
    """Words by number of the objects there are; a live view that cannot be written to."""

    def __init__(self, state: PitState, name: str, words: Sequence[str]) -> None:
        self._state, self._name, self._words = state, name, words

    def __getitem__(self, number: int) -> str:
        if not (0 < number <= self._state.size and self._state.rows["alive"][number]):
            raise KeyError(number)
        return self._words[int(self._state.rows[self._name][number])]

    def __iter__(self) -> Any:
        return iter(self._state.living().tolist())

    def __len__(self) -> int:
        return len(self._state.living())


class PitReview(PitEdits):
    """The pits of one image under review.

    Every object has a number for good, from 1 on; numbers are never used again, not even after undo. A
    rejected object keeps its pixels, so that it can be brought back, until something else is painted over
    them. Painting over a neighbour takes its pixels. An object of which nothing is left counts as rejected.
    One that was painted into several parts stays one object until it is split; `Edit.said` says so. Nothing
    can be painted off the specimen.

    On a micrograph an edit measures outlines alone; contrasts are worked out when rows are asked for, once
    `prepare` was called. On a height map depths belong to the tally, so that the first edit calls `prepare`,
    which takes as long as measuring the image does: call it beforehand, in a thread of its own.

    Made by `start`.
    """

    @classmethod
    def start(
        cls,
        image: Micrograph | HeightMap,
        automatic: Automatic,
        *,
        labels: np.ndarray | None = None,
        specimen: np.ndarray | None = None,
        region: np.ndarray | None = None,
        datum: np.ndarray | None = None,
    ) -> PitReview:
        """Begin a review.

        Parameters
        ----------
        image : Micrograph or HeightMap
        automatic : Result or StoredResult
            What `surfscan.procedures.measure_pits` made of it, with table "pits".
        labels : ndarray of shape (M, N), int, optional
            Mask "pits" of the result. Not given: read from the result.
        specimen : ndarray of shape (M, N), optional
            Mask "region" of the result. Not given: read from the result.
        region, datum : ndarray of shape (M, N), bool, optional
            As `measure_pits` was given them.

        Raises
        ------
        ValueError
            If the result is not one of pits, or not of this image.
        InputError
            If a stored mask is missing or was changed.
        """
        if "pits" not in automatic.tables or "pit_count" not in automatic.summary:
            raise ValueError(
                "this result holds no pits; a review of pits begins with what measure_pits found"
            )
        labels = mask_of(automatic, "pits") if labels is None else labels
        specimen = mask_of(automatic, "region") if specimen is None else specimen
        if labels.shape != image.shape or specimen.shape != image.shape:
            raise ValueError(
                f"the masks are {labels.shape[0]} x {labels.shape[1]} px, the image "
                f"{image.shape[0]} x {image.shape[1]} px: measure this image first"
            )
        table = automatic.tables["pits"]
        if int(labels.max(initial=0)) != len(table["label"]):
            raise ValueError(
                f"the mask holds {int(labels.max(initial=0))} pits, its table {len(table['label'])}: "
                "measure this image again"
            )
        kind = HeightPitSettings if isinstance(image, HeightMap) else PitSettings
        settings = kind(**automatic.settings)
        state = PitState(labels, table, field_of(image, settings, specimen, region, datum))
        return cls(state, tally_of_summary(automatic.summary))

    @property
    def labels(self) -> np.ndarray:
        """Number of the object at every pixel, shape (M, N), int32, rejected ones included; read only."""
        view = self._state.labels.view()
        view.flags.writeable = False
        return view

    @property
    def status(self) -> Mapping[int, str]:
        """Number -> "accepted", "rejected" or "unsure" (which counts)."""
        return Marks(self._state, "status", STATUS)

    @property
    def origin(self) -> Mapping[int, str]:
        """Number -> "automatic", "added", "split" or "merged"."""
        return Marks(self._state, "origin", ORIGIN)

    @property
    def prepared(self) -> bool:
        """Whether contrasts or depths of new outlines can be worked out at once."""
        return self._state.field.ground is not None

    def corrected_labels(self) -> np.ndarray:
        """The mask as it stands: accepted and unsure objects alone, shape (M, N), int32; a copy."""
        return self._state.corrected()

    def rows(self) -> Table:
        """One row an object, rejected ones included, in ascending order of their numbers.

        Returns
        -------
        Table
            Columns of table "pits", `label` being the object's number (`nearest_pit_*` among those that
            count), and: `status`, `origin`, `settled` (a person has accepted, rejected or drawn it),
            `redrawn` (its outline is not the automatic one) and `doubt`, 0 to 1: 1 at a limit or below, 0.5
            at twice the nearest limit. Contrasts of outlines drawn by hand are not-a-number until `prepare`
            was called.
        """
        if self.prepared:
            self._state.judge()
        return rows_of(self._state)

    def row(self, number: int) -> dict[str, Any]:
        """The row of one object."""
        self._known([number])
        if self.prepared:
            self._state.judge()
        return row_of(self._state, number)

    def doubtful_order(self) -> list[int]:
        """Objects that count and that nobody has settled: those marked as not sure first, then by doubt."""
        rows = self.rows()
        asked = (rows["status"] != "rejected") & (~rows["settled"] | (rows["status"] == "unsure"))
        order = np.lexsort((rows["label"], -rows["doubt"], rows["status"] != "unsure"))
        return [int(k) for k in rows["label"][order[asked[order]]]]

    def marks(self) -> dict[int, str]:
        """Every object of the automatic result -> "accepted", "rejected" or "unsure".

        One that was merged into another has that one's mark.
        """
        rows, out = self._state.rows, {}
        for number in range(1, self._state.found_count + 1):
            into = number
            while not rows["alive"][into] and rows["into"][into]:
                into = int(rows["into"][into])
            out[number] = STATUS[int(rows["status"][into])]
        return out

    def changes(self) -> Changes:
        """What was changed against the automatic result."""
        return changes_of(self._state, self._done)

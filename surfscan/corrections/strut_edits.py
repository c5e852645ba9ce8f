"""Edges of struts corrected by hand: dragged, undone, noted, and every figure that follows."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

import numpy as np

from surfscan.columns import Table
from surfscan.corrections.strut_changes import EdgeHandle, StrutChanges, StrutEdit
from surfscan.images import HeightMap, Micrograph
from surfscan.measurement.strut_edges import (
    HAND_UNCERTAINTY_PX,
    EdgeMove,
    EdgeMoves,
    MovedEdges,
    Side,
    move_edges,
    nearest_edge,
    px_axes,
)
from surfscan.procedures.result import Result
from surfscan.procedures.settings import StrutSettings
from surfscan.procedures.strut_finding import FoundStruts
from surfscan.procedures.struts import StrutPicture, look_at_struts, struts_of

__all__ = (
    "HAND_UNCERTAINTY_PX",
    "EdgeHandle",
    "EdgeMove",
    "EdgeMoves",
    "StrutChanges",
    "StrutEdit",
    "StrutReview",
)

_LEAST_TAPER_PX = 4.0
_TAPER_WIDTHS = 1.0  # how far neighbours follow by default, in widths of the strut


class StrutReview:
    """A person's corrections to the struts of one picture.

    The picture is looked at once; each drag then measures anew only the struts concerned, by the code that
    measures what was found.

    Parameters
    ----------
    picture : StrutPicture
    moves : EdgeMoves, optional
        Of an earlier correction, to go on from.
    note : str
    """

    def __init__(self, picture: StrutPicture, moves: EdgeMoves | None = None, *, note: str = "") -> None:
        self.picture = picture
        self.automatic = struts_of(picture)
        self._start = (moves or EdgeMoves(), note)
        self._moves, self._note = self._start
        self._past: list[tuple[EdgeMoves, str]] = []
        self._future: list[tuple[EdgeMoves, str]] = []
        self._moved: MovedEdges | None = None
        self._result: Result | None = None

    @classmethod
    def start(
        cls,
        image: Micrograph,
        settings: StrutSettings | None = None,
        *,
        region: np.ndarray | None = None,
        before: Micrograph | None = None,
        side_view: Micrograph | None = None,
        thickness_map: HeightMap | None = None,
        moves: EdgeMoves | None = None,
        note: str = "",
    ) -> StrutReview:
        """Look at a picture and begin to review it.

        Parameters
        ----------
        image, settings, region, before, side_view, thickness_map
            As for `surfscan.procedures.measure_struts`.
        moves : EdgeMoves, optional
        note : str

        Returns
        -------
        StrutReview

        Raises
        ------
        InputError
            As `measure_struts` does.
        """
        picture = look_at_struts(
            image,
            settings,
            region=region,
            before=before,
            side_view=side_view,
            thickness_map=thickness_map,
        )
        return cls(picture, moves, note=note)

    @property
    def moves(self) -> EdgeMoves:
        """The moves in force."""
        return self._moves

    @property
    def note(self) -> str:
        """What the reviewer wrote."""
        return self._note

    @property
    def has_struts(self) -> bool:
        """Whether any strut was found."""
        return self.picture.found is not None

    @property
    def is_changed(self) -> bool:
        """Whether anything differs from the start."""
        return (self._moves, self._note) != self._start

    @property
    def can_undo(self) -> bool:
        """Whether there is a step to take back."""
        return bool(self._past)

    @property
    def can_redo(self) -> bool:
        """Whether there is a step to take again."""
        return bool(self._future)

    @property
    def result(self) -> Result:
        """Figures with the moves in force, without masks."""
        if self._result is None:
            self._result = struts_of(self.picture, self._moves, masks=False)
        return self._result

    @property
    def moved(self) -> MovedEdges:
        """Stations with the moves in force.

        Raises
        ------
        ValueError
            If the picture shows no strut.
        """
        if self._moved is None:
            self._moved = self._with(self._moves)
        return self._moved

    @property
    def by_hand(self) -> np.ndarray:
        """Stations with an edge moved by hand, shape (n,), bool, in the order of `stations`."""
        return self.moved.by_hand if self.has_struts else np.zeros(0, bool)

    def stations(self) -> Table:
        """The table "stations" with the moves in force."""
        return self.result.tables["stations"]

    def handle(self, row: float, col: float, *, strut: int | None = None) -> EdgeHandle | None:
        """The edge nearest to a place.

        Parameters
        ----------
        row, col : float
            px.
        strut : int, optional
            Look at this strut alone.

        Returns
        -------
        EdgeHandle or None
            None where no station has both edges.
        """
        if not self.has_struts:
            return None
        stations = self.moved.stations
        found = nearest_edge(stations, row, col, struts=None if strut is None else (strut,))
        return None if found is None else self.handle_at(found[0], found[1], away_px=found[2])

    def handle_at(self, station: int, side: Side, *, away_px: float = 0.0) -> EdgeHandle:
        """An edge of a station.

        Parameters
        ----------
        station : int
            Place among all stations.
        side : {"left", "right"}
        away_px : float

        Returns
        -------
        EdgeHandle
        """
        stations = self.moved.stations
        strut = int(stations.strut[station])
        own = stations.width[stations.of(strut)]
        wide = float(np.nanmedian(own)) if np.isfinite(own).any() else 0.0
        return EdgeHandle(
            strut,
            side,
            station,
            float(stations.s[station]),
            float(getattr(stations, f"{side}_row")[station]),
            float(getattr(stations, f"{side}_col")[station]),
            away_px,
            max(_TAPER_WIDTHS * wide, _LEAST_TAPER_PX),
        )

    def offset_to(self, handle: EdgeHandle, row: float, col: float) -> float:
        """How far an edge has to move to lie abreast of a place.

        Parameters
        ----------
        handle : EdgeHandle
        row, col : float
            px.

        Returns
        -------
        float
            px of the stations, above 0 outwards; so far inwards at most that the edge meets the other one.
        """
        stations, (x, y) = self.moved.stations, px_axes(self.picture.image.calibration)
        k = handle.station
        other = "right" if handle.side == "left" else "left"
        far_col = float(getattr(stations, f"{other}_col")[k]) * x
        far_row = float(getattr(stations, f"{other}_row")[k]) * y
        out_col, out_row = handle.col_px * x - far_col, handle.row_px * y - far_row
        apart = max(math.hypot(out_col, out_row), 1e-9)
        along = ((col * x - far_col) * out_col + (row * y - far_row) * out_row) / apart
        return max(along, 0.0) - apart

    def move_of(self, handle: EdgeHandle, offset_px: float, taper_px: float | None = None) -> EdgeMove:
        """The move of a drag, not yet made.

        Parameters
        ----------
        handle : EdgeHandle
        offset_px : float
            px of the stations, above 0 outwards.
        taper_px : float, optional
            How far neighbours follow to either side, px; one width of the strut where None.

        Returns
        -------
        EdgeMove

        Raises
        ------
        ValueError
            If the offset or the taper is nonsense.
        """
        found = self._found().stations
        return EdgeMove(
            handle.strut,
            handle.side,
            handle.s_px,
            float(offset_px),
            float(handle.taper_px if taper_px is None else taper_px),
            float(getattr(found, f"{handle.side}_row")[handle.station]),
            float(getattr(found, f"{handle.side}_col")[handle.station]),
        )

    def preview(self, move: EdgeMove) -> Result:
        """Figures if a move were made, without masks; nothing is kept."""
        return struts_of(self.picture, self._moves.added(move), masks=False)

    def drag(self, handle: EdgeHandle, offset_px: float, taper_px: float | None = None) -> StrutEdit:
        """Move an edge.

        Parameters
        ----------
        handle, offset_px, taper_px
            As for `move_of`.

        Returns
        -------
        StrutEdit

        Raises
        ------
        ValueError
            If the offset or the taper is nonsense.
        """
        return self._make(StrutEdit("move", self.move_of(handle, offset_px, taper_px)))

    def set_note(self, note: str) -> StrutEdit:
        """Write a note that is saved with the correction."""
        return self._make(StrutEdit("note", note=note))

    def undo(self) -> StrutEdit | None:
        """Take the last step back; None where there is none."""
        if not self._past:
            return None
        self._future.append((self._moves, self._note))
        self._set(*self._past.pop())
        return StrutEdit("undo")

    def redo(self) -> StrutEdit | None:
        """Take again what was taken back; None where nothing was."""
        if not self._future:
            return None
        self._past.append((self._moves, self._note))
        self._set(*self._future.pop())
        return StrutEdit("redo")

    def replay(self, edits: Iterable[Mapping[str, Any]]) -> None:
        """Take the steps of a journal again.

        Parameters
        ----------
        edits : iterable of mapping
            As `StrutEdit.as_dict` gives them.

        Raises
        ------
        ValueError
            If one is no edit.
        """
        for given in edits:
            edit = StrutEdit.from_dict(given)
            if edit.kind == "undo":
                self.undo()
            elif edit.kind == "redo":
                self.redo()
            else:
                self._make(edit)

    def edits(self) -> dict[str, Any]:
        """All that a saved correction needs to be applied again, plain for TOML: `EdgeMoves.from_dict`."""
        return self._moves.as_dict() | {"note": self._note}

    def changes(self) -> StrutChanges:
        """What was changed, in figures."""
        nothing = math.nan
        if not self.has_struts:
            return StrutChanges(
                len(self._moves.moves),
                0,
                0,
                0,
                0,
                *(0.0, nothing, 0.0, 0.0, nothing, 0.0, 0.0),
                *(nothing,) * 4,
            )
        moved = self.moved
        stations = moved.stations
        counts = (stations.fault == "") & np.isfinite(stations.width)
        step = (
            stations.length / np.maximum(np.bincount(stations.strut - 1, minlength=stations.n_struts), 1)
        )[stations.strut - 1]
        own = moved.by_hand
        length, counted = float(step[own].sum()), float(step[counts].sum())
        largest = float(max(np.abs(moved.left).max(), np.abs(moved.right).max()))
        area = (moved.left + moved.right) * step
        figures = (self.automatic.summary, self.result.summary)
        means, leasts = (
            [nothing if (value := summary[name]) is None else float(value) for summary in figures]
            for name in ("mean_width_px", "min_width_px")
        )
        return StrutChanges(
            move_count=len(self._moves.moves),
            missed_count=len(moved.missed),
            strut_count=len(np.unique(stations.strut[own])),
            station_count=int(np.count_nonzero(own)),
            counted_station_count=int(np.count_nonzero(counts)),
            moved_length_px=length,
            moved_length_um=length * stations.unit_um,
            by_hand_fraction=float(step[own & counts].sum()) / counted if counted else 0.0,
            largest_move_px=largest,
            largest_move_um=largest * stations.unit_um,
            removed_area_px=float(-np.minimum(area, 0).sum()),
            added_area_px=float(np.maximum(area, 0).sum()),
            mean_width_px_automatic=means[0],
            mean_width_px=means[1],
            min_width_px_automatic=leasts[0],
            min_width_px=leasts[1],
        )

    def with_uncertainty(self, uncertainty_px: float) -> None:
        """State the standard uncertainty (k = 1) of an edge placed by hand, px.

        Raises
        ------
        ValueError
            If it is below 0 or not finite.
        """
        self._set(replace(self._moves, uncertainty_px=uncertainty_px), self._note)

    def _make(self, edit: StrutEdit) -> StrutEdit:
        self._past.append((self._moves, self._note))
        self._future.clear()
        if edit.move is not None:
            self._set(self._moves.added(edit.move), self._note)
        else:
            self._set(self._moves, edit.note)
        return edit

    def _set(self, moves: EdgeMoves, note: str) -> None:
        if moves != self._moves:
            self._moved, self._result = None, None
        self._moves, self._note = moves, note

    def _found(self) -> FoundStruts:
        if self.picture.found is None:
            raise ValueError("the picture shows no strut")
        return self.picture.found

    def _with(self, moves: EdgeMoves) -> MovedEdges:
        found = self._found()
        return move_edges(
            found.stations,
            moves,
            axes=px_axes(self.picture.image.calibration),
            silhouette=found.silhouette,
            centrelines=found.centrelines,
        )

"""Steps of a correction of struts, and what it comes to in figures."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

from surfscan.measurement.strut_edges import EdgeMove, Side


@dataclass(frozen=True)
class EdgeHandle:
    """An edge of a station that is being held.

    Attributes
    ----------
    strut : int
    side : {"left", "right"}
    station : int
        Place among all stations.
    s_px : float
        Distance along the centreline.
    row_px, col_px : float
        Where the edge lies now.
    away_px : float
        Distance from the place asked for.
    taper_px : float
        How far neighbours follow by default: one width of the strut.
    """

    strut: int
    side: Side
    station: int
    s_px: float
    row_px: float
    col_px: float
    away_px: float
    taper_px: float


@dataclass(frozen=True)
class StrutEdit:
    """One step of a review, as a journal keeps it.

    Attributes
    ----------
    kind : {"move", "note", "undo", "redo"}
    move : EdgeMove or None
    note : str
    """

    kind: Literal["move", "note", "undo", "redo"]
    move: EdgeMove | None = None
    note: str = ""

    def as_dict(self) -> dict[str, Any]:
        """Plain dictionary for JSON."""
        out: dict[str, Any] = {"kind": self.kind}
        if self.move is not None:
            out["move"] = self.move.as_dict()
        if self.kind == "note":
            out["note"] = self.note
        return out

    @classmethod
    def from_dict(cls, given: Mapping[str, Any]) -> StrutEdit:
        """The edit of a dictionary.

        Raises
        ------
        ValueError
            If it is none.
        """
        kind = given.get("kind")
        if kind == "move":
            return cls("move", EdgeMove.from_dict(given["move"]))
        if kind == "note":
            return cls("note", note=str(given["note"]))
        if kind in ("undo", "redo"):
            return cls(kind)
        raise ValueError(f"kind must be move, note, undo or redo, got {kind!r}")


@dataclass(frozen=True)
class StrutChanges:
    """What a person changed on the struts of a picture; not-a-number where there is no scale.

    Attributes
    ----------
    move_count : int
        Drags in force.
    missed_count : int
        Of them, those whose edge is no longer found.
    strut_count, station_count : int
        Struts and stations with an edge moved by 0.05 px or more.
    counted_station_count : int
        Stations that count, of the picture.
    moved_length_px, moved_length_um : float
        Length of strut along which an edge was moved.
    by_hand_fraction : float
        That over the length that counts, 0 to 1: share of the picture's widths that is by hand.
    largest_move_px, largest_move_um : float
    removed_area_px, added_area_px : float
        Area taken from the metal and given to it, px of the stations squared.
    mean_width_px_automatic, mean_width_px, min_width_px_automatic, min_width_px : float
        Before and after.
    """

    move_count: int
    missed_count: int
    strut_count: int
    station_count: int
    counted_station_count: int
    moved_length_px: float
    moved_length_um: float
    by_hand_fraction: float
    largest_move_px: float
    largest_move_um: float
    removed_area_px: float
    added_area_px: float
    mean_width_px_automatic: float
    mean_width_px: float
    min_width_px_automatic: float
    min_width_px: float

    def as_dict(self) -> dict[str, Any]:
        """Plain dictionary for JSON and TOML: what is not known is left out."""
        values = ((name, getattr(self, name)) for name in self.__dataclass_fields__)
        return {name: value for name, value in values if not (isinstance(value, float) and math.isnan(value))}

"""Edges of struts that a person has moved: what was dragged, and the stations that follow from it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, fields, replace
from typing import Any, Literal

import numpy as np

from surfscan.images import Calibration
from surfscan.measurement.edge_profiles import Rays
from surfscan.measurement.stations import Stations, faults_anew, open_between
from surfscan.segmentation.centrelines import Centrelines
from surfscan.segmentation.silhouette import Silhouette

Side = Literal["left", "right"]

HAND_UNCERTAINTY_PX = 1.0
"""Standard uncertainty (k = 1) of an edge placed by hand on the screen, px: common practice, no source."""

SIDES: tuple[Side, Side] = ("left", "right")
_MOVED_PX = 0.05  # a station whose edge went less far counts as it was
_SAME_PLACE_PX = 3.0  # how far from the edge that was dragged an edge may lie now
_LEAST_PX = 1e-9


@dataclass(frozen=True)
class EdgeMove:
    """One drag of an edge.

    Lengths are in px of the stations (of equal area where pixels are not square), so that a move means the
    same whatever the scale turns out to be.

    Attributes
    ----------
    strut : int
        Number of the strut, from 1.
    side : {"left", "right"}
        Of the way along the strut.
    s_px : float
        Where along the centreline the edge was held.
    offset_px : float
        How far it was moved there along the line across: above 0 outwards, below 0 into the strut.
    taper_px : float
        Distance along the strut, to either side, over which neighbours follow; above 0.
    edge_row_px, edge_col_px : float
        Where the edge lay there before any move by hand: what it is found again by.

    Raises
    ------
    ValueError
        On another side, a number that is not finite, a strut below 1 or a taper that is not above 0.
    """

    strut: int
    side: Side
    s_px: float
    offset_px: float
    taper_px: float
    edge_row_px: float
    edge_col_px: float

    def __post_init__(self) -> None:
        if self.side not in SIDES:
            raise ValueError(f"side must be left or right, got {self.side!r}")
        for field in fields(self)[2:]:
            value = getattr(self, field.name)
            if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
                raise ValueError(f"{field.name} must be a finite number, got {value!r}")
        if not (isinstance(self.strut, int) and self.strut >= 1):
            raise ValueError(f"strut must be a whole number from 1, got {self.strut!r}")
        if self.taper_px <= 0:
            raise ValueError(f"taper_px must be above 0, got {self.taper_px!r}")

    def weight(self, s: np.ndarray) -> np.ndarray:
        """Share of the offset that stations at `s` follow, 0 to 1: a raised cosine, 1 where it was held.

        Common practice, no source: smooth, even, and 0 from `taper_px` on.
        """
        away = np.minimum(np.abs(np.asarray(s, float) - self.s_px) / self.taper_px, 1.0)
        return np.asarray(0.5 * (1 + np.cos(np.pi * away)))

    def as_dict(self) -> dict[str, Any]:
        """Plain dictionary for JSON and TOML."""
        return asdict(self)

    @classmethod
    def from_dict(cls, given: Mapping[str, Any]) -> EdgeMove:
        """The move of a dictionary.

        Raises
        ------
        ValueError
            If a key is missing or unknown, or a value is nonsense.
        """
        names = {field.name for field in fields(cls)}
        if set(given) != names:
            raise ValueError(
                f"an edge move has the keys {', '.join(sorted(names))}, got {', '.join(sorted(given))}"
            )
        return cls(**given)


@dataclass(frozen=True)
class EdgeMoves:
    """All edges of one picture that were moved by hand; where moves meet, their offsets add up.

    Attributes
    ----------
    moves : tuple of EdgeMove
    uncertainty_px : float
        Standard uncertainty (k = 1) of an edge where it was placed by hand; neighbours have it in the share
        in which they followed.

    Raises
    ------
    ValueError
        If the uncertainty is below 0 or not finite.
    """

    moves: tuple[EdgeMove, ...] = ()
    uncertainty_px: float = HAND_UNCERTAINTY_PX

    def __post_init__(self) -> None:
        if not (math.isfinite(self.uncertainty_px) and self.uncertainty_px >= 0):
            raise ValueError(
                f"uncertainty_px must be a finite number, 0 or above, got {self.uncertainty_px!r}"
            )

    def __bool__(self) -> bool:
        return bool(self.moves)

    def added(self, move: EdgeMove) -> EdgeMoves:
        """The same and one more."""
        return replace(self, moves=(*self.moves, move))

    def as_dict(self) -> dict[str, Any]:
        """Plain dictionary for JSON and TOML."""
        return {"uncertainty_px": self.uncertainty_px, "moves": [move.as_dict() for move in self.moves]}

    @classmethod
    def from_dict(cls, given: Mapping[str, Any]) -> EdgeMoves:
        """The moves of a dictionary; other keys, such as a note, are left alone.

        Raises
        ------
        ValueError
            If there are no moves in it, or one is nonsense.
        """
        if not isinstance(given.get("moves"), (list, tuple)):
            raise ValueError("moved edges have a list under the key moves")
        return cls(
            tuple(EdgeMove.from_dict(move) for move in given["moves"]),
            float(given.get("uncertainty_px", HAND_UNCERTAINTY_PX)),
        )


@dataclass(frozen=True)
class MovedEdges:
    """Stations after edges were moved.

    Attributes
    ----------
    stations : Stations
    left, right : ndarray of shape (n,)
        How far each edge went, px, above 0 outwards; 0 where it stayed.
    missed : tuple of EdgeMove
        Moves whose edge is no longer there: not applied.
    """

    stations: Stations
    left: np.ndarray
    right: np.ndarray
    missed: tuple[EdgeMove, ...]

    @property
    def struts(self) -> np.ndarray:
        """Struts with a changed edge, from 1, ascending."""
        return np.unique(self.stations.strut[(self.left != 0) | (self.right != 0)])

    @property
    def by_hand(self) -> np.ndarray:
        """Stations with an edge that was moved by 0.05 px or more, shape (n,), bool."""
        return self.by_hand_on("left") | self.by_hand_on("right")

    def by_hand_on(self, side: Side) -> np.ndarray:
        """Stations whose edge on one side was moved by 0.05 px or more, shape (n,), bool."""
        return np.asarray(np.abs(self.left if side == "left" else self.right) >= _MOVED_PX)


def move_edges(
    stations: Stations,
    moves: EdgeMoves,
    *,
    axes: tuple[float, float] = (1.0, 1.0),
    silhouette: Silhouette | None = None,
    centrelines: Centrelines | None = None,
) -> MovedEdges:
    """Move edges of struts along their lines across.

    Parameters
    ----------
    stations : Stations
        As the picture shows them.
    moves : EdgeMoves
    axes : (float, float)
        Lengths of one column and one row in the px of the stations.
    silhouette : Silhouette, optional
        For what is open between the new edges; it stays as it was where None.
    centrelines : Centrelines, optional
        For fillets and free ends, told anew on the struts concerned; they stay as they were where None.

    Returns
    -------
    MovedEdges
        Only stations with both edges follow a move. Each edge stops at the other: a width is never below 0.
        Where nothing was moved, the stations are those handed in, bit for bit.

    Notes
    -----
    A move belongs to the edge nearest to where its edge lay on the picture, that of the strut and side it
    names first; it is missed where none lies within 3 px. What a person placed is uncertain by
    `moves.uncertainty_px`, the same way along the whole drag, so it does not average out along a strut
    (`surfscan.measurement.strut_widths`); a layer that blur may hide is no matter there any more.
    """
    n = len(stations.s)
    offset = {side: np.zeros(n) for side in SIDES}
    share = {side: np.zeros(n) for side in SIDES}
    missed = []
    for move in moves.moves:
        place = _place(stations, move)
        if place is None:
            missed.append(move)
            continue
        station, side = place
        part = stations.of(int(stations.strut[station]))
        weight = replace(move, s_px=float(stations.s[station])).weight(stations.s[part])
        offset[side][part] += move.offset_px * weight
        share[side][part] = np.maximum(share[side][part], weight)
    total = _apart(stations, axes)
    whole = np.isfinite(total)
    for side in SIDES:
        offset[side][~whole] = 0.0
        share[side][~whole] = 0.0
    short = np.where(whole, np.minimum(total + offset["left"] + offset["right"], 0.0), 0.0)
    inwards = np.minimum(offset["left"], 0.0) + np.minimum(offset["right"], 0.0)
    back = np.divide(short, inwards, out=np.zeros(n), where=inwards < 0)
    for side in SIDES:
        offset[side] -= np.minimum(offset[side], 0.0) * back
    touched = (offset["left"] != 0) | (offset["right"] != 0)
    if not touched.any():
        return MovedEdges(stations, offset["left"], offset["right"], tuple(missed))
    out = _moved(stations, offset, total, axes, touched, silhouette)
    hand = moves.uncertainty_px * np.where(touched, np.hypot(share["left"], share["right"]), 0.0)
    hidden = stations.hidden
    if len(hidden):
        hidden = hidden * np.where(touched, 1 - np.maximum(share["left"], share["right"]), 1.0)
    out = replace(out, hand_uncertainty=hand, hidden=hidden)
    if centrelines is not None:
        out = replace(out, fault=faults_anew(out, centrelines, np.unique(out.strut[touched])))
    return MovedEdges(out, offset["left"], offset["right"], tuple(missed))


def px_axes(calibration: Calibration | None) -> tuple[float, float]:
    """Lengths of one column and one row in px of the stations, which have the area of a pixel.

    Parameters
    ----------
    calibration : Calibration or None

    Returns
    -------
    (float, float)
        (1, 1) where the scale is not known.
    """
    if calibration is None:
        return (1.0, 1.0)
    unit = math.sqrt(calibration.pixel_area_um2)
    return (calibration.pixel_size_x_um / unit, calibration.pixel_size_y_um / unit)


def nearest_edge(
    stations: Stations, row: float, col: float, *, struts: Iterable[int] | None = None
) -> tuple[int, Side, float] | None:
    """The edge nearest to a place on the picture.

    Parameters
    ----------
    stations : Stations
    row, col : float
        px.
    struts : iterable of int, optional
        Struts to look at; all where None.

    Returns
    -------
    tuple of (int, str, float) or None
        Station, side, distance in px; None where no station has both edges.
    """
    usable = np.isfinite(stations.left_row) & np.isfinite(stations.right_row)
    if struts is not None:
        usable &= np.isin(stations.strut, list(struts))
    if not usable.any():
        return None
    best: tuple[int, Side, float] | None = None
    for side in SIDES:
        away = np.hypot(getattr(stations, f"{side}_row") - row, getattr(stations, f"{side}_col") - col)
        k = int(np.argmin(np.where(usable, away, np.inf)))
        if best is None or away[k] < best[2]:
            best = (k, side, float(away[k]))
    return best


def moved_mask(mask: np.ndarray, before: Stations, after: Stations) -> np.ndarray:
    """Metal as it is bounded by edges that were moved.

    Parameters
    ----------
    mask : ndarray of shape (M, N), bool
        Metal as the picture shows it.
    before, after : Stations
        The same stations with edges as found and as moved.

    Returns
    -------
    ndarray of shape (M, N), bool
        What lies between an edge found and one moved inwards is no metal, outwards it is; `mask` itself where
        nothing was moved.
    """
    out = None
    pairs = np.flatnonzero(before.strut[1:] == before.strut[:-1])
    for side in SIDES:
        was, now = (
            np.column_stack([getattr(s, f"{side}_col"), getattr(s, f"{side}_row")]) for s in (before, after)
        )
        changed = np.any((was != now) & np.isfinite(now), axis=1)
        middle = np.column_stack([before.col, before.row])
        outwards = np.sum((now - was) * (was - middle), axis=1) > 0
        for k in pairs[changed[pairs] | changed[pairs + 1]].tolist():
            corners = np.stack([was[k], was[k + 1], now[k + 1], now[k]])
            if not np.isfinite(corners).all():
                continue
            out = mask.copy() if out is None else out
            _fill(out, corners, bool(outwards[k] if changed[k] else outwards[k + 1]))
    return mask if out is None else out


def _fill(mask: np.ndarray, corners: np.ndarray, value: bool) -> None:
    """Set the pixels whose centres lie in a polygon of (column, row), by the even-odd rule."""
    low = np.maximum(np.ceil(corners.min(axis=0)).astype(int), 0)
    high = np.minimum(np.floor(corners.max(axis=0)).astype(int), (mask.shape[1] - 1, mask.shape[0] - 1))
    cols, rows = np.arange(low[0], high[0] + 1), np.arange(low[1], high[1] + 1)[:, None]
    inside = np.zeros((rows.size, cols.size), bool)
    for (x0, y0), (x1, y1) in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        if y0 != y1:
            beside = cols < x0 + (rows - y0) * (x1 - x0) / (y1 - y0)
            inside ^= ((y0 > rows) != (y1 > rows)) & beside
    mask[low[1] : high[1] + 1, low[0] : high[0] + 1][inside] = value


def _place(stations: Stations, move: EdgeMove) -> tuple[int, Side] | None:
    """Station and side that a move belongs to; None where its edge is gone."""
    reach = _SAME_PLACE_PX
    usable = np.isfinite(stations.left_row) & np.isfinite(stations.right_row)
    own = usable & (stations.strut == move.strut)
    if own.any():
        away = np.hypot(
            getattr(stations, f"{move.side}_row") - move.edge_row_px,
            getattr(stations, f"{move.side}_col") - move.edge_col_px,
        )
        k = int(np.argmin(np.where(own, away, np.inf)))
        if away[k] <= reach:
            return k, move.side
    found = nearest_edge(stations, move.edge_row_px, move.edge_col_px)
    return None if found is None or found[2] > reach else found[:2]


def _apart(stations: Stations, axes: tuple[float, float]) -> np.ndarray:
    """Distance between both edges, px of the stations."""
    return np.asarray(
        np.hypot(
            (stations.left_col - stations.right_col) * axes[0],
            (stations.left_row - stations.right_row) * axes[1],
        )
    )


def _moved(
    stations: Stations,
    offset: Mapping[Side, np.ndarray],
    total: np.ndarray,
    axes: tuple[float, float],
    touched: np.ndarray,
    silhouette: Silhouette | None,
) -> Stations:
    """Stations with edges, middle, width and what is open between set anew where an edge was moved."""
    at = np.flatnonzero(touched)
    values = {
        name: getattr(stations, name).copy()
        for name in (
            "row", "col", "left_row", "left_col", "right_row", "right_col", "width", "open_width"
        )
    }  # fmt: skip
    # One px of the stations outwards to the left, in rows and columns.
    step_row = (stations.left_row[at] - stations.right_row[at]) / np.maximum(total[at], _LEAST_PX)
    step_col = (stations.left_col[at] - stations.right_col[at]) / np.maximum(total[at], _LEAST_PX)
    values["left_row"][at] += offset["left"][at] * step_row
    values["left_col"][at] += offset["left"][at] * step_col
    values["right_row"][at] -= offset["right"][at] * step_row
    values["right_col"][at] -= offset["right"][at] * step_col
    values["row"][at] = (values["left_row"][at] + values["right_row"][at]) / 2
    values["col"][at] = (values["left_col"][at] + values["right_col"][at]) / 2
    apart = np.maximum(total[at] + offset["left"][at] + offset["right"][at], 0.0)
    if silhouette is not None:
        rays = Rays(
            row=values["row"][at],
            col=values["col"][at],
            step_row=step_row,
            step_col=step_col,
            along_row=-step_col * axes[0] / axes[1],
            along_col=step_row * axes[1] / axes[0],
            radius=apart / 2,
            order=stations.strut[at],
        )
        values["open_width"][at] = open_between(silhouette, rays, apart / 2, apart / 2)
    values["width"][at] = np.maximum(apart - values["open_width"][at], 0.0)
    return replace(stations, **values)

"""Struts of one part on two pictures: which is which, what was lost in between, and which are missing.

The picture before may be the part itself or its drawing. Metal that is gone counts as zero width.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from surfscan.measurement.stations import Stations

MISSING_FROM = 0.9
"""A strut is missing where at least this share of its stations before has no metal after."""

_NEAR_WIDTHS, _NEAR_PX = 0.6, 4.0  # how far its centreline may have moved: widths before, and at least px
_LEAST_COMPARED = 3  # stations
_PAST_END = 0.5  # of a pitch that a place may lie beyond the last station before that counts

Places = Callable[[np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray]]


@dataclass(frozen=True)
class StrutMatch:
    """Places that were compared; arrays of shape (m,).

    Attributes
    ----------
    strut_before : ndarray, int
        Strut before.
    strut_after : ndarray, int
        Strut after; 0 where the metal is gone.
    station_after : ndarray, int
        Station after; -1 where the metal is gone.
    row, col : ndarray
        Place on the picture after.
    length : ndarray
        Length along the strut that the place stands for, in the unit handed in.
    width_before, width_after : ndarray
        In the unit handed in; 0 after where the metal is gone.
    missing : ndarray of int
        Struts before that are missing after.
    outside : ndarray of int
        Struts before of which too little lies in the field after to say anything.
    """

    strut_before: np.ndarray
    strut_after: np.ndarray
    station_after: np.ndarray
    row: np.ndarray
    col: np.ndarray
    length: np.ndarray
    width_before: np.ndarray
    width_after: np.ndarray
    missing: np.ndarray
    outside: np.ndarray

    @property
    def lost(self) -> np.ndarray:
        """Whether the metal is gone, shape (m,)."""
        return self.strut_after == 0

    def of_after(self, strut: int) -> np.ndarray:
        """Which places lie on a strut after, bool of shape (m,)."""
        return np.asarray(self.strut_after == strut)

    def of_none(self) -> StrutMatch:
        """The same without any place."""
        arrays = {name: getattr(self, name)[:0] for name in self.__dataclass_fields__}
        return StrutMatch(**arrays)


def match_struts(
    before: Stations,
    after: Stations,
    to_after: Places,
    solid_after: np.ndarray,
    *,
    units: tuple[float, float] = (1.0, 1.0),
    frame: tuple[int, int, int, int] | None = None,
    uncertainty_px: float = 0.0,
) -> StrutMatch:
    """Compare two sets of stations place by place.

    Parameters
    ----------
    before, after : Stations
    to_after : callable
        (rows, columns) before -> (rows, columns) after; see `surfscan.preparation.registration`.
    solid_after : ndarray of shape (M, N), bool
        Silhouette after.
    units : (float, float)
        Length of one px before and after.
    frame : (row0, row1, col0, col1), optional
        Part of the picture after that was looked at; the whole where None.
    uncertainty_px : float
        Standard uncertainty of `to_after`, px after.

    Returns
    -------
    StrutMatch
        Places on metal first, in the order of the stations after, then those where the metal is gone.

    Notes
    -----
    Every station after that counts is a place: its width before is interpolated along the strut before, where
    the stations on either side count as well, at most 0.6 widths before and at least 4 px (plus three
    uncertainties of the place) away. A station before that counts, and lies with both its edges in the field
    after, is a place without metal where the silhouette shows none and no station after lies abreast of it as
    near: within a pitch (plus three uncertainties) along the strut.
    Of all else nothing is said. Common practice, no source.
    """
    row, col = to_after(before.row, before.col)
    counts = (before.fault == "") & np.isfinite(before.width)
    reach = np.maximum(_NEAR_WIDTHS * np.where(counts, before.width, 0) * units[0] / units[1], _NEAR_PX)
    reach = reach + 3 * uncertainty_px
    at, station, width_before = _on_both(before, after, (row, col), counts, reach)
    within = counts & _in_field(before, to_after, frame or (0, solid_after.shape[0], 0, solid_after.shape[1]))
    gone = within & _without_metal(after, (row, col), reach, solid_after, uncertainty_px)
    missing, outside = [], []
    for number in np.unique(before.strut[counts]):
        own = counts & (before.strut == number)
        if np.count_nonzero(own & within) < max(_LEAST_COMPARED, 0.5 * np.count_nonzero(own)):
            outside.append(number)
        elif np.count_nonzero(own & gone) >= MISSING_FROM * np.count_nonzero(own & within):
            missing.append(number)
    none = np.zeros(np.count_nonzero(gone))
    return StrutMatch(
        strut_before=np.concatenate([before.strut[at], before.strut[gone]]),
        strut_after=np.concatenate([after.strut[station], none.astype(int)]),
        station_after=np.concatenate([station, none.astype(int) - 1]),
        row=np.concatenate([after.row[station], row[gone]]),
        col=np.concatenate([after.col[station], col[gone]]),
        length=np.concatenate([_steps(after)[station] * units[1], _steps(before)[gone] * units[0]]),
        width_before=np.concatenate([width_before, before.width[gone]]) * units[0],
        width_after=np.concatenate([after.width[station] * units[1], none]),
        missing=np.array(missing, int),
        outside=np.array(outside, int),
    )


def _steps(stations: Stations) -> np.ndarray:
    """Length along the strut that each station stands for."""
    count = np.bincount(stations.strut - 1, minlength=stations.n_struts)
    return np.asarray(stations.length / np.maximum(count, 1))[stations.strut - 1]


def _on_both(
    before: Stations,
    after: Stations,
    place: tuple[np.ndarray, np.ndarray],
    counts: np.ndarray,
    reach: np.ndarray,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Nearest station before, station after and width before (px before) of every place seen on both."""
    from scipy.spatial import cKDTree

    station = np.flatnonzero((after.fault == "") & np.isfinite(after.width))
    if not station.size or not counts.any():
        return np.zeros(0, int), np.zeros(0, int), np.zeros(0)
    lines = np.column_stack(place)
    points = np.column_stack([after.row[station], after.col[station]])
    away, nearest = cKDTree(lines).query(points)
    nearest = np.asarray(nearest, int)
    width = np.full(len(station), np.nan)
    for step in (-1, 1):
        beside = nearest + step
        there = (beside >= 0) & (beside < len(lines))
        beside = np.clip(beside, 0, len(lines) - 1)
        there &= before.strut[beside] == before.strut[nearest]
        way = lines[beside] - lines[nearest]
        squared = np.maximum(np.sum(way**2, axis=1), 1e-12)
        along = np.sum((points - lines[nearest]) * way, axis=1) / squared
        between = there & (along >= 0) & (along <= 1)
        share = np.where(between & counts[beside], along, 0.0)
        # Towards a station that does not count, the nearest one's own width holds for half a pitch.
        usable = between & (counts[beside] | (along <= _PAST_END))
        value = (1 - share) * before.width[nearest] + share * np.where(share > 0, before.width[beside], 0.0)
        width = np.where(usable, value, width)
        # At the end of a strut there is no neighbour: its other one tells how far beyond the place lies.
        last = ~_has(before.strut, nearest, -step) & there & (along < 0) & (along >= -_PAST_END)
        width = np.where(last, before.width[nearest], width)
    good = counts[nearest] & (away <= reach[nearest]) & np.isfinite(width)
    return nearest[good], station[good], width[good]


def _has(strut: np.ndarray, at: np.ndarray, step: int) -> np.ndarray:
    """Whether stations have a neighbour on the same strut, that many stations on."""
    beside = at + step
    there = (beside >= 0) & (beside < len(strut))
    return np.asarray(there & (strut[np.clip(beside, 0, len(strut) - 1)] == strut[at]))


def _in_field(before: Stations, to_after: Places, frame: tuple[int, int, int, int]) -> np.ndarray:
    """Whether stations before and both their edges lie in the field after."""
    row0, row1, col0, col1 = frame
    within = np.ones(len(before.row), bool)
    for at_row, at_col in (
        (before.row, before.col),
        (before.left_row, before.left_col),
        (before.right_row, before.right_col),
    ):
        y, x = to_after(at_row, at_col)
        within &= (y >= row0) & (y <= row1 - 1) & (x >= col0) & (x <= col1 - 1)
    return within


def _without_metal(
    after: Stations,
    place: tuple[np.ndarray, np.ndarray],
    reach: np.ndarray,
    solid_after: np.ndarray,
    uncertainty_px: float,
) -> np.ndarray:
    """Whether neither a station after lies abreast of a place, in reach, nor the silhouette shows metal."""
    from scipy.spatial import cKDTree

    rows, cols = solid_after.shape
    r = np.clip(np.rint(place[0]), 0, rows - 1).astype(int)
    c = np.clip(np.rint(place[1]), 0, cols - 1).astype(int)
    empty = ~solid_after[r, c]
    if not len(after.row):
        return np.asarray(empty)
    away, nearest = cKDTree(np.column_stack([after.row, after.col])).query(np.column_stack(place))
    angle = np.radians(after.normal_deg[nearest])
    along = np.sin(angle) * (after.col[nearest] - place[1]) + np.cos(angle) * (after.row[nearest] - place[0])
    abreast = (away <= reach) & (np.abs(along) <= after.pitch + 3 * uncertainty_px)
    return np.asarray(empty & ~abreast)

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

Places = Callable[[np.ndarray, np.ndarray], tuple[np.ndarray, np.ndarray]]


@dataclass(frozen=True)
class StrutMatch:
    """Stations before, each with what is there after; arrays of shape (m,) over the compared ones.

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
    width_before: np.ndarray
    width_after: np.ndarray
    missing: np.ndarray
    outside: np.ndarray

    @property
    def lost(self) -> np.ndarray:
        """Whether the metal is gone, shape (m,)."""
        return self.strut_after == 0

    def of_after(self, strut: int) -> np.ndarray:
        """Which compared stations were matched with a strut after, bool of shape (m,)."""
        return np.asarray(self.strut_after == strut)


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

    Notes
    -----
    A station before that counts is compared where it and both its edges fall into the field after. The
    station after that is nearest, within 0.6 widths before and at least 4 px (plus three uncertainties of the
    place), is its match; where that one does not count (fillet, frame), or there is none but the silhouette
    still shows metal, nothing is said of the place. Where there is neither, the metal is gone. Common
    practice, no source.
    """
    import cv2

    counts = (before.fault == "") & np.isfinite(before.width)
    strut = before.strut[counts]
    row, col = to_after(before.row[counts], before.col[counts])
    width = before.width[counts] * units[0]
    rows, cols = solid_after.shape
    row0, row1, col0, col1 = frame or (0, rows, 0, cols)
    within = (row >= row0) & (row <= row1 - 1) & (col >= col0) & (col <= col1 - 1)
    for edge in ((before.left_row, before.left_col), (before.right_row, before.right_col)):
        y, x = to_after(edge[0][counts], edge[1][counts])
        within &= (y >= row0) & (y <= row1 - 1) & (x >= col0) & (x <= col1 - 1)
    r = np.clip(np.rint(row), 0, rows - 1).astype(int)
    c = np.clip(np.rint(col), 0, cols - 1).astype(int)
    nearest = np.full(len(row), -1)
    if len(after.row):
        at_row = np.clip(np.rint(after.row), 0, rows - 1).astype(int)
        at_col = np.clip(np.rint(after.col), 0, cols - 1).astype(int)
        free = np.ones((rows, cols), np.uint8)
        free[at_row, at_col] = 0
        _, label = cv2.distanceTransformWithLabels(
            free, cv2.DIST_L2, cv2.DIST_MASK_5, labelType=cv2.DIST_LABEL_PIXEL
        )
        station = np.full(int(label.max()) + 1, -1)
        station[label[at_row, at_col]] = np.arange(len(after.row))
        nearest = station[label[r, c]]
        reach = np.maximum(_NEAR_WIDTHS * width / units[1], _NEAR_PX) + 3 * uncertainty_px
        away = np.hypot(after.row[nearest] - row, after.col[nearest] - col)
        nearest = np.where((nearest >= 0) & (away <= reach), nearest, -1)
    safe = np.maximum(nearest, 0)
    there = nearest >= 0
    good = np.zeros(len(row), bool)
    if len(after.row):
        good = there & (after.fault[safe] == "") & np.isfinite(after.width[safe])
    gone = ~there & ~solid_after[r, c]
    compared = within & (good | gone)
    after_width = np.zeros(len(row))
    after_strut = np.zeros(len(row), int)
    if len(after.row):
        after_width = np.where(good, after.width[safe] * units[1], 0.0)
        after_strut = np.where(good, after.strut[safe], 0)
    missing, outside = [], []
    for number in np.unique(strut):
        own = strut == number
        if np.count_nonzero(own & within) < max(_LEAST_COMPARED, 0.5 * np.count_nonzero(own)):
            outside.append(number)
        elif np.count_nonzero(own & within & gone) >= MISSING_FROM * np.count_nonzero(own & within):
            missing.append(number)
    return StrutMatch(
        strut_before=strut[compared],
        strut_after=after_strut[compared],
        station_after=np.where(good, nearest, -1)[compared],
        row=row[compared],
        col=col[compared],
        width_before=width[compared],
        width_after=after_width[compared],
        missing=np.array(missing, int),
        outside=np.array(outside, int),
    )

"""Thickness along a section that crosses the field from side to side: a long foil or sheet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

_LEAST_STATIONS = 8


@dataclass(frozen=True)
class ThicknessProfile:
    """Thickness of the metal along a crossing section.

    Attributes
    ----------
    s_px : ndarray of shape (n,)
        Distance along the foil.
    middle : ndarray of shape (n, 2)
        Half-way between both faces, (x, y).
    thickness_px : ndarray of shape (n,)
        Between the outer faces of the metal, square to the foil's direction; not-a-number where there is
        none.
    tilt_rad : float
        Direction of the foil against the axis that it crosses the field along.
    """

    s_px: np.ndarray
    middle: np.ndarray
    thickness_px: np.ndarray
    tilt_rad: float


def thickness_profile(excess: np.ndarray, *, along_rows: bool) -> ThicknessProfile:
    """Thickness in every column (or row) of pixels, corrected for the foil's tilt.

    Parameters
    ----------
    excess : ndarray of shape (M, N)
        Above 0 in the metal of this one section, zero at its edge.
    along_rows : bool
        The foil runs from left to right, else from top to bottom.

    Returns
    -------
    ThicknessProfile

    Raises
    ------
    ValueError
        If there is metal in fewer than 8 columns.
    """
    field = excess if along_rows else excess.T
    metal = field > 0
    has = metal.any(axis=0)
    if np.count_nonzero(has) < _LEAST_STATIONS:
        raise ValueError("there is metal in too few columns for a thickness")
    n = np.arange(field.shape[1])
    top = metal.argmax(axis=0)
    foot = field.shape[0] - 1 - metal[::-1].argmax(axis=0)
    upper = top - _beyond(field, top, -1, n)
    lower = foot + _beyond(field, foot, 1, n)
    middle, height = 0.5 * (upper + lower), lower - upper
    slope, _ = np.polyfit(n[has], middle[has], 1)
    tilt = float(np.arctan(slope))
    thickness = np.where(has, height * np.cos(tilt), np.nan)
    centre = np.where(has, middle, np.nan)
    points = np.stack([n, centre] if along_rows else [centre, n], axis=1).astype(float)
    return ThicknessProfile(n / np.cos(tilt), points, thickness, tilt)


def _beyond(field: np.ndarray, edge: np.ndarray, way: int, n: np.ndarray) -> np.ndarray:
    """How far beyond the last metal pixel the field reaches 0, px; 0 on the frame."""
    next_ = np.clip(edge + way, 0, field.shape[0] - 1)
    inner, outer = field[edge, n], field[next_, n]
    return np.where(next_ == edge, 0.5, np.clip(inner / np.maximum(inner - outer, 1e-6), 0, 1))

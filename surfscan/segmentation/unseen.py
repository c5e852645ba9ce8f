"""Gaps of a height map: floors that were not seen, and gaps that may hide pits."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np

_ENCLOSED = 0.5


@dataclass(frozen=True)
class Gaps:
    """Unmeasured patches (8-connected).

    Attributes
    ----------
    at : ndarray of shape (g,), int64
        Flat positions of unmeasured points.
    name : ndarray of shape (g,), int32
        Patch of each, 0 to n - 1.
    n : int
        Number of patches.
    shape : (int, int)
        Rows and columns of the map.
    """

    at: np.ndarray
    name: np.ndarray
    n: int
    shape: tuple[int, int]

    def neighbours(self) -> Iterator[tuple[np.ndarray, np.ndarray]]:
        """For each of 8 directions: patch, and flat position beside it, of the points that have one there."""
        rows, cols = self.shape
        row, col = np.divmod(self.at, cols)
        for dr in (-1, 0, 1):
            for dc in (-1, 0, 1):
                if dr or dc:
                    inside = (row + dr >= 0) & (row + dr < rows) & (col + dc >= 0) & (col + dc < cols)
                    yield self.name[inside], self.at[inside] + dr * cols + dc


def find_gaps(heights_um: np.ndarray) -> Gaps:
    """Unmeasured patches of a height map.

    Parameters
    ----------
    heights_um : ndarray of shape (M, N), float
        Not-a-number where not measured.
    """
    gap = np.isnan(heights_um)
    at = np.flatnonzero(gap)
    shape = (heights_um.shape[0], heights_um.shape[1])
    if at.size == 0:
        return Gaps(at, np.zeros(0, np.int32), 0, shape)
    n, parts = cv2.connectedComponents(gap.view(np.uint8), connectivity=8, ltype=cv2.CV_32S)
    return Gaps(at, parts.reshape(-1)[at] - 1, n - 1, shape)


def deepen_floors(depth_um: np.ndarray, gaps: Gaps, least_um: float) -> None:
    """Let gaps that pit walls enclose be as deep as the deepest point on their edge, in place.

    Light is lost where a pit is deep; what an instrument could not see inside a ring of walls is floor, and
    the ring is one pit. This decides where outlines run; no depth is ever taken from it.

    Parameters
    ----------
    depth_um : ndarray of shape (M, N), float32
        Bridged depth below the local reference.
    gaps : Gaps
    least_um : float
        Depth from which a point counts as part of a wall; half of a gap's edge must be that deep.
    """
    if gaps.n == 0:
        return
    unseen = np.zeros(depth_um.size, bool)
    unseen[gaps.at] = True
    count, walls = np.zeros(gaps.n), np.zeros(gaps.n)
    deepest = np.full(gaps.n, -np.inf, np.float32)
    flat = depth_um.reshape(-1)
    for name, beside in gaps.neighbours():
        seen = ~unseen[beside]
        name, d = name[seen], flat[beside[seen]]
        count += np.bincount(name, minlength=gaps.n)
        walls += np.bincount(name[d > least_um], minlength=gaps.n)
        np.maximum.at(deepest, name, d)
    enclosed = (count > 0) & (walls >= _ENCLOSED * count)
    inside = enclosed[gaps.name]
    at = gaps.at[inside]
    flat[at] = np.maximum(flat[at], deepest[gaps.name[inside]])


def sunken_gaps(
    depth_um: np.ndarray, gaps: Gaps, taken: np.ndarray, *, rim_um: float, least_px: float
) -> tuple[int, np.ndarray]:
    """Find unmeasured patches that lie lower than the surface round about.

    Parameters
    ----------
    depth_um : ndarray of shape (M, N), float32
        Below the local reference, positive downwards; not-a-number where not measured.
    gaps : Gaps
        Of these.
    taken : ndarray of shape (M, N), bool
        Where gaps are of no interest: inside known pits, off the specimen.
    rim_um : float
        Mean depth that the measured points along a gap's edge must have.
    least_px : float
        Smallest gap, px.

    Returns
    -------
    n : int
        Number of such gaps.
    of : ndarray of shape (g,), int32
        Number of the gap that each of `gaps.at` belongs to, from 1; 0 for others. A gap that touches what is
        taken, or the picture's edge, is left out.
    """
    fit = np.bincount(gaps.name, minlength=gaps.n) >= least_px
    row, col = np.divmod(gaps.at, gaps.shape[1])
    edge = (row == 0) | (row == gaps.shape[0] - 1) | (col == 0) | (col == gaps.shape[1] - 1)
    busy = taken.reshape(-1)
    fit[gaps.name[edge | busy[gaps.at]]] = False
    total, count = np.zeros(gaps.n), np.zeros(gaps.n)
    for name, beside in gaps.neighbours():
        fit[name[busy[beside]]] = False
        d = depth_um.reshape(-1)[beside]
        seen = ~np.isnan(d)
        total += np.bincount(name[seen], d[seen], gaps.n)
        count += np.bincount(name[seen], minlength=gaps.n)
    fit &= (count > 0) & (total > rim_um * count)
    return int(np.count_nonzero(fit)), np.where(fit, np.cumsum(fit), 0).astype(np.int32)[gaps.name]

"""Open spots inside a strut: holes through the metal, or glints and stains on it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np

from surfscan.segmentation.grouped import distance_inside

Holes = Literal["auto", "through", "filled"]

_REACHED = 0.3  # share of the contrast within which a hole reaches the background's level
_PAST = 0.1  # ... or its farthest quarter goes past it, and is still taken for open
_GLINT = 0.35  # further beyond the background than this: a glint
_GLINT_REACH = 3  # px around a glint whose blurred flank passes through the background's level
_LEAST_HOLE_PX = 6
_GRID_SIDE = 2048  # the typical width is read on a picture of about this many pixels a side


@dataclass(frozen=True)
class Judged:
    """Struts with their open spots judged; arrays of shape (M, N), bool.

    Attributes
    ----------
    mask : ndarray
        Struts without their through-pits, with glints and stains.
    through_pits, glints : ndarray
    warnings : tuple of str
    """

    mask: np.ndarray
    through_pits: np.ndarray
    glints: np.ndarray
    warnings: tuple[str, ...]


def judge_holes(struts: np.ndarray, share: np.ndarray, used: np.ndarray, holes: Holes = "auto") -> Judged:
    """Tell through-pits from glints and stains, and both from the openings of a mesh.

    Parameters
    ----------
    struts, used : ndarray of shape (M, N), bool
    share : ndarray of shape (M, N), float32
        Grey as a share of the way from background (0) to metal (1).
    holes : {"auto", "through", "filled"}
        "auto": a hole is a through-pit where it reaches the background's level; "through", "filled": all are.

    Returns
    -------
    Judged

    Notes
    -----
    A part of the background that is enclosed by metal, does not touch the frame and has a smaller area than
    the square of the typical strut width is a spot inside a strut; a larger one is an opening of the mesh
    (common practice, no source). A spot reaches the background's level where the mean of its lowest half
    lies at most 30 % of the contrast short of it and that of its lowest quarter at most 10 % past it; spots
    under 6 px, or next to something beyond the background's level (a glint and its blurred flank), are none.
    """
    empty = np.zeros(struts.shape, bool)
    n, labels, stats, _ = cv2.connectedComponentsWithStats((~struts).view(np.uint8), connectivity=4)
    area = stats[:, cv2.CC_STAT_AREA].copy()
    at_frame = np.concatenate([labels[0], labels[-1], labels[:, 0], labels[:, -1], labels[~used]])
    small = area < strut_width(struts) ** 2
    small[np.unique(at_frame)] = False
    small[0] = False
    glints = (share < -_GLINT) & struts
    if not small.any():
        return Judged(struts, empty, glints, ())
    spots = small[labels]
    where = np.flatnonzero(spots)
    label = labels.ravel()[where]
    values = share.ravel()[where]
    if holes == "auto":
        half, quarter = (_lowest(label, values, n, parts) for parts in (2, 4))
        through = (quarter > -_PAST) & (half < _REACHED) & (area >= _LEAST_HOLE_PX) & small
        near = cv2.dilate(glints.view(np.uint8), np.ones((2 * _GLINT_REACH + 1,) * 2, np.uint8)).astype(bool)
        through[np.unique(labels[spots & near])] = False
    else:
        through = small & (holes == "through")
    pits = through[labels]
    count = int(np.count_nonzero(through))
    warnings: tuple[str, ...] = ()
    if holes == "auto" and count:
        what = f"{count} open spots inside struts show" if count > 1 else "1 open spot inside a strut shows"
        warnings = (
            f"{what} the background's grey: taken for open through; where glints do that, state that holes "
            "are filled.",
        )
    return Judged(struts | (spots & ~pits), pits, glints | (spots & ~pits), warnings)


def strut_width(struts: np.ndarray) -> float:
    """Typical width, px: twice the median distance from the edge along the ridges of that distance."""
    step = max(1, round(max(struts.shape) / _GRID_SIDE))
    distance = distance_inside(np.ascontiguousarray(struts[::step, ::step])) * step
    highest = cv2.dilate(distance, np.ones((3, 3), np.uint8))
    ridge = distance[(distance >= highest) & (distance >= 1.5 * step)]
    return 2 * float(np.median(ridge)) if ridge.size else 0.0


def _lowest(label: np.ndarray, values: np.ndarray, n: int, parts: int) -> np.ndarray:
    """Mean of the lowest half (2 parts), quarter (4) ... of each label's values; infinite without any."""
    order = np.lexsort((values, label))
    label, values = label[order], values[order]
    count = np.bincount(label, minlength=n)
    first = np.concatenate([[0], np.cumsum(count)[:-1]])
    lower = np.arange(len(label)) - first[label] < (count[label] + parts - 1) // parts
    total = np.bincount(label[lower], values[lower], n)
    taken = np.bincount(label[lower], minlength=n)
    return np.where(taken > 0, total / np.maximum(taken, 1), np.inf)

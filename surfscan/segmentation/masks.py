"""Masks of many objects: structuring elements, and holes closed."""

from __future__ import annotations

import cv2
import numpy as np

_HOLE_SHARE = 0.5
_CORE_AREA_SHARE = 0.2


def disc(radius: int) -> np.ndarray:
    """Structuring element: a disc of whole-pixel radius."""
    side = 2 * radius + 1
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side)))


def fill_holes(mask: np.ndarray) -> np.ndarray:
    """Close the holes in objects, in place: glints on the floor, and the gap round a darker core.

    A hole as large as half of its object or more is metal inside a ring and stays open; so does one with a
    core that takes up less than a fifth of the object, for that is a pit in a stain.

    Parameters
    ----------
    mask : ndarray of shape (M, N), uint8, 0 or 1

    Returns
    -------
    ndarray of shape (M, N), uint8
        `mask` itself.
    """
    outlines, tree = cv2.findContours(mask, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_SIMPLE)
    if tree is None:
        return mask
    for hole in np.flatnonzero(tree[0, :, 3] >= 0).tolist():
        whole = cv2.contourArea(outlines[tree[0, hole, 3]])
        if cv2.contourArea(outlines[hole]) >= _HOLE_SHARE * whole:
            continue
        c, r, w, h = cv2.boundingRect(outlines[hole])
        gap = np.zeros((h, w), np.uint8)
        cv2.drawContours(gap, outlines, hole, 1, cv2.FILLED, offset=(-c, -r))
        cv2.drawContours(gap, outlines, hole, 0, 1, offset=(-c, -r))
        core = int(np.count_nonzero(gap & mask[r : r + h, c : c + w]))
        if core == 0 or core >= _CORE_AREA_SHARE * whole:
            mask[r : r + h, c : c + w] |= gap
    return mask

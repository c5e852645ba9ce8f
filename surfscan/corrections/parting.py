"""One outlined object parted into several: where it lies apart, at its neck, or along a drawn line."""

from __future__ import annotations

import cv2
import numpy as np

from surfscan.segmentation.touching import part_touching

_CRUMB_PX = 4
_CRUMB_SHARE = 0.01


def part_mask(own: np.ndarray, line: np.ndarray | None) -> np.ndarray:
    """Part a mask.

    Parameters
    ----------
    own : ndarray of shape (M, N), bool
        The object, on a part of the picture with a pixel to spare.
    line : ndarray of shape (k, 2), float, or None
        Corners (row, column) of a line right across it, px of `own`. None: where it lies in parts already,
        else at the necks that set its inscribed circles apart (`surfscan.segmentation.touching`).

    Returns
    -------
    ndarray of shape (M, N), int32
        Parts from 1 on, the largest first; 0 outside. A single part where there is nothing to part by.
    """
    if line is not None:
        parts = _along(own, line)
    else:
        _, parts = cv2.connectedComponents(own.view(np.uint8), connectivity=8, ltype=cv2.CV_32S)
        if parts.max() == 1:
            box = np.array([[0, 0, 0, 0], [0, own.shape[0], 0, own.shape[1]]])
            part_touching(parts, np.array([1]), box, 1)
    return _largest_first(parts)


def _along(own: np.ndarray, line: np.ndarray) -> np.ndarray:
    """Parts on both sides of a line; its own pixels and crumbs go to the nearest part."""
    cut = np.zeros(own.shape, np.uint8)
    corners = np.rint(np.asarray(line, np.float64)[:, ::-1]).astype(np.int32)
    cv2.polylines(cut, [corners.reshape(-1, 1, 2)], False, 1, 1, cv2.LINE_8)
    free = own.view(np.uint8) & (1 - cut)
    n, parts, stats, _ = cv2.connectedComponentsWithStats(free, connectivity=4, ltype=cv2.CV_32S)
    area = stats[:, cv2.CC_STAT_AREA]
    least = max(_CRUMB_PX, _CRUMB_SHARE * np.count_nonzero(own))
    kept = (area >= least) & (np.arange(n) > 0)
    if not kept.any():
        return own.astype(np.int32)
    parts = np.where(kept, np.cumsum(kept), 0).astype(np.int32)[parts]
    _, nearest = cv2.distanceTransformWithLabels(
        (parts == 0).view(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5, labelType=cv2.DIST_LABEL_PIXEL
    )
    names = np.zeros(int(nearest.max()) + 1, np.int32)
    names[nearest[parts > 0]] = parts[parts > 0]
    return np.where(own, names[nearest], 0).astype(np.int32)


def _largest_first(parts: np.ndarray) -> np.ndarray:
    area = np.bincount(parts.reshape(-1))[1:]
    rank = np.zeros(len(area) + 1, np.int32)
    rank[1 + np.argsort(-area, kind="stable")] = np.arange(1, len(area) + 1)
    return rank[parts]

"""One outlined object parted into several: where it lies apart, at its neck, or along a drawn line."""

from __future__ import annotations

import cv2
import numpy as np

from surfscan.segmentation.touching import part_touching

_CRUMB_PX = 4
_CRUMB_SHARE = 0.01
_NECK, _SMALL_NECK = 0.915, 0.8
_SLACK_PX = 1.0
"""A neck's half-width is under these shares of the inscribed radius of the narrower part: the first, and,
since an outline on pixels is ragged, so much shorter than it too, or under the second share."""


def part_mask(own: np.ndarray, line: np.ndarray | None) -> np.ndarray:
    """Part a mask.

    Parameters
    ----------
    own : ndarray of shape (M, N), bool
        The object, on a part of the picture with a pixel to spare.
    line : ndarray of shape (k, 2), float, or None
        Corners (row, column) of a line right across it, px of `own`. None: where it lies in parts already,
        else at the necks that set its inscribed circles apart (`surfscan.segmentation.touching`). A border
        that is no narrower than the narrower of its two parts is no neck: those parts stay one, so that a
        ring or an arc is not cut into as many parts as circles fit along it.

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
            parts = _without_false_necks(parts)
    return _largest_first(parts)


def _without_false_necks(parts: np.ndarray) -> np.ndarray:
    """Parts whose common border is as wide as the narrower of them, made one; the widest border first.

    The width of a part is twice the radius of its largest inscribed circle, that of a border twice the
    distance from the outline of the whole object at its middle. Common practice, no source.
    """
    clear = cv2.distanceTransform((parts > 0).view(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    count = int(parts.max())
    radius = np.zeros(count + 1)
    np.maximum.at(radius, parts.reshape(-1), clear.reshape(-1))
    border = _borders(parts, clear, count)
    now = np.arange(count + 1)
    while True:
        narrower = np.maximum(np.minimum(radius[:, None], radius[None, :]), 1)
        first, second = np.unravel_index(int(np.argmax(border / narrower)), border.shape)
        least = narrower[first, second]
        if border[first, second] < min(_NECK * least, max(least - _SLACK_PX, _SMALL_NECK * least)):
            return now[parts].astype(np.int32)
        now[now == second] = first
        radius[first] = max(radius[first], radius[second])
        for along in (border, border.T):
            along[first] = np.maximum(along[first], along[second])
            along[second] = 0
        border[first, first] = 0


def _borders(parts: np.ndarray, clear: np.ndarray, count: int) -> np.ndarray:
    """How far the middle of each border lies from the outline of the whole; shape (parts + 1, parts + 1)."""
    border = np.zeros((count + 1, count + 1))
    for one, other in (
        (np.s_[1:], np.s_[:-1]),
        (np.s_[:, 1:], np.s_[:, :-1]),
        (np.s_[1:, 1:], np.s_[:-1, :-1]),
        (np.s_[1:, :-1], np.s_[:-1, 1:]),
    ):
        at = (parts[one] != parts[other]) & (parts[one] > 0) & (parts[other] > 0)
        pair = (parts[one][at], parts[other][at])
        np.maximum.at(border, pair, np.maximum(clear[one][at], clear[other][at]))
    return np.maximum(border, border.T)


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

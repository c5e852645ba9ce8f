"""Outlines at half contrast: each dark object against its own surroundings, no global threshold."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import cv2
import numpy as np

from surfscan.segmentation.grouped import Workspace, components, grouped_max, grouped_quantile, positions
from surfscan.segmentation.masks import disc, fill_holes

CORE_SHARE = 0.5
"""The floor is where the distance to the outline is at least this share of the largest such distance."""

SHUT_IN_PX = 12
"""Fewer samples of metal (on every second row and column) say nothing about an object's surroundings."""

RING_PX = (4, 10)
"""Surroundings are read so far from an object."""

_GROWTH_PX = 2
_CURVATURE = 1 / (2 * np.sqrt(2 * np.pi))
_NEXT = ((0, 1), (0, -1), (1, 0), (-1, 0))
_DIAGONAL = ((1, 1), (1, -1), (-1, 1), (-1, -1))
_LEAST_SHARE = 0.46


@dataclass(frozen=True)
class Outlined:
    """Objects outlined at half contrast.

    Attributes
    ----------
    labels : ndarray of shape (M, N), int32
        1 to n, as they came in; an object that vanished has no pixels.
    floor : ndarray of shape (n + 1,)
        Median contrast of the floor, against the metal level.
    surround : ndarray of shape (n + 1,)
        Median contrast of the metal round it, against the metal level.
    depth_px : ndarray of shape (n + 1,)
        Largest distance from the outline, px.
    """

    labels: np.ndarray
    floor: np.ndarray
    surround: np.ndarray
    depth_px: np.ndarray


def outline(
    labels: np.ndarray,
    contrast: np.ndarray,
    usable: np.ndarray,
    distance: np.ndarray,
    *,
    smoothing_px: float,
    space: Workspace,
) -> Outlined:
    """Draw every object's outline anew where the contrast is half between its floor and its surroundings.

    The floor is the median over the object's core, the surroundings the median over a ring near it. The
    outline may move outwards by up to 2 px, each pixel going to the nearest object.

    Parameters
    ----------
    labels : ndarray of shape (M, N), int32
        Objects, roughly outlined; 1 to n. Written over with the new outlines.
    contrast : ndarray of shape (M, N), float32
        Smoothed contrast.
    usable : ndarray of shape (M, N), uint8, 0 or 1
        Pixels that may count as surrounding metal: inside the specimen and not dark themselves.
    distance : ndarray of shape (M, N), float32
        Distance of every pixel inside an object to the nearest outside; may be a buffer of `space`.
    smoothing_px : float
        Standard deviation of the Gaussian that `contrast` was smoothed with, px.
    space : Workspace
        Its real buffer is written over, `distance` with it.

    Returns
    -------
    Outlined

    Notes
    -----
    Smoothing draws a convex outline inwards: on a disc of radius r the contrast at the true outline is not
    1/2 of the step but 1/2 - s / (2 r sqrt(2 pi)) for a Gaussian of standard deviation s well below r. The
    level is set there, so that smoothing does not cost area. It is not set below 0.46: in pits so small that
    it would be, smoothing and optics dim the floor as well, which works the other way.
    """
    n = int(labels.max(initial=0))
    flat, drawn = contrast.ravel(), labels.ravel()
    inside = positions(labels)
    thinned = np.ascontiguousarray(labels[::2, ::2])
    with ThreadPoolExecutor(1) as beside:
        around = beside.submit(surround_contrast, thinned, contrast[::2, ::2], usable[::2, ::2], n)
        floor, depth = _floor(labels, contrast, n, inside, distance)
        area = np.bincount(drawn[inside], minlength=n + 1)
        where = np.concatenate([inside, _grow(labels, _GROWTH_PX)])
        surround = around.result()
    share = np.maximum(0.5 - _CURVATURE * smoothing_px / np.sqrt(np.maximum(area, 1) / np.pi), _LEAST_SHARE)
    half = np.nan_to_num(surround + share * (floor - surround), nan=np.inf)

    label = drawn[where]
    lighter = flat[where] <= half[label]
    drawn[where[lighter]] = 0
    mask = cv2.compare(labels, 0, cv2.CMP_NE) & 1
    crumbs = _crumbs(mask, where[~lighter], label[~lighter], n, space)
    drawn[crumbs] = 0
    mask.ravel()[crumbs] = 0
    filled = fill_holes(mask).ravel()[inside] > 0
    drawn[inside[filled]] = label[: len(inside)][filled]
    return Outlined(labels, floor, surround, depth)


def surround_contrast(labels: np.ndarray, contrast: np.ndarray, usable: np.ndarray, n: int) -> np.ndarray:
    """Median contrast of the metal round each object, shape (n + 1,); 0 where none is in reach.

    All of it on every second row and column of the picture, over usable pixels 4 to 10 px of the picture from
    the nearest object, which they count for.
    """
    outside = cv2.compare(labels, 0, cv2.CMP_EQ)
    distance, zone = cv2.distanceTransformWithLabels(
        outside, cv2.DIST_L2, cv2.DIST_MASK_5, labelType=cv2.DIST_LABEL_PIXEL
    )
    inside = positions(labels)
    names = np.zeros(len(inside) + 1, np.int32)
    names[zone.ravel()[inside]] = labels.ravel()[inside]
    ring = cv2.inRange(distance, RING_PX[0] / 2, RING_PX[1] / 2) & usable
    where = np.flatnonzero(ring.view(bool))
    owner = names[zone.ravel()[where]]
    values = contrast[np.divmod(where, contrast.shape[1])]
    around = np.nan_to_num(grouped_quantile(owner, values, n))
    shut_in = (np.bincount(owner, minlength=n + 1) < SHUT_IN_PX)[labels.ravel()[inside]]
    if shut_in.any():
        _ask_neighbours(around, labels, contrast, inside[shut_in])
    return around


def _ask_neighbours(around: np.ndarray, labels: np.ndarray, contrast: np.ndarray, inside: np.ndarray) -> None:
    """Take what lies round objects with no metal in reach (a pit in a stain) for metal, in place."""
    label = labels.ravel()[inside]
    order = np.argsort(label, kind="stable")
    starts = np.flatnonzero(np.diff(label[order], prepend=-1))
    margin = int(RING_PX[1] / 2) + 1
    for places in np.split(inside[order], starts[1:]):
        row, col = np.divmod(places, labels.shape[1])
        rows = slice(max(int(row.min()) - margin, 0), int(row.max()) + margin + 1)
        cols = slice(max(int(col.min()) - margin, 0), int(col.max()) + margin + 1)
        number = labels[row[0], col[0]]
        own = (labels[rows, cols] == number).view(np.uint8)
        near = cv2.dilate(own, disc(int(RING_PX[0] / 2)))
        ring = (cv2.dilate(own, disc(int(RING_PX[1] / 2))) & (1 - near)).view(bool)
        if ring.any():
            around[number] = np.median(contrast[rows, cols][ring])


def _floor(
    labels: np.ndarray, contrast: np.ndarray, n: int, inside: np.ndarray, distance: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Median contrast of each object's floor, and the largest distance inside it, both of shape (n + 1,).

    The floor is the object's core: pixels at least `CORE_SHARE` of the way in. Its median is not swayed by
    the darkest pixel, nor by the blurred edge.
    """
    label, inward = labels.ravel()[inside].astype(np.intp), distance.ravel()[inside]
    deepest = np.minimum(grouped_max(label, inward, n), max(labels.shape))
    core = inward >= CORE_SHARE * deepest[label]
    return grouped_quantile(label[core], contrast.ravel()[inside[core]], n), deepest


def edge_width(labels: np.ndarray, contrast: np.ndarray, strength: np.ndarray) -> np.ndarray:
    """Width over which each object's edge shades off, px, shape (n + 1,).

    Contrast of the object over the median steepness along its outline; not-a-number without an outline.
    """
    inside = cv2.compare(labels, 0, cv2.CMP_NE) & 1
    rim = inside & (1 - cv2.erode(inside, disc(1), borderType=cv2.BORDER_CONSTANT, borderValue=1))
    rim[[0, -1], :] = 0
    rim[:, [0, -1]] = 0
    where = np.flatnonzero(rim.view(bool))
    flat, cols = contrast.ravel(), contrast.shape[1]
    steep = 0.5 * np.hypot(flat[where + 1] - flat[where - 1], flat[where + cols] - flat[where - cols])
    median = grouped_quantile(labels.ravel()[where], steep, len(strength) - 1)
    return np.abs(strength) / np.maximum(median, 1e-6)


def _grow(labels: np.ndarray, steps: int) -> np.ndarray:
    """Grow labels outwards pixel by pixel, in place, and return the flat positions gained.

    Steps take the four nearest neighbours and all eight in turn, so that a disc stays nearly round. Pixels in
    the outermost rows and columns do not spread.
    """
    rows, cols = labels.shape
    flat = labels.ravel()
    mask = cv2.compare(labels, 0, cv2.CMP_NE)
    rim = mask & ~cv2.erode(mask, disc(1), borderType=cv2.BORDER_CONSTANT, borderValue=255)
    front = np.flatnonzero(rim.view(bool))
    gained = []
    for step in range(steps):
        row, col = np.divmod(front, cols)
        front = front[(row > 0) & (row < rows - 1) & (col > 0) & (col < cols - 1)]
        reached = []
        for down, right in (*_NEXT, *_DIAGONAL) if step % 2 else _NEXT:
            target = front + (down * cols + right)
            free = flat[target] == 0
            target = target[free]
            flat[target] = flat[front[free]]
            reached.append(target)
        front = np.concatenate(reached)
        gained.append(front)
    return np.concatenate(gained)


def _crumbs(mask: np.ndarray, where: np.ndarray, label: np.ndarray, n: int, space: Workspace) -> np.ndarray:
    """Flat positions of what lies apart from the largest connected part of its label."""
    _, parts = components(mask, space.spare)
    part = parts.ravel()[where]
    one = np.zeros(n + 1, np.int32)
    one[label] = part
    scattered = np.zeros(n + 1, bool)
    scattered[label[part != one[label]]] = True
    doubtful = np.flatnonzero(scattered[label])
    pairs, group, size = np.unique(
        np.stack([label[doubtful], part[doubtful]]), axis=1, return_inverse=True, return_counts=True
    )
    order = np.argsort(size, kind="stable")
    largest = np.zeros(n + 1, np.intp)
    largest[pairs[0, order]] = order
    return where[doubtful[largest[label[doubtful]] != group.ravel()]]

"""Shape decides: scratches are taken off pits, and touching pits are parted."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import cv2
import numpy as np

from surfscan.segmentation.grouped import Workspace, components, distance_inside, grouped_max
from surfscan.segmentation.touching import part_touching

_OPENINGS_PX = (1, 2, 3, 5, 8, 12)
_REACH = 3.0
_MIN_REACH_PX = 7.0
_LONG_REACH_PX = 20.0
_SLENDER_RATIO = 3.5
_UNCOMPACT_AREA = 1.25
_UNCOMPACT_EXTENT = 1.45
_SLANT_FILL = 0.55
_SMALLEST_PX = 12


def part_shapes(mask: np.ndarray, space: Workspace) -> tuple[np.ndarray, np.ndarray]:
    """Part a mask of dark objects into pits and crack-like features.

    Parameters
    ----------
    mask : ndarray of shape (M, N), uint8, 0 or 1
        Changed in place: crack-like features are taken out of it.
    space : Workspace
        Its whole-number buffer becomes `pits`; its real buffer is written over with the distance of every
        pixel inside an object to the nearest outside.

    Returns
    -------
    pits : ndarray of shape (M, N), int32
        Labels; touching pits carry labels of their own. A number whose object was a crack has no pixels.
    cracks : ndarray of shape (M, N), uint8
        1 where a crack-like feature lies: an arm that reaches far out from what is thicker, or an object that
        is itself long and thin.
    """
    labels, boxes, area, radius = _survey(mask, space)
    cracks = np.zeros_like(mask)
    height, width = boxes[:, 1] - boxes[:, 0], boxes[:, 3] - boxes[:, 2]
    least = 2 * radius + np.maximum(np.minimum(2 * radius, _LONG_REACH_PX), _MIN_REACH_PX) + 1
    slanting = (np.hypot(height, width) > least) & (area < _SLANT_FILL * height * width)
    long = ((np.maximum(height, width) > least) | slanting) & (area >= _SMALLEST_PX)
    extra: list[tuple[int, int, int, int, int, float]] = []
    n = len(area) - 1
    for number in np.flatnonzero(long).tolist():
        r0, r1, c0, c1 = boxes[number].tolist()
        window = (slice(r0, r1), slice(c0, c1))
        part = (labels[window] == number).astype(np.uint8)
        thin = _crack_like(part)
        if not thin.any():
            continue
        cracks[window] |= thin
        mask[window] &= 1 - thin
        labels[window][part > 0] = 0
        area[number] = 0
        _, pieces, stats, _ = cv2.connectedComponentsWithStats(part & (1 - thin), connectivity=8)
        for k, (left, top, w, h, size) in enumerate(stats[1:].tolist(), start=1):
            piece = (pieces == k).view(np.uint8)
            extra.append((r0 + top, r0 + top + h, c0 + left, c0 + left + w, size, _inscribed(piece)))
            labels[window][piece > 0] = n + len(extra)
    if extra:
        new = np.array(extra)
        boxes = np.concatenate([boxes, new[:, :4].astype(np.int64)])
        area, radius = np.concatenate([area, new[:, 4]]), np.concatenate([radius, np.maximum(new[:, 5], 0.5)])
    extent = np.maximum(boxes[:, 1] - boxes[:, 0], boxes[:, 3] - boxes[:, 2])
    uncompact = (area > _UNCOMPACT_AREA * np.pi * radius**2) | (extent > _UNCOMPACT_EXTENT * 2 * radius)
    part_touching(labels, np.flatnonzero(uncompact & (area >= _SMALLEST_PX)), boxes, n + len(extra))
    return labels, cracks


def _survey(mask: np.ndarray, space: Workspace) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Labels, bounding boxes (n + 1, 4), areas and largest inscribed radii (n + 1,); label 0 has area 0."""
    with ThreadPoolExecutor(1) as beside:
        inward = beside.submit(cv2.distanceTransform, mask, cv2.DIST_L2, cv2.DIST_MASK_5, space.real)
        n, labels, stats, _ = cv2.connectedComponentsWithStats(
            mask, space.whole, connectivity=8, ltype=cv2.CV_32S
        )
        distance = inward.result()
    where = np.flatnonzero(mask.view(bool))
    radius = grouped_max(labels.ravel()[where], distance.ravel()[where], n - 1)
    left, top, width, height, area = stats.T.astype(np.int64)
    area[0] = 0
    radius = np.clip(radius, 0.5, max(mask.shape))  # unbounded where a single object fills the picture
    return labels, np.stack([top, top + height, left, left + width], axis=1), area, radius


def _inscribed(part: np.ndarray) -> float:
    """Radius of the largest disc inside one object that may touch the window's edge, px."""
    padded = cv2.copyMakeBorder(part, 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=0)
    return float(distance_inside(padded).max())


def _crack_like(part: np.ndarray) -> np.ndarray:
    """Crack-like share of one object, as a mask of the same shape.

    Openings of growing radius: what an opening removes and what reaches out from the rest further than three
    times that radius, and further than the object is thick, is an arm; for a bump on a pit reaches out no
    further than it is wide. What is left and covers as much as a band 3.5 times longer than wide is a crack.
    """
    padded = cv2.copyMakeBorder(part, 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=0)
    body, thin = padded.copy(), np.zeros_like(padded)
    thickest = float(distance_inside(body).max())
    for radius in _OPENINGS_PX:
        if radius >= thickest:
            break
        element = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * radius + 1, 2 * radius + 1))
        core = cv2.morphologyEx(body, cv2.MORPH_OPEN, element)
        rest = body & (1 - core)
        if not rest.any():
            continue
        away = cv2.distanceTransform(1 - core, cv2.DIST_L2, cv2.DIST_MASK_5)
        count, pieces = components(rest)
        reach = grouped_max(pieces[rest > 0], away[rest > 0], count)
        beside = cv2.dilate(core, np.ones((3, 3), np.uint8)) > 0
        attached = np.bincount(pieces[beside], minlength=count + 1) > 0
        far = attached & (reach > max(_MIN_REACH_PX, _REACH * radius, min(2 * thickest, _LONG_REACH_PX)))
        far[0] = False
        arm = far[pieces].view(np.uint8)
        thin |= arm
        body &= 1 - arm
    count, pieces = components(body)
    for piece in range(1, count + 1):
        whole = (pieces == piece).view(np.uint8)
        width = 2 * float(distance_inside(whole).max())
        if np.count_nonzero(whole) > _SLENDER_RATIO * width**2:
            thin |= whole
    return thin[1:-1, 1:-1]

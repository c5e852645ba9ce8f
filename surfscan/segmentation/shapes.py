"""Shape decides: scratches taken off pits, touching pits parted, holes in outlines closed.

Only objects whose outline is not already compact are looked at one by one.
"""

from __future__ import annotations

from collections.abc import Iterator

import cv2
import numpy as np

from surfscan.segmentation.grouped import components, distance_inside, grouped_max

_OPENINGS_PX = (1, 2, 3, 5, 8, 12)
_REACH = 3.0
_MIN_REACH_PX = 7.0
_LONG_REACH_PX = 20.0
_SLENDER_RATIO = 3.5
_SLENDER = 1.25
_LONG = 1.35
_NECK = 0.91
_MIN_DIP_PX = 0.25
_FINE = 3
_FINE_BELOW_PX = 10_000


def bounding_boxes(labels: np.ndarray, n: int) -> np.ndarray:
    """Bounding boxes of all labels, shape (n + 1, 4): first row, end row, first column, end column."""
    where = np.flatnonzero(labels)
    label = labels.ravel()[where]
    row, col = (where // labels.shape[1]).astype(np.int32), (where % labels.shape[1]).astype(np.int32)
    box = np.zeros((n + 1, 4), np.int32)
    low = np.iinfo(np.int32).max
    box[:, (0, 2)] = low
    for axis, place in ((0, row), (2, col)):
        np.minimum.at(box[:, axis], label, place)
        np.maximum.at(box[:, axis + 1], label, place + 1)
    box[box[:, 0] == low] = 0
    return box


def part_shapes(mask: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Part a mask of dark objects into pits and crack-like features.

    Parameters
    ----------
    mask : ndarray of shape (M, N), uint8, 0 or 1

    Returns
    -------
    pits, cracks : ndarray of shape (M, N), int32
        Labels 1 to n of each kind. A crack-like feature reaches out from what is thicker, or is itself long
        and thin; touching pits carry labels of their own.
    """
    n, labels = components(mask)
    cracks = np.zeros_like(labels)
    next_label, next_crack = n + 1, 1
    for number, window in _uncompact(labels, n):
        part = (labels[window] == number).astype(np.uint8)
        inside = cv2.copyMakeBorder(part, 1, 1, 1, 1, cv2.BORDER_REPLICATE)
        body, thin = _take_off_cracks(inside)
        body, thin = body[1:-1, 1:-1], thin[1:-1, 1:-1]
        labels[window][part > 0] = 0
        count, pieces = components(body)
        for piece in range(1, count + 1):
            whole = pieces == piece
            if is_slender(whole):
                thin[whole] = 1
                continue
            split = _part_touching(whole)
            for k in range(1, int(split.max()) + 1):
                labels[window][split == k] = next_label
                next_label += 1
        count, pieces = components(thin)
        cracks[window][thin > 0] = pieces[thin > 0] + next_crack - 1
        next_crack += count
    return _renumber(labels), cracks


def _uncompact(labels: np.ndarray, n: int) -> Iterator[tuple[int, tuple[slice, slice]]]:
    """Objects that are not one compact blob, each with its window."""
    distance = distance_inside(labels > 0)
    where = np.flatnonzero(labels)
    label = labels.ravel()[where]
    area = np.bincount(label, minlength=n + 1)
    radius = np.maximum(grouped_max(label, distance.ravel()[where], n), 0.5)
    box = bounding_boxes(labels, n)
    extent = np.maximum(box[:, 1] - box[:, 0], box[:, 3] - box[:, 2])
    odd = (area > _SLENDER * np.pi * radius**2) | (extent > _LONG * 2 * radius)
    odd &= area >= 12
    odd[0] = False
    for number in np.flatnonzero(odd):
        r0, r1, c0, c1 = box[number]
        yield int(number), (slice(r0, r1), slice(c0, c1))


def _take_off_cracks(part: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Body and crack-like arms of one object.

    Openings of growing radius: what an opening removes and what reaches out from the rest further than
    three times that radius is an arm, for a bump on a pit reaches out no further than it is wide.
    """
    body, arms = part.copy(), np.zeros_like(part)
    thickest = float(distance_inside(body).max())
    for radius in _OPENINGS_PX:
        if radius >= thickest:
            break
        element = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * radius + 1, 2 * radius + 1))
        core = cv2.morphologyEx(body, cv2.MORPH_OPEN, element)
        rest = body & (1 - core)
        if not rest.any():
            continue
        away = cv2.distanceTransform(1 - core, cv2.DIST_L2, 5)
        count, pieces = components(rest)
        reach = grouped_max(pieces[rest > 0], away[rest > 0], count)
        beside = cv2.dilate(core, np.ones((3, 3), np.uint8)) > 0
        attached = np.bincount(pieces[beside], minlength=count + 1) > 0
        far = attached & (reach > max(_MIN_REACH_PX, _REACH * radius, min(2 * thickest, _LONG_REACH_PX)))
        far[0] = False
        arm = far[pieces].astype(np.uint8)
        arms |= arm
        body &= 1 - arm
    return body, arms


def is_slender(part: np.ndarray) -> bool:
    """Whether an object covers as much as a band more than four times longer than wide."""
    inside = cv2.copyMakeBorder(part.astype(np.uint8), 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=0)
    width = 2 * float(distance_inside(inside).max())
    return bool(np.count_nonzero(part) > _SLENDER_RATIO * width**2)


def _part_touching(body: np.ndarray) -> np.ndarray:
    """Labels of the pits in one body: one per peak of the distance from the outline that a neck sets apart.

    The border between two pits is where the powers with respect to their inscribed circles are equal: the
    line through the points where two circles cross.
    """
    body = body.astype(np.uint8)
    fine = _FINE if body.size < _FINE_BELOW_PX else 1
    padded = cv2.copyMakeBorder(body, 2, 2, 2, 2, cv2.BORDER_CONSTANT, value=0)
    smooth = padded
    if fine > 1:
        size = (padded.shape[1] * fine, padded.shape[0] * fine)
        smooth = (cv2.resize(padded * 255.0, size, interpolation=cv2.INTER_CUBIC) > 127.5).astype(np.uint8)
    peaks = _peaks(distance_inside(smooth), fine)
    if len(peaks) < 2:
        return body.astype(np.int32)
    peaks = peaks / fine
    peaks[:, :2] += 0.5 / fine - 0.5
    row, col = np.nonzero(padded)
    power = (row[:, None] - peaks[:, 0]) ** 2 + (col[:, None] - peaks[:, 1]) ** 2 - peaks[:, 2] ** 2
    out = np.zeros(padded.shape, np.int32)
    out[row, col] = 1 + np.argmin(power, axis=1)
    return out[2:-2, 2:-2]


def _peaks(distance: np.ndarray, fine: int) -> np.ndarray:
    """Peaks of the distance that necks set apart, shape (k, 3): row, column, height; highest first."""
    top = (distance >= cv2.dilate(distance, np.ones((3, 3), np.uint8))) & (distance > 1)
    count, plateau = components(top)
    row, col = np.nonzero(top)
    name = plateau[row, col]
    size = np.maximum(np.bincount(name, minlength=count + 1), 1)
    centre = (
        np.stack([np.bincount(name, row, count + 1), np.bincount(name, col, count + 1)], axis=1)
        / size[:, None]
    )
    height = grouped_max(name, distance[row, col], count)
    order = np.argsort(-height[1:], kind="stable") + 1
    kept: list[tuple[float, float, float]] = []
    for peak in order:
        r, c, h = centre[peak, 0], centre[peak, 1], float(height[peak])
        if all(_necked(distance, (r, c), (q[0], q[1]), h, fine) for q in kept):
            kept.append((r, c, h))
    return np.array(kept).reshape(-1, 3)


def _necked(
    distance: np.ndarray, low: tuple[float, float], high: tuple[float, float], height: float, fine: int
) -> bool:
    """Whether the way from the lower to the higher peak passes a neck clearly narrower than the lower one."""
    steps = max(2, int(np.hypot(low[0] - high[0], low[1] - high[1])) + 1)
    row = np.rint(np.linspace(low[0], high[0], steps)).astype(int)
    col = np.rint(np.linspace(low[1], high[1], steps)).astype(int)
    neck = float(distance[row, col].min())
    return neck < _NECK * height and height - neck > _MIN_DIP_PX * fine


def _renumber(labels: np.ndarray) -> np.ndarray:
    """The same objects numbered 1 to n in the order of their old numbers."""
    used = np.unique(labels)
    if used.size and used[0] == 0:
        used = used[1:]
    names = np.zeros(int(labels.max()) + 1, np.int32)
    names[used] = np.arange(1, len(used) + 1)
    return names[labels]

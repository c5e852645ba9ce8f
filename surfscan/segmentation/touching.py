"""Touching pits: parted where a neck sets their inscribed circles apart.

Objects are laid side by side on one sheet, so that a distance transform, a search for its peaks and the
tests of all necks run once for thousands of objects.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from surfscan.segmentation.grouped import components, grouped_max

_NECK = 0.915
_MIN_DIP_PX = 0.25
_FINE = 3
_FINE_BELOW_PX = 1_500
_SHEET_WIDTH = 1024
_SHEET_PX = 600_000
_MARGIN = 2
_NECK_SAMPLES = 48
_MOST_PEAKS = 24


@dataclass(frozen=True)
class _Sheet:
    """Objects laid out side by side.

    Attributes
    ----------
    mask : ndarray, uint8
        1 inside an object.
    place : ndarray, int32
        Number of the object, counted from 1, whose window covers a pixel; 0 between windows.
    shift : ndarray of shape (k, 2)
        What to add to sheet rows and columns to get those of the picture.
    """

    mask: np.ndarray
    place: np.ndarray
    shift: np.ndarray


def part_touching(labels: np.ndarray, numbers: np.ndarray, boxes: np.ndarray, n: int) -> int:
    """Give touching pits labels of their own, in place.

    Peaks of the distance from the outline are taken from the highest down; one counts as a pit if on the
    straight way to every pit already taken the distance falls below 0.915 of the lower peak, and by 0.25 px
    or more. The border between two pits lies where the powers with respect to their inscribed circles are
    equal: on the line through the points where two circles cross.

    Parameters
    ----------
    labels : ndarray of shape (M, N), int32
        Labels 1 to n; changed in place.
    numbers : ndarray of shape (k,), int
        Labels to look at.
    boxes : ndarray of shape (n + 1, 4), int
        First row, end row, first column and end column of every label.
    n : int
        Largest label in use.

    Returns
    -------
    int
        Largest label in use afterwards.
    """
    size = np.prod(boxes[numbers][:, (1, 3)] - boxes[numbers][:, (0, 2)] + 2 * _MARGIN, axis=1)
    for small, fine in ((True, _FINE), (False, 1)):
        chosen = numbers[(size < _FINE_BELOW_PX) == small]
        area = size[(size < _FINE_BELOW_PX) == small]
        batch = np.cumsum(area) // _SHEET_PX
        for b in np.unique(batch):
            n = _part_batch(labels, chosen[batch == b], boxes, fine, n)
    return n


def _part_batch(labels: np.ndarray, numbers: np.ndarray, boxes: np.ndarray, fine: int, n: int) -> int:
    sheet = _lay_out(labels, numbers, boxes)
    smooth = sheet.mask
    if fine > 1:
        size = (smooth.shape[1] * fine, smooth.shape[0] * fine)
        smooth = cv2.compare(cv2.resize(smooth * 255, size, interpolation=cv2.INTER_CUBIC), 127, cv2.CMP_GT)
    distance = cv2.distanceTransform(smooth, cv2.DIST_L2, cv2.DIST_MASK_5)
    centre, count = _peaks(distance, sheet.place, len(numbers), fine)
    several = np.flatnonzero(count > 1)
    if several.size == 0:
        return n
    row, col = np.nonzero(sheet.mask & (np.isin(sheet.place, several + 1)))
    of = sheet.place[row, col] - 1
    power = (row[:, None] - centre[of, :, 0]) ** 2 + (col[:, None] - centre[of, :, 1]) ** 2
    power = np.where(np.arange(centre.shape[1]) < count[of, None], power - centre[of, :, 2] ** 2, np.inf)
    piece = np.argmin(power, axis=1)
    first_new = n + np.cumsum(np.maximum(count - 1, 0)) - np.maximum(count - 1, 0)
    name = np.where(piece == 0, numbers[of], first_new[of] + piece)
    labels[row + sheet.shift[of, 0], col + sheet.shift[of, 1]] = name
    return n + int(np.maximum(count - 1, 0).sum())


def _lay_out(labels: np.ndarray, numbers: np.ndarray, boxes: np.ndarray) -> _Sheet:
    """Cut the objects out and lay them in rows on a sheet, tallest first."""
    box = boxes[numbers]
    height, width = box[:, 1] - box[:, 0] + 2 * _MARGIN, box[:, 3] - box[:, 2] + 2 * _MARGIN
    sheet_width = max(_SHEET_WIDTH, int(width.max()))
    top, left = np.zeros(len(numbers), int), np.zeros(len(numbers), int)
    r = c = tallest = 0
    for k in np.argsort(-height, kind="stable"):
        if c + width[k] > sheet_width:
            r, c, tallest = r + tallest, 0, 0
        top[k], left[k] = r, c
        c += int(width[k])
        tallest = max(tallest, int(height[k]))
    mask = np.zeros((r + tallest, sheet_width), np.uint8)
    place = np.zeros(mask.shape, np.int32)
    for k, number in enumerate(numbers.tolist()):
        r0, r1, c0, c1 = box[k].tolist()
        y, x = int(top[k]) + _MARGIN, int(left[k]) + _MARGIN
        np.equal(labels[r0:r1, c0:c1], number, out=mask[y : y + r1 - r0, x : x + c1 - c0].view(bool))
        place[top[k] : top[k] + height[k], left[k] : left[k] + width[k]] = k + 1
    shift = np.stack([box[:, 0] - top - _MARGIN, box[:, 2] - left - _MARGIN], axis=1)
    return _Sheet(mask, place, shift)


def _peaks(distance: np.ndarray, place: np.ndarray, k: int, fine: int) -> tuple[np.ndarray, np.ndarray]:
    """Pits of every object: centres and radii in sheet pixels, shape (k, most, 3), and their number (k,)."""
    top = (distance >= cv2.dilate(distance, np.ones((3, 3), np.uint8))) & (distance > fine)
    plateaus, plateau = components(top)
    row, col = np.nonzero(top)
    name = plateau[row, col]
    size = np.maximum(np.bincount(name, minlength=plateaus + 1), 1)[1:]
    y, x = np.bincount(name, row, plateaus + 1)[1:] / size, np.bincount(name, col, plateaus + 1)[1:] / size
    height = grouped_max(name, distance[row, col], plateaus)[1:].astype(np.float64)
    owner = place[(y / fine).astype(int), (x / fine).astype(int)] - 1
    order = np.lexsort((x, y, -height, owner))
    y, x, height, owner = y[order], x[order], height[order], owner[order]
    rank = np.arange(len(owner)) - np.searchsorted(owner, owner)
    taken = np.zeros((k, _MOST_PEAKS, 3))
    count = np.zeros(k, int)
    for step in range(min(int(rank.max(initial=-1)) + 1, 4 * _MOST_PEAKS)):
        new = np.flatnonzero(rank == step)
        apart = count[owner[new]] < _MOST_PEAKS
        for j in range(int(count.max(initial=0))):
            test = np.flatnonzero(apart & (count[owner[new]] > j))
            p = new[test]
            apart[test] = _necked(distance, y[p], x[p], height[p], taken[owner[p], j], fine)
        new = new[apart]
        taken[owner[new], count[owner[new]]] = np.stack([y[new], x[new], height[new]], axis=1)
        count[owner[new]] += 1
    taken /= fine
    taken[:, :, :2] += 0.5 / fine - 0.5
    return taken[:, : max(1, int(count.max(initial=1)))], count


def _necked(
    distance: np.ndarray, y: np.ndarray, x: np.ndarray, height: np.ndarray, higher: np.ndarray, fine: int
) -> np.ndarray:
    """Whether the straight way from each peak to a higher one passes a clearly narrower neck."""
    share = np.linspace(0, 1, _NECK_SAMPLES)
    row = np.rint(y[:, None] + share * (higher[:, :1] - y[:, None])).astype(int)
    col = np.rint(x[:, None] + share * (higher[:, 1:2] - x[:, None])).astype(int)
    neck = distance[row, col].min(axis=1)
    return np.asarray((neck < _NECK * height) & (height - neck > _MIN_DIP_PX * fine))

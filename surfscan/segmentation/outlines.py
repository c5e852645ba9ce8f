"""Outlines at half contrast: each dark object against its own surroundings, no global threshold."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import cv2
import numpy as np

from surfscan.preparation.noise import SpreadMap
from surfscan.segmentation.grouped import Workspace, components, grouped_max, grouped_quantile, positions

CORE_SHARE = 0.5
"""The floor is where the distance to the outline is at least this share of the largest such distance."""

LOW_SHARE = 0.45
"""Candidates are darker than this share of the limit that they must somewhere pass."""

_MIN_SEED_PX = 4
_PASSES_AT_LAST = 3
_SWELLING = 4.0
_SWELLING_PX = 60
_SHUT_IN_PX = 12
_FIRST_LEVEL = 0.22
_BAND_ROWS = 128
_LEVEL_STEP = 1.7
_FLOOR_QUANTILE = 0.6
_FLOOR_SHARE = 0.8
_HOLE_SHARE = 0.5
_CORE_AREA_SHARE = 0.2
_SKIRT_PX = 3
_GROWTH_PX = 2
_CURVATURE = 1 / (2 * np.sqrt(2 * np.pi))
_RING_PX = (4, 10)
_NEXT = ((0, 1), (0, -1), (1, 0), (-1, 0))
_DIAGONAL = ((1, 1), (1, -1), (-1, 1), (-1, -1))
_LEAST_SHARE = 0.46


def disc(radius: int) -> np.ndarray:
    """Structuring element: a disc of whole-pixel radius."""
    side = 2 * radius + 1
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side)))


@dataclass(frozen=True)
class Passed:
    """Which pixels pass which share of the contrast that an object must pass; all of shape (M, N), uint8.

    Attributes
    ----------
    candidate, floor, seed : ndarray
        255 where the contrast is above `LOW_SHARE` of it, above 0.8 of it, above it.
    lowest : float
        Smallest contrast of a candidate.
    """

    candidate: np.ndarray
    floor: np.ndarray
    seed: np.ndarray
    lowest: float


def passed(
    contrast: np.ndarray, spread: SpreadMap, *, min_contrast: float, min_contrast_to_noise: float
) -> Passed:
    """Compare contrast with what an object must pass: both a contrast and a multiple of the local spread.

    Parameters
    ----------
    contrast : ndarray of shape (M, N), float32
        1 minus grey over metal level, smoothed to the working resolution.
    spread : SpreadMap
        Its local spread.
    min_contrast : float
    min_contrast_to_noise : float

    Returns
    -------
    Passed
    """
    candidate, floor, seed = (np.empty(contrast.shape, np.uint8) for _ in range(3))
    lowest = np.inf
    for first in range(0, contrast.shape[0], _BAND_ROWS):
        rows = slice(first, min(first + _BAND_ROWS, contrast.shape[0]))
        limit = spread.rows(rows.start, rows.stop)
        limit *= np.float32(min_contrast_to_noise)
        np.maximum(limit, np.float32(min_contrast), out=limit)
        lowest = min(lowest, LOW_SHARE * float(limit.min()))
        for target, share in ((candidate, LOW_SHARE), (floor, _FLOOR_SHARE), (seed, 1.0)):
            cv2.compare(contrast[rows], limit * np.float32(share), cv2.CMP_GT, dst=target[rows])
    return Passed(candidate, floor, seed, lowest)


def dark_objects(
    contrast: np.ndarray, passed: Passed, valid: np.ndarray | None = None, *, space: Workspace
) -> np.ndarray:
    """Find dark objects, the darkest first, each cut at half its own contrast.

    At falling levels, each the one before over 1.7, connected parts darker than the level are judged: one
    whose floor is at least twice the level is cut at half its floor and set aside with its blurred skirt; the
    others wait for the next level. So a faint object, a scratch or a shaded area that a pit hangs together
    with at a low level does not lower the level at which the pit is outlined. A part that at the next level
    has swollen to many times its area is taken by itself. An object must somewhere pass the limit, and a good
    share of it must come near it.

    Parameters
    ----------
    contrast : ndarray of shape (M, N), float32
        1 minus grey over metal level, smoothed to the working resolution.
    passed : Passed
        Where it passes what an object must pass.
    valid : ndarray of shape (M, N), bool, optional
        The specimen region; everything where not given.
    space : Workspace
        Its whole-number buffer is written over.

    Returns
    -------
    ndarray of shape (M, N), uint8
        1 inside an object.
    """
    flat, seed, dark_enough = contrast.ravel(), passed.seed.ravel(), passed.floor.ravel()
    lowest = passed.lowest
    steps = int(np.ceil(np.log(_FIRST_LEVEL / lowest) / np.log(_LEVEL_STEP))) if lowest < _FIRST_LEVEL else 0
    levels: list[float | None] = [*(_FIRST_LEVEL / _LEVEL_STEP ** np.arange(steps)).tolist()]
    levels += [None] * _PASSES_AT_LAST
    found = np.zeros(contrast.shape, np.uint8)
    open_field = np.full(contrast.shape, 255, np.uint8) if valid is None else valid.astype(np.uint8) * 255
    waiting = _Waiting.none()
    for level in levels:
        above = passed.candidate if level is None else cv2.compare(contrast, level, cv2.CMP_GT)
        dark = above & open_field
        n, labels = components(dark, space.whole)
        where = np.flatnonzero(dark.view(bool))
        label = labels.ravel()[where].astype(np.intp)
        seeded = np.bincount(label, seed[where] > 0, n + 1) >= _MIN_SEED_PX
        some = seeded[label]
        where, label = where[some], label[some]
        value = flat[where]
        floor = grouped_quantile(label, value, n, _FLOOR_QUANTILE)
        area = np.bincount(label, minlength=n + 1)
        darker = np.bincount(label, dark_enough[where] > 0, n + 1)
        shoulder, peaks = waiting.on_shoulders(labels, area, floor, flat, lowest / LOW_SHARE)
        ripe = seeded & (darker >= (1 - _FLOOR_QUANTILE) * area) & ~shoulder
        if level is not None:
            ripe &= floor >= 2 * level
        keep = ripe[label] & (value > 0.5 * floor[label])
        found.ravel()[where[keep]] = 1
        found.ravel()[peaks] = 1
        if level is None and not peaks.size:
            break
        if keep.any() or peaks.size:
            open_field &= cv2.compare(cv2.dilate(found, disc(_SKIRT_PX)), 0, cv2.CMP_EQ)
        left = (seeded & ~ripe & ~shoulder)[label]
        waiting = _Waiting(where[left], label[left], floor, n)
    return fill_holes(found)


class _Waiting:
    """Parts of one level that were not dark enough for it, and what becomes of them at the next.

    A part that has swollen to many times its area stands on the shoulder of something fainter, such as a pit
    in a stain: it is taken by itself, halfway between its floor and the shoulder.
    """

    def __init__(self, where: np.ndarray, label: np.ndarray, floor: np.ndarray, n: int) -> None:
        self._where, self._label, self._floor = where, label, floor
        self._area = np.bincount(label, minlength=n + 1)
        self._one = np.zeros(n + 1, np.intp)
        self._one[label] = where

    @classmethod
    def none(cls) -> _Waiting:
        empty = np.empty(0, np.intp)
        return cls(empty, empty, np.zeros(1), 0)

    def on_shoulders(
        self, labels: np.ndarray, area: np.ndarray, floor: np.ndarray, flat: np.ndarray, least: float
    ) -> tuple[np.ndarray, np.ndarray]:
        """Which parts of the next level are shoulders, and the flat positions of what stands on them."""
        parent = labels.ravel()[self._one]
        parent[self._area == 0] = 0
        carried = np.bincount(parent, self._area, len(area))
        carried[0] = 0
        swollen = (carried > 0) & (area > _SWELLING * carried + _SWELLING_PX)
        stands = swollen[parent] & (self._floor - np.nan_to_num(floor[parent]) > least) & (parent > 0)
        shoulder = np.zeros(len(area), bool)
        shoulder[parent[stands]] = True
        mine = stands[self._label]
        where, label = self._where[mine], self._label[mine]
        half = 0.5 * (self._floor + np.nan_to_num(floor[parent]))
        return shoulder, where[flat[where] > half[label]]


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
        Both its buffers are written over.

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
        floor, _ = _floor(labels, contrast, n, inside, distance)
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
    inside = np.flatnonzero(mask.view(bool) & cv2.compare(labels, 0, cv2.CMP_NE).view(bool))
    cv2.distanceTransform(mask, cv2.DIST_L2, cv2.DIST_MASK_5, space.real)
    floor, depth = _floor(labels, contrast, n, inside, space.real)
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
    ring = cv2.inRange(distance, _RING_PX[0] / 2, _RING_PX[1] / 2) & usable
    where = np.flatnonzero(ring.view(bool))
    owner = names[zone.ravel()[where]]
    values = contrast[np.divmod(where, contrast.shape[1])]
    around = np.nan_to_num(grouped_quantile(owner, values, n))
    shut_in = (np.bincount(owner, minlength=n + 1) < _SHUT_IN_PX)[labels.ravel()[inside]]
    if shut_in.any():
        _ask_neighbours(around, labels, contrast, inside[shut_in])
    return around


def _ask_neighbours(around: np.ndarray, labels: np.ndarray, contrast: np.ndarray, inside: np.ndarray) -> None:
    """Take what lies round objects with no metal in reach (a pit in a stain) for metal, in place."""
    label = labels.ravel()[inside]
    order = np.argsort(label, kind="stable")
    starts = np.flatnonzero(np.diff(label[order], prepend=-1))
    margin = int(_RING_PX[1] / 2) + 1
    for places in np.split(inside[order], starts[1:]):
        row, col = np.divmod(places, labels.shape[1])
        rows = slice(max(int(row.min()) - margin, 0), int(row.max()) + margin + 1)
        cols = slice(max(int(col.min()) - margin, 0), int(col.max()) + margin + 1)
        number = labels[row[0], col[0]]
        own = (labels[rows, cols] == number).view(np.uint8)
        near = cv2.dilate(own, disc(int(_RING_PX[0] / 2)))
        ring = (cv2.dilate(own, disc(int(_RING_PX[1] / 2))) & (1 - near)).view(bool)
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
    _, parts = components(mask, space.whole)
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

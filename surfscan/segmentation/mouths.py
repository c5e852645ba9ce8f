"""Mouths of pits on a height map: where the wall, followed upwards, meets the surface round about."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from surfscan.segmentation.basins import Basins

_LARGEST_STEP = 0.35
_BEND = 0.5


@dataclass(frozen=True)
class Mouths:
    """Outlines drawn.

    Attributes
    ----------
    labels : ndarray of shape (M, N), int32
        1 to n, in the order of the basins; a label may have no pixels.
    level_um : ndarray of shape (n,), float64
        Depth at which each outline was taken before it was followed up the wall.
    """

    labels: np.ndarray
    level_um: np.ndarray


def draw_mouths(depth: np.ndarray, where: np.ndarray, basins: Basins, level: np.ndarray) -> Mouths:
    """Outline every basin at its mouth.

    The pit is cut at `level`, well above the roughness, and once more at twice that. From one to the other
    the outline steps inwards; it is taken to step outwards as much again up to the surface (a straight wall
    does exactly that, a vertical one not at all, a bowl nearly so). The outline is moved out by that step: so
    many pixels are added as it takes, nearest first, deeper before shallower.

    Parameters
    ----------
    depth : ndarray of shape (M, N), float32
        Below the local reference, without not-a-number.
    where : ndarray of shape (p,), int
        Flat positions of the foreground.
    basins : Basins
        Of these.
    level : ndarray of shape (n,)
        Depth at which each basin is cut.

    Returns
    -------
    Mouths
    """
    n = len(basins.peak)
    labels = np.zeros(depth.shape, np.int32)
    d = depth.reshape(-1)[where]
    own = level[basins.of]
    inside = (d > own) & (basins.joined_at > own)
    labels.reshape(-1)[where[inside]] = basins.of[inside] + 1
    radius = []
    for times in (1, 2, 3):
        above = (d > times * own) & (basins.joined_at > times * own)
        radius.append(np.sqrt(np.bincount(basins.of[above], minlength=n) / np.pi))
    step = (radius[0] - radius[1]) + _BEND * (radius[0] - 2 * radius[1] + radius[2])
    fill_holes(labels)
    at = np.flatnonzero(labels)
    low = np.bincount(labels.reshape(-1)[at], minlength=n + 1)[1:]
    r_low = np.sqrt(low / np.pi)
    step = np.clip(step, 0, _LARGEST_STEP * r_low + 0.5)
    _grow(labels, depth, step, np.rint(np.pi * ((r_low + step) ** 2)).astype(np.int64) - low, level)
    fill_holes(labels)
    return Mouths(labels, level)


def _grow(
    labels: np.ndarray, depth: np.ndarray, step: np.ndarray, extra: np.ndarray, level: np.ndarray
) -> None:
    """Give each label as many more pixels as asked, nearest first, in place."""
    if not len(step) or step.max() <= 0:
        return
    distance, nearest = cv2.distanceTransformWithLabels(
        (labels == 0).view(np.uint8), cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
    )
    reach = float(step.max()) + 1.5
    band = np.flatnonzero((distance > 0) & (distance <= reach))
    owner_of = np.zeros(int(nearest.max()) + 1, np.int32)
    inside = np.flatnonzero(labels)
    owner_of[nearest.reshape(-1)[inside]] = labels.reshape(-1)[inside]
    owner = owner_of[nearest.reshape(-1)[band]] - 1
    away = distance.reshape(-1)[band]
    near = away <= step[owner] + 1.5
    band, owner, away = band[near], owner[near], away[near]
    slope = level[owner] / np.maximum(step[owner], 0.3)
    height = 1 - np.clip(depth.reshape(-1)[band] / level[owner], -1, 1)
    order = np.lexsort((away + height * level[owner] / slope, owner))
    band, owner = band[order], owner[order]
    start = np.searchsorted(owner, np.arange(len(step)))
    rank = np.arange(len(owner)) - start[owner]
    taken = rank < extra[owner]
    labels.reshape(-1)[band[taken]] = owner[taken] + 1


def fill_holes(labels: np.ndarray) -> None:
    """Fill what lies wholly inside one label and is no larger than a quarter of it, in place."""
    outside = cv2.compare(labels, 0, cv2.CMP_EQ)
    n, parts, stats, _ = cv2.connectedComponentsWithStats(outside, connectivity=4, ltype=cv2.CV_32S)
    if n <= 2:
        return
    left, top, width, height, area = stats.T
    touches = (left == 0) | (top == 0)
    touches |= (left + width == labels.shape[1]) | (top + height == labels.shape[0])
    small = ~touches
    small[0] = False
    sizes = np.bincount(labels.reshape(-1))
    for k in np.flatnonzero(small).tolist():
        window = (
            slice(top[k] - 1, top[k] + height[k] + 1),
            slice(left[k] - 1, left[k] + width[k] + 1),
        )
        hole = (parts[window] == k).view(np.uint8)
        ring = labels[window][(cv2.dilate(hole, np.ones((3, 3), np.uint8)) > 0) & (hole == 0)]
        ring = ring[ring > 0]
        if ring.size and (ring == ring[0]).all() and area[k] <= 0.25 * sizes[ring[0]]:
            labels[window][hole > 0] = ring[0]

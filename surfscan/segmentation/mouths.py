"""Mouths of pits on a height map: where the wall, followed upwards, meets the surface round about."""

from __future__ import annotations

import math
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import cv2
import numpy as np

from surfscan.segmentation.basins import Basins
from surfscan.segmentation.grouped import positions

_CORE_SHARE = 0.6
_BEND = 0.5
_FAINT, _DISTINCT = 3.0, 8.0
_LARGEST_STEP = 0.35
_CONE_ROOM = 1.3
_CLEAR = 2.0
_HOLE_SHARE = 0.25
_STRIP = 256
_WORKERS = 2


def draw_mouths(
    depth: np.ndarray,
    where: np.ndarray,
    basins: Basins,
    level: np.ndarray,
    noise: np.ndarray,
    pixel_size: tuple[float, float] = (1.0, 1.0),
) -> np.ndarray:
    """Outline every basin at its mouth.

    The pit is cut at `level`, well above the roughness, and at two and three times that. From one level to
    the next the outline steps inwards; it is taken to step outwards likewise from `level` up to the surface,
    the step corrected by half the change from step to step (a straight wall keeps its step, a vertical one
    has none, bowls come out within 2 % of their radius). So many pixels are added as this takes, nearest
    first, deeper before shallower.

    Where `level` is near the roughness, dips of the surface beside a shallow pit hang together with it. What
    lies further out from the cut at twice the level than a cone's wall would, by half as much again, is none
    of the pit. Basins over 8 times as deep as the surface is rough are drawn first, the others in what is
    left.

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
    noise : ndarray of shape (n,)
        Roughness round each.
    pixel_size : (float, float)
        In x and y, any unit: where they differ, outlines step outwards alike in lengths.

    Returns
    -------
    ndarray of shape (M, N), int32
        Labels 1 to n, in the order of the basins. Those no deeper than 3 times the roughness get no pixels.
    """
    labels: np.ndarray = np.zeros(depth.shape, np.int32)
    relative = np.minimum(depth.reshape(-1)[where], basins.joined_at)
    relative /= level.astype(np.float32)[basins.of]
    clear = basins.depth > _DISTINCT * noise
    faint = ~clear & (basins.depth > _FAINT * noise)
    core_level = np.minimum(2 * level, np.maximum(_CORE_SHARE * basins.depth, level))

    def cores(group: np.ndarray) -> _Cores | None:
        at = np.flatnonzero(group[basins.of])
        return _Cores.of_pixels(
            where[at], basins.of[at], relative[at], core_level / level, depth.shape, pixel_size
        )

    with ThreadPoolExecutor(_WORKERS) as pool:
        groups = list(pool.map(cores, (clear, faint)))
    for group in groups:
        if group is not None:
            _draw_group(labels, depth, group, basins.depth, core_level, level, noise)
    if labels.any():
        fill_holes(labels, np.bincount(labels.reshape(-1)[positions(labels)], minlength=len(level) + 1))
    return labels


@dataclass(frozen=True)
class _Cores:
    """The inner parts of some basins: their pixels, whose and how deep against the level, and the way there.

    `distance` holds how far each pixel of the picture is from the nearest core, px, `nearest` which pixel of
    a core that is, `owner_of` whose that pixel is, and `place_of` where, as a flat position.
    """

    where: np.ndarray
    of: np.ndarray
    relative: np.ndarray
    core: np.ndarray
    distance: np.ndarray
    nearest: np.ndarray
    owner_of: np.ndarray
    place_of: np.ndarray
    stretch: tuple[float, float]

    @classmethod
    def of_pixels(
        cls,
        where: np.ndarray,
        of: np.ndarray,
        relative: np.ndarray,
        least: np.ndarray,
        shape: tuple[int, ...],
        pixel_size: tuple[float, float],
    ) -> _Cores | None:
        """From the basins' pixels; None where there is none deeper than `least` of its basin."""
        core = relative > least.astype(np.float32)[of]
        inner = where[core]
        if inner.size == 0:
            return None
        outside = np.ones(shape, np.uint8)
        outside.reshape(-1)[inner] = 0
        distance, nearest = cv2.distanceTransformWithLabels(
            outside, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL
        )
        owner_of = np.zeros(inner.size + 1, np.int32)
        owner_of[nearest.reshape(-1)[inner]] = of[core]
        place_of = np.zeros(inner.size + 1, np.int64)
        place_of[nearest.reshape(-1)[inner]] = inner
        mean = math.sqrt(pixel_size[0] * pixel_size[1])
        stretch = (pixel_size[0] / mean, pixel_size[1] / mean)
        return cls(where, of, relative, core, distance, nearest, owner_of, place_of, stretch)

    def away(self, at: np.ndarray) -> np.ndarray:
        """How far flat positions are from the nearest core, in sides of a square pixel of equal area.

        The edge of the core is taken for straight where the nearest pixel of it lies: the way there then
        stands square on it in pixels, and what is asked for is the way that stands square on it in lengths.
        """
        px = self.distance.reshape(-1)[at]
        if self.stretch[0] == self.stretch[1]:
            return px
        cols = self.distance.shape[1]
        row, col = np.divmod(at, cols)
        row_there, col_there = np.divmod(self.place_of[self.nearest.reshape(-1)[at]], cols)
        down, along = (row - row_there).astype(np.float32), (col - col_there).astype(np.float32)
        slant = np.hypot(along / np.float32(self.stretch[0]), down / np.float32(self.stretch[1]))
        return np.asarray((along * along + down * down) / np.maximum(slant, np.float32(1e-6)))


def _draw_group(
    labels: np.ndarray,
    depth: np.ndarray,
    cores: _Cores,
    deepest: np.ndarray,
    core_level: np.ndarray,
    level: np.ndarray,
    noise: np.ndarray,
) -> None:
    """Outline some basins in place, where nothing is drawn yet."""
    where, of, relative = cores.where, cores.of, cores.relative
    distance, nearest, owner_of = cores.distance, cores.nearest, cores.owner_of
    n, flat = len(level), labels.reshape(-1)
    r_core = np.sqrt(np.bincount(of[cores.core], minlength=n) / np.pi)
    wall = r_core * (core_level - level) / np.maximum(deepest - core_level, 1e-12)
    room = _CONE_ROOM * wall * np.maximum(1, (level / (_CLEAR * noise)) ** 2) + 1
    low = (relative > 1) & (flat[where] == 0)
    low_at, low_of, times = where[low], of[low], np.minimum(relative[low], 3.5).astype(np.int32)
    away = cores.away(low_at)
    within = away <= room.astype(np.float32)[low_of]
    count = np.bincount(3 * low_of + times - 1, minlength=3 * n).reshape(n, 3)
    low_at, low_of, away = low_at[within], low_of[within], away[within]
    flat[low_at] = low_of + 1
    low_count = np.bincount(low_of, minlength=n)
    radius = [np.sqrt(pixels / np.pi) for pixels in (low_count, count[:, 1] + count[:, 2], count[:, 2])]
    step = radius[0] - radius[1] + _BEND * (radius[0] - 2 * radius[1] + radius[2])
    step = np.clip(step, 0, _LARGEST_STEP * radius[0] + 0.5)
    extra = np.rint(np.pi * (radius[0] + step) ** 2).astype(np.int64) - low_count

    reach = np.zeros(n, np.float32)
    np.maximum.at(reach, low_of, away)
    reach += (step + 1.5).astype(np.float32)
    widest = float(reach.max()) / min(cores.stretch)

    def rim(first: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Free pixels of some rows within reach of a core, the core's number, and how far it is."""
        rows = slice(first, first + _STRIP)
        free = cv2.compare(labels[rows], 0, cv2.CMP_EQ)
        free &= cv2.compare(distance[rows], widest, cv2.CMP_LE)
        at = np.flatnonzero(free.view(bool))
        owner = owner_of[nearest[rows].reshape(-1)[at]]
        at += first * labels.shape[1]
        away = cores.away(at)
        near = np.flatnonzero(away <= reach[owner])
        return at[near], owner[near], away[near]

    with ThreadPoolExecutor(_WORKERS) as pool:
        found = list(pool.map(rim, range(0, labels.shape[0], _STRIP)))
    band, owner, away = (np.concatenate(part) for part in zip(*found, strict=True))
    shallow = 1 - np.clip(depth.reshape(-1)[band] / level[owner], -1, 1)
    key = away + shallow * np.maximum(step, 0.3).astype(np.float32)[owner]
    key /= 2 * float(key.max(initial=0)) + 1
    order = np.argsort(owner + key.astype(np.float64), kind="stable")
    band, owner = band[order], owner[order]
    rank = np.arange(len(owner)) - np.searchsorted(owner, np.arange(n))[owner]
    taken = rank < extra[owner]
    flat[band[taken]] = owner[taken] + 1


def fill_holes(labels: np.ndarray, sizes: np.ndarray) -> None:
    """Fill what lies wholly inside one label and is no larger than a quarter of it, in place.

    Parameters
    ----------
    labels : ndarray of shape (M, N), int32
        Changed in place.
    sizes : ndarray of shape (n + 1,)
        Pixels of each label.
    """
    outside = cv2.compare(labels, 0, cv2.CMP_EQ)
    n, parts, stats, _ = cv2.connectedComponentsWithStats(outside, connectivity=4, ltype=cv2.CV_32S)
    if n <= 2:
        return
    left, top, width, height, area = stats.T
    inner = (left > 0) & (top > 0) & (left + width < labels.shape[1]) & (top + height < labels.shape[0])
    inner[0] = False
    for k in np.flatnonzero(inner).tolist():
        window = (slice(top[k] - 1, top[k] + height[k] + 1), slice(left[k] - 1, left[k] + width[k] + 1))
        hole = (parts[window] == k).view(np.uint8)
        ring = labels[window][(cv2.dilate(hole, np.ones((3, 3), np.uint8)) > 0) & (hole == 0)]
        ring = ring[ring > 0]
        if ring.size and (ring == ring[0]).all() and area[k] <= _HOLE_SHARE * sizes[ring[0]]:
            labels[window][hole > 0] = ring[0]

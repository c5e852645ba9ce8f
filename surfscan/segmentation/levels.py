"""Dark objects, found the darkest first at falling levels of contrast."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from surfscan.preparation.noise import SpreadMap
from surfscan.segmentation.grouped import Workspace, components, grouped_quantile
from surfscan.segmentation.masks import fill_holes

LOW_SHARE = 0.45
"""Candidates are darker than this share of the limit that they must somewhere pass."""

_MIN_SEED_PX = 4
_PASSES_AT_LAST = 3
_SWELLING = 4.0
_SWELLING_PX = 60
_FIRST_LEVEL = 0.22
_LEVEL_STEP = 1.7
_BAND_ROWS = 128
_FLOOR_QUANTILE = 0.6
_FLOOR_SHARE = 0.8
_SKIRT_PX = 3


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
    skirt = np.ones((2 * _SKIRT_PX + 1,) * 2, np.uint8)
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
            open_field &= cv2.compare(cv2.dilate(found, skirt), 0, cv2.CMP_EQ)
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

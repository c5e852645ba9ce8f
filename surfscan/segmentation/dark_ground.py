"""What a search for dark pits found out about the picture, by which any outlined object can be judged."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from surfscan.preparation.noise import SpreadMap
from surfscan.segmentation.outlines import CORE_SHARE, RING_PX, SHUT_IN_PX

NEAR = 1.25
"""A limit passed by less than this factor is near."""

LIMITS = ("contrast", "contrast to noise", "diameter")
_MARGIN_PX = RING_PX[1] + 1


@dataclass(frozen=True)
class Judged:
    """Objects held against the limits; arrays over objects.

    Attributes
    ----------
    contrast, contrast_to_noise : ndarray of shape (n,), float64
    strength : ndarray of shape (n,), float64
        Contrast of the floor less that of the surroundings.
    diameter : ndarray of shape (n,), float64
        Equivalent diameter, px.
    ratios : ndarray of shape (3, n), float64
        Over each of `LIMITS`; 1 or more passes.
    """

    contrast: np.ndarray
    contrast_to_noise: np.ndarray
    strength: np.ndarray
    diameter: np.ndarray
    ratios: np.ndarray

    def near_limit(self) -> np.ndarray:
        """Names of the limits that each object does not pass by a quarter, str."""
        return np.array([limit_names(column < NEAR) for column in self.ratios.T], dtype=str)


def limit_names(chosen: np.ndarray) -> str:
    """Names of the chosen limits, shape (3,), bool."""
    return ", ".join(name for name, yes in zip(LIMITS, chosen.tolist(), strict=True) if yes)


@dataclass(frozen=True)
class DarkGround:
    """The metal of one field, and the limits in force.

    Attributes
    ----------
    contrast : ndarray of shape (M, N), float32
        Against the metal level, at the working resolution.
    metal : ndarray of shape (M, N), uint8, 0 or 1
        Pixels that may count as surrounding metal.
    spread : SpreadMap
        Local spread of the metal's contrast.
    patchiness : (ndarray, ndarray)
        Diameters, px, and the scatter of means over patches as large.
    limits : (float, float, float)
        Smallest contrast, contrast to noise and diameter (px).
    origin : (int, int)
        Row and column of the picture at which the arrays begin.
    """

    contrast: np.ndarray
    metal: np.ndarray
    spread: SpreadMap
    patchiness: tuple[np.ndarray, np.ndarray]
    limits: tuple[float, float, float]
    origin: tuple[int, int] = (0, 0)

    def judge(
        self, floor: np.ndarray, surround: np.ndarray, row: np.ndarray, col: np.ndarray, area: np.ndarray
    ) -> Judged:
        """Hold objects against the limits.

        Parameters
        ----------
        floor, surround : ndarray of shape (n,)
            Median contrast of the floor and of the surrounding metal.
        row, col : ndarray of shape (n,)
            Centroids, px of the arrays.
        area : ndarray of shape (n,)
            px.
        """
        strength = np.nan_to_num(floor - surround)
        relative = strength / np.maximum(1 - surround, 0.05)
        diameter = np.sqrt(4 * area / np.pi)
        noise = np.maximum(self.spread.at(row, col), np.interp(diameter, *self.patchiness, left=0.0))
        to_noise = strength / noise
        ratios = np.stack([relative / self.limits[0], to_noise / self.limits[1], diameter / self.limits[2]])
        return Judged(relative, to_noise, strength, diameter, ratios)

    def judge_outlined(self, row: np.ndarray, col: np.ndarray) -> Judged:
        """Judge one object by its outline alone.

        Floor and surroundings are read as `surfscan.segmentation.outlines` does, but for this object by
        itself and on every pixel: the floor over its core, the metal 4 to 10 px from it. Where less metal
        than `SHUT_IN_PX` is in reach, what lies round it is taken for metal.

        Parameters
        ----------
        row, col : ndarray of shape (n,), int
            Its pixels in the picture.

        Returns
        -------
        Judged
            Of one object.
        """
        row, col = row - self.origin[0], col - self.origin[1]
        rows = _span(row, self.contrast.shape[0])
        cols = _span(col, self.contrast.shape[1])
        own = np.zeros((rows.stop - rows.start, cols.stop - cols.start), np.uint8)
        own[row - rows.start, col - cols.start] = 1
        contrast = self.contrast[rows, cols]
        inward = cv2.distanceTransform(own, cv2.DIST_L2, cv2.DIST_MASK_5)
        core = (own > 0) & (inward >= CORE_SHARE * min(float(inward.max()), max(own.shape)))
        away = cv2.distanceTransform(1 - own, cv2.DIST_L2, cv2.DIST_MASK_5)
        ring = cv2.inRange(away, *RING_PX) & 1
        metal = (ring & self.metal[rows, cols]).view(bool)
        if np.count_nonzero(metal) < 4 * SHUT_IN_PX:
            metal = ring.view(bool)
        surround = float(np.median(contrast[metal])) if metal.any() else 0.0
        return self.judge(
            np.array([float(np.median(contrast[core]))]),
            np.array([surround]),
            np.array([row.mean()]),
            np.array([col.mean()]),
            np.array([len(row)]),
        )


def _span(position: np.ndarray, size: int) -> slice:
    return slice(max(int(position.min()) - _MARGIN_PX, 0), min(int(position.max()) + _MARGIN_PX + 1, size))

"""Local grey levels of two classes, each where it is and continued smoothly where it is not."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

_CLEAR = 4  # px from the other class from which a pixel is taken to show its own level ...
_LESS_CLEAR = 2  # ... or, where a class is too thin for that
_BLOCKS = 24  # blocks along the longer side
_LEAST_BLOCK = 16  # px
_ENOUGH_A_SIDE = 48  # samples a side of a block
_WIDTHS = (0.8, 2.0, 6.0, 20.0)  # blocks: standard deviations over which levels are spread, narrowest first
_ENOUGH = 40.0  # pixels, weighted, that a level rests on before a wider spread takes over


@dataclass(frozen=True)
class ClassLevels:
    """Grey of two classes on a grid of blocks.

    Attributes
    ----------
    inside, outside : ndarray of shape (m, n), float32
        Level of either class at block centres.
    shape : tuple of int
        Rows and columns of the picture.
    contrast : float
        Median distance between the two, above 0.
    """

    inside: np.ndarray
    outside: np.ndarray
    shape: tuple[int, int]
    contrast: float

    def swapped(self) -> ClassLevels:
        """The same with the classes named the other way round."""
        return ClassLevels(self.outside, self.inside, self.shape, self.contrast)

    def half(self, shape: tuple[int, int]) -> np.ndarray:
        """Level half-way between the classes at every pixel, (M, N), float32."""
        return _full(0.5 * (self.inside + self.outside), shape)

    def share_inside(self, grey: np.ndarray) -> np.ndarray:
        """Grey as a share of the way from the outside level (0) to the inside level (1), (M, N), float32."""
        outside = _full(self.outside, self.shape)
        step = _full(self.inside - self.outside, self.shape)
        return np.asarray((grey - outside) / step)

    def at(self, row: np.ndarray, col: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Levels (inside, outside) at positions in px, arrays of any one shape."""
        m, n = self.inside.shape
        y = (np.asarray(row, np.float32) + 0.5) * m / self.shape[0] - 0.5
        x = (np.asarray(col, np.float32) + 0.5) * n / self.shape[1] - 0.5
        return _bilinear(self.inside, y, x), _bilinear(self.outside, y, x)


def local_levels(
    grey: np.ndarray,
    inside: np.ndarray,
    outside: np.ndarray,
    used: np.ndarray,
    *,
    glints: np.ndarray | None = None,
) -> ClassLevels:
    """Levels of two classes from the pixels well inside each.

    Parameters
    ----------
    grey : ndarray of shape (M, N), float32
    inside, outside, used : ndarray of shape (M, N), bool
        The two classes, and the pixels that may be used.
    glints : ndarray of shape (M, N), bool, optional
        Spots inside that do not show its level.

    Returns
    -------
    ClassLevels
        Means over pixels at least 4 px from the other class (2 px where the class has few such), spread by
        normalised Gaussian sums over as few blocks as hold 40 pixels.

    Raises
    ------
    ValueError
        If a class has no pixel.
    """
    block = max(_LEAST_BLOCK, round(max(grey.shape) / _BLOCKS))
    step = max(1, block // _ENOUGH_A_SIDE)
    thinned = grey[::step, ::step]
    shape = (max(1, round(grey.shape[1] / block)), max(1, round(grey.shape[0] / block)))
    grids = []
    for part, other in ((inside, outside), (outside, inside)):
        clear = _clear(part & used, other, glints)[::step, ::step]
        weight = cv2.resize(clear.astype(np.float32), shape, interpolation=cv2.INTER_AREA)
        total = cv2.resize(np.where(clear, thinned, np.float32(0)), shape, interpolation=cv2.INTER_AREA)
        grids.append(_spread_out(total, weight, (block // step) ** 2))
    apart = grids[0] - grids[1]
    contrast = float(np.median(apart))
    sign = np.float32(1 if contrast >= 0 else -1)
    least = np.float32(max(0.05 * abs(contrast), 1e-6))
    grids[0] = grids[1] + sign * np.maximum(sign * apart, least)
    return ClassLevels(grids[0], grids[1], grey.shape, max(abs(contrast), 1e-6))


def disc(radius: int) -> np.ndarray:
    """Structuring element: a disc of this radius in px."""
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * radius + 1, 2 * radius + 1)))


def _clear(part: np.ndarray, other: np.ndarray, glints: np.ndarray | None) -> np.ndarray:
    """Pixels of a class that stand clear of the other, or as clear as the class allows."""
    if not part.any():
        raise ValueError("a class has no pixel")
    away = ~other if glints is None else ~(other | glints)
    enough = 0.05 * np.count_nonzero(part)
    for reach in (_CLEAR, _LESS_CLEAR, 1):
        clear = cv2.erode(away.view(np.uint8), disc(reach), borderValue=1).astype(bool) & part
        if np.count_nonzero(clear) > enough:
            return clear
    return part


def _spread_out(total: np.ndarray, weight: np.ndarray, pixels: int) -> np.ndarray:
    """Level at every block from sums over the narrowest spread that rests on enough pixels."""
    level = np.full(weight.shape, np.float32(total.sum() / weight.sum()))
    for sigma in reversed(_WIDTHS):
        amount = cv2.GaussianBlur(weight, (0, 0), sigma, borderType=cv2.BORDER_REFLECT)
        sums = cv2.GaussianBlur(total, (0, 0), sigma, borderType=cv2.BORDER_REFLECT)
        trust = np.minimum(1, amount * (pixels * 2 * np.pi * sigma**2) / _ENOUGH) ** 2
        level += trust * (sums / np.maximum(amount, 1e-12) - level)
    return level


def _full(grid: np.ndarray, shape: tuple[int, int]) -> np.ndarray:
    return np.asarray(cv2.resize(grid, shape[::-1], interpolation=cv2.INTER_LINEAR))


def _bilinear(grid: np.ndarray, y: np.ndarray, x: np.ndarray) -> np.ndarray:
    y, x = np.clip(y, 0, grid.shape[0] - 1), np.clip(x, 0, grid.shape[1] - 1)
    r, c = y.astype(int), x.astype(int)
    r1, c1 = np.minimum(r + 1, grid.shape[0] - 1), np.minimum(c + 1, grid.shape[1] - 1)
    fy, fx = y - r, x - c
    top = grid[r, c] * (1 - fx) + grid[r, c1] * fx
    bottom = grid[r1, c] * (1 - fx) + grid[r1, c1] * fx
    return np.asarray(top * (1 - fy) + bottom * fy)

"""How much bare metal scatters: pixel noise, local spread with texture, and patchiness by size."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import cv2
import numpy as np

from surfscan.preparation.robust import densest

_MAD_TO_SIGMA = 1.4826
_TILE_PX = 64
_SAMPLES_PER_TILE_SIDE = 21
_BAND_PX = 64
_BAND_PIXELS = 4_000_000
_MIN_PATCHES = 30
_BRIGHT = 0.05
_OTHER_CLASS = 4.0
_CROWDED = 0.1


@dataclass(frozen=True)
class SpreadMap:
    """Local spread of an image, kept on a grid of tiles.

    Attributes
    ----------
    grid : ndarray of shape (m, n), float32
        Robust standard deviation in each tile, above 0.
    shape : tuple of int
        Rows and columns of the image.
    """

    grid: np.ndarray
    shape: tuple[int, int]

    def full(self) -> np.ndarray:
        """Spread at every pixel, float32 (bilinear between tile centres)."""
        return self.rows(0, self.shape[0])

    def rows(self, first: int, end: int) -> np.ndarray:
        """Spread at every pixel of some rows, shape (end - first, N)."""
        last = self.grid.shape[0] - 1
        y = np.clip((np.arange(first, end) + 0.5) * (last + 1) / self.shape[0] - 0.5, 0, last)
        above = y.astype(int)
        share = (y - above).astype(np.float32)[:, None]
        lines = self.grid[above] * (1 - share) + self.grid[np.minimum(above + 1, last)] * share
        return np.asarray(cv2.resize(lines, (self.shape[1], end - first), interpolation=cv2.INTER_LINEAR))

    def at(self, row: np.ndarray, col: np.ndarray) -> np.ndarray:
        """Spread at positions in px, shape of `row` (bilinear between tile centres)."""
        if row.size == 0:
            return np.zeros(row.shape)
        y = (row + 0.5) * self.grid.shape[0] / self.shape[0] - 0.5
        x = (col + 0.5) * self.grid.shape[1] / self.shape[1] - 0.5
        y, x = np.clip(y, 0, self.grid.shape[0] - 1), np.clip(x, 0, self.grid.shape[1] - 1)
        r, c = y.astype(int), x.astype(int)
        r1, c1 = np.minimum(r + 1, self.grid.shape[0] - 1), np.minimum(c + 1, self.grid.shape[1] - 1)
        top = self.grid[r, c] * (1 - (x - c)) + self.grid[r, c1] * (x - c)
        bottom = self.grid[r1, c] * (1 - (x - c)) + self.grid[r1, c1] * (x - c)
        return np.asarray(top * (1 - (y - r)) + bottom * (y - r))


def bands(rows: int, cols: int) -> Iterator[slice]:
    """Row bands spread evenly over an image: all of a small one, about four million pixels of a large one."""
    share = rows * cols / _BAND_PIXELS
    step = _BAND_PX if share <= 1 else int(_BAND_PX * share)
    for first in range(0, rows, step):
        yield slice(first, min(first + _BAND_PX, rows))


def pixel_noise(image: np.ndarray) -> float:
    """Standard deviation of white noise, from second differences that edges and shading hardly enter.

    Parameters
    ----------
    image : ndarray of shape (M, N), float32

    Returns
    -------
    float
        Median absolute response of the 3 by 3 second-difference mask, scaled for Gaussian noise
        (Immerkaer, Comput Vis Image Underst 64 (1996) 300, doi 10.1006/cviu.1996.0060; the median in place
        of the mean). 0 for images under 3 pixels high or wide.
    """
    mask = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float32)
    responses = [
        np.abs(cv2.filter2D(image[band], cv2.CV_32F, mask)[1:-1:3, 1:-1:2]).ravel()
        for band in bands(*image.shape)
    ]
    response = np.concatenate(responses)
    return float(np.median(response)) * _MAD_TO_SIGMA / 6.0 if response.size else 0.0


def spread_map(contrast: np.ndarray, valid: np.ndarray | None = None) -> SpreadMap:
    """Local spread of bare metal as a standard deviation, whatever pits or product are in the picture.

    The spread of the densest class of values in tiles of about 64 px (where other classes take up much of a
    tile, once more without them), then the median of 3 by 3 tiles. A tile
    whose densest class is clearly brighter than metal (product, glare) says nothing about metal and takes the
    median of the others; so does one with less than a quarter of its pixels in use.

    Parameters
    ----------
    contrast : ndarray of shape (M, N), float32
        1 minus grey over metal level.
    valid : ndarray of shape (M, N), bool, optional
        Pixels to use.

    Returns
    -------
    SpreadMap
    """
    rows, cols = contrast.shape
    tile = min(_TILE_PX, rows, cols)
    step = max(1, tile // _SAMPLES_PER_TILE_SIDE)
    n_rows, n_cols = rows // tile, cols // tile

    def tiled(a: np.ndarray) -> np.ndarray:
        cut = a[: n_rows * tile, : n_cols * tile].reshape(n_rows, tile, n_cols, tile)[:, ::step, :, ::step]
        return cut.transpose(0, 2, 1, 3).reshape(n_rows * n_cols, -1)

    values = tiled(contrast)
    used = np.ones(len(values), bool)
    if valid is not None:
        inside = tiled(valid)
        used = inside.mean(axis=1) >= 0.25
        values = np.where(inside, values, np.nan)
    centre, spread = densest(values)
    with np.errstate(invalid="ignore"):
        other = np.abs(values - centre[:, None]) > _OTHER_CLASS * spread[:, None]
    crowded = other.mean(axis=1) > _CROWDED
    if crowded.any():
        centre[crowded], spread[crowded] = densest(np.where(other, np.nan, values)[crowded])
    if used.any():
        bright = centre < -max(_BRIGHT, 4 * float(np.median(spread[used])))
        used &= ~bright
    if used.any():
        spread = np.where(used, spread, np.median(spread[used]))
    else:
        spread = np.full(len(values), densest(values.reshape(1, -1))[1][0])
    grid = np.maximum(np.nan_to_num(spread), 1e-5).astype(np.float32).reshape(n_rows, n_cols)
    if min(n_rows, n_cols) >= 3:
        grid = np.asarray(cv2.medianBlur(grid, 3))
    return SpreadMap(grid, (rows, cols))


def scale_spread(image: np.ndarray, valid: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Patchiness of bare metal: how much means over patches differ, by patch size.

    Grains and faint stains differ as wholes; an object of their size must differ by more than they do.

    Parameters
    ----------
    image : ndarray of shape (M, N), float32
    valid : ndarray of shape (M, N), uint8, 0 or 1
        Bare metal.

    Returns
    -------
    size_px, spread : ndarray of shape (k,)
        Patch sizes and the robust standard deviation of patch means; sizes with under 30 patches are left
        out, a single 0 stands where none is left.
    """
    first = 8
    shape = (image.shape[1] // first, image.shape[0] // first)
    sizes, spreads = [], []
    if min(shape) > 0:
        cut = (slice(0, shape[1] * first), slice(0, shape[0] * first))
        inside = valid[cut].astype(np.float32)
        weight = np.asarray(cv2.resize(inside, shape, interpolation=cv2.INTER_AREA))
        np.multiply(inside, image[cut], out=inside)
        total = np.asarray(cv2.resize(inside, shape, interpolation=cv2.INTER_AREA))
        for size in (8, 16, 32, 64):
            used = (total / np.maximum(weight, 1e-6))[weight > 0.5]
            if used.size < _MIN_PATCHES:
                break
            sizes.append(float(size))
            spreads.append(float(densest(used[None])[1][0]))
            half = (weight.shape[1] // 2, weight.shape[0] // 2)
            if min(half) == 0:
                break
            even = (slice(0, half[1] * 2), slice(0, half[0] * 2))
            weight = np.asarray(cv2.resize(weight[even], half, interpolation=cv2.INTER_AREA))
            total = np.asarray(cv2.resize(total[even], half, interpolation=cv2.INTER_AREA))
    return (np.array(sizes), np.array(spreads)) if sizes else (np.zeros(1), np.zeros(1))

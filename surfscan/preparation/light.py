"""Uneven light: the grey that bare metal would have at every pixel, estimated from metal and not from pits.

The estimate works on a reduced grid, so that time and memory grow with the number of pixels and with
nothing else, whatever the scale of the shading.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from surfscan.preparation.robust import densest

_GRID_SIDE = 512
_MAX_REDUCTION = 8
_ROUNDS = 5
_ORDER = 4
_WIDE = 4.0
_COARSE_SIGMA = 3.0
_SAMPLE = 20_000
_TRUSTED = 0.02
_DARK_LIMIT = 2.0
_BRIGHT_LIMIT = 3.0
_DARK_START, _BRIGHT_START = 0.5, 1.2
_FAINT = 0.06
_STEP = 4.0
_RANK = 1e-9
_APART_SHARE = 0.7


@dataclass(frozen=True)
class MetalLevel:
    """Grey level of bare metal over an image, kept on a reduced grid.

    Attributes
    ----------
    grid : ndarray of shape (m, n), float32
        Metal grey at the centres of blocks of `reduction` by `reduction` pixels.
    reduction : int
        Pixels per grid step.
    shape : tuple of int
        Rows and columns of the full image.
    """

    grid: np.ndarray
    reduction: int
    shape: tuple[int, int]

    def full(self) -> np.ndarray:
        """Metal grey at every pixel, shape `shape`, float32 (bilinear between grid points)."""
        rows, cols = self.shape
        padded = (self.grid.shape[1] * self.reduction, self.grid.shape[0] * self.reduction)
        return np.ascontiguousarray(
            cv2.resize(self.grid, padded, interpolation=cv2.INTER_LINEAR)[:rows, :cols]
        )


def reduction_for(shape: tuple[int, int]) -> int:
    """Pixels per step of the reduced grid for an image of `shape`: 8 for large images, less for small."""
    return int(min(_MAX_REDUCTION, max(1, min(shape) * _MAX_REDUCTION // _GRID_SIDE)))


def metal_level(
    grey: np.ndarray, *, scale_px: float, fine_px: float, valid: np.ndarray | None = None
) -> MetalLevel:
    """Estimate the grey of bare metal under uneven light.

    In two steps, so that broad shading is known before it is decided what is metal.

    A polynomial of fourth order (vignetting, a lamp to one side) times a normalised Gaussian mean of what it
    leaves, both over blocks taken for metal, repeated. At first those are blocks of half to 1.2 times the
    grey that most have, so that one wide pit does not bend the polynomial; after each round, blocks darker
    than the estimate by more than twice the spread of the metal (pits, stains, product) or brighter by more
    than three times are left out. Large pits are therefore bridged and not followed. At the image's edges
    the weights are renormalised over what is inside.

    Then a narrower Gaussian follows what differs gradually from that: glare, dim corners, faint stains. What
    a step sets apart (pits, and product that is brighter than metal) stays out.

    Parameters
    ----------
    grey : ndarray of shape (M, N)
        uint8, uint16 or float32.
    scale_px : float
        Standard deviation of the first Gaussian, px.
    fine_px : float
        Standard deviation of the second, px: shading slower than this is taken out.
    valid : ndarray of shape (M, N), bool, optional
        Pixels that belong to the specimen; all where not given.

    Returns
    -------
    MetalLevel
    """
    k = reduction_for(grey.shape)
    blocks, weight = _reduce(grey, valid, k)
    lit = blocks > 0
    inside = lit & (weight > 0.5)
    if not inside.any():
        inside = lit & (weight > 0)
    level = float(densest(blocks[inside][None, :])[0][0]) if inside.any() else 1.0
    sigma = max(scale_px / k, 1.0)
    start = (blocks > _DARK_START * level) & (blocks < _BRIGHT_START * level)
    keep = (inside & start).astype(np.float32)
    grid = _metal_grid(blocks, keep, sigma, level)
    for _ in range(_ROUNDS):
        ratio = blocks / np.maximum(grid, 1e-6) - 1.0
        metal = ratio[keep > 0]
        centres, spreads = densest(metal[None, :: max(1, metal.size // _SAMPLE)])
        centre, spread = float(centres[0]), float(spreads[0]) + 1e-4
        keep = (
            inside & (ratio > centre - _DARK_LIMIT * spread) & (ratio < centre + _BRIGHT_LIMIT * spread)
        ).astype(np.float32)
        grid = _metal_grid(blocks, keep, sigma, level)
    grid = _refined(blocks, grid, inside, spread, max(fine_px / k, 1.0))
    return MetalLevel(grid=grid, reduction=k, shape=(int(grey.shape[0]), int(grey.shape[1])))


def _reduce(grey: np.ndarray, valid: np.ndarray | None, k: int) -> tuple[np.ndarray, np.ndarray]:
    """Block means of the valid pixels and the valid share of each block (edges padded by replication)."""
    rows, cols = grey.shape
    pad_rows, pad_cols = -rows % k, -cols % k
    size = ((cols + pad_cols) // k, (rows + pad_rows) // k)

    def area_mean(a: np.ndarray) -> np.ndarray:
        if pad_rows or pad_cols:
            a = cv2.copyMakeBorder(a, 0, pad_rows, 0, pad_cols, cv2.BORDER_REPLICATE)
        return np.asarray(cv2.resize(a, size, interpolation=cv2.INTER_AREA), np.float32)

    if valid is None:
        return area_mean(grey), np.ones(size[::-1], np.float32)
    weight = area_mean(valid.astype(np.float32))
    total = area_mean(np.where(valid, grey, 0).astype(np.float32))
    return np.where(weight > 0, total / np.maximum(weight, 1e-6), 0).astype(np.float32), weight


def _metal_grid(blocks: np.ndarray, keep: np.ndarray, sigma: float, level: float) -> np.ndarray:
    """Metal level from the kept blocks: polynomial times smooth remainder."""
    form = _polynomial(blocks, keep, level)
    return np.asarray(form * _smooth(blocks / form, keep, sigma, 1.0), np.float32)


def _refined(
    blocks: np.ndarray, grid: np.ndarray, inside: np.ndarray, spread: float, sigma: float
) -> np.ndarray:
    """Metal level that also follows what differs gradually from the broad level.

    Blocks that differ from it are kept where they hang together, without a step, with blocks that do not.
    """
    ratio = blocks / np.maximum(grid, 1e-6) - 1.0
    differs = (ratio < -max(_DARK_LIMIT * spread, _FAINT)) | (ratio > _BRIGHT_LIMIT * spread)
    square = np.ones((3, 3), np.uint8)
    gradual = cv2.dilate(ratio, square) - cv2.erode(ratio, square) < max(_STEP * spread, _FAINT)
    _, parts = cv2.connectedComponents(gradual.view(np.uint8), connectivity=8)
    share = np.bincount(parts.ravel(), differs.ravel()) / np.maximum(np.bincount(parts.ravel()), 1)
    apart = ~gradual | (share > _APART_SHARE)[parts]
    keep = (inside & ~(differs & apart)).astype(np.float32)
    return np.asarray(grid * _smooth(1 + ratio, keep, sigma, 1.0), np.float32)


def _polynomial(blocks: np.ndarray, keep: np.ndarray, level: float) -> np.ndarray:
    """Least-squares polynomial through the kept blocks, never below a tenth of `level`."""
    rows, cols = blocks.shape
    order_y, order_x = min(_ORDER, rows - 1), min(_ORDER, cols - 1)
    along_y = np.linspace(-1, 1, rows)[:, None] ** np.arange(order_y + 1)
    along_x = np.linspace(-1, 1, cols)[:, None] ** np.arange(order_x + 1)
    i, j = np.nonzero(np.add.outer(np.arange(order_y + 1), np.arange(order_x + 1)) <= _ORDER)
    step = max(1, min(rows, cols) // 64)
    some = (slice(None, None, step), slice(None, None, step))
    used = keep[some] > 0
    if used.sum() < 4 * len(i):
        return np.full(blocks.shape, level, np.float32)
    y, x = np.nonzero(used)
    design = along_y[::step][y][:, i] * along_x[::step][x][:, j]
    terms = np.zeros((order_y + 1, order_x + 1))
    square = np.einsum("ki,kj->ij", design, design)
    onto = np.einsum("ki,k->i", design, blocks[some][used])
    terms[i, j] = np.linalg.lstsq(square, onto, rcond=_RANK)[0]
    return np.maximum(along_y @ terms @ along_x.T, 0.1 * level).astype(np.float32)


def _smooth(blocks: np.ndarray, keep: np.ndarray, sigma: float, fallback: float) -> np.ndarray:
    """Gaussian mean of `blocks` under weights `keep`; wide gaps are bridged by a wider Gaussian."""
    weighted = blocks * keep
    mean = np.full(blocks.shape, fallback, np.float32)
    for width in (_WIDE * sigma, sigma):
        mass = _blur(keep, width)
        trust = np.minimum(mass / _TRUSTED, 1)
        mean = trust * (_blur(weighted, width) / np.maximum(mass, 1e-12)) + (1 - trust) * mean
    return mean


def _blur(a: np.ndarray, sigma: float) -> np.ndarray:
    """Gaussian mean with nothing beyond the edges; a wide one is taken on a coarser grid."""
    step = max(1, int(sigma / _COARSE_SIGMA))
    if step == 1:
        return np.asarray(cv2.GaussianBlur(a, (0, 0), sigma, borderType=cv2.BORDER_CONSTANT))
    size = (-(-a.shape[1] // step), -(-a.shape[0] // step))
    small = cv2.resize(a, size, interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), sigma / step, borderType=cv2.BORDER_CONSTANT)
    return np.asarray(cv2.resize(small, a.shape[::-1], interpolation=cv2.INTER_LINEAR))

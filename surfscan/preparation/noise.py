"""How much bare metal scatters: pixel noise, and the local spread that texture adds to it."""

from __future__ import annotations

import cv2
import numpy as np

_MAD_TO_SIGMA = 1.4826
_TILE_PX = 64


def pixel_noise(image: np.ndarray) -> float:
    """Standard deviation of white noise, from second differences that edges and shading hardly enter.

    Parameters
    ----------
    image : ndarray of shape (M, N), float32
        At least 3 by 3 pixels.

    Returns
    -------
    float
        Median absolute response of the 3 by 3 second-difference mask, scaled for Gaussian noise
        (Immerkaer, Comput Vis Image Underst 64 (1996) 300, doi 10.1006/cviu.1996.0060; median in place of the mean).
    """
    mask = np.array([[1, -2, 1], [-2, 4, -2], [1, -2, 1]], np.float32)
    response = cv2.filter2D(image, cv2.CV_32F, mask)[1:-1:3, 1:-1:2]
    if response.size == 0:
        return 0.0
    return float(np.median(np.abs(response))) * _MAD_TO_SIGMA / 6.0


def spread_map(image: np.ndarray, valid: np.ndarray | None = None) -> np.ndarray:
    """Local spread of `image` as a standard deviation, robust to the pits in it.

    The median absolute deviation in tiles of 64 px, scaled for Gaussian scatter, then the median of 3 by 3
    tiles, linear between tile centres.

    Parameters
    ----------
    image : ndarray of shape (M, N), float32
    valid : ndarray of shape (M, N), bool, optional
        Pixels to use; tiles with fewer than a quarter of theirs take the median of the other tiles.

    Returns
    -------
    ndarray of shape (M, N), float32
        Above 0.
    """
    rows, cols = image.shape
    step = 2 if min(rows, cols) >= 2 * _TILE_PX else 1
    sample = image[::step, ::step]
    tile = min(_TILE_PX // step, *sample.shape)
    n_rows, n_cols = sample.shape[0] // tile, sample.shape[1] // tile

    def tiled(a: np.ndarray) -> np.ndarray:
        cut = a[: n_rows * tile, : n_cols * tile].reshape(n_rows, tile, n_cols, tile)
        return cut.transpose(0, 2, 1, 3).reshape(n_rows, n_cols, tile * tile)

    values = tiled(sample)
    if valid is None:
        centre = np.median(values, axis=-1, keepdims=True)
        spread = np.median(np.abs(values - centre), axis=-1)
    else:
        values = np.where(tiled(valid[::step, ::step]), values, np.nan)
        enough = np.isfinite(values).sum(axis=-1) >= tile * tile / 4
        spread = np.full((n_rows, n_cols), np.nan)
        if enough.any():
            used = values[enough]
            centre = np.nanmedian(used, axis=-1, keepdims=True)
            spread[enough] = np.nanmedian(np.abs(used - centre), axis=-1)
        whole = np.nanmedian(np.abs(image[valid] - np.median(image[valid]))) if valid.any() else 0.0
        spread = np.where(enough, spread, np.nanmedian(spread[enough]) if enough.any() else whole)
    grid = np.maximum(_MAD_TO_SIGMA * spread, 1e-5).astype(np.float32)
    if min(n_rows, n_cols) >= 3:
        grid = cv2.medianBlur(grid, 3)
    return np.asarray(cv2.resize(grid, (cols, rows), interpolation=cv2.INTER_LINEAR))


def scale_spread(image: np.ndarray, valid: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Patchiness of bare metal: how much means over patches differ, by patch size.

    Grains and faint stains differ as wholes; an object of their size must differ by more than they do.

    Parameters
    ----------
    image : ndarray of shape (M, N), float32
    valid : ndarray of shape (M, N), bool
        Bare metal.

    Returns
    -------
    size_px, spread : ndarray of shape (k,)
        Patch sizes and the robust standard deviation of patch means; sizes with under 30 patches are left out,
        a single 0 stands where none is left.
    """
    inside = valid.astype(np.float32)
    masked = image * inside
    sizes, spreads = [], []
    for size in (8, 16, 32, 64):
        shape = (image.shape[1] // size, image.shape[0] // size)
        if shape[0] * shape[1] < 30:
            break
        cut = (slice(0, shape[1] * size), slice(0, shape[0] * size))
        weight = cv2.resize(inside[cut], shape, interpolation=cv2.INTER_AREA)
        mean = cv2.resize(masked[cut], shape, interpolation=cv2.INTER_AREA) / np.maximum(weight, 1e-6)
        used = mean[weight > 0.5]
        if used.size < 30:
            continue
        sizes.append(float(size))
        spreads.append(_MAD_TO_SIGMA * float(np.median(np.abs(used - np.median(used)))))
    return (np.array(sizes), np.array(spreads)) if sizes else (np.zeros(1), np.zeros(1))

"""What a surface looks like apart from the light on it: grey over light and, in colour, its tint."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from surfscan.segmentation.illumination import Illumination

LIGHT_GRID, LEVEL_GRID = 64, 512
"""Points along the long side of the grids on which the light and the class levels are found."""

_WINDOW = 128  # side of the windows sampled at full resolution, px
_LUMINANCE = np.array([0.299, 0.587, 0.114], np.float32)


@dataclass(frozen=True)
class Picture:
    """Smoothed features on a grid, or in sample windows laid side by side.

    Attributes
    ----------
    features : ndarray of shape (m, n, F), float32
        Grey over light (F = 1); for colour also the ratios of red and of blue to grey (F = 3), which do not
        depend on the light.
    valid : ndarray of shape (m, n), bool
        Points on the specimen.
    """

    features: np.ndarray
    valid: np.ndarray


def features_of(smooth: np.ndarray, light: np.ndarray) -> np.ndarray:
    """Features (..., F) of smoothed grey (...) or RGB (..., 3) pixels under `light` (...), float32."""
    if smooth.ndim == light.ndim:
        return np.asarray(smooth / light)[..., None]
    grey = smooth @ _LUMINANCE
    floor = np.maximum(grey, 0.05 * light)
    return np.stack([grey / light, smooth[..., 0] / floor, smooth[..., 2] / floor], axis=-1)


def luminance(pixels: np.ndarray) -> np.ndarray:
    """Grey as it is, or ITU-R BT.601 luminance of RGB, float32."""
    return pixels if pixels.ndim == 2 else np.asarray(pixels @ _LUMINANCE)


def blurred(block: np.ndarray, valid: np.ndarray | None, sigma: float) -> np.ndarray:
    """Gaussian mean over valid pixels only, float32; `valid` None means all. Mirrored at the border."""
    block = block.astype(np.float32)
    if valid is None or valid.all():
        return np.asarray(cv2.GaussianBlur(block, (0, 0), sigma, borderType=cv2.BORDER_REFLECT))
    weight = cv2.GaussianBlur(valid.astype(np.float32), (0, 0), sigma, borderType=cv2.BORDER_REFLECT)
    weight = np.maximum(weight, np.float32(1e-6))
    block = np.where(valid[..., None] if block.ndim == 3 else valid, block, np.float32(0))
    mean = cv2.GaussianBlur(block, (0, 0), sigma, borderType=cv2.BORDER_REFLECT)
    return np.asarray(mean / (weight[..., None] if block.ndim == 3 else weight))


def reduced(pixels: np.ndarray, valid: np.ndarray, side: int) -> tuple[np.ndarray, np.ndarray]:
    """Block means over valid pixels, at most `side` of them along the long side, and where they are good.

    Where no block is mostly valid (scattered pixels), every block that holds a valid pixel counts as good.
    """
    rows, cols = valid.shape
    step = max(1.0, max(rows, cols) / side)
    size = (max(1, round(cols / step)), max(1, round(rows / step)))
    source = pixels if pixels.dtype in (np.uint8, np.uint16, np.float32) else pixels.astype(np.float32)
    if valid.all():
        small = cv2.resize(source, size, interpolation=cv2.INTER_AREA).astype(np.float32)
        return small, np.ones(small.shape[:2], bool)
    share = cv2.resize(valid.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    colour = source.ndim == 3
    filled = np.where(valid[..., None] if colour else valid, source, source.dtype.type(0))
    small = cv2.resize(filled, size, interpolation=cv2.INTER_AREA).astype(np.float32)
    least = np.maximum(share, np.float32(1e-3))
    good = share >= 0.9
    return small / (least[..., None] if colour else least), good if good.any() else share > 0


def picture_on_grid(small: np.ndarray, good: np.ndarray, illumination: Illumination) -> Picture:
    """Features of a reduced picture."""
    return Picture(features_of(blurred(small, good, 1.5), illumination.at(good.shape)), good)


def sample_windows(valid: np.ndarray) -> list[tuple[slice, slice]]:
    """Up to 25 windows spread evenly over the picture, those that lie mostly on the specimen."""
    starts = [np.unique(np.linspace(0, max(0, n - _WINDOW), 5).astype(int)) for n in valid.shape]
    windows = [(slice(r, r + _WINDOW), slice(c, c + _WINDOW)) for r in starts[0] for c in starts[1]]
    whole = (slice(0, valid.shape[0]), slice(0, valid.shape[1]))
    return [w for w in windows if valid[w].mean() > 0.8] or [whole]


def sampled(
    pixels: np.ndarray,
    valid: np.ndarray,
    windows: list[tuple[slice, slice]],
    illumination: Illumination,
    sigma: float,
) -> Picture:
    """Features at full resolution in sample windows, smoothed by `sigma` px, as one row of points."""
    shape = (int(pixels.shape[0]), int(pixels.shape[1]))
    parts, inside = [], []
    for rows, cols in windows:
        mask = valid[rows, cols]
        light = illumination.at(shape, rows, cols)
        features = features_of(blurred(pixels[rows, cols], mask, sigma), light)
        parts.append(features.reshape(-1, features.shape[-1]))
        inside.append(mask.ravel())
    return Picture(np.concatenate(parts)[None], np.concatenate(inside)[None])

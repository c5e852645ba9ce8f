"""Synthetic surfaces of known form, roughness and pits, for the tests of this room."""

from collections.abc import Callable

import cv2
import numpy as np
import pytest


def _rough(rng: np.random.Generator, shape: tuple[int, int], sq: float, correlation_px: float) -> np.ndarray:
    heights = rng.normal(size=shape).astype(np.float32)
    if correlation_px:
        heights = cv2.GaussianBlur(heights, (0, 0), correlation_px)
    return np.asarray(sq * heights / heights.std(), np.float32)


def _profile(q: np.ndarray, kind: str, depth_to_radius: float) -> np.ndarray:
    if kind == "cone":
        profile = 1 - q
    elif kind == "paraboloid":
        profile = 1 - q * q
    elif kind == "cylinder":
        profile = (q < 1) * 1.0
    else:  # spherical cap
        h = depth_to_radius
        big = (1 + h * h) / (2 * h)
        profile = (np.sqrt(np.maximum(big * big - q * q, 0)) - (big - h)) / h
    return np.clip(profile, 0, None)


def _dig(
    rng: np.random.Generator,
    shape: tuple[int, int],
    *,
    share: float,
    radius_px: tuple[float, float],
    depth: Callable[[float], float],
    kind: str = "paraboloid",
    place: str = "uniform",
) -> np.ndarray:
    """Depth of pits on `share` of a field: strewn, in clusters, or all on one side."""
    out = np.zeros(shape, np.float32)
    covered = 0
    middles = np.random.default_rng(5).uniform(0.15, 0.85, (4, 2)) * shape
    while covered < share * out.size:
        radius = rng.uniform(*radius_px)
        row, col = rng.uniform(0, shape)
        if place == "side":
            col = rng.uniform(0, 1.5 * share * shape[1])
        if place == "clusters":
            row, col = middles[rng.integers(4)] + rng.normal(0, 0.11, 2) * shape
        rows = slice(max(int(row - radius - 1), 0), max(int(row + radius + 2), 0))
        cols = slice(max(int(col - radius - 1), 0), max(int(col + radius + 2), 0))
        part = out[rows, cols]
        if part.size == 0:
            continue
        y, x = np.mgrid[rows.start : rows.start + part.shape[0], cols.start : cols.start + part.shape[1]]
        floor = depth(radius)
        pit = floor * _profile(np.hypot(y - row, x - col) / radius, kind, floor / radius)
        before = np.count_nonzero(part)
        np.maximum(part, pit, out=part)
        covered += np.count_nonzero(part) - before
    return out


@pytest.fixture(scope="session")
def rough() -> Callable[..., np.ndarray]:
    """Function (rng, shape, sq, correlation_px) -> Gaussian roughness, float32."""
    return _rough


@pytest.fixture(scope="session")
def dig() -> Callable[..., np.ndarray]:
    """Function that digs pits: depth map, float32, 0 on the surface."""
    return _dig

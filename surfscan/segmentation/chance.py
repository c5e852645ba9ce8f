"""How deep the dips of a rough surface go by chance, so that the deepest of them are not taken for pits.

On a field with thousands of independent dips the deepest go beyond four times Sq without there being any pit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np

_SIZES_PX = (1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 48, 64)
_LEAST_PATCHES = 40
_BAND_PX, _BAND_PIXELS = 192, 800_000
_SKIRT_PX = 5
_TEN_PERCENT, _ONE_PERCENT = 1.28155, 2.32635  # points of the normal distribution
_REACH = 4.6
_LEAST_SAMPLES = 1000


@dataclass(frozen=True)
class Patchiness:
    """How much means over patches of bare surface scatter.

    Attributes
    ----------
    size_px, spread_um : ndarray of shape (k,)
        Side of the patches and standard deviation of their means; the first is one pixel.
    """

    size_px: np.ndarray
    spread_um: np.ndarray

    def at(self, size_px: np.ndarray) -> np.ndarray:
        """Spread at sizes in px; beyond the largest it falls as that of independent values does."""
        size = np.maximum(size_px, 1.0)
        inside = np.exp(np.interp(np.log(size), np.log(self.size_px), np.log(self.spread_um)))
        return np.asarray(inside * np.minimum(1.0, self.size_px[-1] / size))


def patchiness(depth: np.ndarray, labels: np.ndarray) -> Patchiness:
    """Scatter of means over square patches that keep clear of everything labelled.

    Parameters
    ----------
    depth : ndarray of shape (M, N), float32
        Below the local reference, without not-a-number.
    labels : ndarray of shape (M, N), int32
        What is no bare surface, with a margin of 2 px.

    Returns
    -------
    Patchiness
        From bands spread over the field, some 800 000 px in all. Sizes up to 64 px of which fewer than 40
        patches lie at least 70 % on bare surface are left out.
    """
    rows, cols = depth.shape
    step = max(_BAND_PX, int(_BAND_PX * depth.size / _BAND_PIXELS))
    kernel = np.ones((_SKIRT_PX, _SKIRT_PX), np.uint8)
    means: dict[int, list[np.ndarray]] = {size: [] for size in _SIZES_PX}
    for first in range(0, rows, step):
        band = slice(first, min(first + _BAND_PX, rows))
        bare = 1 - cv2.dilate((labels[band] != 0).view(np.uint8), kernel)
        weight = bare.astype(np.float32)
        value = weight * depth[band]
        for size in _SIZES_PX:
            shape = (cols // size, weight.shape[0] // size)
            if min(shape) == 0:
                break
            cut = (slice(0, shape[1] * size), slice(0, shape[0] * size))
            w = cv2.resize(weight[cut], shape, interpolation=cv2.INTER_AREA)
            v = cv2.resize(value[cut], shape, interpolation=cv2.INTER_AREA)
            good = w > 0.7
            means[size].append(v[good] / w[good])
    sizes, spreads = [], []
    for size in _SIZES_PX:
        found = np.concatenate(means[size]) if means[size] else np.zeros(0)
        if found.size < _LEAST_PATCHES:
            break
        sizes.append(float(size))
        spreads.append(max(float(np.std(found, dtype=np.float64)), 1e-12))
    if not sizes:
        return Patchiness(np.ones(1), np.array([max(float(np.std(depth, dtype=np.float64)), 1e-12)]))
    return Patchiness(np.array(sizes), np.array(spreads))


def deepest_by_chance(dips: int, expected: float) -> float:
    """Depth, in units of Sq, beyond which so few dips of a normal surface go as `expected`.

    Parameters
    ----------
    dips : int
        Separate dips of the field beyond 2.5 Sq.
    expected : float
        Number of dips that may go deeper.

    Notes
    -----
    The number of excursions of a smooth normal random field above a high level u falls as u exp(-u²/2) in two
    dimensions (Adler, The Geometry of Random Fields, 1981, from memory).
    """
    start = 2.5
    low, high = start, 12.0
    for _ in range(50):
        u = (low + high) / 2
        beyond = max(dips, 1) * u / start * math.exp((start * start - u * u) / 2)
        low, high = (u, high) if beyond > expected else (low, u)
    return high


def tail_factor(depth: np.ndarray) -> float:
    """How much further than a normal surface's the far dips of a skewed one go, in units of Sq; 1 or more.

    Parameters
    ----------
    depth : ndarray of shape (m,)
        Depths of bare surface.

    Notes
    -----
    Depths are taken as s (exp(g z) - 1) / g of normal z (Tukey's g distribution, from memory), s and g from
    the 50 %, 10 % and 1 % points on the side of the dips; the factor is that at z = 4.6. Surfaces whose dips
    are as a normal surface's or tamer get 1.
    """
    if depth.size < _LEAST_SAMPLES:
        return 1.0
    far, near, middle = np.quantile(depth, (0.99, 0.9, 0.5))
    sq = float(np.std(depth, dtype=np.float64))
    if not (far > near > middle and sq > 0):
        return 1.0
    ratio, low, high = (far - middle) / (near - middle), 1e-6, 2.0
    for _ in range(50):
        g = (low + high) / 2
        steeper = math.expm1(g * _ONE_PERCENT) / math.expm1(g * _TEN_PERCENT) < ratio
        low, high = (g, high) if steeper else (low, g)
    reach = (near - middle) * math.expm1(low * _REACH) / math.expm1(low * _TEN_PERCENT)
    return max(1.0, float(reach) / (_REACH * sq))

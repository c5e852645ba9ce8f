"""Areal Gaussian filter of ISO 16610-61 for height maps with gaps.

The weight at a distance r is exp(-pi r² / (alpha cutoff)²) with alpha = sqrt(ln 2 / pi), so that a wave as
long as the cut-off keeps half its amplitude. At edges and gaps the weights are those of the measured points,
made to sum to one again; nothing is filled in and nothing is assumed beyond the edge.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import cv2
import numpy as np

from surfscan.preparation.pyramid import halvings, weighted_sums

ALPHA = math.sqrt(math.log(2) / math.pi)
"""Constant of the Gaussian filter, 0.46972 (ISO 16610-61, from memory): 50 % at the cut-off."""

LEAST_WEIGHT = 0.01
"""Where measured points hold less than this share of the filter's weight, its output is not-a-number."""

_REACH = 1.0  # for ALPHA, weights end this many cut-offs from the centre, at 7e-7 of the central one
_STRIP_ROWS = 512
_THREADS = 2
_LEVEL_SAMPLES = 40_000


def gaussian_weights(cutoff_um: float, pixel_size_um: float, alpha: float = ALPHA) -> np.ndarray:
    """Weights exp(-pi (x / (alpha cutoff))²) along one axis, float64, odd length, sum 1.

    They end alpha / `ALPHA` cut-offs from the centre, where the weight has fallen to 7e-7 of the central one;
    what is cut off is 1e-7 of the total.

    Raises
    ------
    ValueError
        If cut-off or pixel size are not finite and above 0, or the cut-off is shorter than two pixels.
    """
    if not (math.isfinite(cutoff_um) and math.isfinite(pixel_size_um) and cutoff_um > 0 < pixel_size_um):
        raise ValueError(f"cut-off and pixel size must be above 0, got {cutoff_um} and {pixel_size_um} µm")
    if cutoff_um < 2 * pixel_size_um:
        raise ValueError(
            f"a cut-off of {cutoff_um} µm is shorter than two pixels of {pixel_size_um} µm: "
            "such waves are not in the data"
        )
    half = math.ceil(_REACH * alpha / ALPHA * cutoff_um / pixel_size_um)
    place = np.arange(-half, half + 1) * pixel_size_um / (alpha * cutoff_um)
    weights = np.exp(-math.pi * place**2)
    return np.asarray(weights / weights.sum())


def transmission(cutoff_um: float, wavelength_um: np.ndarray | float) -> np.ndarray:
    """Share of its amplitude that a wave keeps: exp(-pi (alpha cutoff / wavelength)²)."""
    return np.exp(-math.pi * (ALPHA * cutoff_um / np.asarray(wavelength_um, float)) ** 2)


def gaussian_filter(
    heights_um: np.ndarray, cutoff_um: float, pixel_size_um: tuple[float, float]
) -> np.ndarray:
    """Low-pass surface (mean surface) of a height map.

    Parameters
    ----------
    heights_um : ndarray of shape (M, N), float
        Heights, µm; not-a-number where not measured.
    cutoff_um : float
        Nesting index: wavelength of which half the amplitude passes, µm, in all directions.
    pixel_size_um : tuple of float
        Pixel size (x, y).

    Returns
    -------
    ndarray of shape (M, N)
        The weighted mean of the measured points at every pixel, in gaps too; not-a-number where less than
        `LEAST_WEIGHT` of the weight lies on measured points. Type of the input; sums are formed in float32
        about a level that is taken off first, and for standard deviations from 5 px on (cut-offs from 27 px
        on) on a reduced grid, which together hold them to about 1e-5 of the range of heights.

    Raises
    ------
    ValueError
        As `gaussian_weights` does; if heights are not a floating-point matrix.

    Notes
    -----
    On a grid the weights are sampled. With less than about five pixels to a cut-off they transmit more than
    half at it: 0.50 at five pixels, 0.56 at three, the coarsest sampling that ISO 25178-3 admits for optical
    instruments (from memory).
    """
    low, level = _low_pass(heights_um, cutoff_um, pixel_size_um)
    return np.asarray(low + heights_um.dtype.type(level), heights_um.dtype)


def s_filter(heights_um: np.ndarray, cutoff_um: float, pixel_size_um: tuple[float, float]) -> np.ndarray:
    """Remove scales below the cut-off (S-filter): as `gaussian_filter`, and gaps stay gaps."""
    low = gaussian_filter(heights_um, cutoff_um, pixel_size_um)
    low[~np.isfinite(heights_um)] = np.nan
    return low


def l_filter(heights_um: np.ndarray, cutoff_um: float, pixel_size_um: tuple[float, float]) -> np.ndarray:
    """Remove scales above the cut-off (L-filter): heights less `gaussian_filter`; gaps stay gaps."""
    low, level = _low_pass(heights_um, cutoff_um, pixel_size_um)
    return np.asarray((heights_um - heights_um.dtype.type(level)) - low, heights_um.dtype)


def _low_pass(
    heights: np.ndarray, cutoff: float, pixel_size: tuple[float, float]
) -> tuple[np.ndarray, float]:
    """Low-pass surface less a level (float32), and the level."""
    if heights.ndim != 2 or not np.issubdtype(heights.dtype, np.floating):
        raise ValueError(f"heights must be a floating-point matrix, got {heights.dtype}")
    along_x, along_y = (gaussian_weights(cutoff, size).astype(np.float32) for size in pixel_size)
    some = heights.ravel()[:: max(1, heights.size // _LEVEL_SAMPLES)]
    some = some[np.isfinite(some)]
    level = float(np.median(some)) if some.size else 0.0
    out = np.empty(heights.shape, np.float32)
    sigmas = (
        cutoff * ALPHA / math.sqrt(2 * math.pi) / pixel_size[0],
        cutoff * ALPHA / math.sqrt(2 * math.pi) / pixel_size[1],
    )

    def values_and_weights(rows: slice) -> tuple[np.ndarray, np.ndarray]:
        values = (heights[rows] - heights.dtype.type(level)).astype(np.float32, copy=False)
        measured = np.isfinite(values)
        np.copyto(values, 0, where=~measured)
        return values, measured.astype(np.float32)

    def divided(rows: slice, sums: list[np.ndarray]) -> None:
        total, weight = sums
        with np.errstate(divide="ignore", invalid="ignore"):
            np.divide(total, weight, out=out[rows])
        out[rows][weight < LEAST_WEIGHT] = np.nan

    if halvings(min(sigmas)) > 0:
        weighted_sums((heights.shape[0], heights.shape[1]), values_and_weights, sigmas, divided)
        return out, level

    def work(rows: slice, halo: slice) -> None:
        inner = slice(rows.start - halo.start, rows.stop - halo.start)
        divided(rows, [_filtered(a, along_x, along_y)[inner] for a in values_and_weights(halo)])

    in_strips(work, heights.shape[0], len(along_y) // 2)
    return out, level


def in_strips(work: Callable[[slice, slice], None], rows: int, halo: int) -> None:
    """Call `work(rows, rows with halo)` on strips of an image, two at a time; strips depend on nothing else
    than the number of rows, so that the result does not depend on threads.
    """
    strips = []
    for first in range(0, rows, _STRIP_ROWS):
        end = min(first + _STRIP_ROWS, rows)
        strips.append((slice(first, end), slice(max(first - halo, 0), min(end + halo, rows))))
    with ThreadPoolExecutor(_THREADS) as pool:
        for _ in pool.map(lambda pair: work(*pair), strips):
            pass


def _filtered(a: np.ndarray, along_x: np.ndarray, along_y: np.ndarray) -> np.ndarray:
    """Sums of weights times values, nothing beyond the edge."""
    return np.asarray(cv2.sepFilter2D(a, -1, along_x, along_y, borderType=cv2.BORDER_CONSTANT))

"""A height map worked through in strips that fit the cache, on a few threads, always with the same result."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

import numpy as np

_T = TypeVar("_T")


def strips(shape: tuple[int, int], pixels: int) -> Iterator[tuple[int, int]]:
    """First and last row (excluded) of strips of about `pixels` pixels.

    They depend on the shape of the map alone, not on how many threads work on them.
    """
    step = max(1, pixels // max(1, shape[1]))
    for row in range(0, shape[0], step):
        yield row, min(row + step, shape[0])


def over_strips(
    work: Callable[[int, int], _T], shape: tuple[int, int], *, pixels: int, threads: int
) -> list[_T]:
    """What `work(row0, row1)` returns for every strip, in the order of the strips.

    Parameters
    ----------
    work : callable
        Called from several threads at once.
    shape : tuple of int
        Rows and columns of the map.
    pixels : int
        About as many pixels go into a strip.
    threads : int
        At least 1. Strips are dealt out in runs of neighbours, one run to a thread.
    """
    parts = list(strips(shape, pixels))
    if threads <= 1 or len(parts) < 2:
        return [work(*part) for part in parts]
    runs = np.array_split(np.arange(len(parts)), min(threads, len(parts)))
    with ThreadPoolExecutor(len(runs)) as pool:
        done = pool.map(lambda run: [work(*parts[i]) for i in run], runs)
        return [item for run in done for item in run]


def aligned(shape: tuple[int, int]) -> np.ndarray:
    """An empty float32 array that starts on a 64-byte boundary.

    Vectorised sums group their terms by the address they start at, so scratch of every thread must start
    alike if the last bit is not to depend on the thread.
    """
    size = shape[0] * shape[1]
    raw = np.empty(size + 16, np.float32)
    start = (-raw.ctypes.data % 64) // 4
    return raw[start : start + size].reshape(shape)


def check_heights(heights_um: np.ndarray) -> np.ndarray:
    """The height map as a float32 or float64 array of shape (M, N).

    Raises
    ------
    ValueError
        If it has not two axes, is empty, or does not hold floating-point numbers.
    """
    heights = np.asarray(heights_um)
    if heights.ndim != 2 or heights.size == 0:
        raise ValueError(f"heights_um must have rows and columns, got shape {heights.shape}")
    if heights.dtype not in (np.float32, np.float64):
        raise ValueError(f"heights_um must be float32 or float64, got {heights.dtype}")
    return heights


def check_pixel_size(pixel_size_um: tuple[float, float]) -> tuple[float, float]:
    """Pixel size (x, y) as two floats.

    Raises
    ------
    ValueError
        If it is not two finite numbers above 0.
    """
    sizes = tuple(float(size) for size in pixel_size_um)
    if len(sizes) != 2 or not all(np.isfinite(size) and size > 0 for size in sizes):
        raise ValueError(f"pixel_size_um must be two finite numbers above 0, got {pixel_size_um!r}")
    return sizes[0], sizes[1]

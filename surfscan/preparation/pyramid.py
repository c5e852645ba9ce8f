"""Wide Gaussian sums on a reduced grid, exact to about the rounding of float32.

An image is halved a few times behind binomial filters, whose response is zero where halving would fold waves
onto the longest ones, filtered there, and doubled again behind the same filters. What the binomial filters
take from the waves that pass is known, cos(pi f)^n, and the filter on the reduced grid gives it back.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor

import cv2
import numpy as np

_NARROWEST = 5.0  # standard deviation, px, down to which an image may be halved once more
_SHORT_FROM = 14.0  # ... and from which five taps do in place of nine
_NINE = np.array([1, 8, 28, 56, 70, 56, 28, 8, 1], np.float32) / 256
_EVEN, _ODD = _NINE[::2] * 2, _NINE[1::2] * 2
_HALO = 8  # grid points beyond the edge, at every size, that doubling needs
_STRIP_ROWS = 512
_THREADS = 2


def halvings(sigma_px: float) -> int:
    """How often an image may be halved before a Gaussian of this standard deviation.

    Down to a standard deviation of 5 px before the last halving, where waves folded onto those that pass
    keep at most sin(pi f)^8 exp(-2 (pi sigma f)²) < 1e-6 of their amplitude (1e-5 with the five taps used
    from 14 px on, 4e-6 there).
    """
    count = 0
    while sigma_px / 2**count >= _NARROWEST:
        count += 1
    return count


def weighted_sums(
    shape: tuple[int, int],
    rows_of: Callable[[slice], Iterable[np.ndarray]],
    sigmas_px: tuple[float, float],
    use: Callable[[slice, list[np.ndarray]], None],
) -> None:
    """Gaussian sums of several images, zero beyond the edge, strip by strip.

    Parameters
    ----------
    shape : tuple of int
        Rows and columns.
    rows_of : callable
        Given a slice of rows, the images there, float32.
    sigmas_px : tuple of float
        Standard deviations along rows (x) and along columns (y), px; both at least 5.
    use : callable
        Called with each slice of rows and the sums there. Strips come from two threads; they depend on
        nothing but `shape`.
    """
    count = halvings(min(sigmas_px))
    short = [min(sigmas_px) / 2**j >= _SHORT_FROM for j in range(count)]
    cell = 2**count
    pad = _HALO * cell
    inner = tuple(-(-n // cell) * cell for n in shape)
    small_shape = tuple(n // cell + 2 * _HALO for n in inner)

    def reduced(rows: slice) -> list[np.ndarray]:
        """Images reduced on the grid rows of a strip given in grid rows."""
        first, end = rows.start * cell - 2 * pad, rows.stop * cell
        low, high = max(first, 0), min(end, shape[0])
        out = []
        images = rows_of(slice(low, high)) if high > low else ()
        for image in images:
            block = np.zeros((end - first, inner[1] + 2 * pad), np.float32)
            block[low - first : high - first, pad : pad + shape[1]] = image
            for five in short:
                block = _halved(block, five)
            out.append(block[_HALO : _HALO + rows.stop - rows.start])
        return out

    step = max(1, _STRIP_ROWS // cell)
    parts = [slice(i, min(i + step, small_shape[0])) for i in range(0, small_shape[0], step)]
    with ThreadPoolExecutor(_THREADS) as pool:
        strips = list(pool.map(reduced, parts))
    number = max(len(images) for images in strips)
    along_x, along_y = (_grid_weights(sigma, short) for sigma in sigmas_px)
    grids = []
    for k in range(number):
        whole = np.concatenate(
            [
                images[k] if images else np.zeros((part.stop - part.start, small_shape[1]), np.float32)
                for part, images in zip(parts, strips, strict=True)
            ]
        )
        grids.append(cv2.sepFilter2D(whole, -1, along_x, along_y, borderType=cv2.BORDER_CONSTANT))

    def enlarged(first: int) -> None:
        end = min(first + step, inner[0] // cell)
        sums = []
        for grid in grids:
            block = grid[first : end + 2 * _HALO]
            for five in reversed(short):
                block = _doubled(block, five)
            sums.append(block[pad : pad + (end - first) * cell, pad : pad + shape[1]])
        rows = slice(first * cell, min(end * cell, shape[0]))
        use(rows, [a[: rows.stop - rows.start] for a in sums])

    with ThreadPoolExecutor(_THREADS) as pool:
        for _ in pool.map(enlarged, range(0, inner[0] // cell, step)):
            pass


def _halved(a: np.ndarray, five: bool) -> np.ndarray:
    """Every second point behind a binomial filter of five or nine taps."""
    if five:
        return np.asarray(cv2.pyrDown(a))
    return np.ascontiguousarray(
        cv2.sepFilter2D(a, -1, _NINE, _NINE, borderType=cv2.BORDER_CONSTANT)[::2, ::2]
    )


def _doubled(a: np.ndarray, five: bool) -> np.ndarray:
    """Twice as many points behind a binomial filter of five or nine taps."""
    if five:
        return np.asarray(cv2.pyrUp(a))
    out = np.empty((2 * a.shape[0], 2 * a.shape[1]), np.float32)
    # an even number of taps is made odd, so that the filter lies on the grid
    odd = np.concatenate([[0], _ODD]).astype(np.float32)
    for row, down in ((0, _EVEN), (1, odd)):
        for col, right in ((0, _EVEN), (1, odd)):
            out[row::2, col::2] = cv2.sepFilter2D(a, -1, right, down, borderType=cv2.BORDER_CONSTANT)
    return out


def _grid_weights(sigma: float, short: list[bool]) -> np.ndarray:
    """Weights on the reduced grid that make the whole a Gaussian; float32, odd length."""
    cell = 2 ** len(short)
    half = int(np.ceil(6 * sigma / cell)) + 2
    size = 8 * half
    frequency = np.fft.rfftfreq(size) / cell
    response = np.exp(-2 * (np.pi * sigma * frequency) ** 2)
    for j, five in enumerate(short):
        response /= np.cos(np.pi * frequency * 2**j) ** (2 * (4 if five else 8))
    weights = np.fft.irfft(response, size)
    return np.concatenate([weights[-half:], weights[: half + 1]]).astype(np.float32)

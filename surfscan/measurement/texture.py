"""Height and gradient parameters of ISO 25178-2 over a map with gaps.

One pass finds the mean, a second everything else, in strips that stay in the cache: single precision about
the mean, sums in double precision.
"""

from __future__ import annotations

import math
import threading
from dataclasses import dataclass

import numpy as np

from surfscan.measurement.strips import aligned, check_heights, check_pixel_size, over_strips

_STRIP_PX = 1 << 17
_PILOT = 61  # rows and columns of the sample whose mean the first pass counts from
_GENTLE = 0.02  # mean squared slope below which single precision would lose area against the 1


@dataclass(frozen=True)
class HeightParameters:
    """Height and gradient parameters of one surface.

    Attributes
    ----------
    mean_um : float
        Mean of the measured heights: the mean plane that all others are counted from, µm.
    measured_px : int
        Pixels that hold a height.
    sa_um, sq_um, sz_um, sp_um, sv_um : float
        µm.
    ssk, sku : float or None
        None on a surface without any height difference.
    sdq, sdr : float or None
        Gradient and developed area ratio (a fraction); None without a pixel size, or where no four
        neighbouring pixels are all measured.
    cells : int
        Cells of four measured neighbouring pixels that `sdq` and `sdr` rest on; 0 without a pixel size.
    """

    mean_um: float
    measured_px: int
    sa_um: float
    sq_um: float
    sz_um: float
    sp_um: float
    sv_um: float
    ssk: float | None
    sku: float | None
    sdq: float | None
    sdr: float | None
    cells: int


def height_parameters(
    heights_um: np.ndarray, *, pixel_size_um: tuple[float, float] | None = None, threads: int = 2
) -> HeightParameters:
    """Sa, Sq, Sz, Sp, Sv, Ssk, Sku, Sdq and Sdr of a scale-limited surface.

    Parameters
    ----------
    heights_um : ndarray of shape (M, N), float32 or float64
        Heights in µm, up positive, not-a-number where nothing was measured. Form is taken off before; the
        mean is taken off here.
    pixel_size_um : tuple of float, optional
        (x, y): distance of pixel centres along a row and along a column, µm.
    threads : int
        The result does not depend on it.

    Returns
    -------
    HeightParameters

    Raises
    ------
    ValueError
        If nothing was measured, a height is infinite, or an argument makes no sense.

    Notes
    -----
    Means are over the measured pixels, each of equal weight. Gradients are those of the surface of planes
    through the samples: in every cell of four measured neighbours, the two triangles of either diagonal, the
    two diagonals averaged. So the squared gradient of a cell is (a² + b²)/2 + (c² + d²)/2, with a and b the
    slopes along its two sides in x and c and d along those in y, and its area is the mean over its four
    corner triangles of sqrt(1 + gx² + gy²). Differences are thus of direct neighbours: a crest that lies on
    a sample loses no slope, and a sine of n samples a period loses a share of (2π/n)²/24 of its gradient, a
    quarter of what central differences lose. A cell next to a gap or beyond the border does not exist;
    nothing is filled. As in all other means a pixel at the border of the map stands for its whole area: cells
    there count one and a half times (two and a quarter in corners), since they stand for its outer half too.
    So whole periods of a wave are whole periods for the gradient as well.

    References
    ----------
    ISO 25178-2:2012 and 2021, definitions of the height and hybrid parameters (from memory). The standard
    defines them as integrals over the continuous surface; the sums are those of the sampled surface.
    """
    heights = check_heights(heights_um)
    pixel_size = None if pixel_size_um is None else check_pixel_size(pixel_size_um)
    mean, count = _mean(heights, threads)
    scratch = threading.local()

    def work(row0: int, row1: int) -> tuple[float, ...]:
        if not hasattr(scratch, "buffers"):
            scratch.buffers = _Buffers(heights.shape)
        return _strip_sums(heights, row0, row1, mean, pixel_size, scratch.buffers)

    parts = np.array(over_strips(work, heights.shape, pixels=_STRIP_PX, threads=threads))
    absolute, second, third, fourth, squares, area, cells = (math.fsum(column) for column in parts[:, :7].T)
    weight = cells
    if pixel_size is not None:
        border = _border_sums(heights, mean, pixel_size)
        squares, area, weight = squares + border[0], area + border[1], cells + border[2]
    top, bottom = float(parts[:, 7].max()), float(parts[:, 8].min())
    sq = math.sqrt(second / count)
    return HeightParameters(
        mean_um=mean,
        measured_px=count,
        sa_um=absolute / count,
        sq_um=sq,
        sz_um=top - bottom,
        sp_um=top,
        sv_um=-bottom,
        ssk=third / count / sq**3 if sq > 0 else None,
        sku=fourth / count / sq**4 if sq > 0 else None,
        sdq=math.sqrt(squares / (2 * weight)) if cells else None,
        sdr=area / (4 * weight) if cells else None,
        cells=int(cells),
    )


class _Buffers:
    """Scratch of one thread, large enough for one strip and the row below it."""

    def __init__(self, shape: tuple[int, int]) -> None:
        rows = min(shape[0], max(1, _STRIP_PX // shape[1])) + 1
        across = (rows, max(0, shape[1] - 1))
        self.centred, self.filled, self.power, self.y = (aligned((rows, shape[1])) for _ in range(4))
        self.x, self.area, self.triangle = (aligned(across) for _ in range(3))
        self.measured = np.empty(across, bool)


def _mean(heights: np.ndarray, threads: int) -> tuple[float, int]:
    """Mean and number of the measured heights."""
    import cv2

    step = tuple(max(1, n // _PILOT) for n in heights.shape)
    sample = heights[:: step[0], :: step[1]]
    sample = sample[np.isfinite(sample)]
    pilot = float(sample.mean(dtype=np.float64)) if sample.size else 0.0
    scratch = threading.local()

    def work(row0: int, row1: int) -> tuple[float, int]:
        if not hasattr(scratch, "centred"):
            rows = max(1, _STRIP_PX // heights.shape[1])
            scratch.centred = aligned((rows, heights.shape[1]))
            scratch.measured = np.empty((rows, heights.shape[1]), bool)
        part, n = heights[row0:row1], row1 - row0
        centred, measured = scratch.centred[:n], scratch.measured[:n]
        np.subtract(part, pilot, out=centred, casting="same_kind")
        np.equal(centred, centred, out=measured)
        cv2.patchNaNs(centred, 0.0)
        return cv2.sumElems(centred)[0], int(np.count_nonzero(measured))

    parts = over_strips(work, heights.shape, pixels=_STRIP_PX, threads=threads)
    count = sum(n for _, n in parts)
    if count == 0:
        raise ValueError("heights_um holds no measured height")
    total = math.fsum(part for part, _ in parts if math.isfinite(part))
    if not all(math.isfinite(part) for part, _ in parts):
        raise ValueError("heights_um holds an infinite height; mark what was not measured with not-a-number")
    return pilot + total / count, count


def _strip_sums(
    heights: np.ndarray,
    row0: int,
    row1: int,
    mean: float,
    pixel_size: tuple[float, float] | None,
    scratch: _Buffers,
) -> tuple[float, ...]:
    """Sums of |z|, z², z³ and z⁴, of squared slopes, of developed area less 1; cells; highest and lowest z.

    Squared slopes are summed over the four sides of each cell and areas over its four corner triangles.
    """
    import cv2

    n = row1 - row0
    below = min(row1 + 1, heights.shape[0]) - row0  # with the first row of the next strip, if there is one
    centred = scratch.centred[:below]
    np.subtract(heights[row0 : row0 + below], mean, out=centred, casting="same_kind")
    z, square = scratch.filled[:n], scratch.power[:n]
    np.copyto(z, centred[:n])
    cv2.patchNaNs(z, 0.0)
    np.multiply(z, z, out=square)
    sums = [cv2.norm(z, cv2.NORM_L1), cv2.sumElems(square)[0], 0.0, cv2.norm(square, cv2.NORM_L2SQR)]
    np.multiply(square, z, out=square)
    sums[2] = cv2.sumElems(square)[0]
    extremes = (float(z.max()), float(z.min()))
    gradients = (0.0, 0.0, 0.0)
    if pixel_size is not None and below > 1 and heights.shape[1] > 1:
        gradients = _gradient_sums(centred, pixel_size, scratch)
    return (*sums, *gradients, *extremes)


def _border_sums(
    heights: np.ndarray, mean: float, pixel_size: tuple[float, float]
) -> tuple[float, float, float]:
    """What cells along the border count more than once: halves of edges and quarters of corners."""
    if min(heights.shape) < 2:
        return 0.0, 0.0, 0.0
    ends = (slice(0, 2), slice(-2, None))
    along_x, along_y = pixel_size, pixel_size[::-1]
    strips = [(0.5, heights[end], along_x) for end in ends] + [(0.5, heights.T[end], along_y) for end in ends]
    strips += [(0.25, heights[end, other], along_x) for end in ends for other in ends]
    sums = []
    for weight, strip, size in strips:
        z = np.subtract(strip, mean).astype(np.float32, order="C")
        sums.append([weight * part for part in _gradient_sums(z, size, _Buffers(z.shape))])
    squares, area, cells = (math.fsum(column) for column in zip(*sums, strict=True))
    return squares, area, cells


def _gradient_sums(
    z: np.ndarray, pixel_size: tuple[float, float], scratch: _Buffers
) -> tuple[float, float, float]:
    """Squared slopes of the sides, area less 1 of the corner triangles, and number of whole cells."""
    import cv2

    rows = len(z)
    x, y = scratch.x[:rows], scratch.y[: rows - 1]
    np.subtract(z[:, 1:], z[:, :-1], out=x)
    np.subtract(z[1:], z[:-1], out=y)
    np.multiply(x, x, out=x)
    np.multiply(y, y, out=y)
    unit = pixel_size[0]  # squares and areas are in units of the pitch along x until they are summed
    if pixel_size[1] != unit:
        np.multiply(y, np.float32((unit / pixel_size[1]) ** 2), out=y)
    area, triangle = scratch.area[: rows - 1], scratch.triangle[: rows - 1]
    measured = scratch.measured[: rows - 1]
    np.add(x[:-1], x[1:], out=area)
    np.add(area, y[:, :-1], out=area)
    np.add(area, y[:, 1:], out=area)
    np.equal(area, area, out=measured)
    cells = float(np.count_nonzero(measured))
    cv2.patchNaNs(area, 0.0)
    squares = cv2.sumElems(area)[0]
    corners = ((x[:-1], y[:, :-1]), (x[:-1], y[:, 1:]), (x[1:], y[:, :-1]), (x[1:], y[:, 1:]))
    gentle = squares <= 2 * _GENTLE * unit**2 * cells
    np.add(x, np.float32(unit**2), out=x)
    for i, (a, b) in enumerate(corners):
        one = triangle if i else area
        np.add(a, b, out=one)
        cv2.sqrt(one, one)
        if gentle:  # sqrt(1 + g) - 1 = (g - (sqrt(1 + g) - 1)²)/2 does not lose small slopes against the 1
            np.subtract(one, np.float32(unit), out=one)
            np.multiply(one, one, out=one)
        if i:
            np.add(area, one, out=area)
        elif not gentle:
            np.subtract(area, np.float32(4 * unit), out=area)
    cv2.patchNaNs(area, 0.0)
    total = cv2.sumElems(area)[0]
    squares /= unit**2
    return squares, squares - total / unit**2 / 2 if gentle else total / unit, cells

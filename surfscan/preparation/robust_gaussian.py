"""Robust areal Gaussian regression filter of ISO 16610-71 for height maps with gaps.

At every point a polynomial is fitted to the heights around it with Gaussian weights; points far from the
surface so found get less weight (Tukey's), until nothing changes. Pits and scratches hardly pull it.
"""

from __future__ import annotations

import math
from concurrent.futures import ThreadPoolExecutor
from itertools import combinations_with_replacement

import cv2
import numpy as np

from surfscan.preparation.gaussian import ALPHA, LEAST_WEIGHT, gaussian_weights, in_strips

TUKEY_LIMIT = 4.4478
"""Residuals beyond this many medians of their absolute values get no weight (ISO 16610-71, from memory):
three standard deviations of normal residuals."""

ALPHA_OF_SECOND_DEGREE = 0.730914
"""Constant of the weights for local polynomials of second degree (ISO 16610-31 and -71, from memory: 0.7309).

Such a fit follows waves better than a mean does: with weights exp(-pi (r / (alpha cutoff))²) it transmits
(1 + q) exp(-q), q = pi (alpha cutoff / wavelength)², which is one half at the cut-off for this alpha."""

_NODES_PER_CUTOFF = 20  # nodes are at most a twentieth of a cut-off apart, of one that goes with ALPHA
_STENCIL = 6  # and interpolated by polynomials through six nodes
_SETTLED = 1e-3  # the limit changes by less than this share
_MOST_ROUNDS = 30
_SINGULAR = 1e-10
_THREADS = 2


def robust_gaussian(
    heights_um: np.ndarray,
    cutoff_um: float,
    pixel_size_um: tuple[float, float],
    *,
    degree: int = 2,
    region: np.ndarray | None = None,
) -> np.ndarray:
    """Low-pass surface that pits do not pull.

    Parameters
    ----------
    heights_um : ndarray of shape (M, N), float
        Heights, µm; not-a-number where not measured.
    cutoff_um : float
        Nesting index: wavelength of which half the amplitude passes, µm, in all directions.
    pixel_size_um : tuple of float
        Pixel size (x, y).
    degree : {0, 1, 2}
        Degree of the local polynomial. 2 follows form to the edges and is usual; 0 is a weighted mean.
    region : ndarray of shape (M, N), bool, optional
        Points to use; all where not given.

    Returns
    -------
    ndarray of shape (M, N)
        The surface at every pixel, in gaps too; not-a-number where less than 1 % of the Gaussian weight lies
        on measured points of which robustness has left any. Type of the input.

    Raises
    ------
    ValueError
        As `gaussian_filter` does; for any other degree.

    Notes
    -----
    Tukey's weights (1 - (r / c)²)² with c = 4.4478 times the median of absolute residuals over the map, as in
    the standard, until c changes by less than a thousandth (30 rounds at most). The Gaussian weights let half
    of a wave as long as the cut-off pass, for every degree (`ALPHA_OF_SECOND_DEGREE`); what robustness takes
    from crests leaves 0.48 of a pure wave and 0.39 of a faint one in normal roughness. The surface is
    computed, in float64, on nodes at most a thirteenth of a cut-off apart (a twentieth where the degree is
    below 2) and interpolated by polynomials through 6 by 6 nodes; where a pixel is wider than that, at every
    pixel. That differs from computing every pixel by less than 2e-3 of the roughness.
    """
    if heights_um.ndim != 2 or not np.issubdtype(heights_um.dtype, np.floating):
        raise ValueError(f"heights must be a floating-point matrix, got {heights_um.dtype}")
    if degree not in (0, 1, 2):
        raise ValueError(f"the degree must be 0, 1 or 2, got {degree}")
    alpha = ALPHA_OF_SECOND_DEGREE if degree == 2 else ALPHA
    kernels = [gaussian_weights(cutoff_um, size, alpha) for size in pixel_size_um]
    valid = np.isfinite(heights_um)
    if region is not None:
        valid &= region
    level = float(np.median(heights_um[valid])) if valid.any() else 0.0
    z = np.where(valid, heights_um - heights_um.dtype.type(level), 0).astype(np.float64)
    nodes = [
        _nodes(n, cutoff_um * alpha / ALPHA / size)
        for n, size in zip(heights_um.shape, (pixel_size_um[1], pixel_size_um[0]), strict=True)
    ]
    weight = valid.astype(np.float64)
    limit = math.inf
    for _ in range(_MOST_ROUNDS):
        on_nodes = _regression(z, weight, kernels, nodes, degree)
        surface = _interpolated(on_nodes, nodes, heights_um.shape)
        residual = z - surface
        absolute = np.abs(residual[valid])
        absolute = absolute[np.isfinite(absolute)]
        previous, limit = limit, TUKEY_LIMIT * float(np.median(absolute)) if absolute.size else 0.0
        if limit <= 0 or abs(previous - limit) < _SETTLED * limit:
            break
        ratio = residual / limit
        np.multiply(ratio, ratio, out=ratio)
        np.subtract(1, ratio, out=ratio)
        np.maximum(ratio, 0, out=ratio)
        weight = np.where(valid & np.isfinite(ratio), ratio * ratio, 0.0)
    return np.asarray(surface + level, heights_um.dtype)


def _nodes(n: int, cutoff_px: float) -> np.ndarray:
    """Places of nodes along an axis of n pixels: every few of them, the last one too."""
    step = max(1, int(cutoff_px / _NODES_PER_CUTOFF))
    places = np.arange(0, n, step)
    if places[-1] != n - 1:
        places = np.append(places, n - 1)
    return places if len(places) >= _STENCIL else np.arange(n)


def _regression(
    z: np.ndarray, weight: np.ndarray, kernels: list[np.ndarray], nodes: list[np.ndarray], degree: int
) -> np.ndarray:
    """Value of the local weighted polynomial at the nodes; not-a-number where it cannot be told."""
    powers = [(i, j) for i in range(degree + 1) for j in range(degree + 1 - i)]
    across = [_moments(a, kernels, nodes, top) for a, top in ((weight, 2 * degree), (weight * z, degree))]
    of_weight, of_heights = across
    size = len(powers)
    matrix = [[of_weight[a[0] + b[0], a[1] + b[1]] for b in powers] for a in powers]
    right = [of_heights[p] for p in powers]
    return _first_unknown(matrix, right, size)


def _moments(
    a: np.ndarray, kernels: list[np.ndarray], nodes: list[np.ndarray], top: int
) -> dict[tuple[int, int], np.ndarray]:
    """Sums over a node's surroundings of weight times `a` times x^i y^j, for i + j up to `top`.

    x and y count in half kernel lengths from the node.
    """
    along_x, along_y = kernels
    place_x, place_y = (np.arange(-(len(k) // 2), len(k) // 2 + 1) / (len(k) // 2) for k in kernels)
    one = np.ones(1)
    lines: list[np.ndarray] = []
    for i in range(top + 1):
        line = np.empty((a.shape[0], len(nodes[1])))
        kernel = along_x * place_x**i

        def work(rows: slice, halo: slice, line: np.ndarray = line, kernel: np.ndarray = kernel) -> None:
            filtered = cv2.sepFilter2D(a[halo], -1, kernel, one, borderType=cv2.BORDER_CONSTANT)
            line[rows] = filtered[:, nodes[1]]

        in_strips(work, a.shape[0], 0)
        lines.append(line)
    pairs = [(i, j) for i in range(top + 1) for j in range(top + 1 - i)]

    def down(pair: tuple[int, int]) -> np.ndarray:
        i, j = pair
        kernel = along_y * place_y**j
        return np.asarray(
            cv2.sepFilter2D(lines[i], -1, one, kernel, borderType=cv2.BORDER_CONSTANT)[nodes[0]]
        )

    with ThreadPoolExecutor(_THREADS) as pool:
        return dict(zip(pairs, pool.map(down, pairs), strict=True))


def _first_unknown(matrix: list[list[np.ndarray]], right: list[np.ndarray], size: int) -> np.ndarray:
    """First unknown of symmetric positive systems, one at each node, by elimination from the last on."""
    m = {(i, j): matrix[i][j].copy() for i, j in combinations_with_replacement(range(size), 2)}
    r = [a.copy() for a in right]
    total = matrix[0][0]
    poor = total < LEAST_WEIGHT
    for last in range(size - 1, 0, -1):
        pivot = m[last, last]
        flat = pivot <= _SINGULAR * total
        inverse = np.where(flat, 0.0, 1 / np.where(flat, 1.0, pivot))
        for i in range(last):
            factor = m[i, last] * inverse
            r[i] -= factor * r[last]
            for j in range(i, last):
                m[i, j] -= factor * m[j, last]
    pivot = m[0, 0]
    poor |= pivot <= _SINGULAR * total
    return np.where(poor, np.nan, r[0] / np.where(poor, 1.0, pivot))


def _interpolated(on_nodes: np.ndarray, nodes: list[np.ndarray], shape: tuple[int, ...]) -> np.ndarray:
    """Values at every pixel from those at nodes."""
    if on_nodes.shape == shape:
        return on_nodes
    return _along_rows(_along_rows(on_nodes.T, nodes[1], shape[1]).T, nodes[0], shape[0])


def _along_rows(values: np.ndarray, nodes: np.ndarray, n: int) -> np.ndarray:
    """Interpolate between rows, given at `nodes`, to n rows, by polynomials through the six nearest."""
    if len(nodes) == n:
        return values
    place = np.arange(n)
    before = np.searchsorted(nodes, place, side="right") - 1
    first = np.clip(before - _STENCIL // 2 + 1, 0, len(nodes) - _STENCIL)
    stencil = first[:, None] + np.arange(_STENCIL)
    x = nodes[stencil].astype(float)
    factors = np.ones((n, _STENCIL))
    for k in range(_STENCIL):
        for other in range(_STENCIL):
            if other != k:
                factors[:, k] *= (place - x[:, other]) / (x[:, k] - x[:, other])
    out = np.empty((n, values.shape[1]))

    def work(rows: slice, _: slice) -> None:
        out[rows] = values[stencil[rows, 0]] * factors[rows, 0, None]
        for k in range(1, _STENCIL):
            out[rows] += values[stencil[rows, k]] * factors[rows, k, None]

    in_strips(work, n, 0)
    return out

"""The surface that the metal would have without its pits, and how rough it is, all over a height map.

Both are kept on a coarse grid: the level as local planes fitted to samples of metal, the roughness as the
root mean square of what is left.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

_TILE_PX = 64
_SAMPLES = 600_000
_ROUNDS = 5
_CLIP = 2.5
_FINAL_CLIP = 4.0
_CLIPPED_SD = 0.9122  # standard deviation of a normal variable cut at 2.5 either way (closed form)
_WIDTHS_TILES = ((1.0, 1.0), (2.5, 0.1), (8.0, 0.002))  # standard deviation and weight of each Gaussian
_STIFFNESS = 1e-4
_MAD_TO_SIGMA = 1.4826
_SEED, _SKIRT = 4.0, 1.0
_GROWN_SAMPLES = 2


@dataclass(frozen=True)
class NodeGrid:
    """A smooth field on the corners of square tiles, bilinear between them.

    Attributes
    ----------
    nodes : ndarray of shape (m + 1, n + 1), float32
        Values on the corners of m by n tiles, the first at the picture's corner.
    tile_px : int
        Side of a tile.
    shape : (int, int)
        Rows and columns of the picture.
    """

    nodes: np.ndarray
    tile_px: int
    shape: tuple[int, int]

    def rows(self, first: int, end: int) -> np.ndarray:
        """Field at every pixel of some rows, shape (end - first, N), float32."""
        y = (np.arange(first, end) + 0.5) / self.tile_px
        above = np.minimum(y.astype(int), self.nodes.shape[0] - 2)
        share = (y - above).astype(np.float32)[:, None]
        lines = self.nodes[above] * (1 - share) + self.nodes[above + 1] * share
        wide = (self.nodes.shape[1] * self.tile_px, end - first)
        start = self.tile_px // 2
        return np.asarray(cv2.resize(lines, wide, interpolation=cv2.INTER_LINEAR))[
            :, start : start + self.shape[1]
        ]

    def at(self, row: np.ndarray, col: np.ndarray) -> np.ndarray:
        """Field at positions in px (pixel centres are whole numbers), shape of `row`, float64."""
        y, x = (np.asarray(row) + 0.5) / self.tile_px, (np.asarray(col) + 0.5) / self.tile_px
        r = np.clip(y.astype(int), 0, self.nodes.shape[0] - 2)
        c = np.clip(x.astype(int), 0, self.nodes.shape[1] - 2)
        v, u = y - r, x - c
        top = self.nodes[r, c] * (1 - u) + self.nodes[r, c + 1] * u
        bottom = self.nodes[r + 1, c] * (1 - u) + self.nodes[r + 1, c + 1] * u
        return np.asarray(top * (1 - v) + bottom * v, np.float64)


@dataclass(frozen=True)
class LocalReference:
    """Level and roughness of the metal.

    Attributes
    ----------
    level : NodeGrid
        Height of the metal round about, pits left out, µm.
    roughness : NodeGrid
        Root mean square of the heights of the metal about that level (Sq), µm.
    sq_um : float
        The same over the whole field.
    metal : ndarray of shape (m, n), bool
        Which samples were taken for metal.
    step_px : int
        Distance between samples.
    """

    level: NodeGrid
    roughness: NodeGrid
    sq_um: float
    metal: np.ndarray
    step_px: int


def local_reference(heights_um: np.ndarray, region: np.ndarray | None = None) -> LocalReference:
    """Level of the metal round every place, pits left out.

    Heights are sampled on a grid of at most about 600 000 points. The first level is their median, the first
    roughness follows from the median absolute deviation. Samples further than 2.5 times the local roughness
    from the level are left out and both are worked out anew, five times; then pits (what goes deeper than 4
    times the roughness, with all that hangs together with it below once the roughness, and a margin) are left
    out, and the level is fitted to all the rest. The level at a corner of the tiles (64 px) is that of planes
    fitted with Gaussian weights, standard deviation one tile; where pits leave too few samples, those from
    further off come in.

    Parameters
    ----------
    heights_um : ndarray of shape (M, N), float32
        Not-a-number where not measured.
    region : ndarray of shape (M, N), bool, optional
        The specimen; everything if None.

    Returns
    -------
    LocalReference

    Raises
    ------
    ValueError
        If nothing was measured inside the region.
    """
    step = max(1, int(np.ceil(np.sqrt(heights_um.size / _SAMPLES))))
    thin = (slice(step // 2, None, step), slice(step // 2, None, step))
    z = np.ascontiguousarray(heights_um[thin], np.float32)
    usable = np.isfinite(z)
    if region is not None:
        usable &= region[thin]
    if not usable.any():
        raise ValueError("no height was measured inside the region; nothing can be found on this map")
    grid = _Tiles(z.shape, step, (heights_um.shape[0], heights_um.shape[1]))
    centre = float(np.median(z[usable]))
    spread = _MAD_TO_SIGMA * float(np.median(np.abs(z[usable] - np.float32(centre))))
    level, rough = grid.constant(centre), grid.constant(max(spread, 1e-9))
    for _ in range(_ROUNDS):
        left = z - grid.sampled(level)
        keep = usable & (np.abs(left) < _CLIP * grid.sampled(rough))
        level, rough = grid.fitted(z, keep), grid.root_mean_square(left / _CLIPPED_SD, keep)
    depth, sigma = grid.sampled(level) - z, grid.sampled(rough)
    metal = usable & ~_pitted(depth, sigma) & (np.abs(depth) < _FINAL_CLIP * sigma)
    level = grid.fitted(z, metal)
    left = z - grid.sampled(level)
    sq = float(np.sqrt(np.mean(np.square(left[metal], dtype=np.float64)))) if metal.any() else 0.0
    return LocalReference(level, grid.root_mean_square(left, metal), sq, metal, step)


def _pitted(depth: np.ndarray, sigma: np.ndarray) -> np.ndarray:
    """Samples in or beside what goes deep."""
    low = (depth > _SKIRT * sigma).view(np.uint8)
    n, parts = cv2.connectedComponents(low, connectivity=4, ltype=cv2.CV_32S)
    deep = np.zeros(n, bool)
    deep[parts[depth > _SEED * sigma]] = True
    deep[0] = False
    side = 2 * _GROWN_SAMPLES + 1
    return np.asarray(cv2.dilate(deep[parts].view(np.uint8), np.ones((side, side), np.uint8)) > 0)


class _Tiles:
    """Sums over square tiles of samples, and smooth fields from them."""

    def __init__(self, samples: tuple[int, ...], step: int, shape: tuple[int, int]) -> None:
        self.side = max(1, min(_TILE_PX // step, *samples))
        self.step, self.shape, self.samples = step, shape, samples
        self.count = (-(-samples[0] // self.side), -(-samples[1] // self.side))

    def constant(self, value: float) -> NodeGrid:
        """The same value everywhere."""
        return self._grid(np.full((self.count[0] + 1, self.count[1] + 1), value))

    def sampled(self, grid: NodeGrid) -> np.ndarray:
        """A field at the samples, float32."""
        y, x = (((np.arange(n) + 0.5) / self.side).astype(np.float32) for n in self.samples)
        r, c = y.astype(int), x.astype(int)
        v, u = (y - r)[:, None], x - c
        lines = grid.nodes[r] * (1 - v) + grid.nodes[r + 1] * v
        return np.asarray(lines[:, c] * (1 - u) + lines[:, c + 1] * u)

    def fitted(self, z: np.ndarray, keep: np.ndarray) -> NodeGrid:
        """Corners of local planes through the samples kept."""
        n, ny, nx, nyy, nyx, nxx = self._moments(keep.astype(np.float32), 2)
        s, sy, sx = self._moments(np.where(keep, z, np.float32(0)), 1)
        row, col = np.arange(self.count[0])[:, None] + 0.5, np.arange(self.count[1]) + 0.5
        sums = [np.zeros(self.count) for _ in range(9)]
        for width, weight in _WIDTHS_TILES:
            for total, part in zip(sums, (n, ny, nx, nyy, nyx, nxx, s, sy, sx), strict=True):
                total += weight * _blurred(part, width)
        n, ny, nx, nyy, nyx, nxx, s, sy, sx = sums
        n = np.maximum(n, 1e-30)
        my, mx, mz = ny / n, nx / n, s / n
        vyy, vxx = nyy / n - my * my + _STIFFNESS, nxx / n - mx * mx + _STIFFNESS
        vyx, cy, cx = nyx / n - my * mx, sy / n - my * mz, sx / n - mx * mz
        det = vyy * vxx - vyx * vyx
        by, bx = (cy * vxx - cx * vyx) / det, (cx * vyy - cy * vyx) / det
        return self._grid(_corners(mz + by * (row - my) + bx * (col - mx), by, bx))

    def root_mean_square(self, left: np.ndarray, keep: np.ndarray) -> NodeGrid:
        """Root mean square of the samples kept."""
        n = self._moments(keep.astype(np.float32), 0)[0]
        s = self._moments(np.where(keep, np.square(left), np.float32(0)), 0)[0]
        number, total = np.full(self.count, 1e-30), np.zeros(self.count)
        for width, weight in _WIDTHS_TILES:
            number += weight * _blurred(n, width)
            total += weight * _blurred(s, width)
        zero = np.zeros(self.count)
        return self._grid(np.maximum(_corners(np.sqrt(total / number), zero, zero), 1e-9))

    def _grid(self, nodes: np.ndarray) -> NodeGrid:
        return NodeGrid(np.asarray(nodes, np.float32), self.side * self.step, self.shape)

    def _moments(self, a: np.ndarray, order: int) -> list[np.ndarray]:
        """Sums of a, of a times y, x, then y², yx, x², tile by tile; y and x in tiles from the corner."""
        short = [k * self.side - n for k, n in zip(self.count, self.samples, strict=True)]
        padded = np.pad(a, ((0, short[0]), (0, short[1]))) if any(short) else a
        cut = padded.reshape(self.count[0], self.side, self.count[1], self.side)
        inside = (np.arange(self.side) + 0.5) / self.side
        powers = np.stack([inside**k for k in range(order + 1)], axis=1)
        lines = np.einsum("isjt,tb->isjb", cut, powers.astype(np.float32))
        m = np.einsum("isjb,sa->abij", lines.astype(np.float64), powers)
        r, c = np.arange(self.count[0])[:, None], np.arange(self.count[1])
        out = [m[0, 0]]
        if order >= 1:
            out += [m[1, 0] + r * m[0, 0], m[0, 1] + c * m[0, 0]]
        if order >= 2:
            out += [
                m[2, 0] + 2 * r * m[1, 0] + r * r * m[0, 0],
                m[1, 1] + r * m[0, 1] + c * m[1, 0] + r * c * m[0, 0],
                m[0, 2] + 2 * c * m[0, 1] + c * c * m[0, 0],
            ]
        return out


def _blurred(a: np.ndarray, width: float) -> np.ndarray:
    return cv2.GaussianBlur(a, (0, 0), width, borderType=cv2.BORDER_CONSTANT)


def _corners(centre: np.ndarray, by: np.ndarray, bx: np.ndarray) -> np.ndarray:
    """Value at the corners of the tiles: the mean of what the tiles round each say."""
    total = np.zeros((centre.shape[0] + 1, centre.shape[1] + 1))
    count = np.zeros_like(total)
    for r in (0, 1):
        for c in (0, 1):
            here = (slice(r, r + centre.shape[0]), slice(c, c + centre.shape[1]))
            total[here] += centre + by * (r - 0.5) + bx * (c - 0.5)
            count[here] += 1
    return total / count

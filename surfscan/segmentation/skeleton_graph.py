"""Lines one pixel wide as a graph: ends, junctions, and the branches between them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from surfscan.segmentation.thinning import neighbour_offsets

_PATH = 2  # neighbours of a pixel that links two others


@dataclass(frozen=True)
class Branch:
    """A run of pixels between two nodes.

    Attributes
    ----------
    pixels : list of int
        Indices into `SkeletonGraph.flat`, in order, nodes excluded; an end pixel is included.
    nodes : tuple of int
        Junction at the start and at the end; -1 for a free end. Both -1 and `closed` for a ring.
    closed : bool
        Whether the run comes back to its first pixel without passing a junction.
    """

    pixels: list[int]
    nodes: tuple[int, int]
    closed: bool = False


@dataclass(frozen=True)
class SkeletonGraph:
    """Graph of a skeleton.

    Attributes
    ----------
    flat : ndarray of shape (P,)
        Flat positions of the skeleton pixels.
    shape : tuple of int
    node : ndarray of shape (P,)
        Junction that a pixel belongs to; -1 for all others.
    n_nodes : int
    branches : list of Branch
    """

    flat: np.ndarray
    shape: tuple[int, int]
    node: np.ndarray
    n_nodes: int
    branches: list[Branch]

    @property
    def row(self) -> np.ndarray:
        """Row of every pixel, shape (P,)."""
        return np.asarray(self.flat // self.shape[1])

    @property
    def col(self) -> np.ndarray:
        """Column of every pixel, shape (P,)."""
        return np.asarray(self.flat % self.shape[1])


def graph_of(flat: np.ndarray, shape: tuple[int, int]) -> SkeletonGraph:
    """Graph of a thin skeleton.

    Parameters
    ----------
    flat : ndarray of shape (P,)
        Sorted flat positions of pixels of lines one pixel wide (as `thinning.thin` leaves them), none of
        them in the outermost rows and columns.
    shape : tuple of int
        Rows and columns of the image.

    Returns
    -------
    SkeletonGraph
        Junctions are 8-connected clusters of pixels with three or more neighbours. Branches are in the order
        of their first pixels, each once.
    """
    neighbours = _neighbours(flat, shape[1])
    count = np.count_nonzero(neighbours >= 0, axis=1)
    node, n_nodes = _clusters(neighbours, count > _PATH)
    ordered = np.sort(neighbours, axis=1)[:, ::-1]
    first, second = ordered[:, 0].tolist(), ordered[:, 1].tolist()
    nodes, kinds = node.tolist(), count.tolist()
    seen = bytearray(len(flat))
    branches: list[Branch] = []
    if not len(flat):
        return SkeletonGraph(flat, shape, node, 0, branches)

    def walk(start: int, come_from: int) -> tuple[list[int], int]:
        """Pixels from `start` on, and the junction they lead to (-1: an end, or back to the start)."""
        pixels, before, here = [], come_from, start
        while nodes[here] < 0 and not seen[here]:
            seen[here] = 1
            pixels.append(here)
            if kinds[here] < _PATH and before >= 0:
                return pixels, -1
            onward = first[here] if first[here] != before else second[here]
            if onward < 0:
                return pixels, -1
            before, here = here, onward
        return pixels, nodes[here]

    for pixel in np.flatnonzero((count <= 1) & (node < 0)).tolist():
        if not seen[pixel]:
            pixels, last = walk(pixel, -1)
            branches.append(Branch(pixels, (-1, last)))
    junction_pixels = np.flatnonzero(node >= 0)
    for pixel in junction_pixels.tolist():
        for start in neighbours[pixel].tolist():
            if start >= 0 and nodes[start] < 0 and not seen[start]:
                pixels, last = walk(start, pixel)
                branches.append(Branch(pixels, (nodes[pixel], last)))
    for pixel in np.flatnonzero((count == _PATH) & (node < 0)).tolist():
        if not seen[pixel]:
            pixels, _ = walk(pixel, second[pixel])
            branches.append(Branch(pixels, (-1, -1), closed=True))
    return SkeletonGraph(flat, shape, node, n_nodes, branches)


def _neighbours(flat: np.ndarray, cols: int) -> np.ndarray:
    """Indices of each pixel's eight neighbours, shape (P, 8); -1 where there is none."""
    wanted = flat[:, None] + neighbour_offsets(cols)
    at = np.minimum(np.searchsorted(flat, wanted), max(0, len(flat) - 1))
    return np.where(flat[at] == wanted, at, -1) if len(flat) else np.empty((0, 8), int)


def _clusters(neighbours: np.ndarray, member: np.ndarray) -> tuple[np.ndarray, int]:
    """Number of the cluster of each member pixel, in order of first pixels; -1 for others."""
    label = np.where(member, np.arange(len(member)), len(member))
    near = np.where(neighbours >= 0, neighbours, 0)
    usable = (neighbours >= 0) & member[near]
    while True:
        best = np.where(usable, label[near], len(member)).min(axis=1, initial=len(member))
        new = np.where(member, np.minimum(label, best), label)
        if np.array_equal(new, label):
            break
        label = new
    roots, number = np.unique(label[member], return_inverse=True)
    node = np.full(len(member), -1)
    node[member] = number
    return node, len(roots)

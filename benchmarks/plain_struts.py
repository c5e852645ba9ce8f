"""Strut widths the plain way: one threshold, a medial axis and profiles across it, by scikit-image and scipy.

What somebody would write in an afternoon: no uneven light, no levels of either side, no uncertainty. Struts
are what is left of the axis when its junction pixels are taken out, and what lies within the distance to the
edge there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class PlainStruts:
    """Struts and widths of one picture; arrays of shape (P,), one value an axis pixel.

    Attributes
    ----------
    row, col : ndarray
    strut : ndarray, int
        From 1.
    axis_width, profile_width : ndarray
        Twice the distance to the edge, and distance between half-level crossings across the axis, px.
    """

    row: np.ndarray
    col: np.ndarray
    strut: np.ndarray
    axis_width: np.ndarray
    profile_width: np.ndarray


def measure_plain(pixels: np.ndarray, polarity: str) -> PlainStruts:
    """Threshold (Otsu), medial axis, and a linear profile across every axis pixel."""
    from scipy.ndimage import convolve, label, map_coordinates
    from scipy.spatial import cKDTree
    from skimage.filters import gaussian, threshold_otsu
    from skimage.morphology import medial_axis, remove_small_objects

    grey = gaussian(pixels.astype(float), 1, preserve_range=True)
    level = threshold_otsu(grey)
    mask = grey < level if polarity == "dark" else grey > level
    mask = remove_small_objects(mask, max_size=100)
    axis, distance = medial_axis(mask, return_distance=True)
    neighbours = convolve(axis.astype(int), np.ones((3, 3), int), mode="constant") - 1
    junctions = np.argwhere(axis & (neighbours > 2))
    labels, _ = label(axis & (neighbours <= 2), structure=np.ones((3, 3)))
    row, col = np.nonzero(labels)
    points = np.column_stack([row, col])
    radius = distance[row, col]
    if len(junctions):
        away, nearest = cKDTree(junctions).query(points)
        clear = away > distance[tuple(junctions[nearest].T)]
        points, radius, row, col = points[clear], radius[clear], row[clear], col[clear]
    _, near = cKDTree(points).query(points, k=min(15, len(points)))
    around = points[near] - points[near].mean(axis=1, keepdims=True)
    covariance = np.einsum("nki,nkj->nij", around, around)
    across = np.linalg.eigh(covariance)[1][:, :, 0]
    reach = 1.5 * float(np.percentile(radius, 99)) + 6
    t = np.arange(-reach, reach + 0.25, 0.5)
    at = points[:, None, :] + t[None, :, None] * across[:, None, :]
    profile = map_coordinates(pixels.astype(float), at.transpose(2, 0, 1), order=1, mode="nearest")
    inside = profile < level if polarity == "dark" else profile > level
    middle = len(t) // 2
    edges = []
    for side in (slice(middle, None), slice(middle, None, -1)):
        out = ~inside[:, side]
        k = np.clip(np.argmax(out, axis=1), 1, None)
        own = np.arange(len(k))
        before, after = profile[:, side][own, k - 1], profile[:, side][own, k]
        part = np.divide(level - before, after - before, out=np.zeros(len(k)), where=after != before)
        edges.append(np.where(out.any(axis=1), 0.5 * (k - 1 + np.clip(part, 0, 1)), np.nan))
    return PlainStruts(row, col, labels[row, col], 2 * radius, edges[0] + edges[1])

"""Heights along a line over a height map, the surface the metal would have there, and the depth between."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np

from surfscan.preparation.form import Form
from surfscan.preparation.heights import prepare_heights
from surfscan.segmentation.local_reference import NodeGrid, local_reference

_ROUGHNESSES = 2.0  # a pit ends where the surface is no further below the reference than so many Sq
_WHOLE_SHARE = 0.5  # of the greatest depth: from here on a pit that lies whole in the map is shown instead


@dataclass(frozen=True)
class ReferenceSurface:
    """What depth is measured from: the form of the map and the level of the metal round every place.

    Attributes
    ----------
    form : Form
    level : NodeGrid
        Height of the metal round about above the form, pits left out, µm.
    roughness_um : float
        Root mean square of the metal about it (Sq).
    spikes : ndarray of shape (M, N), bool
        Heights that stand out of their neighbourhood like no surface does: taken for not measured.
    """

    form: Form
    level: NodeGrid
    roughness_um: float
    spikes: np.ndarray

    def at(self, row: np.ndarray, col: np.ndarray) -> np.ndarray:
        """Height of the reference at places, px; shape of `row`, µm."""
        r, c = np.asarray(row, float), np.asarray(col, float)
        form = np.array([self.form.surface(r[k : k + 1], c[k : k + 1])[0, 0] for k in range(r.size)])
        return np.asarray(form.reshape(r.shape) + self.level.at(r, c))


def reference_surface(
    heights_um: np.ndarray, *, pixel_size_um: tuple[float, float] | None = None
) -> ReferenceSurface:
    """The local reference of a height map, as pits on it are measured from.

    Parameters
    ----------
    heights_um : ndarray of shape (M, N)
        µm, up positive; not-a-number where not measured.
    pixel_size_um : (float, float), optional
        Along x and y.

    Returns
    -------
    ReferenceSurface

    Raises
    ------
    ValueError
        If too little was measured.
    """
    prepared = prepare_heights(heights_um, pixel_size_um=pixel_size_um)
    local = local_reference(prepared.residual_um)
    spikes = ~np.isfinite(prepared.residual_um) & np.isfinite(heights_um)
    return ReferenceSurface(prepared.form, local.level, local.sq_um, spikes)


def deepest_place(heights_um: np.ndarray, reference: ReferenceSurface) -> tuple[int, int]:
    """Row and column of the deepest place in a pit that lies whole in the map.

    Parameters
    ----------
    heights_um : ndarray of shape (M, N)
    reference : ReferenceSurface

    Returns
    -------
    (int, int)
        Of the greatest depth of all where it is more than twice that in any whole pit.

    Notes
    -----
    A pit is what hangs together further below the reference than twice the roughness; it is whole where it
    does not touch the frame of the map (common practice, no source). A line across it has both its rims.
    """
    left = reference.form.remove(np.asarray(heights_um, np.float32))
    depth = np.where(reference.spikes, np.nan, reference.level.rows(0, left.shape[0]) - left)
    deep = np.nan_to_num(depth, nan=0.0) > _ROUGHNESSES * reference.roughness_um
    count, pits = cv2.connectedComponents(deep.astype(np.uint8), connectivity=8)
    is_whole = np.ones(count, bool)
    is_whole[0] = False
    for side in (pits[0], pits[-1], pits[:, 0], pits[:, -1]):
        is_whole[side] = False
    deepest = int(np.nanargmax(depth))
    whole = np.where(is_whole[pits], depth, -np.inf)
    best = int(np.argmax(whole))
    if whole.flat[best] >= _WHOLE_SHARE * depth.flat[deepest]:
        deepest = best
    row, col = np.unravel_index(deepest, depth.shape)
    return int(row), int(col)


@dataclass(frozen=True)
class LineProfile:
    """Heights along a line; arrays of shape (n,), in order.

    Lengths are in `unit`: µm where the pixel size is known, else px. Heights are in µm either way.

    Attributes
    ----------
    row, col : ndarray
        Places, px.
    distance : ndarray
        From the first point of the line.
    height_um, reference_um, depth_um : ndarray
        Height, reference, and reference less height (below the reference is positive); not-a-number where not
        measured.
    unit : str
        "µm" or "px".
    deepest : int
        Place of the greatest depth among the points; -1 where nothing is below the reference.
    deepest_um : float
        Greatest depth; not-a-number where there is none.
    width : float
        Distance between the two places beside the deepest point at which the surface comes back to within
        twice the roughness (Sq) of the reference; not-a-number where it does not before a gap or the end of
        the line, or nothing lies deeper than that.
    half_width : float
        The same at half the greatest depth.
    start, end : float
        Those two places of `width`.
    warnings : tuple of str
    """

    row: np.ndarray
    col: np.ndarray
    distance: np.ndarray
    height_um: np.ndarray
    reference_um: np.ndarray
    depth_um: np.ndarray
    unit: str
    deepest: int
    deepest_um: float
    width: float
    half_width: float
    start: float
    end: float
    warnings: tuple[str, ...] = ()


def line_profile(
    heights_um: np.ndarray,
    corners: np.ndarray,
    reference: ReferenceSurface,
    *,
    pixel_size_um: tuple[float, float] | None = None,
) -> LineProfile:
    """Heights and depths along a line of straight pieces.

    Parameters
    ----------
    heights_um : ndarray of shape (M, N)
        µm, up positive; not-a-number where not measured.
    corners : ndarray of shape (k, 2)
        Rows and columns of its corners, px, k at least 2.
    reference : ReferenceSurface
    pixel_size_um : (float, float), optional
        Along x and y; distances are in px where None.

    Returns
    -------
    LineProfile

    Raises
    ------
    ValueError
        If the line has fewer than two corners, a corner that is not finite, or no length.

    Notes
    -----
    Each piece is read at steps of at most one px, between four pixels by linear interpolation; where one of
    those that count was not measured, the height is not-a-number, and so it is beyond the map. Crossings are
    interpolated between points; twice the roughness, not 0, ends a pit, for metal crosses its own level
    everywhere (common practice, no source). A sharp rim between pixels is blunted by interpolation, so that a
    width may be too large by up to one px at either end. Depth is along the normal of the map, not of the
    surface.
    """
    corners = np.asarray(corners, float)
    if corners.ndim != 2 or corners.shape[1] != 2 or len(corners) < 2 or not np.isfinite(corners).all():
        raise ValueError("a line needs at least two corners, each a finite row and column")
    row, col = _along(corners)
    x, y = (1.0, 1.0) if pixel_size_um is None else pixel_size_um
    distance = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(col) * x, np.diff(row) * y))])
    height = interpolated(heights_um, row, col)
    spike = interpolated(reference.spikes, row, col) > 0
    height = np.where(spike, np.nan, height)
    level = np.where(np.isfinite(height), reference.at(row, col), np.nan)
    inside = (row >= 0) & (row <= heights_um.shape[0] - 1) & (col >= 0) & (col <= heights_um.shape[1] - 1)
    level = np.where(inside, reference.at(row, col), level)
    depth = level - height
    warnings = []
    unit = "px" if pixel_size_um is None else "µm"
    if spike.any():
        warnings.append(
            f"Points left out that stand out of their neighbourhood like no surface does: {int(spike.sum())}."
        )
    lost = int(np.count_nonzero(~np.isfinite(height)))
    if lost:
        warnings.append(
            f"Not measured at {100 * lost / len(height):.0f} % of the line: a deeper point may lie there."
        )
    found = np.isfinite(depth) & (depth > 0)
    if not found.any():
        nothing = math.nan
        return LineProfile(
            row, col, distance, height, level, depth, unit, -1, nothing, nothing, nothing, nothing, nothing,
            (*warnings, "Nowhere on the line does the surface lie below the reference."),
        )  # fmt: skip
    deepest = int(np.argmax(np.where(found, depth, -np.inf)))
    most = float(depth[deepest])
    rough = _ROUGHNESSES * reference.roughness_um
    if most <= rough:
        start = end = math.nan
        half = [math.nan, math.nan]
        warnings.append(
            f"Nothing on the line is deeper than twice the roughness of the metal (Sq "
            f"{reference.roughness_um:.3g} µm): no width is given."
        )
    else:
        start, end = (_crossing(distance, depth, deepest, rough, step) for step in (-1, 1))
        half = [_crossing(distance, depth, deepest, most / 2, step) for step in (-1, 1)]
    if most > rough and (math.isnan(start) or math.isnan(end)):
        warnings.append(
            "The surface does not come back to the reference on both sides of the deepest point before a gap "
            "or the end of the line: no width is given. Draw the line further out."
        )
    return LineProfile(
        row, col, distance, height, level, depth, unit, deepest, most, end - start, half[1] - half[0], start,
        end, tuple(warnings),
    )  # fmt: skip


def interpolated(values: np.ndarray, row: np.ndarray, col: np.ndarray) -> np.ndarray:
    """Values between pixels, linear along rows and columns.

    Parameters
    ----------
    values : ndarray of shape (M, N)
    row, col : ndarray
        px; pixel centres are whole numbers.

    Returns
    -------
    ndarray
        float64, shape of `row`; not-a-number beyond the outermost centres, and where a pixel with a weight
        above 0 has none.
    """
    rows, cols = values.shape
    r, c = np.asarray(row, float), np.asarray(col, float)
    inside = (r >= 0) & (r <= rows - 1) & (c >= 0) & (c <= cols - 1)
    above = np.clip(np.floor(np.where(inside, r, 0)).astype(int), 0, max(rows - 2, 0))
    before = np.clip(np.floor(np.where(inside, c, 0)).astype(int), 0, max(cols - 2, 0))
    v, u = r - above, c - before
    out = np.zeros(r.shape)
    for down, down_share in ((0, 1 - v), (1, v)):
        for along, along_share in ((0, 1 - u), (1, u)):
            share = down_share * along_share
            value = values[np.minimum(above + down, rows - 1), np.minimum(before + along, cols - 1)]
            out += np.where(share > 0, share * value.astype(float), 0.0)
    return np.where(inside, out, np.nan)


def _along(corners: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Points at steps of at most one px, every corner among them."""
    pieces = []
    for start, end in pairwise(corners):
        long = float(np.hypot(*(end - start)))
        if long:
            steps = max(1, math.ceil(long - 1e-9))
            pieces.append(start + (end - start) * (np.arange(steps) / steps)[:, None])
    if not pieces:
        raise ValueError("the line has no length: its corners lie on one place")
    points = np.vstack([*pieces, corners[-1:]])
    return points[:, 0], points[:, 1]


def _crossing(distance: np.ndarray, depth: np.ndarray, deepest: int, level: float, step: int) -> float:
    """Where the depth falls to a level on one side of the deepest point; not-a-number where it does not."""
    k = deepest
    while 0 <= k + step < len(depth):
        inner, outer = depth[k], depth[k + step]
        if not np.isfinite(outer):
            return math.nan
        if outer <= level:
            share = (inner - level) / (inner - outer)
            return float(distance[k] + share * (distance[k + step] - distance[k]))
        k += step
    return math.nan

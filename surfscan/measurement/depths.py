"""Depth, volume and walls of labelled pits on a height map, all pits at once.

What an instrument sees from above is a height at each point. Undercut walls and what lies below them, and
pits that do not open to the surface, cannot be seen: depth and volume are lower bounds of them.
"""

from __future__ import annotations

import math
from concurrent.futures import ThreadPoolExecutor

import cv2
import numpy as np

from surfscan.columns import Table

NARROW, ELLIPTICAL, WIDE, NOT_SEEN = "narrow and deep", "elliptical", "wide and shallow", "not seen"
_NARROW_FROM, _WIDE_TO = 1.0, 0.25
_PATCH_PX, _SMALL_PIT_SHARE, _PATCH_SHARE = 4.0, 0.1, 0.02
_DEEP_PART, _DEEP_SQ = 0.9, 2.0
_LOW_EDGE, _DEEP_EDGE_SHARE = 0.6, 0.5
_FLOOR_PART, _FLOOR_WINDOW, _FLOOR_BY_ROUGHNESS, _FLOOR_LEAST_PX = 0.7, 0.25, 2.0, 1.6
_FLOOR_LEAST_POINTS = 6
_WORKERS = 2
_AROUND = ((0, 1), (1, -1), (1, 0), (1, 1))


def measure_depths(
    labels: np.ndarray,
    depth_um: np.ndarray,
    *,
    pixel_size_um: tuple[float, float] | None,
    width_um: np.ndarray,
    roughness_um: np.ndarray,
    level_uncertainty_um: np.ndarray,
    objective_aperture: float | None = None,
) -> Table:
    """Measure how deep every pit is.

    Parameters
    ----------
    labels : ndarray of shape (M, N), int32
        Pits, 1 to n without a gap; unmeasured points inside a mouth carry the pit's label.
    depth_um : ndarray of shape (M, N), float32
        Depth below the local reference surface, positive downwards; not-a-number where not measured.
    pixel_size_um : (float, float) or None
        In x and y. None where unknown: volume, slopes and ratios to lengths are then not-a-number.
    width_um : ndarray of shape (n,)
        Minor axis of each mouth, as `measure_objects` gives it.
    roughness_um : ndarray of shape (n,)
        Sq of the surface round each pit.
    level_uncertainty_um : ndarray of shape (n,)
        Standard uncertainty of the reference surface at each pit.
    objective_aperture : float, optional
        Numerical aperture of a dry objective.

    Returns
    -------
    Table
        The depth columns of table "pits" except prominence_um.

    Raises
    ------
    ValueError
        If shapes disagree or the aperture is not between 0 and 1.

    Notes
    -----
    depth_is_lower_bound: a connected unmeasured patch inside the mouth borders on a point as deep as the
    deepest (within a tenth of the depth, or 2 Sq if that is more), lies in the deep part (half of its edge
    deeper than 0.6 times the depth), so that the pit may go deeper in it, and is no speck: 4 points or more
    and 2 % or more of the mouth; in mouths under 40 points, a tenth of it.
    A pit without any measured point has no depth (not-a-number) and counts as a lower bound too.

    depth_uncertainty_um: the deepest reading is one reading of a floor as rough as the surroundings; its
    standard uncertainty is Sq, combined in quadrature with that of the reference.

    floor_depth_um: apex of an upright paraboloid of revolution fitted to the measured points round the middle
    of the deepest part, within a quarter of the mouth's mean radius, less where the pit is deep against its
    roughness (twice Sq over depth times that radius) but 1.6 px or more. Under 6 points: their mean.

    cross_section, common practice, no source for the figures (ASTM G46 gives pictures): narrow and deep from
    a depth of 1 width on, wide and shallow up to 0.25 widths, elliptical between. Subsurface and undercut
    pits cannot be told from above.

    wall_against_limit: the edge of the aperture's cone, asin(NA), is taken as the steepest wall that sends
    light back into the objective (common practice, from memory). A smooth wall lit along the axis is lost
    from asin(NA) / 2 on, a rough one is seen beyond the limit. A wall measured steeper than that is 'beyond'.
    """
    n = int(labels.max(initial=0))
    _check(labels, depth_um, n, width_um, roughness_um, level_uncertainty_um, objective_aperture)
    px, py = (1.0, 1.0) if pixel_size_um is None else (float(pixel_size_um[0]), float(pixel_size_um[1]))
    at = np.flatnonzero(labels.reshape(-1) != 0)
    own = labels.reshape(-1)[at].astype(np.intp) - 1
    area = np.bincount(own, minlength=n)
    d = depth_um.reshape(-1)[at]
    seen = ~np.isnan(d)
    bottom = at[~seen], own[~seen]
    at, own, d = at[seen], own[seen], d[seen].astype(np.float64)
    measured = np.bincount(own, minlength=n)
    some = measured > 0
    with np.errstate(invalid="ignore"):
        mean = np.bincount(own, d, n) / np.where(some, measured, np.nan)
    depth = np.full(n, -np.inf)
    np.maximum.at(depth, own, d)
    depth[~some] = np.nan
    deepest = np.full(n, labels.size, np.int64)
    first = d == depth[own]
    np.minimum.at(deepest, own[first], at[first])
    row, col = np.divmod(deepest, labels.shape[1])
    deep = np.minimum(_DEEP_PART * depth, depth - _DEEP_SQ * roughness_um)
    with ThreadPoolExecutor(_WORKERS) as pool:
        hidden = pool.submit(_hidden_floor, labels, depth_um, *bottom, area, depth, deep)
        walls = pool.submit(_steepest, labels, depth_um, at, own, d, n, (px, py))
        floor = _floor(at, own, d, labels.shape[1], depth, area, roughness_um, (px, py))
        lower, slope = ~some | hidden.result(), walls.result()
    known = pixel_size_um is not None
    absent = np.full(n, np.nan)
    ratio = depth / width_um if known else absent
    section = np.where(ratio >= _NARROW_FROM, NARROW, np.where(ratio <= _WIDE_TO, WIDE, ELLIPTICAL))
    section = np.where(lower, NOT_SEEN, section) if known else np.where(lower, NOT_SEEN, "")
    wall = np.full(n, "", dtype="<U6")
    if known and objective_aperture is not None:
        limit = math.degrees(math.asin(objective_aperture))
        wall = np.where(np.isnan(slope), "", np.where(slope > limit, "beyond", "within"))
    return {
        "depth_um": depth,
        "depth_is_lower_bound": lower,
        "depth_uncertainty_um": np.hypot(roughness_um, level_uncertainty_um),
        "floor_depth_um": floor,
        "mean_depth_um": mean,
        "volume_um3": mean * area * (px * py) if known else absent,
        "depth_to_width": ratio,
        "cross_section": section.astype(str),
        "steepest_wall_deg": slope if known else absent,
        "wall_against_limit": wall.astype(str),
        "depth_to_roughness": depth / roughness_um,
        "measured_fraction": measured / np.maximum(area, 1),
        "deepest_row_px": np.where(some, row, np.nan),
        "deepest_col_px": np.where(some, col, np.nan),
    }


def _check(
    labels: np.ndarray,
    depth: np.ndarray,
    n: int,
    width: np.ndarray,
    roughness: np.ndarray,
    level: np.ndarray,
    aperture: float | None,
) -> None:
    if labels.ndim != 2 or labels.dtype.kind not in "iu":
        raise ValueError(f"labels must be a 2-D array of whole numbers, got {labels.ndim}-D {labels.dtype}")
    if depth.shape != labels.shape:
        raise ValueError(f"depth_um has shape {depth.shape}, labels {labels.shape}; they must agree")
    for name, values in (("width", width), ("roughness", roughness), ("level_uncertainty", level)):
        if np.shape(values) != (n,):
            raise ValueError(
                f"{name}_um has shape {np.shape(values)} for {n} labels; one value a label is due"
            )
    if aperture is not None and not 0 < aperture < 1:
        raise ValueError(f"objective_aperture must lie between 0 and 1, got {aperture}")


def _hidden_floor(
    labels: np.ndarray,
    depth_um: np.ndarray,
    at: np.ndarray,
    own: np.ndarray,
    area: np.ndarray,
    depth: np.ndarray,
    deep: np.ndarray,
) -> np.ndarray:
    """Whether an unmeasured patch borders on the deeper part of each pit and is no speck."""
    n = len(area)
    hidden = np.zeros(n, bool)
    if at.size == 0:
        return hidden
    rows, cols = labels.shape
    gaps = np.zeros(labels.shape, np.uint8)
    gaps.reshape(-1)[at] = 1
    _, patch = cv2.connectedComponents(gaps, connectivity=8, ltype=cv2.CV_32S)
    key = patch.reshape(-1)[at].astype(np.int64) * n + own
    _, piece = np.unique(key, return_inverse=True)
    size = np.bincount(piece)
    row, col = np.divmod(at, cols)
    beside = np.full(len(size), -np.inf)
    edge, deep_edge = np.zeros(len(size)), np.zeros(len(size))
    owner = np.zeros(len(size), np.intp)
    owner[piece] = own
    for dr in (-1, 0, 1):
        for dc in (-1, 0, 1):
            r, c = row + dr, col + dc
            inside = np.flatnonzero((r >= 0) & (r < rows) & (c >= 0) & (c < cols))
            there = r[inside] * cols + c[inside]
            d = depth_um.reshape(-1)[there]
            good = (labels.reshape(-1)[there] == own[inside] + 1) & ~np.isnan(d)
            at_edge = piece[inside[good]]
            np.maximum.at(beside, at_edge, d[good])
            edge += np.bincount(at_edge, minlength=len(size))
            low = d[good] > _LOW_EDGE * depth[owner[at_edge]]
            deep_edge += np.bincount(at_edge[low], minlength=len(size))
    least = np.maximum(np.minimum(_PATCH_PX, _SMALL_PIT_SHARE * area), _PATCH_SHARE * area)
    enclosed = deep_edge >= _DEEP_EDGE_SHARE * edge
    hidden[owner[(size >= least[owner]) & (beside >= deep[owner]) & enclosed]] = True
    return hidden


def _steepest(
    labels: np.ndarray,
    depth_um: np.ndarray,
    at: np.ndarray,
    own: np.ndarray,
    d: np.ndarray,
    n: int,
    pixel: tuple[float, float],
) -> np.ndarray:
    """Steepest slope between neighbouring measured pixels of one label, degrees; along, across, diagonal."""
    cols = labels.shape[1]
    col = at % cols
    steepest = np.full(n, np.nan)
    for dr, dc in _AROUND:
        there = at + dr * cols + dc
        inside = (there < labels.size) & (col + dc >= 0) & (col + dc < cols)
        there = np.where(inside, there, 0)
        inside &= labels.reshape(-1)[there] == own + 1
        rise = np.abs(depth_um.reshape(-1)[there] - d)
        inside &= ~np.isnan(rise)
        np.fmax.at(steepest, own[inside], rise[inside] / math.hypot(dr * pixel[1], dc * pixel[0]))
    return np.degrees(np.arctan(steepest))


def _floor(
    at: np.ndarray,
    own: np.ndarray,
    d: np.ndarray,
    cols: int,
    depth: np.ndarray,
    area: np.ndarray,
    roughness: np.ndarray,
    pixel: tuple[float, float],
) -> np.ndarray:
    """Apex of a paraboloid fitted to the middle of the deepest part."""
    n = len(depth)
    low = np.flatnonzero(d >= (1 - 2 * (1 - _FLOOR_PART)) * depth[own])
    own, d = own[low], d[low]
    row, col = np.divmod(at[low], cols)
    y, x = row * pixel[1], col * pixel[0]
    weight = np.maximum(d - _FLOOR_PART * depth[own], 0) ** 2
    total = np.bincount(own, weight, n).astype(np.float64)  # of no points at all it is whole numbers
    total[total == 0] = np.nan
    y0, x0 = np.bincount(own, weight * y, n) / total, np.bincount(own, weight * x, n) / total
    radius = np.sqrt(area * (pixel[0] * pixel[1] / math.pi))
    window = radius * np.minimum(_FLOOR_WINDOW, _FLOOR_BY_ROUGHNESS * roughness / depth)
    window = np.maximum(window, _FLOOR_LEAST_PX * max(pixel))
    rr = ((y - y0[own]) / window[own]) ** 2 + ((x - x0[own]) / window[own]) ** 2
    near = rr <= 1
    own, d, rr = own[near], d[near], rr[near]
    count = np.bincount(own, minlength=n)
    share = 1 / np.maximum(count, 1)
    mean, middle = np.bincount(own, d, n) * share, np.bincount(own, rr, n) * share
    across = np.bincount(own, rr * rr, n) * share - middle**2
    bend = (np.bincount(own, rr * d, n) * share - middle * mean) / np.maximum(across, 1e-12)
    apex = np.where(count >= _FLOOR_LEAST_POINTS, mean - np.minimum(bend, 0) * middle, mean)
    return np.asarray(np.where(count > 0, np.minimum(apex, depth), depth))

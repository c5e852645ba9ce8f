"""Grey profiles across a strut, and where on them its two edges lie."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from surfscan.measurement.edge_layers import STEP_PX, layer_levels
from surfscan.measurement.edge_softness import BESIDE_PX, WINDOW_PX, edge_spread
from surfscan.segmentation.class_levels import ClassLevels

BAND = (-0.7, 0.0, 0.7)
"""Positions along the strut, px, of the profiles averaged into one."""

REACH_PX = 10.0
"""Samples reach this far to either side of the edge of the mask."""

_CHUNK = 2048
_SURELY_INSIDE = 0.5  # radii from a centre in metal within which there is no edge, where metal is there too
_NEAR_RADII, _NEAR_PX = 1.25, 4.0  # most edges of the mask are this near; the others are looked for anew
_FARTHEST_RADII, _FARTHEST_PX = 3.0, 12.0  # how far the edge of the mask is looked for
_FIT = 2  # samples to either side of the crossing that the line is fitted to
_AVERAGED = 7  # stations over which profiles are averaged to look for product
_LEAST_RUN = 7  # stations on end that have product, or none has
_FLAT_PX, _FLAT_CHANGE = 2.0, 0.04
_SHELF, _SHELF_PX = (0.15, 0.85), 4.0
_ALIKE = 0.19  # correlation of the noise of neighbouring stations, whose bands overlap (drawn struts)
_SAMPLING_PX = 0.015  # what an edge is off by without noise, from pixels and interpolation (drawn struts)
_LEAST_SLOPE = 0.02  # share of the contrast per px: flatter than that there is no edge to locate


@dataclass(frozen=True)
class Edges:
    """Edges of one side of all stations; arrays of shape (n,).

    Attributes
    ----------
    distance : ndarray
        From the centre to the edge, px of `axes`; not-a-number where there is none.
    uncertainty : ndarray
        Standard uncertainty of `distance` from noise and the slope of the edge, and sampling (k = 1).
    level_shift : ndarray
        How far the edge moves for a half level that is off by one per cent of the contrast.
    beyond_frame : ndarray, bool
        The edge lies outside the part of the picture that was looked at.
    product : ndarray, bool
        Something of a grey of its own clings to the edge; the edge is that of the metal under it.
    spread : ndarray
        Standard deviation of the blurred edge, px; not-a-number where it was not looked at (single
        lines, thin struts, product, junctions).
    """

    distance: np.ndarray
    uncertainty: np.ndarray
    level_shift: np.ndarray
    beyond_frame: np.ndarray
    product: np.ndarray
    spread: np.ndarray


@dataclass(frozen=True)
class Rays:
    """Half lines from centres outwards; arrays of shape (n,).

    Attributes
    ----------
    row, col : ndarray
        Centres, px.
    step_row, step_col : ndarray
        What one unit of length outwards is in rows and columns.
    along_row, along_col : ndarray
        The same along the strut.
    radius : ndarray
        Distance to the nearest edge of the mask.
    order : ndarray
        Strut that each belongs to; those of one strut follow each other.
    """

    row: np.ndarray
    col: np.ndarray
    step_row: np.ndarray
    step_col: np.ndarray
    along_row: np.ndarray
    along_col: np.ndarray
    radius: np.ndarray
    order: np.ndarray


def metal_on_line(solid: np.ndarray, rays: Rays) -> np.ndarray:
    """A place in metal on each line across, shape (n,): 0 where the centre is, below 0 behind it.

    A notch may pass the centre of a strut. What is left beside it is the longest run of metal of those that
    come within the strut's own radius (median) and 4 px of the centre; the place is the middle of it, as far
    as it lies within twice that. Not-a-number where there is none.
    """
    out = np.zeros(len(rays.row))
    off = np.flatnonzero(~_metal_at(solid, rays, np.arange(len(out)), np.zeros(1))[:, 0])
    if not off.size:
        return out
    strut, own = np.unique(rays.order, return_inverse=True)
    median = np.array([float(np.median(rays.radius[own == k])) for k in range(len(strut))])
    reach = median[own[off]] + _NEAR_PX
    for ray, far in zip(off.tolist(), reach.tolist(), strict=True):
        t = np.arange(-np.floor(2 * far), 2 * far + 1)
        metal = _metal_at(solid, rays, np.array([ray]), t)[0]
        change = np.flatnonzero(np.diff(np.concatenate([[False], metal, [False]]).astype(int)))
        first, last = t[change[::2]], t[change[1::2] - 1]
        near = (first <= far) & (last >= -far)
        k = int(np.argmax(np.where(near, last - first, -1))) if near.any() else -1
        out[ray] = np.floor((first[k] + last[k]) / 2) if k >= 0 else np.nan
    return out


def mask_edges(solid: np.ndarray, rays: Rays, start: np.ndarray | None = None) -> np.ndarray:
    """Distance along each ray to the first pixel outside a mask, less half a pixel; shape (n,).

    From the centre on, or from `start` (`metal_on_line`), which may lie behind it. Not-a-number where there
    is none within three radii and 12 px. The picture goes on beyond its frame as it ends there.
    """
    n = len(rays.row)
    out = np.full(n, np.nan)
    begin = np.zeros(n) if start is None else start.copy()
    everywhere = np.arange(n)
    half = np.floor(_SURELY_INSIDE * rays.radius)
    checked = np.stack([0.5 * half, half], axis=1)
    inside = (begin == 0) & (half > 0) & _metal_at(solid, rays, everywhere, checked).all(axis=1)
    begin = np.where(inside, half, begin)
    for radii, px in ((_NEAR_RADII, _NEAR_PX), (_FARTHEST_RADII, _FARTHEST_PX)):
        order = np.flatnonzero(np.isnan(out) & np.isfinite(begin))
        order = order[np.lexsort((rays.radius[order], begin[order]))]
        _search(solid, rays, order, begin, (radii, px), out)
    return out


def _metal_at(solid: np.ndarray, rays: Rays, part: np.ndarray, t: np.ndarray) -> np.ndarray:
    """Whether a mask holds points at distances `t`, (m,) or (len(part), m), along some rays."""
    row = np.rint(rays.row[part, None] + t * rays.step_row[part, None]).astype(np.intp)
    col = np.rint(rays.col[part, None] + t * rays.step_col[part, None]).astype(np.intp)
    np.clip(row, 0, solid.shape[0] - 1, out=row)
    np.clip(col, 0, solid.shape[1] - 1, out=col)
    return np.asarray(solid[row, col])


def _search(
    solid: np.ndarray,
    rays: Rays,
    order: np.ndarray,
    begin: np.ndarray,
    limit: tuple[float, float],
    out: np.ndarray,
) -> None:
    """First pixels outside the mask up to so many radii and px, written to `out`."""
    for a in range(0, len(order), _CHUNK):
        part = order[a : a + _CHUNK]
        first = begin[part]
        farthest = limit[0] * rays.radius[part] + limit[1] + np.maximum(0, -first)
        t = np.arange(float(np.floor(first.min())), float(farthest.max()), 1.0)
        metal = _metal_at(solid, rays, part, t)
        metal &= t >= first[:, None] - 0.5
        started = np.maximum.accumulate(metal, axis=1)
        left = started & ~metal
        at = t[np.argmax(left, axis=1)]
        reached = left.any(axis=1) & (at <= farthest)
        out[part] = np.where(reached, at - 0.5, np.nan)


def sample(grey: np.ndarray, row: np.ndarray, col: np.ndarray) -> np.ndarray:
    """Bilinear grey at positions of shape (n, m), float32; beyond the frame its outermost pixels."""
    out = np.empty(row.shape, np.float32)
    y, x = row.astype(np.float32), col.astype(np.float32)
    for a in range(0, len(row), _CHUNK):
        part = slice(a, a + _CHUNK)
        out[part] = cv2.remap(grey, x[part], y[part], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return out


def find_edges(
    grey: np.ndarray,
    levels: ClassLevels,
    rays: Rays,
    start: np.ndarray,
    frame: tuple[int, int, int, int],
    *,
    lines: tuple[float, ...] = BAND,
    clear: np.ndarray | None = None,
    depth: np.ndarray | None = None,
) -> Edges:
    """Edges along rays at half level between the metal and the background beside them.

    Parameters
    ----------
    grey : ndarray of shape (M, N), float32
    levels : ClassLevels
        Inside: metal.
    rays : Rays
    start : ndarray of shape (n,)
        Where the edge of the mask is (`mask_edges`).
    frame : (row0, row1, col0, col1)
        Part of the picture that was looked at, ends excluded.
    lines : tuple of float
        Positions along the strut, px, of the profiles averaged into one.
    clear : ndarray of shape (n,), bool, optional
        Where product is looked for: away from junctions, whose corners look like it. The other stations
        have what the nearest of these on their strut has.
    depth : ndarray of shape (n,), optional
        How far the metal reaches inwards from the edge of the mask to its middle; to the centre where None.

    Returns
    -------
    Edges

    Notes
    -----
    Each profile is the mean of lines along the strut, by default three, 0.7 px apart. The edge is the
    crossing of half level nearest to the edge of the mask, from a straight line through the four samples
    around it. Where something of a grey of its own clings to the metal (`product_levels`; with averaged
    profiles also `edge_layers`, which tells thin layers), the level is that of the metal's edge under it.
    Noise is the scatter from station to station of the same four-sample mean well inside and
    well outside.
    """
    found = np.isfinite(start)
    origin = np.where(found, start, rays.radius)
    offsets = np.arange(-REACH_PX, REACH_PX + STEP_PX / 2, STEP_PX)
    t = origin[:, None] + offsets
    row = rays.row[:, None] + t * rays.step_row[:, None]
    col = rays.col[:, None] + t * rays.step_col[:, None]
    profile = np.zeros(row.shape, np.float32)
    for line in lines:
        profile += sample(grey, row + line * rays.along_row[:, None], col + line * rays.along_col[:, None])
    profile /= len(lines)
    middle = len(offsets) // 2
    inside, outside = levels.at(row[:, middle], col[:, middle])
    share = (profile - outside[:, None]) / (inside - outside)[:, None]
    ends = row[:, [0, -1]], col[:, [0, -1]]
    shown = ((ends[0] >= frame[0]) & (ends[0] <= frame[1] - 1)).all(axis=1)
    shown &= ((ends[1] >= frame[2]) & (ends[1] <= frame[3] - 1)).all(axis=1)
    hidden = np.convolve(~shown, np.ones(_AVERAGED), "same") > 0
    usable = found & ~hidden if clear is None else found & ~hidden & clear
    level = 0.5 * (1 + product_levels(share, rays.order))
    if len(lines) > 1:
        thin = layer_levels(share, rays.order, usable, origin if depth is None else depth)
        level = np.where(np.isfinite(thin), thin, level)
    level = _from_usable(np.where(usable, level, np.nan), usable, rays.order)
    product = _in_runs(np.isfinite(level) & ~hidden)
    level = np.where(product, level, 0.5)
    at, slope = _crossing(share, offsets, level)
    edge = origin + at
    noise = _noise(share, rays.order)
    r, c = rays.row + edge * rays.step_row, rays.col + edge * rays.step_col
    with np.errstate(invalid="ignore"):
        beyond = ~((r >= frame[0]) & (r <= frame[1] - 1) & (c >= frame[2]) & (c <= frame[3] - 1))
    good = found & np.isfinite(at) & ~beyond
    spread = np.full(len(at), np.nan)
    if len(lines) > 1:
        deep = (origin if depth is None else depth) > WINDOW_PX + BESIDE_PX
        seen = np.flatnonzero(good & usable & ~product & deep)
        spread[seen] = edge_spread(share[seen], offsets, at[seen])
    return Edges(
        np.where(good, edge, np.nan),
        np.where(good, np.hypot(noise / slope, _SAMPLING_PX), np.nan),
        np.where(good, 0.01 / slope, np.nan),
        np.where(found & np.isfinite(at), beyond, False),
        good & product,
        spread,
    )


def _in_runs(product: np.ndarray) -> np.ndarray:
    """Stations with product that have others with product beside them, so many on end."""
    if not product.size:
        return product
    line = np.ascontiguousarray(product[None]).view(np.uint8)
    return cv2.morphologyEx(line, cv2.MORPH_OPEN, np.ones((1, _LEAST_RUN), np.uint8))[0] > 0


def _from_usable(level: np.ndarray, usable: np.ndarray, order: np.ndarray) -> np.ndarray:
    """Levels with those of the others taken from the nearest usable station of their strut."""
    out = level.copy()
    for strut in np.unique(order[~usable]):
        own = np.flatnonzero(order == strut)
        some, others = own[usable[own]], own[~usable[own]]
        if some.size:
            out[others] = level[some[np.argmin(np.abs(others[:, None] - some[None]), axis=1)]]
    return out


def product_levels(share: np.ndarray, order: np.ndarray) -> np.ndarray:
    """Level of what clings to the edge, shape (n,); not-a-number where nothing does.

    Parameters
    ----------
    share : ndarray of shape (n, m)
        Profiles outwards, 1 in metal and 0 in the background, centred on the edge of the mask.
    order : ndarray of shape (n,)
        Strut that each belongs to.

    Notes
    -----
    A shelf in the profile: 4 px or more on end, near the edge of the mask, between 15 and 85 % of the
    contrast, over which it changes by less than 4 % a px, in profiles averaged over seven stations; thinner
    layers are found by `edge_layers` (limits: common practice, no source).
    """
    mean = cv2.blur(np.ascontiguousarray(share), (3, _AVERAGED), borderType=cv2.BORDER_REPLICATE)
    own = np.convolve(np.diff(order, prepend=order[:1]) != 0, np.ones(_AVERAGED), "same") > 0
    mean[own] = share[own]  # next to another strut
    width = round(_FLAT_PX / STEP_PX)
    change = np.abs(mean[:, :-width] - mean[:, width:])
    low, high = np.minimum(mean[:, :-width], mean[:, width:]), np.maximum(mean[:, :-width], mean[:, width:])
    flat = (change < _FLAT_CHANGE * _FLAT_PX) & (low > _SHELF[0]) & (high < _SHELF[1])
    run = round((_SHELF_PX - _FLAT_PX) / STEP_PX) + 1
    long = cv2.erode(flat.view(np.uint8), np.ones((1, run), np.uint8), borderValue=0) > 0
    centre = mean[:, width // 2 : width // 2 + flat.shape[1]]
    total = np.count_nonzero(long, axis=1)
    level = np.where(long, centre, 0).sum(axis=1) / np.maximum(total, 1)
    return np.where(total > 0, level, np.nan)


def _crossing(share: np.ndarray, offsets: np.ndarray, level: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Offset of the crossing of each profile's level nearest to offset 0, outwards, and the slope there."""
    falls = (share[:, :-1] >= level[:, None]) & (share[:, 1:] < level[:, None])
    falls[:, : _FIT - 1] = False
    falls[:, len(offsets) - _FIT :] = False
    away = np.where(falls, np.abs(offsets[:-1] + STEP_PX / 2), np.inf)
    k = np.argmin(away, axis=1)
    some = np.isfinite(away[np.arange(len(k)), k])
    k = np.where(some, k, len(offsets) // 2)
    index = k[:, None] + np.arange(1 - _FIT, _FIT + 1)
    y = np.take_along_axis(share, index, axis=1)
    x = STEP_PX * (np.arange(2 * _FIT) - (_FIT - 0.5))
    slope = -(y @ x) / float(x @ x)
    some &= slope > _LEAST_SLOPE
    safe = np.where(some, slope, 1.0)
    shift = np.clip((y.mean(axis=1) - level) / safe, -x[-1], x[-1])
    at = offsets[k] + STEP_PX / 2 + shift
    return np.where(some, at, np.nan), np.where(some, slope, np.nan)


def _noise(share: np.ndarray, order: np.ndarray) -> float:
    """Standard deviation of the mean of four samples, from neighbouring stations of one strut."""
    same = order[1:] == order[:-1]
    if np.count_nonzero(same) < 8:
        same = np.ones(len(order) - 1, bool)
    parts = []
    for where in (slice(0, 2 * _FIT), slice(-2 * _FIT, None)):
        mean = share[:, where].mean(axis=1)
        change = np.abs(np.diff(mean))[same]
        parts.append(1.4826 * float(np.median(change)) / np.sqrt(2 * (1 - _ALIKE)) if change.size else 0.0)
    return float(np.sqrt(0.5 * (parts[0] ** 2 + parts[1] ** 2)))

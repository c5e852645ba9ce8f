"""Deep pits on a height map: found by depth and prominence against roughness, outlined at the mouth."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import cv2
import numpy as np

from surfscan.preparation.noise import pixel_noise
from surfscan.segmentation.basins import part_basins
from surfscan.segmentation.bridging import bridge_gaps
from surfscan.segmentation.chance import patchiness, tail_factor
from surfscan.segmentation.deep_ground import NEAR, DeepGround, Surface
from surfscan.segmentation.local_reference import LocalReference, NodeGrid, local_reference
from surfscan.segmentation.mouths import draw_mouths
from surfscan.segmentation.unseen import Gaps, deepen_floors, find_gaps, sunken_gaps

_SMOOTHING = ((0.4, 0.4001, 1.0), (0.0, 0.4, 0.7))  # pixel noise over Sq; smoothing, px
_STRIP = 256
_WORKERS = 2
_LOW, _SEED = 1.0, 2.5
_CUT, _CUT_SHARE = 2.0, 0.25
_PROMINENT, _PROMINENT_SHARE = 3.0, 0.2
_NEAR_CHANCE = 1.1
_SEEN = 0.1
_SUNKEN, _WALL = 3.0, 2.0

GROOVE_LIKE = "groove-like: long and narrow"
UNMEASURED = "mostly unmeasured: the rim slopes down, how deep it goes was not seen"
JUST_BELOW = "just below a limit: "
CHANCE = "no deeper than the roughness alone may go somewhere on a field of this size"


@dataclass(frozen=True)
class DeepPits:
    """What was found.

    Attributes
    ----------
    labels : ndarray of shape (M, N), int32
        Pits, 1 to n; an unmeasured point inside a mouth carries the pit's label.
    review : ndarray of shape (M, N), int32
        Features for a person to look at, 1 to k; not counted as pits.
    near_limit : ndarray of shape (n,), str
        Limits that a pit passed by less than a quarter; empty where none.
    review_reason : ndarray of shape (k,), str
    depth_below_reference_um : ndarray of shape (M, N), float32
        Depth below the local reference surface, positive downwards; not-a-number where not measured.
    roughness_um : ndarray of shape (n,), float64
        Sq of the surface round each pit, about two tiles of 64 px far, pits left out.
    review_roughness_um : ndarray of shape (k,), float64
    level_uncertainty_um : ndarray of shape (n,), float64
        Standard uncertainty of the reference at each pit.
    prominence_um : ndarray of shape (n,), float64
        Depth below the lowest way out over the rim, at the working resolution.
    surface_sq_um : float
        Sq of the whole surface outside pits.
    warnings : tuple of str
    """

    labels: np.ndarray
    review: np.ndarray
    near_limit: np.ndarray
    review_reason: np.ndarray
    depth_below_reference_um: np.ndarray
    roughness_um: np.ndarray
    review_roughness_um: np.ndarray
    level_uncertainty_um: np.ndarray
    prominence_um: np.ndarray
    surface_sq_um: float
    warnings: tuple[str, ...]


def find_deep_pits(
    residual_um: np.ndarray,
    *,
    pixel_size_um: tuple[float, float] | None,
    region: np.ndarray | None = None,
    min_depth_to_roughness: float,
    min_depth_um: float | None,
    min_diameter_px: float,
    max_aspect: float,
) -> DeepPits:
    """Find pits that go deeper than the surface is rough.

    A pit is a basin below the local reference surface (the metal round about without pits, `local_reference`)
    that is by 3 times the roughness, and by a fifth of its depth, more prominent than what it touches
    (`part_basins`), outlined at its mouth (`draw_mouths`), as deep as asked, and deeper than chance dips go:
    the geometric mean of its greatest depth over Sq, and of its mean depth over the scatter of means over
    patches of the surface as large as its mouth, must pass what fewer than 0.3 chance dips of the field (or
    2 % of the pits found) reach. Both limits, of prominence and of chance, are common practice, no source.

    For review go grooves (aspect), what passes the limits on depth and size or comes near and may be chance,
    and what may hide a pit: mouths less than a tenth of which was measured, and gaps whose rim lies lower
    than the surface by three times its Sq.

    Parameters
    ----------
    residual_um : ndarray of shape (M, N), float32
        Heights less form, up positive; not-a-number where not measured.
    pixel_size_um : (float, float) or None
        In x and y; None where unknown. Outlines and aspects of pits are alike in lengths.
    region : ndarray of shape (M, N), bool, optional
        The specimen; everything if None.
    min_depth_to_roughness : float
        Smallest depth over the Sq of the surface round about.
    min_depth_um : float or None
        Smallest depth, µm.
    min_diameter_px : float
        Smallest equivalent diameter, px.
    max_aspect : float
        Largest ratio of length to width.

    Returns
    -------
    DeepPits

    Raises
    ------
    ValueError
        If `residual_um` is not a 2-D array of real numbers, or nothing was measured.
    """
    found, _ = search_deep_pits(
        residual_um,
        pixel_size_um=pixel_size_um,
        region=region,
        min_depth_to_roughness=min_depth_to_roughness,
        min_depth_um=min_depth_um,
        min_diameter_px=min_diameter_px,
        max_aspect=max_aspect,
    )
    return found


def search_deep_pits(
    residual_um: np.ndarray,
    *,
    pixel_size_um: tuple[float, float] | None,
    region: np.ndarray | None = None,
    min_depth_to_roughness: float,
    min_depth_um: float | None,
    min_diameter_px: float,
    max_aspect: float,
) -> tuple[DeepPits, DeepGround]:
    """`find_deep_pits`, and what it found out about the surface, by which other outlines can be judged."""
    if residual_um.ndim != 2 or residual_um.dtype.kind != "f":
        raise ValueError(
            f"residual_um must be a 2-D float array, got {residual_um.ndim}-D {residual_um.dtype}"
        )
    with ThreadPoolExecutor(1) as beside:
        missing = beside.submit(find_gaps, residual_um)
        smooth = bridge_gaps(residual_um)
        gaps = missing.result()
    reference = local_reference(smooth, region)
    raw_sq = reference.sq_um
    smoothing = float(np.interp(pixel_noise(smooth) / max(raw_sq, 1e-12), *_SMOOTHING))
    if smoothing > 0:
        cv2.GaussianBlur(smooth, (0, 0), smoothing, dst=smooth)
        reference = local_reference(smooth, region)
    depth = _below(smooth, reference.level, out=smooth)
    np.nan_to_num(depth, copy=False, nan=0.0)
    if region is not None:
        depth[~region] = 0.0
    deepen_floors(depth, gaps, _WALL * reference.sq_um)
    where, dips = _foreground(depth, reference)
    basins = part_basins(
        depth,
        where,
        reference.roughness.at,
        least=_PROMINENT,
        share=_PROMINENT_SHARE,
        rim=_LOW,
    )
    peak_sigma = reference.roughness.at(*np.divmod(basins.peak, depth.shape[1]))
    cut = np.maximum(_CUT * peak_sigma, _CUT_SHARE * basins.depth)
    labels = draw_mouths(depth, where, basins, cut, peak_sigma, pixel_size_um or (1.0, 1.0))
    if region is not None:
        labels[~region] = 0
    thin = (slice(reference.step_px // 2, None, reference.step_px),) * 2
    spare = depth[thin][reference.metal]
    surface = Surface(
        reference,
        raw_sq,
        patchiness(depth, labels),
        dips,
        tail_factor(spare),
    )
    del depth, smooth
    ground = DeepGround(
        _below(residual_um, reference.level), surface, (min_depth_to_roughness, min_depth_um, min_diameter_px)
    )
    found = _judge(
        labels, ground, basins.prominence.astype(np.float64), pixel_size_um or (1.0, 1.0), max_aspect
    )
    return _with_sunken_gaps(found, gaps, surface, region, np.pi / 4 * min_diameter_px**2), ground


def _below(heights: np.ndarray, level: NodeGrid, out: np.ndarray | None = None) -> np.ndarray:
    """Level less height, strip by strip."""
    out = np.empty(heights.shape, np.float32) if out is None else out
    for first in range(0, heights.shape[0], _STRIP):
        end = min(first + _STRIP, heights.shape[0])
        np.subtract(level.rows(first, end), heights[first:end], out=out[first:end], casting="same_kind")
    return out


def _foreground(depth: np.ndarray, reference: LocalReference) -> tuple[np.ndarray, int]:
    """Flat positions of what hangs together below the surface with something deep, and how many parts."""
    low = np.empty(depth.shape, np.uint8)

    def cut(first: int) -> np.ndarray:
        rows = slice(first, min(first + _STRIP, depth.shape[0]))
        sigma = reference.roughness.rows(rows.start, rows.stop)
        cv2.compare(depth[rows], _LOW * sigma, cv2.CMP_GT, dst=low[rows])
        deep = cv2.compare(depth[rows], _SEED * sigma, cv2.CMP_GT)
        return np.flatnonzero(deep.view(bool)) + first * depth.shape[1]

    with ThreadPoolExecutor(_WORKERS) as pool:
        deep = list(pool.map(cut, range(0, depth.shape[0], _STRIP)))
    n, parts = cv2.connectedComponents(low, connectivity=8, ltype=cv2.CV_32S)
    kept = np.zeros(n, bool)
    kept[parts.reshape(-1)[np.concatenate(deep)]] = True
    kept[0] = False

    def inside(first: int) -> np.ndarray:
        part = parts[first : first + _STRIP].reshape(-1)
        at = np.flatnonzero(part)
        return at[kept[part[at]]] + first * depth.shape[1]

    with ThreadPoolExecutor(_WORKERS) as pool:
        where = list(pool.map(inside, range(0, depth.shape[0], _STRIP)))
    return np.concatenate(where), int(np.count_nonzero(kept))


def _judge(
    labels: np.ndarray,
    ground: DeepGround,
    prominence: np.ndarray,
    pixel_size_um: tuple[float, float],
    max_aspect: float,
) -> DeepPits:
    """Sort the outlined basins into pits, features for review, and what is nothing."""
    measured, surface = ground.depth_below_reference_um, ground.surface
    n = len(prominence)
    at = np.flatnonzero(labels.reshape(-1) != 0)
    own = labels.reshape(-1)[at] - 1
    area = np.bincount(own, minlength=n)
    row, col, aspect = _lie(own, at, labels.shape[1], area, pixel_size_um)
    d = measured.reshape(-1)[at]
    seen = ~np.isnan(d)
    greatest = np.zeros(n, np.float32)
    np.maximum.at(greatest, own[seen], d[seen])
    seen_share = np.bincount(own[seen], minlength=n) / np.maximum(area, 1)
    mean = np.bincount(own[seen], d[seen], n) / np.maximum(np.bincount(own[seen], minlength=n), 1)
    sq = surface.roughness_at(row, col)
    local = sq / max(surface.raw_sq_um, 1e-12)
    standing = np.maximum(mean, 0) / (surface.patchiness.at(np.sqrt(area)) * local)
    strength = np.sqrt(np.maximum(greatest, 0) / sq * standing)
    by_chance = strength / surface.deepest_by_chance(strength)
    ratios = ground.ratios(greatest, sq, area)
    there = area > 0
    least = ratios.min(axis=0, initial=np.inf)
    chance = by_chance < 1
    real = there & (least >= 1) & ~chance
    almost = there & (least >= 1 / NEAR) & (by_chance >= 1 / _NEAR_CHANCE) & ~real
    groove = aspect > max_aspect
    hidden = seen_share < _SEEN
    pit = real & ~groove & ~hidden
    listed = (real | almost) & ~pit

    reasons = [
        GROOVE_LIKE
        if groove[k]
        else UNMEASURED
        if hidden[k]
        else JUST_BELOW + ground.limit_names(ratios[:, k] < 1)
        if least[k] < 1
        else CHANCE
        for k in np.flatnonzero(listed).tolist()
    ]
    near = [ground.limit_names(ratios[:, k] < NEAR) for k in np.flatnonzero(pit).tolist()]
    review = np.zeros_like(labels)
    review.reshape(-1)[at] = np.where(listed, np.cumsum(listed), 0)[own]
    labels.reshape(-1)[at] = np.where(pit, np.cumsum(pit), 0)[own]
    return DeepPits(
        labels=labels,
        review=review,
        near_limit=np.array(near, dtype=str),
        review_reason=np.array(reasons, dtype=str),
        depth_below_reference_um=measured,
        roughness_um=sq[pit],
        review_roughness_um=sq[listed],
        level_uncertainty_um=surface.level_uncertainty(row[pit], col[pit], area[pit]),
        prominence_um=prominence[pit],
        surface_sq_um=surface.raw_sq_um,
        warnings=(),
    )


def _lie(
    own: np.ndarray, at: np.ndarray, cols: int, area: np.ndarray, pixel: tuple[float, float]
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Centroid rows and columns, px, and aspect of the ellipses with the same second moments, in lengths."""
    n, share = len(area), 1 / np.maximum(area, 1)
    rows, columns = np.divmod(at, cols)
    row, col = np.bincount(own, rows, n) * share, np.bincount(own, columns, n) * share
    y, x = (rows - row[own]) * pixel[1], (columns - col[own]) * pixel[0]
    yy = np.bincount(own, y * y, n) * share + pixel[1] ** 2 / 12
    xx = np.bincount(own, x * x, n) * share + pixel[0] ** 2 / 12
    xy = np.bincount(own, x * y, n) * share
    mean, half = (xx + yy) / 2, np.hypot((xx - yy) / 2, xy)
    return row, col, np.sqrt((mean + half) ** 2 / np.maximum(xx * yy - xy * xy, 1e-300))


def _with_sunken_gaps(
    found: DeepPits, gaps: Gaps, surface: Surface, region: np.ndarray | None, least_px: float
) -> DeepPits:
    """The finds, with gaps that may hide pits among the features for review."""
    depth = found.depth_below_reference_um
    taken = (found.labels > 0) | (found.review > 0)
    if region is not None:
        taken |= ~region
    n, of = sunken_gaps(depth, gaps, taken, rim_um=_SUNKEN * surface.raw_sq_um, least_px=least_px)
    if n == 0:
        return found
    at, own = gaps.at[of > 0], of[of > 0]
    found.review.reshape(-1)[at] = own + len(found.review_reason)
    count = np.bincount(own, minlength=n + 1)[1:]
    row, col = (np.bincount(own, place, n + 1)[1:] / count for place in np.divmod(at, depth.shape[1]))
    return replace(
        found,
        review_reason=np.concatenate([found.review_reason, np.full(n, UNMEASURED)]),
        review_roughness_um=np.concatenate([found.review_roughness_um, surface.roughness_at(row, col)]),
    )

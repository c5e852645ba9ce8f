"""Thickness of a strut that lies flat on a stage: how far its top stands above the stage on a height map."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np

from surfscan.preparation.spikes import find_spikes
from surfscan.segmentation.centrelines import Centrelines, find_centrelines
from surfscan.segmentation.class_levels import disc

Top = Literal["flat", "round"]

HEIGHT_RELATIVE_UNCERTAINTY = 0.01
"""Allowance for the instrument's height scale (k = 1), declared: common practice, no source."""

_SIDE = 512  # samples a side that the stage is looked for on
_BLOCK = 8  # samples a side of a block
_TRIPLES, _AT_ONCE = 2048, 128
_BELOW = 0.05  # at most this share of the blocks may lie below the stage
_LEAST_STAGE = 0.05  # share of the blocks that lies on it
_LEAST_BLOCKS = 12
_TOLERANCE, _OF_RANGE = 4.0, 0.01
_REFINEMENTS = 3
_OUTLIER = 3.0
_FOOT_PX = 3  # so near the strut the stage is not looked at
_STEP = 8.0  # standard deviations of the stage by which metal stands above it
_LEAST_PART = 0.1  # parts smaller than this share of the largest are debris
_TOP = 0.5  # share of the typical height from which on the top is the strut's
_CENTRAL = 0.5  # of the half width of the top: what is averaged across
_SLICE, _SLICE_PX = 0.25, 5.0  # length of a slice: share of the width, at least px
_SEEN = 0.3  # share of a slice's pixels that must have been measured
_LEAST_SLICES = 4
_LEANS = 0.05  # a top that rises or bends by more than this share of the thickness is worth a warning
_STAGE_BLOCKS = 12


class NoThicknessError(ValueError):
    """The map shows no strut standing on a stage.

    Attributes
    ----------
    fault, remedy : str
        What is wrong and what to do, in plain words.
    """

    def __init__(self, fault: str, remedy: str) -> None:
        super().__init__(f"{fault} {remedy}")
        self.fault, self.remedy = fault, remedy


@dataclass(frozen=True)
class StrutThickness:
    """Thickness along a strut; n slices.

    Attributes
    ----------
    mean_um, uncertainty_um : float
        Mean along the strut and its standard uncertainty (k = 1).
    least_um, least_row_px, least_col_px : float
        Least slice and where it is.
    thickness_um, row_px, col_px : ndarray of shape (n,)
        Of every slice, and its middle; not-a-number where too little of it was measured.
    stage, top : ndarray of shape (M, N), bool
        What was taken for the stage and for the strut's top.
    stage_roughness_um : float
        Standard deviation of the stage about its plane.
    warnings : tuple of str
    """

    mean_um: float
    uncertainty_um: float
    least_um: float
    least_row_px: float
    least_col_px: float
    thickness_um: np.ndarray
    row_px: np.ndarray
    col_px: np.ndarray
    stage: np.ndarray
    top: np.ndarray
    stage_roughness_um: float
    warnings: tuple[str, ...] = ()


def measure_thickness(
    heights_um: np.ndarray, *, top: Top = "flat", region: np.ndarray | None = None
) -> StrutThickness:
    """Thickness of a strut lying on a flat stage, from a height map of both.

    Parameters
    ----------
    heights_um : ndarray of shape (M, N)
        µm, up positive; not-a-number where nothing was measured. Tilt of the stage does not matter.
    top : {"flat", "round"}
        "flat": the mean over the middle half of the width counts; "round" (wires): the crest, by a parabola
        through the same pixels.
    region : ndarray of shape (M, N), bool, optional
        What may be looked at.

    Returns
    -------
    StrutThickness

    Raises
    ------
    NoThicknessError
        If no stage is visible, or nothing stands on it.
    ValueError
        If the arrays do not fit together.

    Notes
    -----
    The stage is the plane with the most blocks of pixels on it of those that leave at most 5 % below
    (2048 seeded triples), then fitted by least squares to the pixels beside the strut. Slices across the
    strut are a quarter of its width long. The standard uncertainty of the mean adds, as squares: the spread
    of the slices about their trend of second order over the root of their number, neighbours counted for as
    much as they are independent; the plane where the strut lies, from the scatter of parts of the stage; and
    1 % for the height scale.

    The way holds for pieces that lie flat: a strut that is bent or lifted off the stage reads too thick by
    the gap under it, which a map from above cannot show. A top that rises or bends along the strut by more
    than 5 % of the thickness is reported. Limits: common practice, no source.
    """
    heights = np.array(heights_um, np.float64)
    if heights.ndim != 2 or min(heights.shape) < 4 * _BLOCK:
        raise ValueError(f"a height map of at least {4 * _BLOCK} by {4 * _BLOCK} px is needed")
    if region is not None:
        if region.shape != heights.shape:
            raise ValueError(f"the region has shape {region.shape}, the map {heights.shape}")
        heights[~region.astype(bool)] = np.nan
    if np.count_nonzero(np.isfinite(heights)) < _LEAST_BLOCKS * _BLOCK**2:
        raise NoThicknessError("Next to nothing was measured on the map.", "Check the file and its region.")
    level = float(np.nanmedian(heights))
    heights -= level
    heights[find_spikes(heights)] = np.nan
    plane, tolerance = _lowest_plane(heights)
    plane, stage, roughness = _refined(heights, plane, tolerance)
    above = _above(heights, plane)
    solid = _standing(above, max(_STEP * roughness, tolerance))
    stage &= ~_grown(solid, _FOOT_PX)
    if np.count_nonzero(stage) >= _LEAST_BLOCKS * _BLOCK:
        plane = _fitted(heights, stage)
        above = _above(heights, plane)
        roughness = float(np.std(above[stage]))
    lines = find_centrelines(solid)
    value, row, col = _slices(above, solid, lines, top)
    good = np.isfinite(value)
    if np.count_nonzero(good) < _LEAST_SLICES:
        raise NoThicknessError(
            "Too little of the strut's top was measured.", "Take a map that shows more of the strut."
        )
    mean = float(value[good].mean())
    least = int(np.nanargmin(value))
    spread = math.hypot(
        _of_the_mean(value[good]),
        _of_the_plane(above, stage, row[good], col[good]),
        HEIGHT_RELATIVE_UNCERTAINTY * mean,
    )
    return StrutThickness(
        mean_um=mean,
        uncertainty_um=spread,
        least_um=float(value[least]),
        least_row_px=float(row[least]),
        least_col_px=float(col[least]),
        thickness_um=value,
        row_px=row,
        col_px=col,
        stage=stage,
        top=solid,
        stage_roughness_um=roughness,
        warnings=_warnings(value, row, col, lines, stage),
    )


def _above(heights: np.ndarray, plane: np.ndarray) -> np.ndarray:
    """Heights above a plane."""
    row, col = np.arange(heights.shape[0])[:, None], np.arange(heights.shape[1])
    return np.asarray(heights - (plane[0] + plane[1] * row + plane[2] * col))


def _lowest_plane(heights: np.ndarray) -> tuple[np.ndarray, float]:
    """Plane that most blocks lie on and next to none below, and how near is on it."""
    step = max(1, round(max(heights.shape) / _SIDE))
    thinned = heights[::step, ::step]
    m, n = thinned.shape[0] // _BLOCK, thinned.shape[1] // _BLOCK
    blocks = thinned[: m * _BLOCK, : n * _BLOCK].reshape(m, _BLOCK, n, _BLOCK)
    blocks = np.sort(blocks.swapaxes(1, 2).reshape(m, n, -1), axis=2)
    count = np.count_nonzero(np.isfinite(blocks), axis=2)
    middle = np.take_along_axis(blocks, np.maximum(count - 1, 0)[..., None] // 2, axis=2)[..., 0]
    middle[2 * count < _BLOCK**2] = np.nan
    bend = np.concatenate([np.diff(middle, 2, axis=k).ravel() for k in (0, 1)])
    bend = np.abs(bend[np.isfinite(bend)])
    r, c = np.nonzero(np.isfinite(middle))
    if len(r) < _LEAST_BLOCKS or not bend.size:
        raise NoThicknessError("Next to nothing was measured on the map.", "Check the file and its region.")
    z = middle[r, c]
    low, high = np.percentile(z, [2, 98])
    tolerance = _TOLERANCE * 1.4826 / math.sqrt(6) * float(np.median(bend)) + _OF_RANGE * float(high - low)
    tolerance = max(tolerance, 1e-9)
    y, x = ((part * _BLOCK + (_BLOCK - 1) / 2) * step for part in (r, c))
    terms = np.column_stack([np.ones(len(z)), y, x])
    rng = np.random.default_rng(0)
    best, most = None, 0
    for _ in range(_TRIPLES // _AT_ONCE):
        picked = rng.integers(0, len(z), (_AT_ONCE, 3))
        size = np.abs(np.linalg.det(terms[picked]))
        picked = picked[size > 1e-3 * step**2 * _BLOCK**2 * min(m, n)]
        if not len(picked):
            continue
        planes = np.linalg.solve(terms[picked], z[picked][..., None])[..., 0]
        residual = z - planes @ terms.T
        on = np.count_nonzero(np.abs(residual) <= tolerance, axis=1)
        on[np.count_nonzero(residual < -tolerance, axis=1) > _BELOW * len(z)] = 0
        k = int(np.argmax(on))
        if on[k] > most:
            best, most = planes[k], int(on[k])
    if best is None or most < max(_LEAST_STAGE * len(z), _LEAST_BLOCKS):
        raise NoThicknessError(
            "No stage is visible: no plane lies under everything else on the map.",
            "Take a height map that shows flat stage on both sides of the strut.",
        )
    return best, tolerance


def _refined(
    heights: np.ndarray, plane: np.ndarray, tolerance: float
) -> tuple[np.ndarray, np.ndarray, float]:
    """Plane by least squares on what lies on it, those pixels, and their standard deviation."""
    near, spread = tolerance, 0.0
    stage = np.zeros(heights.shape, bool)
    for _ in range(_REFINEMENTS):
        stage = np.abs(_above(heights, plane)) <= near
        plane = _fitted(heights, stage)
        spread = 1.4826 * float(np.median(np.abs(_above(heights, plane)[stage])))
        near = max(_OUTLIER * spread, 1e-9)
    return plane, stage, spread


def _fitted(heights: np.ndarray, where: np.ndarray) -> np.ndarray:
    """Plane through some pixels by least squares."""
    r, c = np.nonzero(where)
    terms = np.column_stack([np.ones(len(r)), r, c])
    return np.asarray(np.linalg.lstsq(terms, heights[where], rcond=None)[0])


def _grown(mask: np.ndarray, by: int) -> np.ndarray:
    return cv2.dilate(mask.view(np.uint8), disc(by)) > 0


def _standing(above: np.ndarray, least: float) -> np.ndarray:
    """The strut as it stands on the stage, gaps in its top closed."""
    raised = above > least
    n, labels, stats, _ = cv2.connectedComponentsWithStats(raised.view(np.uint8), connectivity=8)
    area = stats[:, cv2.CC_STAT_AREA].copy()
    area[0] = 0
    if n < 2 or area.max() < _BLOCK**2:
        raise NoThicknessError(
            "No step was found: the map shows one level, and nothing that stands on it.",
            "Take a height map that shows the strut's top and flat stage on both sides of it.",
        )
    kept = (area >= _LEAST_PART * area.max())[labels]
    kept &= above > _TOP * float(np.median(above[kept]))
    closed = cv2.morphologyEx(kept.view(np.uint8), cv2.MORPH_CLOSE, disc(_FOOT_PX)) > 0
    closed &= ~(above <= least)
    return _filled(closed)


def _filled(mask: np.ndarray) -> np.ndarray:
    """Gaps inside the strut closed that are smaller than a tenth of it: pits in the top, dropouts."""
    _, labels, stats, _ = cv2.connectedComponentsWithStats((~mask).view(np.uint8), connectivity=4)
    small = stats[:, cv2.CC_STAT_AREA] < 0.1 * np.count_nonzero(mask)
    rim = np.concatenate([labels[0], labels[-1], labels[:, 0], labels[:, -1]])
    small[np.unique(rim)] = False
    return mask | (small[labels] & ~mask)


def _slices(
    above: np.ndarray, solid: np.ndarray, lines: Centrelines, top: Top
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Height of the top over slices along all struts: value, row and column of the middle."""
    values, rows, cols = [], [], []
    free = np.ones(solid.shape, np.uint8)
    r = np.clip(np.rint(lines.row), 0, solid.shape[0] - 1).astype(int)
    c = np.clip(np.rint(lines.col), 0, solid.shape[1] - 1).astype(int)
    free[r, c] = 0
    away, nearest = cv2.distanceTransformWithLabels(
        free, cv2.DIST_L2, cv2.DIST_MASK_5, labelType=cv2.DIST_LABEL_PIXEL
    )
    point_of = np.full(int(nearest.max()) + 1, -1)
    point_of[nearest[r, c]] = np.arange(len(r))
    for strut in range(1, lines.n + 1):
        own = slice(int(lines.start[strut - 1]), int(lines.start[strut]))
        row, col, radius = lines.row[own], lines.col[own], lines.radius[own]
        s = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(row), np.diff(col)))])
        if not len(s) or s[-1] <= 0:
            continue
        half = float(np.median(radius))
        count = max(1, int(s[-1] / max(_SLICE * 2 * half, _SLICE_PX)))
        slice_of = np.minimum((s / s[-1] * count).astype(int), count - 1)
        clear = _clear_of_ends(s, radius, lines, strut)
        number = np.full(len(lines.row), -1)
        number[own] = np.where(clear, slice_of, -1)
        at = np.flatnonzero(solid & (away <= _CENTRAL * half))
        label = number[point_of[nearest.ravel()[at]]]
        at = at[np.argsort(label, kind="stable")]
        bounds = np.searchsorted(np.sort(label), np.arange(count + 1))
        for k in range(count):
            pixels = np.divmod(at[bounds[k] : bounds[k + 1]], solid.shape[1])
            if not len(pixels[0]):
                continue
            values.append(_height_of(above[pixels], pixels, row[slice_of == k], col[slice_of == k], top))
            rows.append(float(pixels[0].mean()))
            cols.append(float(pixels[1].mean()))
    return np.array(values), np.array(rows), np.array(cols)


def _clear_of_ends(s: np.ndarray, radius: np.ndarray, lines: Centrelines, strut: int) -> np.ndarray:
    """Points of a strut clear of junctions and of free ends, which fall off."""
    clear = np.ones(len(s), bool)
    for k, along in ((0, s), (1, s[-1] - s)):
        kind, node = lines.end_kind[strut - 1][k], lines.end_node[strut - 1][k]
        if kind == "junction":
            clear &= along > lines.junction_radius[node]
        elif kind == "end":
            clear &= along > float(np.median(radius))
    return clear


def _height_of(
    value: np.ndarray, pixels: tuple[np.ndarray, ...], row: np.ndarray, col: np.ndarray, top: Top
) -> float:
    """Height of one slice: mean, or crest of a parabola across."""
    good = np.isfinite(value)
    if np.count_nonzero(good) < max(3, _SEEN * len(value)):
        return math.nan
    if top == "flat":
        return float(value[good].mean())
    along = np.array([row[-1] - row[0], col[-1] - col[0]])
    length = float(np.hypot(*along))
    if length <= 0:
        return math.nan
    x = ((pixels[1] - col.mean()) * along[0] - (pixels[0] - row.mean()) * along[1]) / length
    if np.ptp(x[good]) < 2:
        return math.nan
    bend, slope, level = np.polyfit(x[good], value[good], 2)
    if bend >= 0:
        return float(value[good].mean())
    crest = float(np.clip(-slope / (2 * bend), x[good].min(), x[good].max()))
    return float(bend * crest**2 + slope * crest + level)


def _of_the_mean(value: np.ndarray) -> float:
    """Standard uncertainty of the mean of slices, of which neighbours resemble each other; a trend of second
    order along the strut is part of it, not chance."""
    s = np.linspace(-1, 1, len(value))
    left = value - np.polyval(np.polyfit(s, value, min(2, len(value) - 2)), s)
    square = float(left @ left)
    if square <= 0:
        return 0.0
    alike = float(np.clip(left[1:] @ left[:-1] / square, 0, 0.95))
    independent = max(1.0, len(value) * (1 - alike) / (1 + alike))
    return math.sqrt(square / (len(value) - 1) / independent)


def _of_the_plane(above: np.ndarray, stage: np.ndarray, row: np.ndarray, col: np.ndarray) -> float:
    """Standard uncertainty of the stage's plane in the middle of the strut, from parts of the stage."""
    m, n = stage.shape
    r, c = np.nonzero(stage)
    part = (r * _STAGE_BLOCKS // m) * _STAGE_BLOCKS + c * _STAGE_BLOCKS // n
    count = np.bincount(part)
    sums = [np.bincount(part, w) for w in (r, c, above[stage])]
    some = count >= max(4, 0.05 * m * n / _STAGE_BLOCKS**2)
    if np.count_nonzero(some) < 4:
        return float(np.std(above[stage]))
    y, x, z = (total[some] / count[some] for total in sums)
    terms = np.column_stack([np.ones(len(y)), y - row.mean(), x - col.mean()])
    rank = np.linalg.matrix_rank(terms)
    residual = z - terms @ np.linalg.lstsq(terms, z, rcond=None)[0]
    variance = float(residual @ residual) / max(len(z) - rank, 1)
    return math.sqrt(max(0.0, variance * float(np.linalg.pinv(terms.T @ terms)[0, 0])))


def _warnings(
    value: np.ndarray, row: np.ndarray, col: np.ndarray, lines: Centrelines, stage: np.ndarray
) -> tuple[str, ...]:
    warnings = []
    good = np.isfinite(value)
    mean = float(value[good].mean())
    if lines.n == 1 and np.count_nonzero(good) > _LEAST_SLICES:
        s = np.linspace(-1, 1, len(value))
        bend = np.polyval(np.polyfit(s[good], value[good], 2), s)
        if np.ptp(bend) > _LEANS * mean:
            warnings.append(
                f"The strut's top rises or bends along it by {np.ptp(bend):.3g} µm: it tapers, or it does "
                "not lie flat and reads too thick."
            )
    if not good.all():
        warnings.append(
            f"Of {np.count_nonzero(~good)} of {len(value)} slices of the strut too little was measured: they "
            "do not count."
        )
    if lines.n == 1 and _one_sided(lines, stage):
        warnings.append(
            "The stage shows on one side of the strut only: a tilt of the plane under the strut is hardly "
            "known. Take a map with stage on both sides."
        )
    return tuple(warnings)


def _one_sided(lines: Centrelines, stage: np.ndarray) -> bool:
    """Whether less than a tenth of the stage lies on one side of a strut's chord."""
    row, col = lines.points(1)
    r, c = np.nonzero(stage)
    side = (c - col[0]) * (row[-1] - row[0]) - (r - row[0]) * (col[-1] - col[0]) > 0
    return not 0.1 <= float(side.mean()) <= 0.9

"""Polished cross-sections: metal, product, mounting medium and voids, with the metal's edge at half level."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np

from surfscan.segmentation.masks import disc
from surfscan.segmentation.section_levels import SectionLevels, find_levels

MEDIUM, METAL, PRODUCT, VOID = 0, 1, 2, 3
"""Codes of the class map."""

_SMOOTH_PX = 1.0
_BAND_PX = (3.0, 7.0)  # metal and its surroundings are read so far from the edge between them
_REACH_PX = 4.0  # the edge is looked for so far from its first guess
_LOCAL_PX = (4.0, 14.0)  # Gaussian over which surroundings are averaged, and the wider one where those fail
_METAL_PX = 10.0
_GRID_SIGMA = 2.0  # local means are taken on a grid of steps this many times smaller than their Gaussian
_BEYOND_PX = 90  # beyond the metal nothing bears on its edge: the widest Gaussian ends before
_COMMON_STEP = 70  # a multiple of all steps of the grids below
_LAYER_SHARE = 0.2  # of the band of surroundings that is product, for product to be what the metal borders on
_MOUTH_PX = 2  # cracks narrower than about twice this count as part of the section, also where they are open
_SMALLEST_PART = 0.1  # a body whose metal is below this share of the largest one's is debris
_ISLAND_REACH = 0.25  # debris within this share of the root of a body's area is an island of it
_AT_EDGE, _MOST_SPILL = 0.15, 0.15
_FRINGE_PX = 4  # half the width of what an edge from light product to a dark crack may pass for
_VOID_SHARE = 0.5  # a void is darker than product by this share of the product's distance to black


@dataclass(frozen=True)
class SectionMap:
    """Where a section's classes lie.

    Attributes
    ----------
    classes : ndarray of shape (M, N), uint8
        0 mounting medium, 1 metal, 2 product, 3 crack or pore.
    excess : ndarray of shape (M, N), float32
        How far the grey lies on the metal's side of the half level between metal and what lies next to it,
        as a share of the step, from -0.5 to 0.5; above 0 is metal.
    bodies : ndarray of shape (M, N), int32
        Sections numbered from 1, in reading order, each with all that the medium encloses; 0 elsewhere.
    levels : SectionLevels
    warnings : tuple of str
    """

    classes: np.ndarray
    excess: np.ndarray
    bodies: np.ndarray
    levels: SectionLevels
    warnings: tuple[str, ...] = ()


def map_section(
    grey: np.ndarray, valid: np.ndarray | None = None, *, order: str = "auto", min_feature_px: int = 12
) -> SectionMap | None:
    """Tell metal, product, medium and voids apart, and find the metal's edge to a fraction of a pixel.

    Every pixel goes to the nearest class level first. Then the edge of the metal is set anew at the half
    level between the metal inside and what lies next to it outside, both read 3 to 7 px from the edge and
    locally, so that neither uneven light nor product of changing grey moves it.

    Parameters
    ----------
    grey : ndarray of shape (M, N)
    valid : ndarray of shape (M, N), bool, optional
        Pixels to use; others count as medium.
    order : str
        See `find_levels`.
    min_feature_px : int
        Pieces of metal, and holes in it, below this are noise.

    Returns
    -------
    SectionMap or None
        None where no section stands apart from a medium.
    """
    grey = np.ascontiguousarray(grey, np.float32)
    usable = np.isfinite(grey)
    if valid is not None:
        usable &= valid
    grey = np.where(usable, grey, np.float32(np.median(grey[usable]) if usable.any() else 0))
    levels = find_levels(grey, usable, order)
    if levels is None:
        return None
    smooth = cv2.GaussianBlur(grey, (0, 0), _SMOOTH_PX, borderType=cv2.BORDER_REFLECT) / levels.light
    nearest, names = _nearest(smooth, levels)
    nearest[~usable] = names.index("medium")
    named = {n: np.array([m == n for m in names])[nearest] for n in set(names)}
    outside = _outside(named["medium"], usable)
    own = [k for k, n in enumerate(names) if n == "metal"]
    between = 0 not in own and len(names) - 1 not in own
    metal = _tidied(named["metal"] & ~outside, between, min_feature_px)
    if not metal.any():
        return None
    product = named.get("product", np.zeros(grey.shape, bool))
    part = _window(metal)
    excess = np.full(grey.shape, np.float32(-0.5))
    spill = 0.0
    for _ in range(2):
        excess[part] = _excess(smooth[part], metal[part], usable[part], levels, product[part], spill)
        spill = _spill(excess[part])
        metal[part] = _tidied(excess[part] > 0, between, min_feature_px)
    excess = np.where(metal | (excess <= 0), excess, np.float32(-0.5))
    outside = _outside(named["medium"] & ~metal, usable) & ~metal
    bodies, warnings = _bodies(~outside, metal)
    if not bodies.any():
        return None
    inside = bodies > 0
    excess = excess_of(excess, inside)
    metal &= inside
    classes = np.zeros(grey.shape, np.uint8)
    classes[inside] = PRODUCT
    classes[inside & _void(smooth, named, levels)] = VOID
    classes[metal] = METAL
    return SectionMap(classes, excess, bodies, levels, (*levels.warnings, *warnings))


def painted_over(found: SectionMap, classes: np.ndarray, painted: np.ndarray) -> SectionMap:
    """A section map with some pixels given other classes by hand.

    Parameters
    ----------
    found : SectionMap
    classes : ndarray of shape (M, N), uint8
        The class image as it is to be.
    painted : ndarray of shape (M, N), bool
        Pixels that were painted. The metal's edge runs half-way between a pixel that was and one that was
        not, or between two that were; elsewhere it stays where it was found, to a fraction of a pixel.

    Returns
    -------
    SectionMap
        Without any section where no metal is left.
    """
    metal = classes == METAL
    excess = np.where(painted, np.where(metal, np.float32(0.5), np.float32(-0.5)), found.excess)
    bodies, warnings = _bodies(classes != MEDIUM, metal)
    return SectionMap(
        np.where(bodies > 0, classes, np.uint8(MEDIUM)),
        excess_of(excess, bodies > 0),
        bodies,
        found.levels,
        (*found.levels.warnings, *warnings),
    )


def excess_of(excess: np.ndarray, own: np.ndarray) -> np.ndarray:
    """`excess` with all metal outside `own` (M, N) taken out; edges of what lies inside stay as they are."""
    near = cv2.dilate(own.astype(np.uint8), disc(int(_REACH_PX))).view(bool)
    return np.where(own | (near & (excess <= 0)), excess, np.float32(-0.5))


def _nearest(smooth: np.ndarray, levels: SectionLevels) -> tuple[np.ndarray, list[str]]:
    """Index of the nearest level at every pixel, and the class name of every level, from dark to light."""
    shades = sorted((m, n) for n, v in levels.levels.items() for m in v)
    means = np.array([m for m, _ in shades])
    cuts = (0.5 * (means[1:] + means[:-1])).astype(np.float32)
    return np.digitize(smooth, cuts).astype(np.uint8), [n for _, n in shades]


def _outside(medium: np.ndarray, usable: np.ndarray) -> np.ndarray:
    """Medium that is connected with the frame, cracks and gaps narrower than about 5 px left out."""
    free = (medium | ~usable).astype(np.uint8)
    wide = cv2.erode(free, disc(_MOUTH_PX), borderType=cv2.BORDER_CONSTANT, borderValue=1)
    count, parts = cv2.connectedComponents(wide, connectivity=4)
    edge = np.concatenate([parts[0], parts[-1], parts[:, 0], parts[:, -1], parts[~usable]])
    reached = np.zeros(count, np.uint8)
    reached[edge[edge > 0]] = 1
    grown = cv2.dilate(reached[parts], disc(_MOUTH_PX + 1)) & free
    return np.asarray(grown.view(bool))


def _tidied(metal: np.ndarray, between: bool, min_feature_px: int) -> np.ndarray:
    """Metal without specks; `between` two other levels, also without the edges that pass for its grey."""
    if between:
        metal = metal & cv2.morphologyEx(metal.astype(np.uint8), cv2.MORPH_OPEN, disc(_FRINGE_PX)).view(bool)
    return _without_specks(metal, min_feature_px)


def _without_specks(mask: np.ndarray, least: int) -> np.ndarray:
    """`mask` without pieces and without holes smaller than `least` px."""
    out = mask.astype(np.uint8)
    for value in (1, 0):
        n, parts, stats, _ = cv2.connectedComponentsWithStats((out == value).astype(np.uint8), connectivity=4)
        small = stats[:, cv2.CC_STAT_AREA] < least
        small[0] = False
        if n > 1 and small.any():
            out[small[parts]] = 1 - value
    return np.asarray(out.view(bool))


def _window(metal: np.ndarray) -> tuple[slice, slice]:
    """The part of a picture that the metal's edge is worked out on, for speed: what is beyond has no say.

    It starts at a common multiple of the steps of `_local`, so that the grids stay where they are.
    """
    out = []
    for axis in (1, 0):
        at = np.flatnonzero(metal.any(axis=axis))
        first = max(int(at[0]) - _BEYOND_PX, 0) // _COMMON_STEP * _COMMON_STEP
        out.append(slice(first, min(int(at[-1]) + 1 + _BEYOND_PX, metal.shape[1 - axis])))
    return out[0], out[1]


def _local(values: np.ndarray, where: np.ndarray, sigma: float) -> tuple[np.ndarray, np.ndarray]:
    """Gaussian mean of `values` over `where`, and the weight it rests on."""
    rows, cols = values.shape
    k = max(1, int(sigma / _GRID_SIGMA))
    size = (-(-cols // k), -(-rows // k))
    pad = (size[1] * k - rows, size[0] * k - cols)

    def mean(part: np.ndarray) -> np.ndarray:
        part = cv2.copyMakeBorder(part, 0, pad[0], 0, pad[1], cv2.BORDER_CONSTANT)
        small = cv2.resize(part, size, interpolation=cv2.INTER_AREA)
        small = cv2.GaussianBlur(small, (0, 0), sigma / k, borderType=cv2.BORDER_CONSTANT)
        whole = cv2.resize(small, (size[0] * k, size[1] * k), interpolation=cv2.INTER_LINEAR)
        return np.asarray(whole[:rows, :cols])

    weight = mean(where.astype(np.float32))
    total = mean(np.where(where, values, np.float32(0)))
    return total / np.maximum(weight, 1e-6), weight


def _excess(
    smooth: np.ndarray,
    metal: np.ndarray,
    usable: np.ndarray,
    levels: SectionLevels,
    layer: np.ndarray,
    spill: float,
) -> np.ndarray:
    """Signed share of the step by which the grey is on the metal's side of the half level.

    Where enough of what lies next to the metal is product (`layer`), it alone counts as its surroundings,
    for a thin layer would go under in the medium beyond it. `spill` is the share of the metal's light in what
    is read as its surroundings.
    """
    inner = metal.astype(np.uint8)
    within = cv2.distanceTransform(inner, cv2.DIST_L2, cv2.DIST_MASK_5)
    away = cv2.distanceTransform(1 - inner, cv2.DIST_L2, cv2.DIST_MASK_5)
    shades = np.array(levels.levels["metal"], np.float32)
    level, weight = _local(smooth, within >= _BAND_PX[0], _METAL_PX)
    nearest = shades[np.argmin(np.abs(smooth[..., None] - shades), axis=-1)] if len(shades) > 1 else shades[0]
    level = np.where(weight > 1e-3, level, nearest)
    band = (away >= _BAND_PX[0]) & (away <= _BAND_PX[1]) & usable
    out = np.full(smooth.shape, 0.5, np.float32)
    others = [m for n, v in levels.levels.items() if n != "metal" for m in v]
    for sign in (1.0, -1.0):  # what is darker than the metal, then what is lighter
        own = shades.min() if sign > 0 else shades.max()
        beyond = [m for m in others if sign * (own - m) > 0]
        if not beyond:
            continue
        nearest_level = max(beyond, key=lambda m: sign * m)
        middle = 0.5 * (own + nearest_level)
        side = band & (sign * (middle - smooth) > 0)
        around, sure = _local(smooth, side, _LOCAL_PX[0])
        wide, wide_sure = _local(smooth, side, _LOCAL_PX[1])
        around = np.where(sure > 0.01, around, np.where(wide_sure > 1e-3, wide, np.float32(nearest_level)))
        thin = side & layer
        if thin.any():
            shell, of_layer = _local(smooth, thin, _LOCAL_PX[0])
            if levels.thin_layer:
                shell = np.full_like(shell, levels.levels["product"][0])
            around = np.where(of_layer > _LAYER_SHARE * np.maximum(sure, 1e-3), shell, around)
        around = (around - spill * level) / (1 - spill)
        step = sign * (level - around)
        least = np.float32(0.5 * abs(own - nearest_level))
        step = np.maximum(step, least)
        out = np.minimum(out, (sign * (smooth - level) + 0.5 * step) / step)
    out = np.clip(out, -0.5, 0.5)
    zone = (within <= _REACH_PX) & (away <= _REACH_PX)
    return np.where(zone, out, np.where(metal, np.float32(0.5), np.float32(-0.5)))


def _spill(excess: np.ndarray) -> float:
    """Share of an edge's step that blur still carries into the band where surroundings are read, on average.

    The edge is taken for a Gaussian one; its width follows from the slope where it passes half level.
    """
    slope = np.hypot(cv2.Sobel(excess, cv2.CV_32F, 1, 0), cv2.Sobel(excess, cv2.CV_32F, 0, 1)) / 8
    steep = slope[np.abs(excess) < _AT_EDGE]
    if steep.size == 0:
        return 0.0
    sigma = 1.0 / (math.sqrt(2 * math.pi) * max(float(np.median(steep)), 0.05))
    tail = [0.5 * math.erfc(d / (sigma * math.sqrt(2))) for d in np.linspace(*_BAND_PX, 17)]
    return min(float(np.mean(tail)), _MOST_SPILL)


def _bodies(inside: np.ndarray, metal: np.ndarray) -> tuple[np.ndarray, list[str]]:
    """Number what the medium encloses; debris far from any section is dropped, islands go to the nearest."""
    count, parts, stats, _ = cv2.connectedComponentsWithStats(inside.astype(np.uint8), connectivity=8)
    held = np.bincount(parts[metal], minlength=count).astype(float)
    held[0] = 0
    if count < 2 or held.max() == 0:
        return np.zeros(inside.shape, np.int32), []
    main = np.flatnonzero(held >= _SMALLEST_PART * held.max())
    number = np.zeros(count, np.int32)
    number[_reading_order(stats, main)] = np.arange(1, len(main) + 1)
    dropped = 0
    for piece in np.flatnonzero((held > 0) & (number == 0)).tolist():
        owner = _owner(piece, parts, number, stats)
        if owner:
            number[piece] = owner
        else:
            dropped += 1
    warnings = []
    if dropped:
        warnings.append(
            f"{dropped} small piece{'s' * (dropped > 1)} as light as metal lie apart from any section and "
            "are left out as debris."
        )
    return number[parts], warnings


def _reading_order(stats: np.ndarray, which: np.ndarray) -> np.ndarray:
    """Components `which` line by line from the top, each line from the left.

    A line holds those whose middle lies less than half a usual height below the middle of its first.
    """
    middle = stats[which, cv2.CC_STAT_TOP] + 0.5 * stats[which, cv2.CC_STAT_HEIGHT]
    reach = 0.5 * float(np.median(stats[which, cv2.CC_STAT_HEIGHT]))
    order = np.argsort(middle, kind="stable")
    line = np.zeros(len(which), int)
    first = middle[order[0]]
    for before, k in pairwise(order.tolist()):
        line[k] = line[before]
        if middle[k] >= first + reach:
            line[k] += 1
            first = middle[k]
    return np.asarray(which[np.lexsort((stats[which, cv2.CC_STAT_LEFT], line))])


def _owner(k: int, parts: np.ndarray, number: np.ndarray, stats: np.ndarray) -> int:
    """Number of the section that piece `k` is an island of, 0 where none is near."""
    area = {
        int(n): float(stats[np.flatnonzero(number == n), cv2.CC_STAT_AREA].sum()) for n in set(number) - {0}
    }
    reach = int(np.ceil(_ISLAND_REACH * np.sqrt(max(area.values()))))
    x, y, w, h = (int(v) for v in stats[k, :4])
    window = (slice(max(y - reach, 0), y + h + reach), slice(max(x - reach, 0), x + w + reach))
    near = number[parts[window]]
    if not near.any():
        return 0
    away = cv2.distanceTransform((parts[window] != k).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5)
    away = np.where(near > 0, away, np.inf)
    place = np.unravel_index(int(np.argmin(away)), away.shape)
    owner = int(near[place])
    return owner if away[place] <= _ISLAND_REACH * np.sqrt(area[owner]) else 0


def _void(smooth: np.ndarray, named: dict[str, np.ndarray], levels: SectionLevels) -> np.ndarray:
    """Cracks and pores inside a section: darker than half-way from the product to the darkest there is.

    Where the medium is darker than the product, whatever looks like medium is a void, for it fills them.
    """
    product = levels.levels.get("product", ())
    darkest_medium = min(levels.levels["medium"])
    if not product:
        return np.asarray(smooth < 0.5 * (darkest_medium + min(levels.levels["metal"])))
    floor = min(product)
    bound = 0.5 * (floor + darkest_medium) if darkest_medium < floor else _VOID_SHARE * floor
    return np.asarray(smooth < bound)

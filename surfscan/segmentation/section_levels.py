"""Grey levels of a polished cross-section: metal, product and mounting medium, under uneven light."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from surfscan.segmentation.classes import level_points
from surfscan.segmentation.features import blurred, reduced
from surfscan.segmentation.grouped import distance_inside
from surfscan.segmentation.masks import disc
from surfscan.segmentation.mixture import Mixture, fit_mixture, histogram_of, thinned, two_level_split

LEVEL_SIDE = 700
"""Class levels are found on a picture reduced to at most this many pixels a side."""

_ORDER = 2  # of the light's surface
_ROUNDS = 3
_APART = 2.5  # Ashman's D between neighbouring classes, at least
_STEP = 0.12  # step between neighbouring classes, at least this share of the whole range
_SMALLEST = 0.002  # share of the picture that a class takes up, at least
_ALONG_SIDE = 0.3  # a class along this share of a side lies there; on 3 or 4 sides it is medium
_SLENDER = 0.2  # "metal" nowhere thicker than this share of the whole section ...
_PIECES = 10  # ... and in so many pieces is a phase of the metal
_BORDER_PX = 4
_TWO = ("metal_medium", "medium_metal")
_REACH_PX = 20  # a thin layer of product lies so near the metal
_FINE_BLUR = 0.8
_FURTHER_PX = (1.5, 2.5, 3.5)
_DIP = 0.85
_CREST, _CREST_PX = 0.9, 3  # the level of a layer lighter or darker than both is read along its crest
_EVEN_STEP = 0.05  # and is not a mere edge: grey changes by less than this share of the step a pixel
_BEYOND = 0.12  # or it is lighter or darker than both, by this share of the step
_BETWEEN = 0.12
_THIN_PX = 60
_THIN_RADIUS_PX, _THIN_SHARE = 4, 0.1
_AT_RIM = 0.7  # share of the layer that lies near the medium as well; a phase inside the metal does not

NAMES = ("metal", "product", "medium")


@dataclass(frozen=True)
class SectionLevels:
    """Levels of the classes and the light they are seen under.

    Attributes
    ----------
    levels : dict of str to tuple of float
        Grey over light of "metal", "medium" and, where there is one, "product". More than one level where a
        class has several shades (phases of an alloy, an uneven mount).
    separation : float
        Smallest Ashman's D between two neighbouring levels.
    light : ndarray of shape (M, N), float32
        Light, mean about 1.
    order : str
        Classes from light to dark, joined by "_".
    warnings : tuple of str
    thin_layer : bool
        Whether the product is a layer too thin to show as a class: what is read across it is not its level.
    """

    levels: dict[str, tuple[float, ...]]
    separation: float
    light: np.ndarray
    order: str
    warnings: tuple[str, ...] = ()
    thin_layer: bool = False


def find_levels(grey: np.ndarray, valid: np.ndarray, order: str = "auto") -> SectionLevels | None:
    """Levels of metal, product and medium, and which is which.

    Two or three normal classes are fitted to the grey off edges; three are taken where each stands clear of
    the next by Ashman's D and by a share of the whole range. Light is a surface of second order, fitted to
    all classes together. By itself ("auto") the medium is the class that runs along most of the frame, and
    the metal the class that lies deeper, seen from the medium; where two lie equally deep, the lighter.

    Parameters
    ----------
    grey : ndarray of shape (M, N), float32
    valid : ndarray of shape (M, N), bool
        Pixels to use.
    order : str
        "auto", or classes from light to dark: "metal_product_medium" and its permutations, "metal_medium" or
        "medium_metal" where everything but the medium is metal.

    Returns
    -------
    SectionLevels or None
        None where the picture is one class.
    """
    small, good = reduced(grey, valid, LEVEL_SIDE)
    if good.sum() < 100 or np.ptp(small[good]) == 0:
        return None
    smooth = blurred(small, good, 1.0)
    light, mixture = np.ones(small.shape, np.float32), None
    coefficients = np.zeros(0)
    for _ in range(_ROUNDS):
        mixture = _mixture(smooth / light, good, allow_three=order not in _TWO)
        if mixture is None:
            return None
        coefficients = _fit_light(smooth, light, good, mixture)
        light = _surface(coefficients, small.shape)
    mixture = _mixture(smooth / light, good, allow_three=order not in _TWO)
    if mixture is None:
        return None
    means = mixture.means
    map_ = np.digitize(smooth / light, 0.5 * (means[1:] + means[:-1])).astype(np.int8)
    map_[~good] = -1
    names, warnings = _named(map_, len(means), order)
    levels = {n: tuple(float(m) for m, k in zip(means, names, strict=True) if k == n) for n in NAMES}
    levels = {n: v for n, v in levels.items() if v}
    if "metal" not in levels or "medium" not in levels:
        return None
    lit = _surface(coefficients, grey.shape)
    thin = None
    if len(means) == 2 and order not in _TWO:
        thin = _thin_layer(grey, valid, lit, levels["metal"][0], levels["medium"][0], order)
        if thin is not None:
            levels["product"] = (thin,)
            warnings = []
    elif "product" in levels and _is_thin(map_, names.index("product"), map_.shape[0] / grey.shape[0]):
        spoken = "_".join(names[::-1])
        thin = _thin_layer(grey, valid, lit, levels["metal"][0], levels["medium"][0], spoken)
        if thin is not None:
            levels["product"] = (thin,)
    if thin is not None:
        warnings.append(
            "The product is a layer of few pixels, whose grey the picture does not show fully: the metal's "
            "edge is less sure, and its interval wider. Take the section at a higher magnification."
        )
    shades = sorted(((m, n) for n, v in levels.items() for m in v), reverse=True)
    spoken = "_".join(dict.fromkeys(n for _, n in shades))
    apart = min(mixture.separation(k, k + 1) for k in range(len(means) - 1))
    return SectionLevels(levels, apart, lit, spoken, tuple(warnings), thin is not None)


def _mixture(ratio: np.ndarray, good: np.ndarray, *, allow_three: bool) -> Mixture | None:
    """Two or three classes that stand apart, or None."""
    level = level_points(ratio, good)
    points = thinned(ratio[level])
    low, high = (float(v) for v in np.percentile(points, [0.5, 99.5]))
    span = high - low
    if span <= 0:
        return None
    histogram = histogram_of(points)
    least = 0.015 * span
    if allow_three:
        cut = two_level_split(points)
        below, above = points[points < cut], points[points >= cut]
        starts = [(low, low + f * span, high) for f in (0.2, 0.35, 0.5, 0.65, 0.8)]
        for part, other in ((below, above), (above, below)):
            inner = two_level_split(part) if part.size > 20 else cut
            pieces = [p for p in (part[part < inner], part[part >= inner], other) if p.size]
            if len(pieces) == 3:
                starts.append(tuple(sorted(float(np.median(p)) for p in pieces)))  # type: ignore[arg-type]
        three = _best_three(histogram, starts, least, span)
        if three is not None:
            return three
    mean = float(points.mean())
    two = fit_mixture(histogram, np.array([(low, high), (low, mean), (mean, high)]), least_spread=least)
    if two.separation() < _APART or two.shares.min() < _SMALLEST:
        return None
    return two


def _best_three(histogram: object, starts: list, least: float, span: float) -> Mixture | None:
    """The likeliest fit of three classes among those that stand apart."""
    best = None
    for start in starts:
        fit = fit_mixture(histogram, np.array([start]), least_spread=least)  # type: ignore[arg-type]
        steps = np.diff(fit.means)
        apart = min(fit.separation(0, 1), fit.separation(1, 2))
        if apart < _APART or steps.min() < _STEP * span or fit.shares.min() < _SMALLEST:
            continue
        if best is None or fit.log_likelihood > best.log_likelihood:
            best = fit
    return best


def _terms(shape: tuple[int, int]) -> tuple[np.ndarray, np.ndarray]:
    y = (np.arange(shape[0]) + 0.5) / shape[0] * 2 - 1
    x = (np.arange(shape[1]) + 0.5) / shape[1] * 2 - 1
    return y, x


def _surface(coefficients: np.ndarray, shape: tuple[int, int]) -> np.ndarray:
    """Light over a picture of `shape`, float32, at least 0.2."""
    y, x = _terms(shape)
    out = np.zeros(shape, np.float32)
    for (i, j), c in zip(_powers(), coefficients, strict=True):
        out += np.float32(c) * (y**i)[:, None].astype(np.float32) * (x**j)[None, :].astype(np.float32)
    return np.maximum(out, np.float32(0.2))


def _powers() -> list[tuple[int, int]]:
    return [(i, j) for i in range(_ORDER + 1) for j in range(_ORDER + 1 - i)]


def _fit_light(smooth: np.ndarray, light: np.ndarray, good: np.ndarray, mixture: Mixture) -> np.ndarray:
    """Coefficients of the light that best carries every class at its own level, over pixels off edges."""
    ratio = smooth / light
    used = good & level_points(ratio, good)
    rows, cols = (thinned(v) for v in np.nonzero(used))
    y, x = _terms(smooth.shape)
    values, part = smooth[rows, cols].astype(float), ratio[rows, cols]
    means = mixture.means
    which = np.digitize(part, 0.5 * (means[1:] + means[:-1]))
    near = np.abs(part - means[which]) < 3 * mixture.spreads[which]
    rows, cols, values, which = rows[near], cols[near], values[near], which[near]
    terms = np.stack([y[rows] ** i * x[cols] ** j for i, j in _powers()], axis=1)
    weight = 1.0 / mixture.spreads[which]
    design = terms * (means[which] * weight)[:, None]
    normal = design.T @ design
    damping = np.diag(np.full(len(normal), 1e-4 * np.trace(normal) / len(normal)))
    start = np.zeros(len(normal))
    start[0] = 1.0
    solved = start + np.linalg.solve(normal + damping, design.T @ (values * weight - design @ start))
    return np.asarray(solved)


def _thin_layer(
    grey: np.ndarray, valid: np.ndarray, light: np.ndarray, metal: float, medium: float, order: str
) -> float | None:
    """Level of a layer on the metal too thin to show as a class of the whole picture, or None.

    Pixels near the metal that are like neither metal nor medium: lighter or darker than both, or between them
    where the grey changes less than on either side. On a bare edge, however blurred, it changes most there.
    """
    smooth = blurred(grey, None if valid.all() else valid, 1.2) / light
    step = metal - medium
    share = (smooth - medium) / step
    near = cv2.dilate((share > 0.9).astype(np.uint8), disc(_REACH_PX)).view(bool) & valid
    rim = cv2.dilate((share < 0.1).astype(np.uint8), disc(_REACH_PX)).view(bool)
    found: list[tuple[int, float, str]] = []
    between = _plateau(grey, valid, light, metal, medium, near)
    middle = ("metal_product_medium", "medium_product_metal")
    above, below = near & (share > 1 + _BEYOND), near & (share < -_BEYOND)
    outer = {
        "above": ("product_metal_medium", "medium_metal_product"),
        "below": ("metal_medium_product", "product_medium_metal"),
    }
    fine = blurred(grey, None if valid.all() else valid, _FINE_BLUR) / light
    high = (fine - medium) / step
    crest = high - 1 >= _CREST * (cv2.dilate(high, disc(_CREST_PX)) - 1)
    trough = high <= _CREST * cv2.erode(high, disc(_CREST_PX))
    everywhere = np.ones(grey.shape, bool)
    for mask, orders, deepest in (
        (between, middle, everywhere), (above, outer["above"], crest), (below, outer["below"], trough),
    ):  # fmt: skip
        if order != "auto" and order not in orders:
            continue
        body = cv2.morphologyEx(mask.astype(np.uint8), cv2.MORPH_OPEN, np.ones((2, 2), np.uint8)).view(bool)
        count = int(np.count_nonzero(body))
        if count >= _THIN_PX and np.mean(rim[body]) > _AT_RIM:
            found.append((count, float(np.median(fine[body & deepest])), orders[0]))
    return max(found)[1] if found else None


def _is_thin(map_: np.ndarray, product: int, reduced_by: float) -> bool:
    """Whether the class `product` is next to nowhere thicker than a few pixels of the picture."""
    mask = (map_ == product).astype(np.uint8)
    wide = cv2.morphologyEx(mask, cv2.MORPH_OPEN, disc(max(1, round(_THIN_RADIUS_PX * reduced_by))))
    return bool(np.count_nonzero(wide) < _THIN_SHARE * np.count_nonzero(mask))


def _plateau(
    grey: np.ndarray, valid: np.ndarray, light: np.ndarray, metal: float, medium: float, near: np.ndarray
) -> np.ndarray:
    """Where, between metal and medium, the grey changes less than a little further on either side."""
    share = (blurred(grey, None if valid.all() else valid, _FINE_BLUR) / light - medium) / (metal - medium)
    slope_x = cv2.Sobel(share, cv2.CV_32F, 1, 0, scale=0.125)
    slope_y = cv2.Sobel(share, cv2.CV_32F, 0, 1, scale=0.125)
    slope = np.hypot(slope_x, slope_y)
    out = np.zeros(share.shape, bool)
    rows, cols = np.nonzero(near & (share > _BETWEEN) & (share < 1 - _BETWEEN))
    if rows.size == 0:
        return out
    here = slope[rows, cols]
    way = np.stack([slope_x[rows, cols], slope_y[rows, cols]]) / np.maximum(here, 1e-6)
    steepest = []
    for sign in (-1, 1):
        at = [
            cv2.remap(
                slope,
                (cols + sign * d * way[0]).astype(np.float32)[:, None],
                (rows + sign * d * way[1]).astype(np.float32)[:, None],
                cv2.INTER_LINEAR,
                borderMode=cv2.BORDER_REPLICATE,
            )[:, 0]
            for d in _FURTHER_PX
        ]
        steepest.append(np.max(at, axis=0))
    out[rows, cols] = (here < _EVEN_STEP) | (here < _DIP * np.minimum(*steepest))
    return out


def _named(map_: np.ndarray, count: int, order: str) -> tuple[list[str], list[str]]:
    """Name of each class from dark to light, and warnings."""
    if order != "auto":
        wanted = order.split("_")[::-1]
        if len(wanted) == count:
            return wanted, []
        if count == 2:
            medium = _medium(map_, count)
            note = ["Only two grey levels stand apart: no product was found, all but the medium is metal."]
            return [("medium" if k in medium else "metal") for k in range(count)], note
    medium = _medium(map_, count)
    inner = [k for k in range(count) if k not in medium]
    if len(inner) < 2:
        return [("medium" if k in medium else "metal") for k in range(count)], []
    depth: dict[int, float] = {}
    slender: dict[int, bool] = {}
    outside = np.isin(map_, [*medium, -1]).astype(np.uint8)
    outside = cv2.morphologyEx(outside, cv2.MORPH_OPEN, disc(2), borderType=cv2.BORDER_REPLICATE)
    away = distance_inside(outside == 0)
    for k in inner:
        body = cv2.morphologyEx((map_ == k).astype(np.uint8), cv2.MORPH_OPEN, disc(2))
        n, _ = cv2.connectedComponents(body, connectivity=8)
        depth[k] = float(away[body > 0].mean()) if body.any() else 0.0
        thick = cv2.distanceTransform(body, cv2.DIST_L2, cv2.DIST_MASK_5)
        slender[k] = n - 1 >= _PIECES and float(thick.max()) < _SLENDER * float(away.max())
    darker, lighter = inner
    metal = darker if depth[darker] > 1.15 * depth[lighter] else lighter
    if slender[metal]:
        names = ["medium" if k in medium else "metal" for k in range(count)]
        return names, [
            "Two phases lie scattered through each other inside the section; both count as metal. If one is "
            "product, say so with the setting grey_order."
        ]
    return ["medium" if k in medium else "metal" if k == metal else "product" for k in range(count)], []


def _medium(map_: np.ndarray, count: int) -> list[int]:
    """Classes that run along the frame: the commonest there, and others that lie along three sides of it."""
    b = min(_BORDER_PX, *map_.shape)
    sides = [map_[:b].ravel(), map_[-b:].ravel(), map_[:, :b].ravel(), map_[:, -b:].ravel()]
    border = np.concatenate(sides)
    share = [float(np.mean(border == k)) for k in range(count)]
    first = int(np.argmax(share))
    medium = [first]
    for k in range(count):
        along = sum(float(np.mean(side == k)) >= _ALONG_SIDE for side in sides)
        if k != first and along >= 3 and len(medium) < count - 1:
            medium.append(k)
    return medium

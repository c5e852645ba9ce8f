"""Degraded area: metal, tarnished and degraded surface told apart in a grey or colour micrograph.

Steps: light and classes are fitted together on a reduced grid (`illumination`); class levels are read where
the picture is level, away from edges; every pixel gets a score, 0 at the metal's level and 1 at the degraded
level; a class boundary on that score gives the map. Nothing is split unless two classes stand apart.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any, Literal

import cv2
import numpy as np

from surfscan.segmentation.classes import EVENEST, Side, find_sides, level_points, score_of
from surfscan.segmentation.features import (
    LEVEL_GRID,
    LIGHT_GRID,
    Picture,
    blurred,
    features_of,
    luminance,
    picture_on_grid,
    reduced,
    sample_windows,
    sampled,
)
from surfscan.segmentation.illumination import Illumination, fit_illumination, refit_on_metal
from surfscan.segmentation.mixture import fit_mixture, histogram_of

DegradedIs = Literal["darker", "lighter", "darker and lighter"]

_SMOOTHINGS = (0.7, 1.0, 1.5, 2.0, 3.0, 4.0)  # Gaussian sigma, px
_CLEAR = 5.0  # the step between classes is at least this many spreads of the metal, else more smoothing
_METAL_SCORE = 0.3  # points with a lower score are metal when the light is fitted again
_REFITS = 3
_ENOUGH_METAL = 0.2  # share of the points that must be metal for that
_SLAB, _SPECK_ROWS = 256, 1024  # rows worked on at once
_CODE_ZERO, _CODE_STEP = 60, 100  # score 0 and 1 are 60 and 160 in the 8-bit score map
_VALLEY = (0.4, 0.75)  # where the boundary is looked for, as a share of the step
_VALLEY_SIGMA = 0.1  # Gaussian that smooths the counts of scores for that
_HALF_WIDTH = 0.2  # half width of the boundary's plausible range, as a share of the step
_K_95 = 1.959964 / 3**0.5  # of half a rectangular range to half a 95 % interval
_STEP_SLOPE = 0.035  # score per grid point on the outline below which the outline is no step
_SIMILAR = 0.35  # above this fraction either class may be the metal
_POOR = 3.0  # a separation below this is reported
_FINE_SIGMA, _FINE_FACTOR = 1.5, 1.5  # for features too fine for the level grid


@dataclass(frozen=True)
class DegradedArea:
    """Class map and fractions of one field.

    Attributes
    ----------
    classes : ndarray of shape (M, N), uint8
        0 metal (and everything off the specimen), 1 tarnished, 2 degraded.
    fraction, fraction_low, fraction_high : float
        Degraded share of the specimen region and its 95 % interval from the class boundary alone.
    tarnished, tarnished_low, tarnished_high : float or None
        The same for the tarnished class; None for two classes.
    separation : float
        Least Ashman's D between metal and a degraded class; 0 where only one class was found.
    degraded_is : {"darker", "lighter", "darker and lighter"} or None
        Degraded grey against metal; None where only one class was found.
    colour_decides : bool
        Whether the classes differ more in colour than in grey.
    levels : tuple of float
        Grey of the metal (1) and of each class that differs from it, over that of the metal.
    boundaries : tuple of float
        Class boundaries as a share of the step from metal (0) to degraded (1).
    smoothing_px : float
        Sigma of the Gaussian applied before classing, px.
    warnings : tuple of str
    """

    classes: np.ndarray
    fraction: float
    fraction_low: float
    fraction_high: float
    tarnished: float | None
    tarnished_low: float | None
    tarnished_high: float | None
    separation: float
    degraded_is: DegradedIs | None
    colour_decides: bool
    levels: tuple[float, ...]
    boundaries: tuple[float, ...]
    smoothing_px: float
    warnings: tuple[str, ...] = ()


def degraded_area(
    pixels: np.ndarray,
    region: np.ndarray | None = None,
    *,
    classes: Literal[2, 3] = 2,
    degraded_is: Literal["auto", "darker", "lighter"] = "auto",
    boundary: float | None = None,
    min_contrast: float = 0.07,
    min_separation: float = 2.5,
    min_patch_px: int = 25,
) -> DegradedArea:
    """Class the surface and measure the degraded fraction.

    Parameters
    ----------
    pixels : ndarray of shape (M, N) or (M, N, 3)
        Grey or RGB, any real dtype; finite inside `region`.
    region : ndarray of shape (M, N), bool, optional
        Specimen region; None for the whole picture.
    classes : {2, 3}
        Metal and degraded, or metal, tarnished and degraded.
    degraded_is : {"auto", "darker", "lighter"}
        Degraded grey against metal. "auto": darker (in colour: the more coloured class, where colour tells
        more than grey), unless that class covers more than about 63 % (by colour 85 %) of the
        region.
    boundary : float, optional
        Where the class boundary lies on the step from the level of one class to that of the next, 0 to 1.
        None: where the fraction depends least on it, that is where fewest pixels lie, from 0.4 to 0.75. With
        clean edges that is near half contrast; with a faint halo round the patches it leaves the halo out.
    min_contrast : float
        Smallest step between metal and degraded, as a share of the metal's grey (in colour also of the
        ratio of red or blue to grey); a smaller one is not a class of its own.
    min_separation : float
        Smallest Ashman's D between two classes; below it only one class is reported.
    min_patch_px : int
        Patches, and holes in patches, of fewer pixels are dropped.

    Returns
    -------
    DegradedArea
        The interval comes from the class boundary: each end is 1.96 / sqrt(3) times as far from the fraction
        as the fraction with the boundary moved by 0.2 of the step (JCGM 100:2008, rectangular distribution;
        the range itself is common practice, no source). The smallest patch kept is added to it: one that
        small may have been overlooked. Where the boundary is gradual along a quarter of its length or more
        the interval begins at 0, for what lies within may be light.
    """
    shape = (int(pixels.shape[0]), int(pixels.shape[1]))
    valid = np.ones(shape, bool) if region is None else region
    windows = sample_windows(valid)
    limits: dict[str, Any] = {
        "degraded_is": degraded_is,
        "min_contrast": min_contrast,
        "min_separation": min_separation,
    }
    illumination, grid, sides = _classed(pixels, valid, limits)
    if not sides:  # features too fine for the grid, such as attacked grain boundaries
        fine = sampled(pixels, valid, windows, illumination, _FINE_SIGMA)
        limits["min_separation"] = _FINE_FACTOR * min_separation
        sides = find_sides(fine, **limits, by_metal=True)
    if not sides:
        return _one_class(
            pixels, valid, illumination, windows, classes, degraded_is, min_contrast, min_patch_px
        )
    warnings: list[str] = []
    levels = [0.0, 1.0]
    if classes == 3:
        three = _three_classes(sides, grid, min_separation)
        if three is None:
            warnings.append(
                "No third class stands apart: metal and degraded surface only; tarnished area is not given."
            )
        else:
            sides, levels = three
    sigma = _smoothing(pixels, valid, windows, illumination, sides)
    code = _score_map(pixels, region, illumination, sides, sigma)
    counts = _counts(code, region)
    steps = list(pairwise(levels))
    boundaries = [
        _least_dense(counts, low, high) if boundary is None else low + boundary * (high - low)
        for low, high in steps
    ]
    masks = [_without_specks(code >= _code(cut), min_patch_px) & valid for cut in boundaries]
    if len(masks) == 2:
        half_way = 0.5 * (levels[0] + levels[2])
        masks = _without_rims(masks, code >= _code(half_way), sigma)
    total = int(np.count_nonzero(valid))
    shares = [int(np.count_nonzero(mask)) / total for mask in masks]
    less, more = [], []
    for cut, (low, high) in zip(boundaries, steps, strict=True):
        reach = _HALF_WIDTH * (high - low)
        at_cut, overlooked = _share_at_least(counts, cut), min_patch_px / total
        less.append(_K_95 * (at_cut - _share_at_least(counts, cut + reach)) + overlooked)
        more.append(_K_95 * (_share_at_least(counts, cut - reach) - at_cut) + overlooked)
    class_map = np.zeros(shape, np.uint8)
    tarnished = tarnished_low = tarnished_high = None
    if len(masks) == 2:
        class_map[masks[0]] = 1
        tarnished = shares[0] - shares[1]
        tarnished_low = max(0.0, tarnished - float(np.hypot(less[0], more[1])))
        tarnished_high = min(1.0, tarnished + float(np.hypot(more[0], less[1])))
    class_map[masks[-1]] = 2
    fraction = shares[-1]
    warnings += _doubts(fraction, sides, degraded_is)
    gradual = _gradual(sides, grid)
    if gradual:
        warnings.append(
            "The boundary of the degraded surface is gradual along a quarter of its length or more: part of "
            "it may be light or glare on metal, so the interval begins at 0; mask the glare, or take the "
            "image under even light."
        )
    return DegradedArea(
        classes=class_map,
        fraction=fraction,
        fraction_low=0.0 if gradual else max(0.0, fraction - less[-1]),
        fraction_high=min(1.0, fraction + more[-1]),
        tarnished=tarnished,
        tarnished_low=tarnished_low,
        tarnished_high=tarnished_high,
        separation=min(side.separation for side in sides),
        degraded_is=_direction(sides),
        colour_decides=any(side.tint_shift > abs(side.grey - 1.0) for side in sides),
        levels=_grey_levels(sides, levels),
        boundaries=tuple(boundaries),
        smoothing_px=sigma,
        warnings=tuple(warnings),
    )


def _direction(sides: tuple[Side, ...]) -> DegradedIs:
    darker = [side.grey < 1 for side in sides]
    return "darker" if all(darker) else "darker and lighter" if any(darker) else "lighter"


def _grey_levels(sides: tuple[Side, ...], levels: list[float]) -> tuple[float, ...]:
    """Grey of metal and classes over that of the metal; of three classes in that order."""
    if len(levels) == 3 and len(sides) == 1:
        return tuple(1.0 + level * (sides[0].grey - 1.0) for level in levels)
    if len(levels) == 3:
        return (1.0, sides[1].grey, sides[0].grey)
    return (1.0, *(side.grey for side in sides))


def _doubts(fraction: float, sides: tuple[Side, ...], degraded_is: str) -> list[str]:
    """Warnings about a map with two or more classes."""
    out = []
    if fraction > 0.9:
        out.append(
            f"{100 * fraction:.0f} % of the region is classed as degraded: check which class is the metal."
        )
    elif degraded_is == "auto" and fraction > _SIMILAR:
        out.append(
            f"Two classes of similar area ({100 * fraction:.0f} % degraded): which one is the metal was "
            "decided by grey or colour alone; state degraded_is if it is the other way round."
        )
    separation = min(side.separation for side in sides)
    if separation < _POOR:
        out.append(
            f"Metal and degraded surface overlap (separation {separation:.1f}): "
            "the boundary between them is uncertain."
        )
    return out


def _gradual(sides: tuple[Side, ...], grid: Picture) -> bool:
    """Whether a quarter of the outline at half the step is no step but a slope, as of light on metal."""
    score = blurred(score_of(sides, grid.features), grid.valid, 2.0)
    inside = (score >= 0.5).astype(np.uint8)
    square = np.ones((3, 3), np.uint8)
    outline = (cv2.morphologyEx(inside, cv2.MORPH_GRADIENT, square) > 0) & grid.valid
    slope = np.hypot(cv2.Sobel(score, cv2.CV_32F, 1, 0), cv2.Sobel(score, cv2.CV_32F, 0, 1)) / 8
    return bool(outline.any() and np.percentile(slope[outline], 25) < _STEP_SLOPE)


def _classed(
    pixels: np.ndarray, valid: np.ndarray, limits: dict[str, Any]
) -> tuple[Illumination, Picture, tuple[Side, ...]]:
    """Light, features on the level grid and the classes found there.

    Light and classes are first fitted together; once the metal is known the light is fitted on it alone, and
    that is kept unless a class is lost by it.
    """
    small, good = reduced(pixels, valid, LEVEL_GRID)
    coarse, coarse_good = reduced(luminance(small), good, LIGHT_GRID)
    coarse = blurred(coarse, coarse_good, 1.0)
    illumination = fit_illumination(coarse, coarse_good)
    grid = picture_on_grid(small, good, illumination)
    sides = find_sides(grid, **limits)
    if not sides:  # light of higher order may hide faint classes
        illumination = refit_on_metal(luminance(small), good)
        grid = picture_on_grid(small, good, illumination)
        sides = find_sides(grid, **limits)
    for _ in range(_REFITS):
        if not sides:
            break
        metal = good & (score_of(sides, grid.features) < _METAL_SCORE)
        if np.count_nonzero(metal) < _ENOUGH_METAL * np.count_nonzero(good):
            break
        light = refit_on_metal(luminance(small), metal)
        picture = picture_on_grid(small, good, light)
        again = find_sides(picture, **limits)
        if len(again) < len(sides):
            break
        illumination, grid, sides = light, picture, again
    return illumination, grid, sides


def _three_classes(
    sides: tuple[Side, ...], grid: Picture, min_separation: float
) -> tuple[tuple[Side, ...], list[float]] | None:
    """The way from metal over tarnished to degraded surface and the three levels on it, the last at 1.

    None where three do not stand apart, or where classes lie both above and below the metal's grey.
    """
    if len({side.grey < 1.0 for side in sides}) > 1:
        return None
    side, *others = sorted(sides, key=lambda side: -side.step)
    if others:  # told apart along directions of their own: tarnished surface half-way by convention
        tarnished = replace(others[0].moved_to(2.0), ceiling=0.5, grey=others[0].grey)
        return (side, tarnished), [0.0, 0.5, 1.0]
    score = side.score(grid.features)
    points = score[level_points(score, grid.valid)]
    furthest = max(1.2, float(np.percentile(points, 99.5)))
    starts = [(0.0, middle, 1.0) for middle in (0.3, 0.5, 0.7)] + [(0.0, 1.0, furthest)]
    best = fit_mixture(histogram_of(points), np.array(starts), least_spread=EVENEST / side.step)
    apart = min(best.separation(0, 1), best.separation(1, 2)) >= min_separation
    if not apart or best.shares.min() < 1e-3 or best.means[2] < 0.5:
        return None
    top = float(best.means[2])
    return (side.moved_to(top),), [0.0, *(float(m) / top for m in best.means[1:])]


def _smoothing(
    pixels: np.ndarray,
    valid: np.ndarray,
    windows: list[tuple[slice, slice]],
    illumination: Illumination,
    sides: tuple[Side, ...],
) -> float:
    """Least sigma at which the step between the classes is clear of the metal's spread."""
    for sigma in _SMOOTHINGS:
        picture = sampled(pixels, valid, windows, illumination, sigma)
        value = score_of(sides, picture.features)[picture.valid]
        metal = value[value < 0.5]
        if not metal.size or 1.4826 * float(np.median(np.abs(metal))) <= 1.0 / _CLEAR:
            break
    return sigma


def _score_map(
    pixels: np.ndarray,
    region: np.ndarray | None,
    illumination: Illumination,
    sides: tuple[Side, ...],
    sigma: float,
) -> np.ndarray:
    """Score of every pixel as uint8: `_code` of the score, 0 and 255 where beyond."""
    shape = (int(pixels.shape[0]), int(pixels.shape[1]))
    code = np.zeros(shape, np.uint8)
    halo = int(np.ceil(4 * sigma))
    for start in range(0, shape[0], _SLAB):
        stop = min(shape[0], start + _SLAB)
        outer = slice(max(0, start - halo), min(shape[0], stop + halo))
        inner = slice(start - outer.start, stop - outer.start)
        smooth = blurred(pixels[outer], None if region is None else region[outer], sigma)[inner]
        value = score_of(sides, features_of(smooth, illumination.at(shape, slice(start, stop))))
        code[start:stop] = np.clip(np.rint(_CODE_ZERO + _CODE_STEP * value), 0, 255).astype(np.uint8)
    return code


def _code(score: float) -> int:
    """8-bit code of a score."""
    return round(float(np.clip(_CODE_ZERO + _CODE_STEP * score, 0, 255)))


def _counts(code: np.ndarray, region: np.ndarray | None) -> np.ndarray:
    """Share of the region at each code of the score map, shape (256,)."""
    mask = None if region is None else region.view(np.uint8)
    counts = cv2.calcHist([code], [0], mask, [256], [0, 256]).ravel().astype(float)
    return np.asarray(counts / max(1.0, counts.sum()))


def _share_at_least(counts: np.ndarray, score: float) -> float:
    """Share of the region at or above a score."""
    above = np.concatenate([np.cumsum(counts[::-1])[::-1], [0.0]])
    return float(np.interp(_CODE_ZERO + _CODE_STEP * score, np.arange(257), above))


def _least_dense(counts: np.ndarray, low: float, high: float) -> float:
    """Score between two class levels where fewest pixels lie."""
    sigma = _VALLEY_SIGMA * _CODE_STEP * (high - low)
    density = cv2.GaussianBlur(counts[None], (0, 0), sigma, borderType=cv2.BORDER_REPLICATE)[0]
    between = low + (high - low) * np.linspace(*_VALLEY, 71)
    density = np.interp(_CODE_ZERO + _CODE_STEP * between, np.arange(256), density)
    return float(between[np.argmin(density)])


def _without_specks(mask: np.ndarray, least: int) -> np.ndarray:
    """`mask` without patches of fewer than `least` pixels and with holes below that size filled.

    A slab of rows with a margin of `least` rows is labelled at a time: what leaves the margin is not small.
    """
    out = mask.astype(np.uint8)
    for value, connectivity in ((1, 8), (0, 4)):
        source = out if value else 1 - out
        for start in range(0, len(out), _SPECK_ROWS):
            stop = min(len(out), start + _SPECK_ROWS)
            first = max(0, start - least)
            _, labels, stats, _ = cv2.connectedComponentsWithStats(
                source[first : stop + least], connectivity=connectivity, ltype=cv2.CV_32S
            )
            small = stats[:, cv2.CC_STAT_AREA] < least
            small[0] = False
            if small.any():
                out[start:stop][small[labels[start - first : stop - first]]] = 1 - value
    return out.view(bool)


def _without_rims(masks: list[np.ndarray], nearer: np.ndarray, sigma: float) -> list[np.ndarray]:
    """Masks of tarnished-or-worse and of degraded surface without the rim where one blurs into the metal.

    Across the edge of a degraded patch every grey between the two occurs. Tarnished surface that an opening
    does not leave is such a rim; it goes to the side it is `nearer` to (True: degraded).
    """
    worse, degraded = masks
    tarnished = (worse & ~degraded).astype(np.uint8)
    radius = max(2, int(np.ceil(2 * sigma)))
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * radius + 1, 2 * radius + 1))
    rim = (tarnished > 0) & (cv2.morphologyEx(tarnished, cv2.MORPH_OPEN, disc) == 0)
    beside = cv2.dilate(degraded.astype(np.uint8), disc) > 0
    rim &= beside
    degraded = degraded | (rim & nearer)
    return [(worse & ~rim) | degraded, degraded]


def _one_class(
    pixels: np.ndarray,
    valid: np.ndarray,
    illumination: Illumination,
    windows: list[tuple[slice, slice]],
    classes: int,
    degraded_is: str,
    min_contrast: float,
    min_patch_px: int,
) -> DegradedArea:
    """Nothing stands apart: fraction 0, with the share beyond the metal's own spread as upper limit.

    The smallest patch kept is added to it, for one that small may have been overlooked.
    """
    sigma = 1.5
    picture = sampled(pixels, valid, windows, illumination, sigma)
    grey = picture.features[picture.valid][:, 0]
    metal = float(np.median(grey))
    limit = max(min_contrast * metal, 3 * 1.4826 * float(np.median(np.abs(grey - metal))))
    weights = np.zeros(picture.features.shape[-1])
    weights[0] = -0.5 / limit
    darker = Side(weights, 0.5 * metal / limit, 0.0, 0.0, 0.0, 0.0, np.zeros_like(weights))
    counts = _counts(_score_map(pixels, valid, illumination, (darker,), sigma), valid)
    beyond = {"darker": _share_at_least(counts, 0.5), "lighter": 1.0 - _share_at_least(counts, -0.5)}
    upper = sum(beyond.values()) if degraded_is == "auto" else beyond[degraded_is]
    upper = min(1.0, upper + min_patch_px / int(np.count_nonzero(valid)))
    nothing = 0.0 if classes == 3 else None
    return DegradedArea(
        classes=np.zeros(valid.shape, np.uint8),
        fraction=0.0,
        fraction_low=0.0,
        fraction_high=upper,
        tarnished=nothing,
        tarnished_low=nothing,
        tarnished_high=None if nothing is None else upper,
        separation=0.0,
        degraded_is=None,
        colour_decides=False,
        levels=(1.0,),
        boundaries=(),
        smoothing_px=sigma,
        warnings=(
            "Only one class of surface stands out and it is taken for metal; a field degraded all over would "
            "look the same.",
        ),
    )

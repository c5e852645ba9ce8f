"""Degraded area: metal, tarnished and degraded surface told apart in a grey or colour micrograph.

Steps: light and classes are fitted together on a reduced grid (`illumination`); class levels are read where
the picture is level, away from edges; every pixel gets a score, 0 at the metal's level and 1 at the degraded
level; a class boundary on that score gives the map. Nothing is split unless two classes stand apart.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
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
from surfscan.segmentation.mixture import Mixture, fit_mixture, histogram_of

DegradedIs = Literal["darker", "lighter", "darker and lighter"]

_SMOOTHINGS = (0.7, 1.0, 1.5, 2.0, 3.0, 4.0)  # Gaussian sigma, px
_CLEAR = 5.0  # the step between classes is at least this many spreads of the metal, else more smoothing
_METAL_SCORE = 0.3  # points with a lower score are metal when the light is fitted again
_ENOUGH_METAL = 0.2  # share of the points that must be metal for that
_SLAB = 256  # rows worked on at once
_CODE_ZERO, _CODE_STEP = 60, 100  # score 0 and 1 are 60 and 160 in the 8-bit score map
_HALF_WIDTH = 0.1  # least half width of the boundary's plausible range, as a share of the step
_K_95 = 1.959964 / 3**0.5  # of half a rectangular range to half a 95 % interval
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
    boundary: float = 0.6,
    min_contrast: float = 0.1,
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
        more than grey), unless that class covers more than 60 % of the region.
    boundary : float
        Where the class boundary lies on the step from the level of one class to that of the next, 0 to 1.
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
        as the fraction at that end of the boundary's plausible range (JCGM 100:2008, rectangular
        distribution). The range reaches from three spreads beyond the metal's level to three spreads before
        the degraded level, and at least 0.1 of the step to either side.
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
        return _one_class(pixels, valid, illumination, windows, classes, degraded_is, min_contrast)
    sigma, spread = _smoothing(pixels, valid, windows, illumination, sides)
    code = _score_map(pixels, region, illumination, sides, sigma)
    at_least = _share_at_least(code, region)
    warnings: list[str] = []
    levels, spreads = [0.0, 1.0], list(spread)
    if classes == 3:
        score = score_of(sides, grid.features)
        three = _three_classes(score[level_points(score, grid.valid)], min_separation)
        if three is None:
            warnings.append(
                "No third class stands apart: metal and degraded surface only; tarnished area is not given."
            )
        else:
            levels, spreads = three.means.tolist(), [spread[0], *three.spreads[1:].tolist()]
    steps = range(len(levels) - 1)
    boundaries = [levels[k] + boundary * (levels[k + 1] - levels[k]) for k in steps]
    ranges = [_plausible(levels[k : k + 2], spreads[k : k + 2], boundaries[k]) for k in steps]
    masks = [_without_specks(code >= _code(cut), min_patch_px) & valid for cut in boundaries]
    if len(masks) == 2:
        masks = _without_rims(masks, code >= _code(levels[0] + boundary * (levels[2] - levels[0])), sigma)
    total = int(np.count_nonzero(valid))
    shares = [int(np.count_nonzero(mask)) / total for mask in masks]
    less = [_K_95 * (at_least(cut) - at_least(r[1])) for cut, r in zip(boundaries, ranges, strict=True)]
    more = [_K_95 * (at_least(r[0]) - at_least(cut)) for cut, r in zip(boundaries, ranges, strict=True)]
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
    return DegradedArea(
        classes=class_map,
        fraction=fraction,
        fraction_low=max(0.0, fraction - less[-1]),
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
    """Grey of metal and classes over that of the metal; of three classes on one side, all three."""
    if len(levels) == 3 and len(sides) == 1:
        return tuple(1.0 + level * (sides[0].grey - 1.0) for level in levels)
    return (1.0, *(side.grey for side in sides))


def _doubts(fraction: float, sides: tuple[Side, ...], degraded_is: str) -> list[str]:
    """Warnings about a map with two or more classes."""
    out = []
    if fraction > 0.9:
        out.append(f"{fraction:.0%} of the region is classed as degraded: check which class is the metal.")
    elif degraded_is == "auto" and fraction > 0.4:
        out.append(
            f"Two classes of similar area ({fraction:.0%} degraded): which one is the metal was decided "
            "by grey or colour alone; state degraded_is if it is the other way round."
        )
    separation = min(side.separation for side in sides)
    if separation < _POOR:
        out.append(
            f"Metal and degraded surface overlap (separation {separation:.1f}): "
            "the boundary between them is uncertain."
        )
    return out


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
    for _ in range(2):
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


def _three_classes(score: np.ndarray, min_separation: float) -> Mixture | None:
    """Metal, tarnished and degraded on the score axis, or None where three do not stand apart."""
    starts = [(0.0, middle, 1.0) for middle in (0.3, 0.5, 0.7)]
    best = fit_mixture(histogram_of(score), np.array(starts), least_spread=EVENEST)
    apart = min(best.separation(0, 1), best.separation(1, 2)) >= min_separation
    return best if apart and best.shares.min() > 1e-3 else None


def _smoothing(
    pixels: np.ndarray,
    valid: np.ndarray,
    windows: list[tuple[slice, slice]],
    illumination: Illumination,
    sides: tuple[Side, ...],
) -> tuple[float, tuple[float, float]]:
    """Least sigma at which the step between the classes is clear of the metal's spread, and spreads there."""
    spreads = (0.0, 0.0)
    for sigma in _SMOOTHINGS:
        picture = sampled(pixels, valid, windows, illumination, sigma)
        value = score_of(sides, picture.features)[picture.valid]
        spreads = (_spread(value[value < 0.5]), _spread(value[value > 1.0] - 1.0))
        if spreads[0] <= 1.0 / _CLEAR:
            break
    return sigma, spreads


def _spread(deviation: np.ndarray) -> float:
    """Robust standard deviation from deviations about a class level."""
    return 1.4826 * float(np.median(np.abs(deviation))) if deviation.size else 0.0


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


def _share_at_least(code: np.ndarray, region: np.ndarray | None) -> Callable[[float], float]:
    """Share of the region at or above a score, as a function of the score."""
    mask = None if region is None else region.astype(np.uint8)
    counts = cv2.calcHist([code], [0], mask, [256], [0, 256]).ravel().astype(float)
    above = np.concatenate([np.cumsum(counts[::-1])[::-1], [0.0]]) / max(1.0, counts.sum())
    return lambda score: float(np.interp(_CODE_ZERO + _CODE_STEP * score, np.arange(257), above))


def _plausible(levels: list[float], spreads: list[float], boundary: float) -> tuple[float, float]:
    """Plausible range of a class boundary: from the reach of one class to the reach of the next."""
    least = _HALF_WIDTH * (levels[1] - levels[0])
    below = max(least, abs(boundary - (levels[0] + 3 * spreads[0])))
    above = max(least, abs(levels[1] - 3 * spreads[1] - boundary))
    return boundary - below, boundary + above


def _without_specks(mask: np.ndarray, least: int) -> np.ndarray:
    """`mask` without patches of fewer than `least` pixels and with holes below that size filled."""
    out = mask.astype(np.uint8)
    for value, connectivity in ((1, 8), (0, 4)):
        _, labels, stats, _ = cv2.connectedComponentsWithStats(
            out if value else 1 - out, connectivity=connectivity, ltype=cv2.CV_32S
        )
        small = stats[:, cv2.CC_STAT_AREA] < least
        small[0] = False
        if small.any():
            out[small[labels]] = 1 - value
    return out.astype(bool)


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
) -> DegradedArea:
    """Nothing stands apart: fraction 0, with the share beyond the metal's own spread as upper limit."""
    sigma = 1.5
    picture = sampled(pixels, valid, windows, illumination, sigma)
    grey = picture.features[picture.valid][:, 0]
    metal = float(np.median(grey))
    limit = max(min_contrast * metal, 3 * 1.4826 * float(np.median(np.abs(grey - metal))))
    weights = np.zeros(picture.features.shape[-1])
    weights[0] = -0.5 / limit
    darker = Side(weights, 0.5 * metal / limit, 0.0, 0.0, 0.0, 0.0, np.zeros_like(weights))
    at_least = _share_at_least(_score_map(pixels, valid, illumination, (darker,), sigma), valid)
    beyond = {"darker": at_least(0.5), "lighter": 1.0 - at_least(-0.5)}
    upper = sum(beyond.values()) if degraded_is == "auto" else beyond[degraded_is]
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

"""Degraded area: metal, tarnished and degraded surface told apart in a grey or colour micrograph.

Steps: light and classes are fitted together on a reduced grid (`illumination`); class levels are read where
the picture is level, away from edges; every pixel gets a score, 0 at the metal's level and 1 at the degraded
level; a class boundary on that score gives the map. Nothing is split unless two classes stand apart.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np

from surfscan.segmentation.illumination import Illumination, fit_illumination
from surfscan.segmentation.mixture import Mixture, fit_mixture, two_level_split

DegradedIs = Literal["darker", "lighter"]

_LIGHT_GRID, _LEVEL_GRID = 100, 512  # points along the long side, for the light and for the class levels
_SMOOTHINGS = (0.7, 1.0, 1.5, 2.0, 3.0, 4.0)  # Gaussian sigma, px
_CLEAR = 5.0  # the step between classes is at least this many spreads of the metal, else more smoothing
_LEVEL_PART = 50  # per cent of the grid with the least slope: where class levels are read
_MOSTLY = 0.6  # a class that covers more than this is taken for the metal
_SLAB = 256  # rows worked on at once
_CODE_ZERO, _CODE_STEP = 60, 100  # score 0 and 1 are 60 and 160 in the 8-bit score map
_HALF_WIDTH = 0.1  # least half width of the boundary's plausible range, as a share of the step
_K_95 = 1.959964 / 3**0.5  # of half a rectangular range to half a 95 % interval
_EVENEST = 0.02  # no class is taken to be more even than this share of the metal's grey
_POOR = 3.0  # a separation below this is reported
_FINE_SIGMA, _FINE_FACTOR = 1.5, 1.5  # for features too fine for the level grid
_WINDOW = 128  # side of the windows sampled at full resolution, px
_LUMINANCE = np.array([0.299, 0.587, 0.114], np.float32)


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
        Ashman's D between metal and degraded; 0 where only one class was found.
    degraded_is : {"darker", "lighter"} or None
        Degraded grey against metal; None where only one class was found.
    colour_decides : bool
        Whether the classes differ more in colour than in grey.
    levels : tuple of float
        Grey of each class over that of the metal, in the order of the classes.
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


@dataclass(frozen=True)
class _Picture:
    """Smoothed features on a grid or in sample windows: what class levels are read from.

    `features` is (m, n, F): grey over light and, in colour, the ratios of red and of blue to grey.
    """

    features: np.ndarray
    valid: np.ndarray


@dataclass(frozen=True)
class _Score:
    """`features @ weights + offset` is 0 at the metal's level and 1 at the degraded level."""

    weights: np.ndarray
    offset: float
    separation: float
    grey_of_degraded: float
    colour_decides: bool
    share: float

    def of(self, features: np.ndarray) -> np.ndarray:
        """Score of features of shape (..., F), float32."""
        out = features[..., 0] * np.float32(self.weights[0]) + np.float32(self.offset)
        for k in range(1, features.shape[-1]):
            out += features[..., k] * np.float32(self.weights[k])
        return np.asarray(out)


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
    illumination, grid = _on_grid(pixels, valid)
    windows = _windows(shape, valid)
    score = _score(grid, _LEVEL_PART, degraded_is, min_contrast, min_separation)
    if score is None:  # features too fine for the grid, such as attacked grain boundaries
        fine = _sample(pixels, windows, illumination, _FINE_SIGMA)
        score = _score(fine, 100, degraded_is, min_contrast, _FINE_FACTOR * min_separation, by_metal=True)
    if score is None:
        return _one_class(pixels, valid, illumination, windows, classes, degraded_is, min_contrast)
    sigma, spread = _smoothing(pixels, windows, illumination, score)
    code = _score_map(pixels, region, illumination, score, sigma)
    at_least = _share_at_least(code, region)
    warnings: list[str] = []
    levels, spreads = [0.0, 1.0], list(spread)
    if classes == 3:
        three = _three_classes(score.of(grid.features)[grid.valid], min_separation)
        if three is None:
            warnings.append(
                "no third class stands apart: metal and degraded surface only; tarnished area is not given"
            )
        else:
            levels, spreads = three.means.tolist(), [spread[0], *three.spreads[1:].tolist()]
    steps = range(len(levels) - 1)
    boundaries = [levels[k] + boundary * (levels[k + 1] - levels[k]) for k in steps]
    ranges = [_plausible(levels[k : k + 2], spreads[k : k + 2], boundaries[k]) for k in steps]
    masks = [_without_specks(code >= _code(cut), min_patch_px) & valid for cut in boundaries]
    total = int(np.count_nonzero(valid))
    shares = [np.count_nonzero(mask) / total for mask in masks]
    less = [_K_95 * (at_least(cut) - at_least(r[1])) for cut, r in zip(boundaries, ranges, strict=True)]
    more = [_K_95 * (at_least(r[0]) - at_least(cut)) for cut, r in zip(boundaries, ranges, strict=True)]
    class_map = np.zeros(shape, np.uint8)
    tarnished = tarnished_low = tarnished_high = None
    if len(masks) == 2:
        class_map[masks[0]] = 1
        masks[1] &= masks[0]
        tarnished = shares[0] - shares[1]
        tarnished_low = max(0.0, tarnished - float(np.hypot(less[0], more[1])))
        tarnished_high = min(1.0, tarnished + float(np.hypot(more[0], less[1])))
    class_map[masks[-1]] = 2
    fraction = shares[-1]
    warnings += _doubts(fraction, score, degraded_is)
    return DegradedArea(
        classes=class_map,
        fraction=fraction,
        fraction_low=max(0.0, fraction - less[-1]),
        fraction_high=min(1.0, fraction + more[-1]),
        tarnished=tarnished,
        tarnished_low=tarnished_low,
        tarnished_high=tarnished_high,
        separation=score.separation,
        degraded_is="darker" if score.grey_of_degraded < 1 else "lighter",
        colour_decides=score.colour_decides,
        levels=tuple(1.0 + level * (score.grey_of_degraded - 1.0) for level in levels),
        boundaries=tuple(boundaries),
        smoothing_px=sigma,
        warnings=tuple(warnings),
    )


def _doubts(fraction: float, score: _Score, degraded_is: str) -> list[str]:
    """Warnings about a map with two or more classes."""
    out = []
    if fraction > 0.9:
        out.append(f"{fraction:.0%} of the region is classed as degraded: check which class is the metal")
    elif degraded_is == "auto" and 0.4 < score.share < 0.75:
        out.append(
            f"two classes of similar area ({score.share:.0%} degraded): which one is the metal was decided "
            "by grey or colour alone; state degraded_is if it is the other way round"
        )
    if score.separation < _POOR:
        out.append(
            f"metal and degraded surface overlap (separation {score.separation:.1f}): "
            "the boundary between them is uncertain"
        )
    return out


def _features(smooth: np.ndarray, light: np.ndarray) -> np.ndarray:
    """Features (..., F) of smoothed grey (...) or RGB (..., 3) pixels under `light`, float32."""
    if smooth.ndim == light.ndim:
        return np.asarray(smooth / light)[..., None]
    grey = smooth @ _LUMINANCE
    floor = np.maximum(grey, 0.05 * light)
    return np.stack([grey / light, smooth[..., 0] / floor, smooth[..., 2] / floor], axis=-1)


def _blurred(block: np.ndarray, valid: np.ndarray | None, sigma: float) -> np.ndarray:
    """Gaussian mean over valid pixels only, float32; `valid` None means all."""
    block = block.astype(np.float32)
    if valid is None or valid.all():
        return np.asarray(cv2.GaussianBlur(block, (0, 0), sigma, borderType=cv2.BORDER_REFLECT))
    weight = valid.astype(np.float32)
    spread = cv2.GaussianBlur(weight, (0, 0), sigma, borderType=cv2.BORDER_REFLECT)
    shaped = (lambda a: a[..., None]) if block.ndim == 3 else (lambda a: a)
    block = np.where(shaped(valid), block, np.float32(0))
    mean = cv2.GaussianBlur(block, (0, 0), sigma, borderType=cv2.BORDER_REFLECT)
    return np.asarray(mean / shaped(np.maximum(spread, np.float32(1e-6))))


def _reduced(pixels: np.ndarray, valid: np.ndarray, side: int) -> tuple[np.ndarray, np.ndarray]:
    """Block means over valid pixels, at most `side` of them along the long side, and where they are good."""
    rows, cols = valid.shape
    step = max(1.0, max(rows, cols) / side)
    size = (max(1, round(cols / step)), max(1, round(rows / step)))
    if valid.all():
        small = cv2.resize(pixels, size, interpolation=cv2.INTER_AREA).astype(np.float32)
        return small, np.ones(small.shape[:2], bool)
    share = cv2.resize(valid.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    filled = np.where(valid[..., None] if pixels.ndim == 3 else valid, pixels, pixels.dtype.type(0))
    small = cv2.resize(filled, size, interpolation=cv2.INTER_AREA).astype(np.float32)
    least = np.maximum(share, np.float32(1e-3))
    return small / (least[..., None] if pixels.ndim == 3 else least), share >= 0.9


def _on_grid(pixels: np.ndarray, valid: np.ndarray) -> tuple[Illumination, _Picture]:
    """Light, and the features on the level grid."""
    source = pixels if pixels.dtype in (np.uint8, np.uint16, np.float32) else pixels.astype(np.float32)
    small, good = _reduced(source, valid, _LEVEL_GRID)
    if not good.any():  # a region of scattered pixels: take what there is
        good = np.ones(small.shape[:2], bool)
    grey = small if small.ndim == 2 else small @ _LUMINANCE
    coarse, coarse_good = _reduced(grey, good, _LIGHT_GRID)
    if not coarse_good.any():
        coarse_good = np.ones(coarse.shape, bool)
    illumination = fit_illumination(_blurred(coarse, coarse_good, 1.0), coarse_good)
    light = illumination.at(good.shape)
    return illumination, _Picture(_features(_blurred(small, good, 1.5), light), good)


def _windows(shape: tuple[int, int], valid: np.ndarray) -> list[tuple[slice, slice]]:
    """Up to 25 windows spread evenly over the picture, those that lie mostly on the specimen."""
    starts = [np.unique(np.linspace(0, max(0, n - _WINDOW), 5).astype(int)) for n in shape]
    windows = [(slice(r, r + _WINDOW), slice(c, c + _WINDOW)) for r in starts[0] for c in starts[1]]
    return [w for w in windows if valid[w].mean() > 0.8] or [(slice(0, shape[0]), slice(0, shape[1]))]


def _sample(
    pixels: np.ndarray, windows: list[tuple[slice, slice]], illumination: Illumination, sigma: float
) -> _Picture:
    """Features at full resolution in the sample windows, laid side by side."""
    shape = (int(pixels.shape[0]), int(pixels.shape[1]))
    parts = []
    for rows, cols in windows:
        smooth = _blurred(pixels[rows, cols], np.isfinite(_flat(pixels[rows, cols])), sigma)
        features = _features(smooth, illumination.at(shape, rows)[:, cols])
        parts.append(features.reshape(-1, features.shape[-1]))
    joined = np.concatenate(parts)[None]
    return _Picture(joined, np.isfinite(joined).all(axis=-1))


def _flat(block: np.ndarray) -> np.ndarray:
    """One value a pixel, not-a-number where any channel is."""
    return block if block.ndim == 2 else block.sum(axis=-1)


def _two_classes(values: np.ndarray) -> Mixture:
    """Likeliest two-class mixture from several starts, so that a small class is not overlooked."""
    cut = two_level_split(values)
    low, dark, middle, bright, high = np.percentile(values, [0.5, 5, 50, 95, 99.5])
    below, above = values[values < cut], values[values >= cut]
    starts = [(low, middle), (dark, middle), (middle, bright), (middle, high)]
    if below.size and above.size:
        starts.append((below.mean(), above.mean()))
    return max(
        (fit_mixture(values, np.array(s), least_spread=_EVENEST) for s in starts),
        key=lambda m: m.log_likelihood,
    )


def _score(
    picture: _Picture,
    part: int,
    degraded_is: str,
    min_contrast: float,
    min_separation: float,
    *,
    by_metal: bool = False,
) -> _Score | None:
    """Score of the best separated pair of classes, or None where none stands apart.

    Class levels are read on the `part` per cent of the picture with the least slope. With `by_metal` the
    separation is counted in spreads of the larger class alone, for the other may hold all depths of attack.
    """
    best = None
    for start in _axes(picture):
        axis = start
        for _ in range(1 if len(start) == 1 else 4):
            value = picture.features @ axis
            level = _level_part(value, picture.valid, part)
            mixture = _two_classes(value[level])
            upper = value >= mixture.means.mean()
            if not np.any(upper[level]) or np.all(upper[level]):
                break
            apart = mixture.separation()
            if by_metal:
                apart = float(np.ptp(mixture.means) / mixture.spreads[np.argmax(mixture.shares)])
            if best is None or apart > best[0]:
                best = (apart, mixture, axis, level, upper)
            axis = _discriminant(picture.features[level], upper[level])
    if best is None or best[0] < min_separation:
        return None
    apart, mixture, axis, level, upper = best
    centres = [np.median(picture.features[level & side], axis=0) for side in (~upper, upper)]
    share = float(np.mean(upper[picture.valid]))
    degraded = _which_is_degraded(centres, share, degraded_is, min_contrast)
    metal_centre, centre = centres[1 - degraded], centres[degraded]
    grey = float(centre[0] / max(metal_centre[0], 1e-6))
    shift = float(np.hypot(*(centre[1:] - metal_centre[1:]))) if len(centre) > 1 else 0.0
    if max(abs(grey - 1.0), shift) < min_contrast:
        return None
    step = mixture.means[degraded] - mixture.means[1 - degraded]
    return _Score(
        weights=axis / step,
        offset=float(-mixture.means[1 - degraded] / step),
        separation=apart,
        grey_of_degraded=grey,
        colour_decides=shift > abs(grey - 1.0),
        share=share if degraded == 1 else 1.0 - share,
    )


def _axes(picture: _Picture) -> list[np.ndarray]:
    """Directions in feature space to look for two classes in: grey; in colour also the main colour change."""
    count = picture.features.shape[-1]
    if count == 1:
        return [np.ones(1)]
    colour = picture.features[picture.valid][:, 1:].astype(float)
    _, vectors = np.linalg.eigh(np.cov(colour.T))
    return [np.array([1.0, 0.0, 0.0]), np.concatenate([[0.0], vectors[:, -1]])]


def _level_part(value: np.ndarray, valid: np.ndarray, part: int) -> np.ndarray:
    """The `part` per cent of the valid points where `value` has the least slope."""
    if part >= 100 or min(value.shape) < 8:
        return valid
    smooth = _blurred(value, valid, 2.0)
    slope = np.hypot(cv2.Sobel(smooth, cv2.CV_32F, 1, 0), cv2.Sobel(smooth, cv2.CV_32F, 0, 1))
    return np.asarray(valid & (slope <= np.percentile(slope[valid], part)))


def _discriminant(features: np.ndarray, upper: np.ndarray) -> np.ndarray:
    """Direction that best tells the two parts apart (Fisher's linear discriminant), of unit length."""
    parts = [features[~upper].astype(float), features[upper].astype(float)]
    within = sum(np.cov(p.T) * len(p) if len(p) > 1 else 0.0 for p in parts) / len(features)
    within = np.atleast_2d(within) + 1e-6 * np.eye(features.shape[-1])
    direction = np.linalg.solve(within, parts[1].mean(axis=0) - parts[0].mean(axis=0))
    return np.asarray(direction / max(float(np.linalg.norm(direction)), 1e-12))


def _which_is_degraded(centres: list[np.ndarray], share: float, degraded_is: str, min_contrast: float) -> int:
    """0 or 1: which of two classes, given their centres and the area share of class 1, is degraded."""
    darker = 0 if centres[0][0] <= centres[1][0] else 1
    if degraded_is != "auto":
        return darker if degraded_is == "darker" else 1 - darker
    chosen = darker
    if len(centres[0]) > 1:
        grey_step = abs(centres[1][0] - centres[0][0]) / max(centres[0][0], centres[1][0])
        vividness = [float(np.hypot(*(c[1:] - 1.0))) for c in centres]
        if abs(vividness[1] - vividness[0]) > max(min_contrast, grey_step):
            chosen = int(np.argmax(vividness))
    covered = share if chosen == 1 else 1.0 - share
    return chosen if covered <= _MOSTLY else 1 - chosen


def _three_classes(score: np.ndarray, min_separation: float) -> Mixture | None:
    """Metal, tarnished and degraded on the score axis, or None where three do not stand apart."""
    runs = [
        fit_mixture(score, np.array([0.0, middle, 1.0]), least_spread=_EVENEST) for middle in (0.3, 0.5, 0.7)
    ]
    best = max(runs, key=lambda m: m.log_likelihood)
    apart = min(best.separation(0, 1), best.separation(1, 2)) >= min_separation
    return best if apart and best.shares.min() > 1e-3 else None


def _smoothing(
    pixels: np.ndarray, windows: list[tuple[slice, slice]], illumination: Illumination, score: _Score
) -> tuple[float, tuple[float, float]]:
    """Least sigma at which the step between the classes is clear of the metal's spread, and spreads there."""
    spreads = (0.0, 0.0)
    for sigma in _SMOOTHINGS:
        picture = _sample(pixels, windows, illumination, sigma)
        value = score.of(picture.features)[picture.valid]
        spreads = (_spread_about(value[value < 0.5], 0.0), _spread_about(value[value > 0.5], 1.0))
        if spreads[0] <= 1.0 / _CLEAR:
            break
    return sigma, spreads


def _spread_about(value: np.ndarray, level: float) -> float:
    """Robust standard deviation about a class level, of what lies on its side away from the other class."""
    outer = value[value <= level] if level < 0.5 else value[value >= level]
    return 1.4826 * float(np.median(np.abs(outer - level))) if outer.size else 0.0


def _score_map(
    pixels: np.ndarray, region: np.ndarray | None, illumination: Illumination, score: _Score, sigma: float
) -> np.ndarray:
    """Score of every pixel as uint8: `_code` of the score, 0 and 255 where beyond."""
    shape = (int(pixels.shape[0]), int(pixels.shape[1]))
    code = np.zeros(shape, np.uint8)
    halo = int(np.ceil(4 * sigma))
    for start in range(0, shape[0], _SLAB):
        stop = min(shape[0], start + _SLAB)
        outer = slice(max(0, start - halo), min(shape[0], stop + halo))
        inner = slice(start - outer.start, stop - outer.start)
        smooth = _blurred(pixels[outer], None if region is None else region[outer], sigma)[inner]
        value = score.of(_features(smooth, illumination.at(shape, slice(start, stop))))
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
    picture = _sample(pixels, windows, illumination, sigma)
    grey = picture.features[picture.valid][:, 0]
    metal = float(np.median(grey))
    limit = max(min_contrast * metal, 3 * 1.4826 * float(np.median(np.abs(grey - metal))))
    weights = np.zeros(picture.features.shape[-1])
    weights[0] = -0.5 / limit
    score = _Score(weights, 0.5 * metal / limit, 0.0, 1.0, False, 0.0)
    at_least = _share_at_least(_score_map(pixels, valid, illumination, score, sigma), valid)
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
            "only one class of surface stands out and it is taken for metal; a field degraded all over would "
            "look the same",
        ),
    )

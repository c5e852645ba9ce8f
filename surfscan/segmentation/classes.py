"""Classes of surface that stand apart from the metal, and the score that tells how far a pixel is from it."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np

from surfscan.segmentation.features import Picture, blurred
from surfscan.segmentation.mixture import Mixture, fit_mixture, histogram_of, thinned, two_level_split

EVENEST = 0.02
"""No class is taken to be more even than this, as a share of the metal's grey."""

_LEVEL_PART = 75  # per cent of the points, those with the least slope: where class levels are read
_SLOPE_SIGMA = 2.0  # grid points, for that slope
_MOSTLY, _MOSTLY_TINTED = 0.63, 0.85  # a class told by grey, by tint, that covers more is taken for the metal
_ROUGHER, _DOUBT = 1.3, 0.1  # a class rougher by this factor is product: it moves the first limit by so much
_PASSES = 3
_LIKE_METAL = 0.3  # points with a lower score are looked at again for another class
_SAME_WAY = 0.2  # a class with a higher score already is a fainter shade of a known one
_GLARE = 0.5  # a lighter class with a step below this share of a darker one's is uneven light on metal
_FAINT = 0.25  # a class with a step below this share of the strongest one's is metal that varies
_LEAST_POINTS = 20


@dataclass(frozen=True)
class Side:
    """One class that differs from the metal.

    Attributes
    ----------
    weights : ndarray of shape (F,)
    offset : float
        `features @ weights + offset` is 0 at the metal's level and 1 at the level of this class.
    grey : float
        Grey of this class over that of the metal.
    tint_shift : float
        Distance from the metal in the ratios of red and blue to grey; 0 in grey pictures.
    separation : float
        Ashman's D between this class and the metal.
    share : float
        Share of the points nearer to this class than to the metal.
    centre : ndarray of shape (F,)
        Median features of the class.
    ceiling : float
        No score is greater.
    """

    weights: np.ndarray
    offset: float
    grey: float
    tint_shift: float
    separation: float
    share: float
    centre: np.ndarray
    ceiling: float = math.inf

    @property
    def step(self) -> float:
        """Distance from the metal, in grey or in tint, whichever is greater."""
        return max(abs(self.grey - 1.0), self.tint_shift)

    def moved_to(self, score: float) -> Side:
        """The side of a class that lies at `score` on this one's way."""
        return replace(
            self,
            weights=self.weights / score,
            offset=self.offset / score,
            grey=1.0 + score * (self.grey - 1.0),
            tint_shift=score * self.tint_shift,
        )

    def score(self, features: np.ndarray) -> np.ndarray:
        """Score of features (..., F), float32."""
        out = features[..., 0] * np.float32(self.weights[0]) + np.float32(self.offset)
        for k in range(1, features.shape[-1]):
            out += features[..., k] * np.float32(self.weights[k])
        if self.ceiling < math.inf:
            np.minimum(out, np.float32(self.ceiling), out=out)
        return np.asarray(out)


@dataclass(frozen=True)
class _Split:
    """Classes found along one direction of feature space."""

    axis: np.ndarray
    value: np.ndarray
    level: np.ndarray
    mixture: Mixture
    apart: float

    def labels(self) -> np.ndarray:
        """Class of every point, cut half-way between neighbouring means."""
        means = self.mixture.means
        return np.digitize(self.value, 0.5 * (means[1:] + means[:-1]))


def score_of(sides: tuple[Side, ...], features: np.ndarray) -> np.ndarray:
    """Distance from the metal: the greatest score over all sides; 0 on metal, 1 at the level of a class."""
    out = sides[0].score(features)
    for side in sides[1:]:
        np.maximum(out, side.score(features), out=out)
    return out


def find_sides(
    picture: Picture,
    *,
    degraded_is: str,
    min_contrast: float,
    min_separation: float,
    by_metal: bool = False,
) -> tuple[Side, ...]:
    """Classes that stand apart from the metal, none where the surface is one class.

    Two or three classes are fitted to the grey (in colour, along several directions); the pair or triple
    that stands apart is taken, one of them is named the metal, and what looks like metal is searched again
    for another class (dark pits beside a light film).

    Parameters
    ----------
    picture : Picture
        Class levels are read where it is level: on the three quarters of the points with the least slope.
    degraded_is : {"auto", "darker", "lighter"}
        "auto": of three classes the middle one is the metal if it is the largest; of two, the lighter (in
        colour, the less coloured where tint tells more than grey), unless the other covers more than 63 % (53
        or 73 % where one is clearly the rougher; 85 % where it is the more coloured).
        A lighter class whose step is below half of a darker one's counts as glare on metal. In every case a
        class whose step is below a quarter of the strongest one's counts as metal.
    min_contrast, min_separation : float
        Smallest step from the metal (grey ratio or tint) and smallest Ashman's D of a class.
    by_metal : bool
        Fine, uneven features in sample windows: points are not picked by slope, and the separation is
        counted in spreads of the larger class, for the other may hold all depths of attack.

    Returns
    -------
    tuple of Side
    """
    sides: list[Side] = []
    known: list[Side] = []
    metal: np.ndarray | None = None
    valid = picture.valid
    total = np.count_nonzero(valid)
    for _ in range(_PASSES):
        split = _best_split(Picture(picture.features, valid), min_separation, by_metal)
        if split is None:
            break
        metal_class = _metal(split, picture.features, valid, degraded_is, min_contrast, metal)
        found = _sides(split, picture, metal_class, by_metal)
        found = [s for s in found if s.step >= min_contrast]
        if known:
            found = [s for s in found if float(score_of(tuple(known), s.centre)) < _SAME_WAY]
        if not found:
            break
        if metal is None:
            metal = np.median(picture.features[split.level & (split.labels() == metal_class)], axis=0)
        known += found
        sides += [s for s in found if _wanted(s, degraded_is)]
        apart = score_of(tuple(known), picture.features) >= _LIKE_METAL
        valid = picture.valid & ~(apart if by_metal else _grown(apart))
        if np.count_nonzero(valid) < 0.2 * total:
            break
    strongest = max((side.step for side in sides), default=0.0)
    sides = [side for side in sides if side.step >= _FAINT * strongest]
    return _without_glare(sides) if degraded_is == "auto" else tuple(sides)


def _without_glare(sides: list[Side]) -> tuple[Side, ...]:
    """Leave out a lighter class whose step is small beside that of a darker one."""
    darkest = max((1.0 - side.grey for side in sides), default=0.0)
    return tuple(s for s in sides if s.tint_shift >= s.grey - 1.0 or s.grey - 1.0 >= _GLARE * darkest)


def _wanted(side: Side, degraded_is: str) -> bool:
    return degraded_is == "auto" or (side.grey < 1.0) == (degraded_is == "darker")


def _grown(mask: np.ndarray) -> np.ndarray:
    """`mask` and 3 points around it, where edges are neither the one nor the other."""
    return np.asarray(cv2.dilate(mask.astype(np.uint8), np.ones((7, 7), np.uint8)) > 0)


def _best_split(picture: Picture, min_separation: float, by_metal: bool) -> _Split | None:
    """The direction along which classes stand furthest apart, or None where they do not."""
    best = None
    for start in _axes(picture):
        axis = start
        for _ in range(1 if len(start) == 1 else 2):
            split = _split(picture, axis, min_separation, by_metal)
            if split is None:
                break
            if best is None or split.apart > best.apart:
                best = split
            points = thinned(split.value[split.level])
            upper = points >= two_level_split(points)
            axis = _discriminant(thinned(picture.features[split.level]), upper)
    return best


def _axes(picture: Picture) -> list[np.ndarray]:
    """Directions to look along: grey; in colour also the one in which the tint varies most."""
    if picture.features.shape[-1] == 1:
        return [np.ones(1)]
    tint = thinned(picture.features[picture.valid])[:, 1:].astype(float)
    _, vectors = np.linalg.eigh(np.cov(tint.T))
    return [np.array([1.0, 0.0, 0.0]), np.concatenate([[0.0], vectors[:, -1]])]


def _discriminant(features: np.ndarray, upper: np.ndarray) -> np.ndarray:
    """Direction that best tells two parts of the points apart (Fisher 1936), of unit length."""
    parts = [features[~upper].astype(float), features[upper].astype(float)]
    within = sum(np.cov(p.T) * len(p) if len(p) > 1 else 0.0 for p in parts) / len(features)
    within = np.atleast_2d(within) + 1e-6 * np.eye(features.shape[-1])
    direction = np.linalg.solve(within, np.median(parts[1], axis=0) - np.median(parts[0], axis=0))
    return np.asarray(direction / max(float(np.linalg.norm(direction)), 1e-12))


def _split(picture: Picture, axis: np.ndarray, min_separation: float, by_metal: bool) -> _Split | None:
    """Two or three classes along `axis`, or None where they do not stand apart.

    Three are taken where the middle one is the largest, or where two do not stand apart.
    """
    value = picture.features @ axis.astype(np.float32)
    level = picture.valid if by_metal else level_points(value, picture.valid)
    points = thinned(value[level])
    if len(points) < _LEAST_POINTS or np.ptp(points) == 0:
        return None
    cut = two_level_split(points)
    low, lowest_5, lower, middle, upper, high = np.percentile(points, [0.5, 5, 30, 50, 70, 99.5])
    below, above = points[points < cut], points[points >= cut]
    means = (below.mean() if below.size else low, above.mean() if above.size else high)
    histogram = histogram_of(points)
    triples = [(low, middle, high), (low, lower, high), (low, upper, high), (low, *means), (*means, high)]
    three = fit_mixture(histogram, np.array(triples), least_spread=EVENEST)
    apart_three = min(three.separation(0, 1), three.separation(1, 2))
    if not by_metal and apart_three >= min_separation and int(np.argmax(three.shares)) == 1:
        return _Split(axis, value, level, three, apart_three)
    pairs = [(low, middle), (lowest_5, middle), (middle, upper), (middle, high), means]
    two = fit_mixture(histogram, np.array(pairs), least_spread=EVENEST)
    apart = two.separation()
    if by_metal:
        apart = float(np.ptp(two.means) / two.spreads[np.argmax(two.shares)])
    if apart >= min_separation:
        return _Split(axis, value, level, two, apart)
    if not by_metal and apart_three >= min_separation:
        return _Split(axis, value, level, three, apart_three)
    return None


def level_points(value: np.ndarray, valid: np.ndarray) -> np.ndarray:
    """Points off the edges of classes: those where `value` has the least slope, three quarters of the valid.

    They are picked from the dark, the middle and the light part of the values apart, for a small textured
    class has steeper slopes all over than plain metal has.
    """
    if min(value.shape) < 8:
        return valid
    smooth = blurred(value, valid, _SLOPE_SIGMA)
    slope = np.hypot(cv2.Sobel(smooth, cv2.CV_32F, 1, 0), cv2.Sobel(smooth, cv2.CV_32F, 0, 1))
    low, middle, high = np.percentile(thinned(value[valid]), [0.5, 50, 99.5])
    part = (value >= 0.5 * (low + middle)).astype(np.uint8) + (value >= 0.5 * (middle + high))
    steepest = np.zeros(3, np.float32)
    for k in range(3):
        inside = slope[valid & (part == k)]
        steepest[k] = np.percentile(thinned(inside), _LEVEL_PART) if inside.size else 0.0
    return np.asarray(valid & (slope <= steepest[part]))


def _metal(
    split: _Split,
    features: np.ndarray,
    valid: np.ndarray,
    degraded_is: str,
    min_contrast: float,
    metal: np.ndarray | None,
) -> int:
    """Which class of `split` is the metal; `metal` holds its features once it is known."""
    labels = split.labels()
    count = len(split.mixture.means)
    centres = [np.median(thinned(features[_members(split, labels, k)]), axis=0) for k in range(count)]
    if metal is not None:
        return int(np.argmin([np.linalg.norm(c - metal) for c in centres]))
    shares = np.bincount(labels[valid], minlength=count) / np.count_nonzero(valid)
    order = np.argsort([c[0] for c in centres])
    if count == 3:
        if degraded_is == "auto":
            return int(np.argmax(shares))
        outer = order[2] if degraded_is == "darker" else order[0]
        return int(order[1] if shares[order[1]] >= shares[outer] else outer)
    if degraded_is != "auto":
        return int(order[1] if degraded_is == "darker" else order[0])
    degraded, most = int(order[0]), _MOSTLY + _DOUBT * _rougher(split.mixture)
    if len(centres[0]) > 1:
        grey_step = abs(centres[1][0] - centres[0][0]) / max(centres[0][0], centres[1][0])
        tint = [float(np.hypot(*(c[1:] - 1.0))) for c in centres]
        tinted, tint_step = int(np.argmax(tint)), abs(tint[1] - tint[0])
        if tint_step > max(min_contrast, grey_step) or (tinted == degraded and tint_step > 2 * min_contrast):
            degraded, most = tinted, _MOSTLY_TINTED
    return 1 - degraded if shares[degraded] <= most else degraded


def _rougher(mixture: Mixture) -> int:
    """1 where the darker of two classes is clearly the rougher one, -1 where the lighter is, else 0.

    Whether roughness goes with the light (texture) or not (noise of the camera) must not decide.
    """
    ratio = mixture.spreads[0] / mixture.spreads[1]
    if ratio > _ROUGHER:
        return 1
    return -1 if ratio * mixture.means[1] / mixture.means[0] < 1.0 / _ROUGHER else 0


def _members(split: _Split, labels: np.ndarray, k: int) -> np.ndarray:
    """Level points of class `k`; all points nearest to its mean where it has none."""
    chosen = split.level & (labels == k)
    if chosen.any():
        return np.asarray(chosen)
    nearest = np.abs(split.value - split.mixture.means[k])
    return np.asarray(nearest == nearest[split.level].min())


def _sides(split: _Split, picture: Picture, metal: int, by_metal: bool) -> list[Side]:
    """The classes next to the metal along the split's direction."""
    labels = split.labels()
    base = thinned(picture.features[_members(split, labels, metal)])
    out = []
    for k in (metal - 1, metal + 1):
        if not 0 <= k < len(split.mixture.means):
            continue
        points = thinned(picture.features[_members(split, labels, k)])
        if len(split.axis) == 1:
            axis, ends = split.axis, split.mixture.means[[metal, k]]
            apart = split.apart if by_metal else split.mixture.separation(metal, k)
        else:
            both = np.concatenate([base, points])
            axis = _discriminant(both, np.arange(len(both)) >= len(base))
            values = [base @ axis, points @ axis]
            ends = np.array([np.median(v) for v in values])
            apart = float(abs(ends[1] - ends[0]) / np.sqrt(0.5 * sum(np.var(v) for v in values) + 1e-9))
        step = ends[1] - ends[0]
        if step == 0 or _drowned(split.mixture, metal, k):
            continue
        centre, metal_centre = np.median(points, axis=0), np.median(base, axis=0)
        side = Side(
            weights=axis / step,
            offset=float(-ends[0] / step),
            grey=float(ends[1] / ends[0]) if len(centre) == 1 else float(centre[0] / metal_centre[0]),
            tint_shift=float(np.hypot(*(centre[1:] - metal_centre[1:]))) if len(centre) > 1 else 0.0,
            separation=apart,
            share=0.0,
            centre=centre,
        )
        nearer = side.score(picture.features)[picture.valid] >= 0.5
        out.append(replace(side, share=float(np.mean(nearer))))
    return out


def _drowned(mixture: Mixture, metal: int, k: int) -> bool:
    """Whether more of the metal than of class `k` lies beyond half-way to that class: a mere tail."""
    half_way = 0.5 * abs(mixture.means[k] - mixture.means[metal]) / mixture.spreads[metal]
    tail = 0.5 * math.erfc(half_way / math.sqrt(2.0)) * mixture.shares[metal]
    return bool(tail > mixture.shares[k])

"""Layers on an edge, thin ones included: profiles that step twice, from metal to layer and from there out."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from math import erfc, sqrt

import cv2
import numpy as np

STEP_PX = 0.5
"""Distance between samples along a profile."""

_BLOCK = 24  # stations whose profiles are laid over each other
_ALIGNED = 3  # rounds
_FARTHEST_PX = 1.5  # a profile is moved by at most this much
_SIGMAS = tuple(np.arange(0.4, 2.61, 0.1))  # px, standard deviation of an edge
_THICK = (2.0, 2.5, 3.0, 3.5, 4.0, 5.0, 6.0, 7.0, 8.0)  # px, of a layer
_PLACE, _OFF_CENTRE, _FARTHEST = 0.25, 0.75, 8.0  # px, of edges: spacing, off the middle, off the mask
_DISCS, _IN_DISC, _CHORDS = (
    (0.0, 1.5, 2.0, 2.5, 3.0, 3.5, 4.0, 4.5, 5.0, 6.0),
    1.4,
    16,
)  # px; defocus, and blur beside it
_TO_BLUR = 2.1  # least thickness of a layer that can be told, in standard deviations of an edge
_LEVEL = (0.12, 0.88)  # of a layer, share of the contrast
_FULL = (0.8, 1.2)  # both steps together, share of the contrast
_BETTER = 0.55  # squares left by two steps over those left by one
_LEAST_LEFT = 0.0015  # root mean square that one step must leave at least, share of the contrast
_WIDESPREAD = 0.25  # share of a strut's blocks that are layered from which on all are looked at
_AVERAGED = 7  # stations that a station is judged by
_RISES = 0.3  # outwards, share of the contrast: another edge, a glint
_INNER, _METAL = 4, 0.2  # so many samples, farthest in, are within this of the metal's level
_AT_ONCE = 64


def layer_levels(share: np.ndarray, order: np.ndarray, usable: np.ndarray, depth: np.ndarray) -> np.ndarray:
    """Level at which the metal's edge lies under a layer, shape (n,); not-a-number where there is none.

    Parameters
    ----------
    share : ndarray of shape (n, m)
        Profiles outwards, 1 in metal and 0 in the background, centred on the edge of the mask.
    order : ndarray of shape (n,)
        Strut that each belongs to; those of one strut follow each other.
    usable : ndarray of shape (n,), bool
        Profiles that lie in the picture.
    depth : ndarray of shape (n,)
        Distance from the middle of the strut to the edge of the mask, px.

    Notes
    -----
    Profiles of 24 stations are laid over each other, and one step (blurred, or blurred and out of focus) and
    two of one blur, heights free, are fitted by least squares over a grid of places, blurs, radii of defocus
    and thicknesses. There is a layer where two steps leave less than 55 % of the squares that one leaves, the
    layer's level lies between 12 and 88 % and it is 2 px and 2.1 standard deviations of the blur thick:
    thinner ones only blur the edge. Each station of such a block and its neighbours (of all blocks of a strut
    where a quarter has a layer) is then judged by its own profile, averaged over seven stations. Limits: set
    on drawn struts.

    What cannot be told: a layer as dark, or as light, as the metal (product on a backlit silhouette), which
    is measured as metal; and one too thin for the blur, which looks like an edge out of focus. On drawn
    struts layers of 3 px are told up to a blur of about 1.2 px, of 5 px up to 2 px.
    """
    out = np.full(len(share), np.nan)
    if not len(share):
        return out
    profile = _held(share, depth)
    usable = usable & ((profile - np.minimum.accumulate(profile, axis=1)).max(axis=1) < _RISES)
    usable &= np.abs(profile[:, :_INNER].mean(axis=1) - 1) < _METAL
    usable &= profile.max(axis=1) < 1 + _RISES
    block, first = _blocks(order)
    mean, count = _aligned(profile, usable, block, first)
    enough = np.flatnonzero(count >= _BLOCK // 3)
    if not enough.size:
        return out
    left_one, _ = _dictionary(share.shape[1], 1).best(mean[enough])
    doubtful = np.sqrt(left_one / share.shape[1]) > _LEAST_LEFT
    enough, left_one = enough[doubtful], left_one[doubtful]
    if not enough.size:
        return out
    two = _dictionary(share.shape[1], 2)
    left_two, at_two = two.best(mean[enough])
    heights = two.heights(mean[enough], at_two)
    full = heights[:, 1:].sum(axis=1)
    level = heights[:, 2] / np.where(full > 0, full, 1)
    layered = (left_two < _BETTER * left_one) & (full > _FULL[0]) & (full < _FULL[1])
    layered &= (level > _LEVEL[0]) & (level < _LEVEL[1])
    if not layered.any():
        return out
    of = _models(enough[layered], order[first], len(first))
    for k, number in enumerate(np.flatnonzero(layered)):
        own = np.flatnonzero((of[block] == k) & usable)
        _judge(profile, own, two, int(at_two[number]), heights[number], out)
    return out


def _models(layered: np.ndarray, strut: np.ndarray, blocks: int) -> np.ndarray:
    """Which of the layered blocks each block is judged by: the nearest on its strut, -1 for none.

    Neighbours are, and all blocks of a strut of which a quarter is layered.
    """
    of = np.full(blocks, -1)
    for number in np.unique(strut[layered]):
        own = np.flatnonzero(strut == number)
        some = np.flatnonzero(strut[layered] == number)
        away = np.abs(own[:, None] - layered[some][None])
        reach = 1 if len(some) < max(2, _WIDESPREAD * len(own)) else blocks
        nearest = np.argmin(away, axis=1)
        of[own] = np.where(away[np.arange(len(own)), nearest] <= reach, some[nearest], -1)
    return of


def _held(share: np.ndarray, depth: np.ndarray) -> np.ndarray:
    """Profiles that go on level where they pass the middle of the strut or come to the next one."""
    out = np.clip(share, -0.5, 1.5).astype(np.float32)
    m = share.shape[1]
    middle = m // 2
    first = np.clip(middle - np.floor((depth - 1) / STEP_PX).astype(int), 0, middle - 2)
    index = np.maximum(np.arange(m)[None], first[:, None])
    out = np.take_along_axis(out, index, axis=1)
    low = np.minimum.accumulate(out[:, middle:], axis=1)
    rises = out[:, middle:] > low + _RISES
    last = np.where(rises.any(axis=1), middle + np.maximum(np.argmax(rises, axis=1) - 3, 0), m - 1)
    return np.take_along_axis(out, np.minimum(np.arange(m)[None], last[:, None]), axis=1)


def _blocks(order: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Block of each station, and the first station of each block: runs of a strut of about equal length."""
    starts = np.flatnonzero(np.diff(order, prepend=order[0] - 1))
    ends = np.append(starts[1:], len(order))
    first = [
        np.linspace(a, b, max(1, round((b - a) / _BLOCK)), endpoint=False).astype(int)
        for a, b in zip(starts, ends, strict=True)
    ]
    firsts = np.concatenate(first)
    block = np.zeros(len(order), int)
    block[firsts[1:]] = 1
    return np.cumsum(block), firsts


def _aligned(
    profile: np.ndarray, usable: np.ndarray, block: np.ndarray, first: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Mean of each block's profiles, every one moved onto it, and how many it rests on."""
    weight = usable.astype(np.float32)[:, None]
    count = np.add.reduceat(weight[:, 0], first)
    shift = np.zeros(len(profile))
    here = np.arange(profile.shape[1])
    moved, mean = profile, profile[:1]
    for _ in range(_ALIGNED):
        mean = np.add.reduceat(moved * weight, first) / np.maximum(count, 1)[:, None]
        slope = np.gradient(mean, axis=1)
        own, steep = mean[block], slope[block]
        by = ((moved - own) * steep).sum(axis=1) / np.maximum((steep**2).sum(axis=1), 1e-6)
        shift = np.clip(shift - by, -_FARTHEST_PX / STEP_PX, _FARTHEST_PX / STEP_PX)
        x = np.clip(here[None] + shift[:, None], 0, profile.shape[1] - 1).astype(np.float32)
        y = np.broadcast_to(np.arange(len(profile), dtype=np.float32)[:, None], x.shape)
        moved = _looked_up(profile, x, y)
    mean = np.add.reduceat(moved * weight, first) / np.maximum(count, 1)[:, None]
    return _centred(mean), count


def _centred(mean: np.ndarray) -> np.ndarray:
    """Profiles moved so that they first pass the middle of their range in the middle sample."""
    half = 0.5 * (mean.max(axis=1) + mean.min(axis=1))[:, None]
    k = np.maximum(np.argmax(mean < half, axis=1), 1)
    own = np.arange(len(mean))
    before, after = mean[own, k - 1], mean[own, k]
    fall = before - after
    at = k - 1 + np.clip((before - half[:, 0]) / np.where(fall > 0, fall, 1), 0, 1)
    x = np.arange(mean.shape[1])[None] + (at - mean.shape[1] // 2)[:, None]
    x = np.clip(x, 0, mean.shape[1] - 1)
    return _looked_up(mean, x, np.broadcast_to(own[:, None], x.shape))


def _looked_up(profile: np.ndarray, x: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Profiles at fractional samples, linear."""
    low = np.minimum(x.astype(int), profile.shape[1] - 2)
    part = x - low
    row = y.astype(int)
    return np.asarray(profile[row, low] * (1 - part) + profile[row, low + 1] * part)


@dataclass(frozen=True)
class _Dictionary:
    """Model profiles: K models of m samples. `base`, (K, m, 2 or 3), holds a constant and the steps of each;
    `spans`, (2 or 3, m, K), the same made orthonormal."""

    place: np.ndarray
    thick: np.ndarray
    sigma: np.ndarray
    base: np.ndarray
    spans: np.ndarray

    def best(self, mean: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Least sum of squares left of each profile, and the model that leaves it."""
        left, at = np.empty(len(mean)), np.empty(len(mean), int)
        for a in range(0, len(mean), _AT_ONCE):
            part = mean[a : a + _AT_ONCE].astype(np.float32)
            # Not by BLAS, whose threads would change the last digits.
            held = sum(cv2.gemm(part, span, 1.0, None, 0.0) ** 2 for span in self.spans)
            best = np.argmax(held, axis=1)
            at[a : a + _AT_ONCE] = best
            left[a : a + _AT_ONCE] = (part**2).sum(axis=1) - held[np.arange(len(part)), best]
        return left, at

    def heights(self, mean: np.ndarray, at: np.ndarray) -> np.ndarray:
        """Constant and heights of the steps, (n, 2 or 3), of chosen models."""
        return np.array(
            [np.linalg.lstsq(self.base[k], y, rcond=None)[0] for y, k in zip(mean, at, strict=True)]
        )


@cache
def _dictionary(samples: int, steps: int) -> _Dictionary:
    """Profiles of one step, blurred or out of focus too, or of two."""
    t = (np.arange(samples) - samples // 2) * STEP_PX
    farthest = max(_THICK) if steps == 2 else 0.0
    places = np.arange(-farthest - _OFF_CENTRE, _OFF_CENTRE + 0.01, _PLACE)
    place, sigma = (part.ravel() for part in np.meshgrid(places, _SIGMAS, indexing="ij"))
    parts: list[tuple[np.ndarray, ...]] = []
    if steps == 1:
        for radius in _DISCS:
            some = (radius == 0) | (sigma <= _IN_DISC)
            parts.append(
                (
                    place[some],
                    np.zeros(np.count_nonzero(some)),
                    sigma[some],
                    _defocused(place[some], sigma[some], radius, t),
                )
            )
        place, thick, sigma, *columns = (np.concatenate(part) for part in zip(*parts, strict=True))
    else:
        for d in _THICK:
            some = (sigma * _TO_BLUR <= d) & (place >= -d - _OFF_CENTRE)
            parts.append((place[some], np.full(np.count_nonzero(some), d), sigma[some]))
        place, thick, sigma = (np.concatenate(part) for part in zip(*parts, strict=True))
        columns = [step(place, sigma, t), step(place + thick, sigma, t)]
    base = np.stack([np.ones_like(columns[0]), *columns], axis=2)
    spans = np.ascontiguousarray(np.linalg.qr(base)[0].transpose(2, 1, 0), np.float32)
    return _Dictionary(place, thick, sigma, base, spans)


def _defocused(place: np.ndarray, sigma: np.ndarray, radius: float, t: np.ndarray) -> np.ndarray:
    """Steps blurred by a Gaussian and a disc: the mean of steps over the disc's chords, shape (K, m)."""
    if radius == 0:
        return step(place, sigma, t)
    x = np.cos((np.arange(_CHORDS) + 0.5) * np.pi / _CHORDS)
    weight = 1 - x**2  # length of a chord times the distance to the next
    total = np.zeros((len(place), len(t)))
    for a, w in zip(x, weight / weight.sum(), strict=True):
        total += w * step(place + radius * a, sigma, t)
    return total


def step(place: np.ndarray, sigma: np.ndarray, t: np.ndarray) -> np.ndarray:
    """Blurred steps down from 1 to 0 at places, shape (K, m)."""
    z = np.clip((t[None] - place[:, None]) / sigma[:, None], -6, 6)
    return np.asarray(_tail()[np.rint((z + 6) * 200).astype(int)])


@cache
def _tail() -> np.ndarray:
    """Share of a normal distribution beyond -6 to 6 standard deviations, at steps of 0.005."""
    return np.array([0.5 * erfc(z / sqrt(2)) for z in np.linspace(-6, 6, 2401)])


def _judge(
    profile: np.ndarray,
    at: np.ndarray,
    two: _Dictionary,
    model: int,
    heights: np.ndarray,
    out: np.ndarray,
) -> None:
    """Writes the level to `out` where stations follow two steps rather than one."""
    own = cv2.blur(np.ascontiguousarray(profile[at]), (1, _AVERAGED), borderType=cv2.BORDER_REPLICATE)
    t = (np.arange(profile.shape[1]) - profile.shape[1] // 2) * STEP_PX
    sigma, thick = two.sigma[model : model + 1], float(two.thick[model])
    places = np.arange(-_FARTHEST, _FARTHEST + 0.01, _PLACE)
    sigmas = np.repeat(sigma, len(places))
    base, metal, layer = heights
    single = base + (metal + layer) * step(places, sigmas, t)
    both = base + metal * step(places, sigmas, t) + layer * step(places + thick, sigmas, t)
    left = [((own[:, None] - shape[None]) ** 2).sum(axis=2).min(axis=1) for shape in (both, single)]
    found = left[0] < left[1]
    inner = float(step(np.array([0.0]), sigma, np.array([-thick]))[0, 0])
    out[at[found]] = base + metal / 2 + layer * inner

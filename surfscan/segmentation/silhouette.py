"""Silhouette of struts: what is metal and what is open background on a picture of a thin part."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import cv2
import numpy as np

from surfscan.preparation.noise import pixel_noise
from surfscan.segmentation.class_levels import ClassLevels, disc, local_levels
from surfscan.segmentation.grouped import distance_inside
from surfscan.segmentation.illumination import fit_illumination
from surfscan.segmentation.mixture import two_level_split
from surfscan.segmentation.through_pits import Holes, judge_holes

Polarity = Literal["auto", "dark", "light"]

SMALLEST_PART_PX = 25
"""A part of fewer pixels is dirt or noise, not a fragment of a strut."""

_GRID_SIDE = 384  # px a side of the reduced picture on which light and polarity are judged
_SMOOTHING = 0.7  # standard deviation, px, before the threshold ...
_NOISY, _NOISY_SMOOTHING = 0.08, 1.4  # ... and where pixel noise passes this share of the contrast
_DEEP = (2, 4)  # px from the edge between which both classes must have reached their levels
_LEAST_DEEP_PX, _LEAST_DEEP = 50, 0.25  # pixels there; share of a class that lies that deep or deeper
_SAMPLES = 50_000  # pixels looked at there
_STEP = 0.6  # ... to this share of the contrast ...
_NEAR, _SHARP, _LEAST_STEP = (
    (1, 2),
    0.55,
    0.3,
)  # ... or to this one, if that share of it comes this near the edge
_CONTRAST_TO_SPREAD = 3.0  # common practice, no source
_DOUBTFUL_POLARITY = 1.25  # one class is thinner, or rarer along the frame, by less than this factor
_BEYOND = (
    0.6  # further beyond the background's level than this share of the contrast: a glint, not background
)
_THIRD, _THIRD_PEAK, _THIRD_SHARE = (0.15, 0.85), 1.5, 0.05  # a third grey: where, how clear, how much of it
_EVEN, _EVEN_LIMIT = 0.06, 0.12  # spread of an even class, and how far off its pixels may be
_BETWEEN, _MOST_BETWEEN = 0.2, 0.2  # so near half level, of the contrast; at most this share of the pixels
_ROUNDS = 2


_SMALLEST_SIDE = 16  # px
_NO_STEP = "No strut was found: nowhere does the grey step between two levels as at an edge."
_NO_STEP_REMEDY = (
    "The picture shows no strut, or a strut wider than the field or under 6 px wide, or is out of focus: "
    "take one that shows both edges of the strut and background beside them."
)


class NoStrutError(ValueError):
    """The picture shows nothing whose width could be measured.

    Attributes
    ----------
    fault, remedy : str
        What is wrong and what to do, in plain words.
    """

    def __init__(self, fault: str, remedy: str) -> None:
        super().__init__(f"{fault} {remedy}")
        self.fault, self.remedy = fault, remedy


@dataclass(frozen=True)
class Silhouette:
    """Struts told from the background.

    Attributes
    ----------
    mask : ndarray of shape (M, N), bool
        Metal with whatever clings to it above half contrast; through-pits are background.
    through_pits : ndarray of shape (M, N), bool
        Open spots inside a strut, smaller across than the strut: no part of `mask`.
    grey : ndarray of shape (M, N), float32
        The picture the levels refer to: luminance, or the colour channel that tells struts best.
    polarity : {"dark", "light"}
        Whether struts are darker or lighter than the background.
    levels : ClassLevels
        Local grey of metal and background.
    noise : float
        Standard deviation of the pixel noise, grey.
    glints : ndarray of shape (M, N), bool
        Spots inside a strut that differ from it and yet are no background (glints, stains): part of `mask`.
    warnings : tuple of str
    """

    mask: np.ndarray
    through_pits: np.ndarray
    glints: np.ndarray
    grey: np.ndarray
    polarity: Literal["dark", "light"]
    levels: ClassLevels
    noise: float
    warnings: tuple[str, ...] = ()

    @property
    def solid(self) -> np.ndarray:
        """Mask with its through-pits closed, shape (M, N), bool."""
        return self.mask | self.through_pits


def find_silhouette(
    pixels: np.ndarray,
    *,
    valid: np.ndarray | None = None,
    polarity: Polarity = "auto",
    holes: Holes = "auto",
) -> Silhouette:
    """Tell struts from the background.

    Parameters
    ----------
    pixels : ndarray of shape (M, N) or (M, N, 3)
        Grey or colour; not-a-number where nothing was recorded.
    valid : ndarray of shape (M, N), bool, optional
        Pixels to use (not the data strip, not a scale bar).
    polarity : {"auto", "dark", "light"}
        Whether struts are darker (backlit) or lighter than the background. "auto" takes for struts the class
        that is thinner (median of the peaks of the distance to the other class) and rarer along the frame;
        the two ratios multiplied decide (common practice, no source).
    holes : {"auto", "through", "filled"}
        What an open spot inside a strut is; see `surfscan.segmentation.through_pits`.

    Returns
    -------
    Silhouette

    Raises
    ------
    NoStrutError
        If there are no two classes of grey with an edge between them, or the picture is under 16 px high or
        wide.
    ValueError
        If the arrays do not fit together.
    """
    if pixels.ndim not in (2, 3):
        raise ValueError(f"a picture is needed, got shape {pixels.shape}")
    if min(pixels.shape[:2]) < _SMALLEST_SIDE:
        raise NoStrutError(
            f"The picture is {pixels.shape[1]} x {pixels.shape[0]} px: too small to show a strut between "
            "backgrounds.",
            f"Take one of at least {_SMALLEST_SIDE} px a side.",
        )
    grey, used = _telling_channel(pixels, valid)
    noise = pixel_noise(grey)
    light = _two_classes(_light_class(grey, used), used)
    levels = local_levels(grey, light, ~light, used)
    smoothed, noise_share = _smoothed(grey, noise, levels)
    for _ in range(_ROUNDS):
        light = _two_classes(smoothed > levels.half(grey.shape), used)
        levels = local_levels(grey, light, ~light, used)
    found, doubt = polarity_of(smoothed > levels.half(grey.shape), used)
    stated = found if polarity == "auto" else polarity
    warnings = _polarity_warnings(found, doubt, polarity)
    if stated == "dark":
        levels = levels.swapped()
    share = levels.share_inside(smoothed)
    struts, whole = share > _level_between(share, used), share > 0.5
    one_class = np.array_equal(struts, whole) and _share_in_between(share, used) > _MOST_BETWEEN
    if one_class or not any(_steps_at_the_edge(grey, cut, used, levels) for cut in (whole, struts)):
        raise NoStrutError(_NO_STEP, _NO_STEP_REMEDY)
    struts = (struts | (share < -_BEYOND)) & used
    judged = judge_holes(struts, share, used, holes)
    mask, dropped = _without_specks(judged.mask)
    if not mask.any():
        raise NoStrutError("No strut was found.", "Check the polarity (struts darker or lighter) and focus.")
    if dropped > 0:
        warnings.append(f"{dropped} specks under {SMALLEST_PART_PX} px were left out.")
    if noise_share > _NOISY:
        warnings.append(
            f"Noise is {noise_share:.0%} of the contrast between strut and background: edges are uncertain."
        )
    background = ~(mask | judged.through_pits)
    between = _between_the_levels(share, mask, background & used)
    levels = local_levels(grey, mask, background & ~between, used, glints=judged.glints | (between & mask))
    return Silhouette(
        mask,
        judged.through_pits & ~mask,
        judged.glints & mask,
        grey,
        stated,
        levels,
        noise,
        (*warnings, *judged.warnings),
    )


def given_silhouette(
    pixels: np.ndarray, mask: np.ndarray, *, valid: np.ndarray | None = None, holes: Holes = "auto"
) -> Silhouette:
    """Struts as somebody outlined them, with the levels that edges are located by read from the picture.

    Parameters
    ----------
    pixels : ndarray of shape (M, N) or (M, N, 3)
    mask : ndarray of shape (M, N), bool
        Metal.
    valid, holes
        As for `find_silhouette`.

    Returns
    -------
    Silhouette

    Raises
    ------
    NoStrutError
        If the mask is empty or full.
    ValueError
        If the arrays do not fit together.
    """
    grey, used = _telling_channel(pixels, valid)
    if mask.shape != grey.shape:
        raise ValueError(f"the mask has shape {mask.shape}, the picture {grey.shape}")
    struts = mask.astype(bool) & used
    if not struts.any() or not (used & ~struts).any():
        raise NoStrutError(
            "The mask outlines no strut, or the whole field.", "Give a mask of the metal with background."
        )
    levels = local_levels(grey, struts, ~struts, used)
    stated: Literal["dark", "light"] = "light" if _median_step(levels) > 0 else "dark"
    judged = judge_holes(struts, levels.share_inside(grey), used, holes)
    return Silhouette(
        judged.mask,
        judged.through_pits,
        judged.glints & judged.mask,
        grey,
        stated,
        levels,
        pixel_noise(grey),
        judged.warnings,
    )


def _two_classes(light: np.ndarray, used: np.ndarray) -> np.ndarray:
    """The lighter class, where either class has pixels at all."""
    if not (light & used).any() or not (~light & used).any():
        raise NoStrutError(_NO_STEP, _NO_STEP_REMEDY)
    return light


def _median_step(levels: ClassLevels) -> float:
    return float(np.median(levels.inside - levels.outside))


def _telling_channel(pixels: np.ndarray, valid: np.ndarray | None) -> tuple[np.ndarray, np.ndarray]:
    """Grey as float32 without gaps, and which pixels may be used.

    Of a colour picture the luminance is taken unless one channel splits half as well again.
    """
    if pixels.ndim == 3:
        planes = [cv2.cvtColor(np.ascontiguousarray(pixels[..., :3]), cv2.COLOR_RGB2GRAY)]
        planes += [pixels[..., k] for k in range(3)]
        merits = [_merit(plane) for plane in planes]
        best = int(np.argmax(merits))
        grey = planes[best if merits[best] > 1.5 * merits[0] else 0]
    else:
        grey = pixels
    grey = np.ascontiguousarray(grey, np.float32)
    if valid is not None and valid.shape != grey.shape:
        raise ValueError(f"valid has shape {valid.shape}, the picture {grey.shape}")
    used = np.ones(grey.shape, bool) if valid is None else valid.astype(bool)
    gaps = ~np.isfinite(grey)
    if gaps.any():
        used &= ~gaps
        grey = np.where(gaps, np.float32(np.median(grey[~gaps]) if not gaps.all() else 0), grey)
    if np.count_nonzero(used) < 256:
        raise NoStrutError("Fewer than 256 pixels can be used.", "Check the picture and the region.")
    return grey, used


def _merit(plane: np.ndarray) -> float:
    """Contrast of the best two-level split over the spread inside its classes."""
    step = max(1, min(plane.shape) // 200)
    values = plane[::step, ::step].astype(float).ravel()
    values = values[np.isfinite(values)]
    split = two_level_split(values) if values.size else 0.0
    low, high = values[values <= split], values[values > split]
    if min(low.size, high.size) < 10:
        return 0.0
    return float((high.mean() - low.mean()) / (np.sqrt(0.5 * (low.var() + high.var())) + 1e-9))


def _light_class(grey: np.ndarray, used: np.ndarray) -> np.ndarray:
    """First guess of the lighter class, with what smooth uneven light takes away put back."""
    step = max(1, round(max(grey.shape) / _GRID_SIDE))
    shape = (max(4, grey.shape[1] // step), max(4, grey.shape[0] // step))
    small = cv2.resize(grey, shape, interpolation=cv2.INTER_AREA)
    valid = cv2.resize(used.view(np.uint8), shape, interpolation=cv2.INTER_NEAREST) > 0
    low = float(small[valid].min())
    if float(small[valid].max()) - low < 1e-6 * max(1.0, abs(low)):
        raise NoStrutError(
            "The picture is of one grey: it shows no strut, or a strut that fills the field.",
            "Take a picture that shows both edges of the strut and background beside them.",
        )
    light = fit_illumination(small, valid)
    ratio = small[valid] / light.at(small.shape)[valid]
    split = two_level_split(ratio)
    surface = cv2.resize(light.at(small.shape), grey.shape[::-1], interpolation=cv2.INTER_LINEAR)
    return np.asarray(cv2.GaussianBlur(grey, (0, 0), _SMOOTHING) > np.float32(split) * surface)


def _smoothed(grey: np.ndarray, noise: float, levels: ClassLevels) -> tuple[np.ndarray, float]:
    """Picture for the threshold, and pixel noise as a share of the contrast."""
    share = noise / max(levels.contrast, 1e-12)
    sigma = _SMOOTHING if share <= _NOISY else _NOISY_SMOOTHING
    return np.asarray(cv2.GaussianBlur(grey, (0, 0), sigma)), share


def _steps_at_the_edge(grey: np.ndarray, struts: np.ndarray, used: np.ndarray, levels: ClassLevels) -> bool:
    """Whether the two classes are two: a step at the edge that is not lost in the spread.

    Where something clings to the edges the step there is smaller; then it must be a sharp one.
    """
    near, far = (_beside_the_edge(grey, struts, used, levels, reach) for reach in (_NEAR, _DEEP))
    if far is None:
        return False
    step, spread = far
    sharp = near is not None and near[0] >= _SHARP * step
    return step >= (_LEAST_STEP if sharp else _STEP) and step >= _CONTRAST_TO_SPREAD * spread


def _beside_the_edge(
    grey: np.ndarray, struts: np.ndarray, used: np.ndarray, levels: ClassLevels, reach: tuple[int, int]
) -> tuple[float, float] | None:
    """Step between pixels on either side of the edge, so far from it, and the lesser spread of the two sides.

    As shares of the contrast; None where a class has next to no pixels that far from the other.
    """
    sides: list[np.ndarray] = []
    for part in (struts, ~struts):
        inside = part & used
        near, far = (
            cv2.erode(inside.view(np.uint8), disc(radius), borderValue=1).astype(bool) & used
            for radius in reach
        )
        where = np.flatnonzero(near & ~far)
        if where.size < _LEAST_DEEP_PX or np.count_nonzero(near) < _LEAST_DEEP * np.count_nonzero(inside):
            return None
        where = where[:: max(1, where.size // _SAMPLES)]
        inside_level, outside_level = levels.at(*np.divmod(where, grey.shape[1]))
        sides.append((grey.ravel()[where] - outside_level) / (inside_level - outside_level))
    return float(np.median(sides[0]) - np.median(sides[1])), min(_spread(side) for side in sides)


def _share_in_between(share: np.ndarray, used: np.ndarray) -> float:
    """Share of the pixels near half level: few where there are two classes with edges between them."""
    return float(np.mean(np.abs(share[used] - 0.5) < _BETWEEN))


def _level_between(share: np.ndarray, used: np.ndarray) -> float:
    """Where to cut between background (0) and metal (1): half-way, or, where a third grey shows between the
    two (product that clings to the metal), in the valley between it and the metal."""
    step = max(1, round(np.sqrt(share.size / _SAMPLES / 4)))
    values = share[::step, ::step][used[::step, ::step]]
    metal = values[values > 0.5]
    full = metal[metal > _THIRD[1]]
    if not full.size or _spread(full) > _EVEN:
        return 0.5
    count, edges = np.histogram(values, bins=60, range=(0.0, 1.2))
    density = cv2.GaussianBlur(count[None].astype(np.float32), (0, 0), 1.5)[0]
    centre = 0.5 * (edges[1:] + edges[:-1])
    third = (centre > _THIRD[0]) & (centre < _THIRD[1])
    peak = int(np.argmax(np.where(third, density, -1)))
    top = peak + int(np.argmax(density[peak:]))
    valley = peak + int(np.argmin(density[peak : top + 1]))
    enough = density[third].sum() > _THIRD_SHARE * count[centre > _THIRD[1]].sum()
    clear = _THIRD[0] < centre[peak] - 0.02 and density[peak] > _THIRD_PEAK * density[valley]
    return max(0.5, float(centre[valley])) if enough and clear and centre[peak] < centre[valley] else 0.5


def _between_the_levels(share: np.ndarray, mask: np.ndarray, background: np.ndarray) -> np.ndarray:
    """Pixels that show neither class (clinging product, blurred edges), told only where a class is even."""
    out = np.zeros(share.shape, bool)
    for part, level in ((mask, 1.0), (background, 0.0)):
        away = np.abs(share - np.float32(level))
        values = share[part][:: max(1, np.count_nonzero(part) // _SAMPLES)]
        if values.size and _spread(values) < _EVEN:
            out |= part & (away > max(_EVEN_LIMIT, 3 * _spread(values)))
    return out


def _spread(values: np.ndarray) -> float:
    low, high = np.percentile(values, [25, 75])
    return float(high - low) / 1.349


def polarity_of(light: np.ndarray, used: np.ndarray) -> tuple[Literal["dark", "light"], float]:
    """Which of two classes is the struts, and by what factor it is the likelier one.

    Parameters
    ----------
    light, used : ndarray of shape (M, N), bool
        The lighter class; pixels to use.

    Returns
    -------
    polarity : {"dark", "light"}
    factor : float
        1 where nothing tells them apart.
    """
    step = max(1, round(max(light.shape) / _GRID_SIDE))
    shape = (light.shape[1] // step, light.shape[0] // step)
    small = cv2.resize(light.view(np.uint8), shape, interpolation=cv2.INTER_NEAREST).astype(bool)
    valid = cv2.resize(used.view(np.uint8), shape, interpolation=cv2.INTER_NEAREST).astype(bool)
    rows, cols = np.flatnonzero(valid.any(axis=1)), np.flatnonzero(valid.any(axis=0))
    small = small[rows[0] : rows[-1] + 1, cols[0] : cols[-1] + 1]
    frame = np.concatenate([small[0], small[-1], small[:, 0], small[:, -1]])
    widths = [_own_half_width(part) for part in (small, ~small)]
    on_frame = (np.count_nonzero(frame) + 1) / (np.count_nonzero(~frame) + 1)
    factor = widths[0] / widths[1] * on_frame  # above 1: the lighter class is the background
    return ("dark", factor) if factor > 1 else ("light", 1 / factor)


def _own_half_width(part: np.ndarray) -> float:
    """Median height of the peaks of the distance to the other class inside the picture, the size of the
    picture where there is none, for what rises up to the frame has no width."""
    distance = cv2.GaussianBlur(distance_inside(part), (0, 0), 1.0)
    peaks = (distance >= cv2.dilate(distance, np.ones((3, 3), np.uint8))) & (distance > 1)
    values = distance[3:-3, 3:-3][peaks[3:-3, 3:-3]]
    return float(np.median(values)) if values.size else float(max(part.shape))


def _polarity_warnings(found: str, factor: float, stated: str) -> list[str]:
    if stated == "auto" and factor < _DOUBTFUL_POLARITY:
        return [
            f"Struts were taken to be the {found} class, but the other one is hardly less likely: check the "
            "outline and state the polarity."
        ]
    return []


def _without_specks(mask: np.ndarray) -> tuple[np.ndarray, int]:
    """Mask without parts too small to be fragments, and how many those were."""
    n, labels, stats, _ = cv2.connectedComponentsWithStats(mask.view(np.uint8), connectivity=8)
    small = stats[:, cv2.CC_STAT_AREA] < SMALLEST_PART_PX
    small[0] = False
    if not small.any():
        return mask, 0
    keep = ~small
    keep[0] = False
    return keep[labels], int(np.count_nonzero(small[:n]))

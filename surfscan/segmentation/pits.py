"""Dark pits on a micrograph: found by local contrast to noise, outlined at half contrast, judged by shape."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import cv2
import numpy as np

from surfscan.preparation.light import metal_level
from surfscan.preparation.lines import COHERENCE_LIMIT, follow_lines, line_direction
from surfscan.preparation.noise import SpreadMap, pixel_noise, scale_spread, spread_map
from surfscan.segmentation.dark_ground import NEAR, DarkGround, limit_names
from surfscan.segmentation.grouped import Ellipses, Workspace, components, contact_px, ellipses, positions
from surfscan.segmentation.levels import dark_objects, passed
from surfscan.segmentation.masks import disc
from surfscan.segmentation.outlines import Outlined, edge_width, outline
from surfscan.segmentation.scratches import continues_beyond
from surfscan.segmentation.shapes import part_shapes

_LIGHT_SCALE_PX = 64.0
_FINE_SCALE_PX = 32.0
_LINE_LENGTH_PX = 60.0
_SMOOTHING_PX = (1.0, 2.0)
_NOISE_SHARE = 0.16
_SEED_SHARE = 0.8
_LINE_TAILS = 1.9
_THIN = (slice(None, None, 4), slice(None, None, 4))
_BRIGHT = 0.15
_COMPACT = 1.6
_WIDEST_SCRATCH_PX = 10.0
_SOFT_PX, _SOFT_SHARE = 10.0, 0.95
_SLIVER = 6.0

CRACK_LIKE = "crack-like: long and thin, or part of a longer dark line"
SOFT_EDGED = "soft edge: shades off over its own radius, as a stain does"
ALONG_EDGE = "runs along the edge of the picture: a dark surround, or too little of a pit to tell"
JUST_BELOW = "just below a limit: "


@dataclass(frozen=True)
class DarkPits:
    """What was found.

    Attributes
    ----------
    labels : ndarray of shape (M, N), int32
        Pits, 1 to n.
    contrast, contrast_to_noise : ndarray of shape (n,), float64
        Of each pit.
    near_limit : ndarray of shape (n,), str
        Limits that a pit passed by less than a quarter; empty where none.
    review : ndarray of shape (M, N), int32
        Features for a person to look at, 1 to m; not counted as pits.
    review_contrast, review_contrast_to_noise : ndarray of shape (m,), float64
    review_reason : ndarray of shape (m,), str
    dark_left_fraction : float
        Share of the specimen that passes the limits and lies in no label.
    bright_fraction : float
        Share of the specimen that is clearly brighter than what was taken for metal.
    followed_lines : bool
        Whether lines of machining, rolling or polishing were taken for texture.
    smoothing_px : float
        Standard deviation of the Gaussian that sets the working resolution, px.
    """

    labels: np.ndarray
    contrast: np.ndarray
    contrast_to_noise: np.ndarray
    near_limit: np.ndarray
    review: np.ndarray
    review_contrast: np.ndarray
    review_contrast_to_noise: np.ndarray
    review_reason: np.ndarray
    dark_left_fraction: float
    bright_fraction: float
    followed_lines: bool
    smoothing_px: float

    def laid_over(self, shape: tuple[int, int], window: tuple[slice, slice]) -> DarkPits:
        """The same finds with labels on a picture of `shape`, of which `window` was searched."""
        labels, review = np.zeros(shape, np.int32), np.zeros(shape, np.int32)
        labels[window], review[window] = self.labels, self.review
        return replace(self, labels=labels, review=review)


def find_dark_pits(
    grey: np.ndarray,
    *,
    region: np.ndarray | None = None,
    min_contrast: float,
    min_contrast_to_noise: float,
    min_diameter_px: float,
    max_aspect: float,
) -> DarkPits:
    """Find pits darker than the metal round them.

    Contrast is taken against the grey that bare metal would have there (uneven light, and lines that run
    one way over the whole field, are followed). At a working resolution set by the noise, objects are found
    darkest first, parted by shape, and outlined where the contrast is half between the median of the floor
    and the median of the surroundings. Grey is not depth: nothing here says how deep a pit is.

    Parameters
    ----------
    grey : ndarray of shape (M, N), uint8, uint16 or float32
        Bright is high.
    region : ndarray of shape (M, N), bool, optional
        The specimen; everything where not given.
    min_contrast : float
        Smallest contrast, 1 minus floor over surrounding metal.
    min_contrast_to_noise : float
        Smallest contrast in units of the spread of the metal, both of its local spread at the working
        resolution and of its patchiness at the size of the object.
    min_diameter_px : float
        Smallest equivalent diameter, px.
    max_aspect : float
        Largest ratio of length to width.

    Returns
    -------
    DarkPits
    """
    found, _ = search_dark_pits(
        grey,
        region=region,
        min_contrast=min_contrast,
        min_contrast_to_noise=min_contrast_to_noise,
        min_diameter_px=min_diameter_px,
        max_aspect=max_aspect,
    )
    return found


def search_dark_pits(
    grey: np.ndarray,
    *,
    region: np.ndarray | None = None,
    min_contrast: float,
    min_contrast_to_noise: float,
    min_diameter_px: float,
    max_aspect: float,
) -> tuple[DarkPits, DarkGround]:
    """`find_dark_pits`, and what it found out about the metal, by which other outlines can be judged."""
    space = Workspace((int(grey.shape[0]), int(grey.shape[1])))
    contrast, smoothing, followed = _contrast(grey, region, space)
    spread = spread_map(contrast, region)
    if followed:
        spread = SpreadMap(spread.grid * np.float32(_LINE_TAILS), spread.shape)
    dark = passed(
        contrast,
        spread,
        min_contrast=_SEED_SHARE * min_contrast,
        min_contrast_to_noise=min_contrast_to_noise,
    )
    mask = cv2.morphologyEx(dark_objects(contrast, dark, region, space=space), cv2.MORPH_OPEN, disc(1))
    metal = 1 - (cv2.dilate(dark.candidate, disc(1)) & 1)
    seed = dark.seed[_THIN] > 0
    del dark
    if region is not None:
        metal &= region.view(np.uint8)
    labels, cracks = part_shapes(mask, space)
    drawn = outline(labels, contrast, metal, space.real, smoothing_px=smoothing, space=space)
    del labels
    if region is not None:
        drawn.labels[~region] = 0
    with ThreadPoolExecutor(1) as beside:
        patchiness = beside.submit(scale_spread, contrast, metal)
        form = ellipses(drawn.labels, len(drawn.floor) - 1)
    limits = (min_contrast, min_contrast_to_noise, min_diameter_px)
    ground = DarkGround(contrast, metal, spread, patchiness.result(), limits)
    found = _judge(
        ground,
        drawn,
        form,
        cracks,
        max_aspect=max_aspect,
        followed=followed,
        smoothing=smoothing,
        space=space,
    )
    inside = np.ones(seed.shape, bool) if region is None else region[_THIN]
    left = seed & (found.labels[_THIN] == 0) & (found.review[_THIN] == 0)
    bright = contrast[_THIN] < -_BRIGHT
    found = replace(
        found,
        dark_left_fraction=float(np.mean(left[inside])) if inside.any() else 0.0,
        bright_fraction=float(np.mean(bright[inside])) if inside.any() else 0.0,
    )
    return found, ground


def _contrast(
    grey: np.ndarray, region: np.ndarray | None, space: Workspace
) -> tuple[np.ndarray, float, bool]:
    """Contrast at the working resolution, its smoothing in px, and whether lines were followed."""
    metal = metal_level(grey, scale_px=_LIGHT_SCALE_PX, fine_px=_FINE_SCALE_PX, valid=region).full()
    np.maximum(metal, 1e-6 * max(float(metal.max()), 1e-30), out=metal)
    contrast = np.divide(grey, metal, out=metal, dtype=np.float32)
    np.subtract(1.0, contrast, out=contrast)
    np.clip(contrast, -1.0, 1.0, out=contrast)
    if region is not None:
        contrast[~region] = 0.0
    noise = pixel_noise(contrast)
    smoothing = float(np.clip(noise / (2 * np.sqrt(np.pi)) / (_NOISE_SHARE * 0.08), *_SMOOTHING_PX))
    cv2.GaussianBlur(contrast, (0, 0), smoothing, dst=space.real)
    contrast, space.real = space.real, contrast
    across, coherence = line_direction(contrast, region)
    followed = coherence > COHERENCE_LIMIT
    if followed:
        contrast = follow_lines(contrast, across, length_px=_LINE_LENGTH_PX, valid=region)
        if region is not None:
            contrast[~region] = 0.0
    return contrast, smoothing, followed


def _judge(
    ground: DarkGround,
    drawn: Outlined,
    form: Ellipses,
    cracks: np.ndarray,
    *,
    max_aspect: float,
    followed: bool,
    smoothing: float,
    space: Workspace,
) -> DarkPits:
    """Sort the outlined objects into pits, features for review, and what is too small or too faint."""
    n = len(drawn.floor) - 1
    contrast, limits = ground.contrast, ground.limits
    judged = ground.judge(drawn.floor, drawn.surround, form.row, form.col, form.area)
    strength, relative, to_noise = judged.strength, judged.contrast, judged.contrast_to_noise
    width = 2 * np.maximum(drawn.depth_px, 0.5)
    aspect = np.maximum(form.aspect, form.area / width**2)

    long = (aspect > max_aspect) & (form.area > 0)
    compact = (form.area > 0) & (form.aspect < _COMPACT)
    asked = np.flatnonzero((form.area > 0) & ~(compact & (form.half_width > _WIDEST_SCRATCH_PX / 2)))
    where = positions(drawn.labels)
    label = drawn.labels.ravel()[where]
    thickness = np.zeros(contrast.shape, np.uint8)
    thickness.ravel()[where] = np.where(compact, np.minimum(drawn.depth_px, 255), 0)[label]
    goes_on = np.zeros(n + 1, bool)
    goes_on[asked] = continues_beyond(
        contrast,
        thickness,
        form.row[asked],
        form.col[asked],
        form.half_width[asked],
        form.half_length[asked],
        strength[asked],
        drawn.surround[asked],
    )
    soft = edge_width(drawn.labels, contrast, strength) > np.maximum(
        _SOFT_PX, _SOFT_SHARE * judged.diameter / 2
    )
    ratios = judged.ratios
    real = (form.area > 0) & (ratios.min(axis=0) >= 1)
    almost = (form.area > 0) & (ratios.min(axis=0) >= 1 / NEAR) & ~real
    sliver = contact_px(drawn.labels, n) ** 2 > _SLIVER * form.area
    pit = real & ~long & ~goes_on & ~soft & ~sliver
    listed = (real | almost) & ~pit
    near = ratios < NEAR
    near_pits = zip(np.flatnonzero(pit).tolist(), np.any(near[:, pit], axis=0).tolist(), strict=True)
    below = ratios < 1
    cracked = long | goes_on
    reasons = [
        ALONG_EDGE
        if sliver[k]
        else CRACK_LIKE
        if cracked[k]
        else SOFT_EDGED
        if soft[k]
        else JUST_BELOW + limit_names(below[:, k])
        for k in np.flatnonzero(listed).tolist()
    ]
    review = np.zeros_like(drawn.labels)
    review.ravel()[where] = np.where(listed, np.cumsum(listed), 0)[label]
    pits = drawn.labels
    pits.ravel()[where] = np.where(pit, np.cumsum(pit), 0)[label]
    crack_contrast, crack_noise = _add_cracks(review, pits, cracks, contrast, ground.spread, limits, space)
    reasons += [CRACK_LIKE] * len(crack_contrast)
    return DarkPits(
        labels=pits,
        contrast=relative[pit],
        contrast_to_noise=to_noise[pit],
        near_limit=np.array([limit_names(near[:, k]) if close else "" for k, close in near_pits], dtype=str),
        review=review,
        review_contrast=np.concatenate([relative[listed], crack_contrast]),
        review_contrast_to_noise=np.concatenate([to_noise[listed], crack_noise]),
        review_reason=np.array(reasons, dtype=str),
        dark_left_fraction=0.0,
        bright_fraction=0.0,
        followed_lines=followed,
        smoothing_px=smoothing,
    )


def _add_cracks(
    review: np.ndarray,
    pits: np.ndarray,
    cracks: np.ndarray,
    contrast: np.ndarray,
    spread: SpreadMap,
    limits: tuple[float, float, float],
    space: Workspace,
) -> tuple[np.ndarray, np.ndarray]:
    """Put the crack-like arms among the features for review, in place, where nothing else lies.

    Returns their contrasts and contrasts to noise.
    """
    where = np.flatnonzero(cracks.view(bool))
    where = where[(review.ravel()[where] == 0) & (pits.ravel()[where] == 0)]
    free = np.zeros_like(cracks)
    free.ravel()[where] = 1
    n, parts = components(free, space.spare)
    label = parts.ravel()[where]
    area = np.bincount(label, minlength=n + 1)
    mean = np.bincount(label, contrast.ravel()[where], n + 1) / np.maximum(area, 1)
    keep = (area >= np.pi / 4 * limits[2] ** 2) & (mean >= limits[0])
    review.ravel()[where] = np.where(keep, int(review.max()) + np.cumsum(keep), 0)[label]
    row, col = (np.bincount(label, place, n + 1) for place in np.divmod(where, pits.shape[1]))
    noise = spread.at(row[keep] / area[keep], col[keep] / area[keep])
    return mean[keep], mean[keep] / noise

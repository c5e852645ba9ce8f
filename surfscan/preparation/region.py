"""Specimen region: which pixels of a picture show the specimen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from surfscan.errors import InputError
from surfscan.preparation.strip import DataStrip

SMALLEST_REGION_PX = 100
"""Fewer specimen pixels than this are refused: nothing measured on them could be defended."""

_GRID_SIDE = 512  # the background is looked for on a picture reduced to about this many pixels a side
_SIDE_COVERED = 0.6  # share of one side of the picture along which a background must run
_LARGEST = 0.85  # a background larger than this share of the frame is not believed
_DARK = 0.30  # a dark background is at most this share of the grey of the metal beside it ...
_NEAR_BLACK = 0.20  # ... and of the picture's bright end
_LIGHT = 0.75  # metal before a light background is at most this share of its grey ...
_NEAR_WHITE = 0.92  # ... which is at least this share of the picture's bright end
_WHITE = 0.85  # ... and, in an 8-bit picture, this share of white: bright metal round a wide pit is no table
_EVEN, _EVEN_LIGHT = 0.35, 0.06  # 10 to 90 % spread inside a background, as a share of the step to the metal
_STEP = 0.25  # a step has risen by this share of its height, above half-way, within 2 grid steps ...
_SHARP = 0.7  # ... on this share of the outline
_ISLANDS = 0.003  # small islands in a background, as a share of it
_SAME_PX = 1e-3  # distances come out a little different on other numbers of threads
_NOTCH = 0.04  # size of the largest notch that belongs to the specimen, as a share of the frame's short side


@dataclass(frozen=True)
class Region:
    """Where the specimen is.

    Attributes
    ----------
    mask : ndarray of shape (M, N), bool, or None
        True on the specimen; None where the specimen fills the frame.
    frame : tuple of int
        Counting frame (row0, row1, col0, col1), ends excluded: the picture without its data strip.
    origin : str
        How the region came about, in plain words.
    warnings : tuple of str
    """

    mask: np.ndarray | None
    frame: tuple[int, int, int, int]
    origin: str
    warnings: tuple[str, ...] = ()

    def full_mask(self, shape: tuple[int, int]) -> np.ndarray:
        """The region as a bool mask over the whole picture of `shape`, also where `mask` is None."""
        if self.mask is not None:
            return self.mask
        out = np.zeros(shape, bool)
        out[self.frame[0] : self.frame[1], self.frame[2] : self.frame[3]] = True
        return out


def specimen_region(
    grey: np.ndarray,
    *,
    mode: Literal["auto", "everything"] = "auto",
    given: np.ndarray | None = None,
    strip: DataStrip | None = None,
    overlays: Sequence[tuple[int, int, int, int]] = (),
    path: str | None = None,
) -> Region:
    """Decide which pixels show the specimen.

    Parameters
    ----------
    grey : ndarray of shape (M, N)
        Luminance.
    mode : {"auto", "everything"}
        "everything" takes the whole frame. "auto" leaves out a background that is connected to the border,
        runs along at least 60 % of one side, is even, and ends in a sharp step on 70 % of its outline. A dark
        one is at most 0.30 of the metal beside it and 0.20 of the picture's bright end; before a light one,
        at least 0.92 of that end (8 bits: also 0.85 of white), the metal is at most 0.75 of it. A warning
        says so where a background is left out. Its outline is where the reduced picture
        is half-way between background and metal. Notches in that outline (pits that reach the specimen's
        edge) stay with the specimen where a closing by a disc of radius 8 % of the frame's short side fills
        them and their area is below the square of half that radius. Where any of this is in doubt everything
        is taken: a shaded but metallic edge stays in.
        The limits are common practice, no source.
    given : ndarray of shape (M, N), optional
        A mask made elsewhere, non-zero on the specimen; it overrules `mode`.
    strip : DataStrip, optional
        Left out in every case.
    overlays : sequence of (int, int, int, int)
        (row0, row1, col0, col1), ends excluded, of what was drawn over the picture (a scale bar and its
        label); left out in every case.
    path : str, optional
        Image file, for messages.

    Returns
    -------
    Region

    Raises
    ------
    InputError
        If `given` has another size than the picture or marks nothing, or if fewer than
        `SMALLEST_REGION_PX` recorded pixels are left.
    """
    shape = (int(grey.shape[0]), int(grey.shape[1]))
    frame = strip.frame(shape) if strip else (0, shape[0], 0, shape[1])
    inside = (slice(frame[0], frame[1]), slice(frame[2], frame[3]))
    mask: np.ndarray | None
    if given is not None:
        mask, origin = _given_mask(given, shape, inside, path), "given mask"
    else:
        mask, origin = _found_mask(grey, mode, inside, strip)
    warnings: list[str] = []
    if origin.startswith("found") and mask is not None:
        share = 1 - np.count_nonzero(mask[inside]) / mask[inside].size
        tone = "dark" if "dark" in origin else "light"
        warnings.append(
            f"A {tone} background, {100 * share:.0f} % of the field, was left out. If that is metal, set "
            "specimen_region to everything or give a region mask."
        )
    drawn = _clipped(overlays, frame)
    if drawn:
        if mask is None:
            mask = np.zeros(shape, bool)
            mask[inside] = True
        before = int(np.count_nonzero(mask))
        for row0, row1, col0, col1 in drawn:
            mask[row0:row1, col0:col1] = False
        lost = before - int(np.count_nonzero(mask))
        if lost:
            origin += f", without the scale bar drawn on it ({_pixels(lost)})"
    if np.issubdtype(grey.dtype, np.floating):
        recorded = np.isfinite(grey)
        lost = grey[inside].size - int(np.count_nonzero(recorded[inside]))
        if lost:
            if mask is None:
                mask = np.zeros(shape, bool)
                mask[inside] = True
            mask &= recorded
            warnings.append(f"The specimen region leaves out {_pixels(lost)} that held no value.")
    count = grey[inside].size if mask is None else int(np.count_nonzero(mask))
    if count < SMALLEST_REGION_PX:
        raise InputError(
            path,
            f"the specimen region has {_pixels(count)} (origin: {origin}), fewer than {SMALLEST_REGION_PX}",
            "Give a larger image, or a region mask that marks more of the specimen",
        )
    return Region(mask, frame, origin, tuple(warnings))


def _clipped(
    boxes: Sequence[tuple[int, int, int, int]], frame: tuple[int, int, int, int]
) -> list[tuple[int, int, int, int]]:
    """Boxes as far as they lie in the frame, empty ones left out."""
    row0, row1, col0, col1 = frame
    cut = [(max(a, row0), min(b, row1), max(c, col0), min(d, col1)) for a, b, c, d in boxes]
    return [box for box in cut if box[0] < box[1] and box[2] < box[3]]


def _pixels(n: int) -> str:
    return f"{n} pixel" if n == 1 else f"{n} pixels"


def _found_mask(
    grey: np.ndarray, mode: str, inside: tuple[slice, slice], strip: DataStrip | None
) -> tuple[np.ndarray | None, str]:
    """Mask (None for the whole frame) without a given one, and how it came about."""
    without = f", without the data strip along the {strip.edge} edge ({strip.size_px} px)" if strip else ""
    found = _background(grey[inside]) if mode == "auto" else None
    if found is None:
        return None, f"whole picture{without}"
    background, tone = found
    mask = np.zeros(grey.shape, bool)
    np.logical_not(background, out=mask[inside])
    return mask, f"found against a {tone} background{without}"


def _given_mask(
    given: np.ndarray, shape: tuple[int, int], inside: tuple[slice, slice], path: str | None
) -> np.ndarray:
    """The given mask as bool, checked, and only inside the frame."""
    if given.shape != shape:
        size = " x ".join(str(n) for n in given.shape)
        raise InputError(
            path,
            f"the region mask is {size} pixels (rows x columns) but the image is {shape[0]} x {shape[1]}",
            "Give a mask drawn on this very image, at full size",
        )
    mask = np.zeros(shape, bool)
    mask[inside] = np.asarray(given)[inside] != 0
    if not mask.any():
        raise InputError(
            path,
            "the region mask marks no pixel of the specimen",
            "Mark the specimen with any value above 0; everything else must be 0",
        )
    return mask


def _background(grey: np.ndarray) -> tuple[np.ndarray, str] | None:
    """Background of a frame at full size, bool, and its tone; None where there is none beyond doubt."""
    import cv2

    rows, cols = grey.shape
    if min(rows, cols) < 32:
        return None
    step = max(1.0, max(rows, cols) / _GRID_SIDE)
    size = (max(1, round(cols / step)), max(1, round(rows / step)))
    source = grey if grey.dtype in (np.uint8, np.uint16, np.float32) else grey.astype(np.float32)
    small = cv2.resize(source, size, interpolation=cv2.INTER_AREA).astype(np.float32)
    finite = np.isfinite(small)
    if not finite.any():
        return None
    small[~finite] = np.median(small[finite])
    small = cv2.medianBlur(small, 3)
    for tone, signed in (("dark", small), ("light", -small)):
        found = _on_grid(signed, tone)
        if found is not None:
            area, threshold = found
            if tone == "light" and grey.dtype == np.uint8 and np.median(small[area]) < _WHITE * 255:
                continue
            return _at_full_size(signed, area, threshold, (rows, cols)), tone
    return None


def _on_grid(signed: np.ndarray, tone: str) -> tuple[np.ndarray, float] | None:
    """Background on the grid (its values low in `signed`) and the half-way level; None where in doubt."""

    low_end, high_end = np.percentile(signed, [1, 99])
    bright = float(high_end if tone == "dark" else -low_end)
    limit = _NEAR_BLACK * bright if tone == "dark" else -_NEAR_WHITE * bright
    ring = np.concatenate([signed[0], signed[-1], signed[:, 0], signed[:, -1]])
    low, rest = ring[ring <= limit], signed[signed > limit]
    if bright <= 0 or low.size < 8 or rest.size < 8:
        return None
    level, metal = float(np.median(low)), float(np.median(rest))
    for _ in range(2):
        threshold = 0.5 * (level + metal)
        area = _along_border(signed < threshold)
        if not area.any() or np.count_nonzero(area) > _LARGEST * area.size:
            return None
        level = float(np.median(signed[area]))
        beside = signed[_ring(area, 3, 8)]
        metal = float(np.median(beside)) if beside.size else level
    gap = metal - level
    apart = level <= _DARK * metal if tone == "dark" else metal >= _LIGHT * level
    if gap <= 0 or not apart or level > limit:
        return None
    core = area & ~_ring(~area, 0, 2)
    if np.count_nonzero(core) < 0.2 * np.count_nonzero(area):
        return None
    spread = float(np.subtract(*np.percentile(signed[core], [90, 10])))
    # How much of the outline is a step: grey just inside against the half-way level.
    sharp = np.mean(signed[_ring(area, 1, 2.5)] > threshold + _STEP * gap)
    evenness = _EVEN if tone == "dark" else _EVEN_LIGHT
    if spread > evenness * gap or sharp < _SHARP or _island_share(area) > _ISLANDS:
        return None
    return area, threshold


def _island_share(area: np.ndarray) -> float:
    """Small islands inside `area` (each under 1 % of the frame) as a share of it: pores and glyphs."""
    import cv2

    _, _, stats, _ = cv2.connectedComponentsWithStats((~area).astype(np.uint8), connectivity=8)
    sizes = stats[1:, cv2.CC_STAT_AREA]
    return float(sizes[sizes < 0.01 * area.size].sum() / np.count_nonzero(area))


def _ring(area: np.ndarray, start: float, stop: float) -> np.ndarray:
    """Pixels outside `area` that are more than `start` and at most `stop` away from it."""
    import cv2

    away = cv2.distanceTransform((~area).astype(np.uint8), cv2.DIST_L2, 3)
    return np.asarray((away > start) & (away <= stop))


def _along_border(low: np.ndarray) -> np.ndarray:
    """Those connected parts of `low` that run along the border, once one covers enough of a side."""
    import cv2

    _, labels = cv2.connectedComponents(low.astype(np.uint8), connectivity=4)
    kept: set[int] = set()
    covered = False
    for side in (labels[0], labels[-1], labels[:, 0], labels[:, -1]):
        counts = np.bincount(side)
        counts[0] = 0
        covered |= bool(counts.max(initial=0) >= _SIDE_COVERED * side.size)
        kept |= set(np.flatnonzero(counts >= 0.1 * side.size).tolist())
    if not covered:
        return np.zeros_like(low)
    return np.isin(labels, sorted(kept))


def _at_full_size(
    signed: np.ndarray, area: np.ndarray, threshold: float, shape: tuple[int, int]
) -> np.ndarray:
    """Background at full size: the half-way contour of the grid, interpolated between its points."""
    import cv2

    notch_px = _NOTCH * min(area.shape)
    closed = _closed(~area, 2.0 * notch_px)
    _, parts, stats, _ = cv2.connectedComponentsWithStats((closed & area).astype(np.uint8), connectivity=8)
    small = stats[:, cv2.CC_STAT_AREA] <= notch_px**2
    small[0] = False
    notch = small[parts]
    near = cv2.dilate(area.astype(np.uint8), np.ones((3, 3), np.uint8)).astype(bool)
    height = signed - threshold
    reach = float(np.abs(height[near]).max())
    height = np.where(near, height, reach)
    height = np.where(notch, np.maximum(np.abs(height), 0.05 * reach), height)
    coded = np.clip(128.0 + height * (127.0 / reach), 0, 255).astype(np.uint8)
    return np.asarray(cv2.resize(coded, (shape[1], shape[0]), interpolation=cv2.INTER_LINEAR) < 128)


def _closed(mask: np.ndarray, radius: float) -> np.ndarray:
    """Closing of `mask` by a disc, with nothing beyond the picture's border."""
    import cv2

    pad = int(np.ceil(radius)) + 2
    padded = np.pad(mask, pad, constant_values=False)
    reach = radius + _SAME_PX
    grown = cv2.distanceTransform((~padded).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE) <= reach
    back = cv2.distanceTransform(grown.astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE) > reach
    return np.asarray(back[pad:-pad, pad:-pad])

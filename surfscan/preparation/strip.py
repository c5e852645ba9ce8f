"""Data strip: the band with text and a scale bar that a microscope burns in along an edge of the picture."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

Edge = Literal["top", "bottom", "left", "right"]

_OUTER = 0.30  # the strip and whatever lies outside it: at most this share of the picture
_SMALLEST, _LARGEST = 0.02, 0.25  # height of the band itself, as a share of the picture
_SMALLEST_PX = 8
_FLAT = 4  # grey levels of 255 within which the strip's ground counts as one level
_GLYPH = 80  # grey levels of 255 by which text and bar stand out
_SAMPLES = 256  # pixels looked at per line while searching


@dataclass(frozen=True)
class DataStrip:
    """A band along one edge of a picture that shows data, not the specimen.

    Attributes
    ----------
    edge : {"top", "bottom", "left", "right"}
    size_px : int
        Lines from that edge of the picture up to the inner end of the band; all of them are left out, also
        those outside the band where the picture goes on behind it.
    """

    edge: Edge
    size_px: int

    def frame(self, shape: tuple[int, int]) -> tuple[int, int, int, int]:
        """What is left of a picture of `shape` (rows, columns): (row0, row1, col0, col1), ends excluded."""
        rows, cols = shape
        return {
            "top": (self.size_px, rows, 0, cols),
            "bottom": (0, rows - self.size_px, 0, cols),
            "left": (0, rows, self.size_px, cols),
            "right": (0, rows, 0, cols - self.size_px),
        }[self.edge]


def find_data_strip(grey: np.ndarray) -> DataStrip | None:
    """Recognise a data strip along an edge.

    Parameters
    ----------
    grey : ndarray of shape (M, N)
        Luminance, any real dtype.

    Returns
    -------
    DataStrip or None
        None unless the evidence is strong, for a wrong strip costs field area. A strip is a band across the
        whole picture, 2 to 25 % of it high and within its outer 30 %; its ground is one grey level to within
        4 of 255 on at least 60 % of every line and 80 % of the band; it begins within two lines, on at least
        95 % of the width, and the picture just inside is at its level on at most half the width; and it
        carries two or more separate marks that stand out by 80 of 255 levels (text, a bar). A band without
        marks is no strip: where it is background, `specimen_region` finds it.
    """
    rows, cols = grey.shape
    if min(rows, cols) < 64:
        return None
    scale, offset = _to_255(grey)
    found: list[DataStrip] = []
    for edge in ("bottom", "top", "right", "left"):
        lines = _from_edge(grey, edge)
        size = _strip_size(lines, scale, offset)
        if size:
            found.append(DataStrip(edge, size))
    return min(found, key=lambda strip: strip.size_px) if found else None


def _to_255(grey: np.ndarray) -> tuple[float, float]:
    """Factor and offset that bring the picture's range to 0-255; an 8-bit picture is left as it is."""
    if grey.dtype == np.uint8:
        return 1.0, 0.0
    low, high = float(np.fmin.reduce(grey, axis=None)), float(np.fmax.reduce(grey, axis=None))
    if not (np.isfinite(low) and np.isfinite(high) and high > low):
        return 1.0, 0.0
    return 255.0 / (high - low), low


def _from_edge(grey: np.ndarray, edge: str) -> np.ndarray:
    """A view whose line 0 is the outermost line of that edge."""
    return {"top": grey, "bottom": grey[::-1], "left": grey.T, "right": grey.T[::-1]}[edge]


def _strip_size(lines: np.ndarray, scale: float, offset: float) -> int:
    """Lines that belong to a strip along line 0, or 0 where there is none."""
    n, width = lines.shape
    outer = lines[: int(n * _OUTER) + 4]
    sampled = (outer[:, :: max(1, width // _SAMPLES)].astype(np.float32) - offset) * scale
    level = np.median(sampled, axis=1)
    flat = np.mean(np.abs(sampled - level[:, None]) <= _FLAT, axis=1) >= 0.6
    smallest = max(_SMALLEST_PX, int(n * _SMALLEST))
    for start, stop in _runs(flat, level):
        if smallest <= stop - start <= n * _LARGEST and stop <= n * _OUTER:
            size = _confirmed(lines, start, stop, float(np.median(level[start:stop])), scale, offset)
            if size:
                return size
    return 0


def _runs(flat: np.ndarray, level: np.ndarray) -> list[tuple[int, int]]:
    """Runs of flat lines of one level, as (start, stop)."""
    same = flat[1:] & flat[:-1] & (np.abs(np.diff(level)) <= _FLAT)
    padded = np.concatenate([[False], same, [False]])
    change = np.flatnonzero(padded[1:] != padded[:-1])
    return [(int(a), int(b) + 1) for a, b in zip(change[::2], change[1::2], strict=True)]


def _confirmed(lines: np.ndarray, start: int, stop: int, ground: float, scale: float, offset: float) -> int:
    """The strip's size if the band `start:stop` passes every test on all its pixels, else 0."""
    import cv2

    band = (lines[start : stop + 5].astype(np.float32) - offset) * scale
    away = np.abs(band - ground)
    away[~np.isfinite(away)] = 255.0
    share = np.mean(away <= _FLAT, axis=1)
    height = stop - start
    if share[:height].min() < 0.55 or share[:height].mean() < 0.8:
        return 0
    # The band's inner end: its last lines carry no text, the picture starts at once behind it.
    if share[height - 3 : height].max() < 0.95 or share[height + 1 : height + 5].min() > 0.5:
        return 0
    end = height
    while end < min(height + 4, len(band)) and np.ptp(band[end]) <= 4 * _FLAT:
        end += 1  # a ruled line between strip and picture
    marks = (away[:height] > _GLYPH).astype(np.uint8)
    _, _, stats, _ = cv2.connectedComponentsWithStats(marks, connectivity=8)
    tall = stats[1:, cv2.CC_STAT_HEIGHT] >= 5
    wide = stats[1:, cv2.CC_STAT_WIDTH] >= 5
    return start + end if np.count_nonzero(tall | wide) >= 2 else 0

"""Scale bars: horizontal bars drawn into a picture, with sub-pixel ends and the evidence for each.

Bars are looked for on grey and colour pictures, in a data strip or on the picture, white, black, grey or
coloured, with or without end ticks or a box behind. Only horizontal ones are found. What a bar stands for
is not read here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from surfscan.calibration.bar_candidates import find_candidates, planes_of
from surfscan.calibration.bar_evidence import Found, judge

LIKELY_FROM = 0.5  # evidence below this is not a bar: `find_bars` does not return it unless asked

Box = tuple[int, int, int, int]


@dataclass(frozen=True)
class Bar:
    """A scale bar.

    Attributes
    ----------
    row_px : float
        Middle of the bar's thickness.
    col_start_px, col_end_px : float
        Its ends along the row: the outer edges of a plain bar, half way between centre and outer edge of the
        end ticks of one with ticks (`surfscan.calibration.bar_ends` says why). The centre of the first pixel
        is 0.
    thickness_px : float
        From edge to edge, at half level; ticks not counted.
    style : {"plain", "ticks"}
    polarity : {"light", "dark", "coloured"}
        Against what is above and below.
    end_uncertainty_px : float
        Standard uncertainty (k = 1) of one end, the worse of the two; never below 0.1 px, and never below
        0.29 px where the ends are drawn to whole pixels. What part of a tick the label counts from is not in
        it.
    evidence : float
        0 to 1; from `LIKELY_FROM` on it is taken for a bar.
    box : (int, int, int, int)
        row0, row1, col0, col1 (row1, col1 excluded) of all its ink, ticks too.
    under_text : bool
        Whether text close above begins and ends where it does: it underlines that, unless that is its label.
    tick_width_px : float
        Mean width of the end ticks; 0 for a plain bar.
    """

    row_px: float
    col_start_px: float
    col_end_px: float
    thickness_px: float
    style: Literal["plain", "ticks"]
    polarity: Literal["light", "dark", "coloured"]
    end_uncertainty_px: float
    evidence: float
    box: Box
    under_text: bool = False
    tick_width_px: float = 0.0

    @property
    def length_px(self) -> float:
        """From end to end."""
        return self.col_end_px - self.col_start_px

    @property
    def ticks(self) -> bool:
        """Whether it has end ticks."""
        return self.style == "ticks"


def find_bars(
    pixels: np.ndarray, *, least_evidence: float = LIKELY_FROM, under_text: bool = False
) -> list[Bar]:
    """Find the horizontal scale bars of a picture.

    Parameters
    ----------
    pixels : ndarray of shape (M, N), (M, N, 3) or (M, N, 4), any real dtype
    least_evidence : float
        Bars with less are left out.
    under_text : bool
        Whether lines that may underline text are returned too, for whoever looks what the text says.

    Returns
    -------
    list of Bar
        Best first; empty where there is none. Of bars that overlap only the best is returned.

    Raises
    ------
    ValueError
        When the shape is none of these, or the picture is empty.
    """
    planes = planes_of(pixels)
    looked_at = (judge(planes, c, least_evidence=least_evidence) for c in find_candidates(planes))
    found = [f for f in looked_at if f is not None]
    found = [f for f in found if f.evidence >= least_evidence and (under_text or not f.under_text)]
    found.sort(key=lambda f: (-f.evidence, -(f.end_px - f.start_px), f.top_px, f.start_px))
    kept: list[Found] = []
    for f in found:
        if not any(_overlap(f.box, k.box) for k in kept):
            kept.append(f)
    return [_as_bar(f) for f in kept]


def label_windows(bar: Bar, shape: tuple[int, ...]) -> list[Box]:
    """Where the label of a bar may stand.

    Parameters
    ----------
    bar : Bar
    shape : (rows, columns, ...)
        Of the picture.

    Returns
    -------
    list of (row0, row1, col0, col1)
        Ends excluded, clipped to the picture, those with no room for text left out; nearest first: close
        above and below the bar, close beside it right and left, then twice as far around it. A box behind
        bar and label lies within these.
    """
    rows, cols = shape[:2]
    row0, row1, col0, col1 = bar.box
    height = round(max(0.07 * rows, 4 * (bar.thickness_px + 2), 24))
    aside = round(max(0.5 * bar.length_px, 3 * height))
    width = round(max(0.25 * cols, 5 * height))
    half = max(height // 2, (row1 - row0) // 2 + 4)
    middle = round(bar.row_px)
    boxes = [
        (row0 - height, row0, col0 - aside, col1 + aside),
        (row1, row1 + height, col0 - aside, col1 + aside),
        (middle - half, middle + half, col1, col1 + width),
        (middle - half, middle + half, col0 - width, col0),
        (row0 - 2 * height, row1 + 2 * height, col0 - 2 * aside, col1 + 2 * aside),
    ]
    clipped = [(max(0, a), min(rows, b), max(0, c), min(cols, d)) for a, b, c, d in boxes]
    return [(a, b, c, d) for a, b, c, d in clipped if b - a >= 6 and d - c >= 8]


def _overlap(a: Box, b: Box) -> bool:
    return a[0] < b[1] and b[0] < a[1] and a[2] < b[3] and b[2] < a[3]


def _as_bar(f: Found) -> Bar:
    return Bar(
        row_px=(f.top_px + f.bottom_px) / 2,
        col_start_px=f.start_px,
        col_end_px=f.end_px,
        thickness_px=f.bottom_px - f.top_px,
        style="ticks" if f.tick_width_px else "plain",
        polarity="coloured" if f.plane == "saturation" else ("light" if f.light else "dark"),
        end_uncertainty_px=f.end_uncertainty_px,
        evidence=f.evidence,
        box=f.box,
        under_text=f.under_text,
        tick_width_px=f.tick_width_px,
    )

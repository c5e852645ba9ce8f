"""What is drawn on a picture of the page: outlines, areas, marks, the scale bar; SVG over a small WebP."""

from __future__ import annotations

import base64
import hashlib
import html
import itertools
import math
from collections.abc import Callable

import numpy as np

from surfscan.report.rounding import significant

MAX_WIDTH_PX = 900
SHOWN_WIDTH_PX = 590
"""Width a panel has on the page; text and marks are sized for it."""

RING_BELOW_PX = 7.0
"""Pits that would be drawn smaller are ringed."""

SPECK_PX2 = 12.0
"""Areas smaller than this on the picture are not drawn."""

MOST_CHARS = 150_000
"""Length that one layer of outlines may have."""

_WIDTHS = (MAX_WIDTH_PX, 700, 500)
_SHARE_OF_BYTES = {80: 1.0, 60: 0.6, 40: 0.45}
"""Size of a picture by WebP quality, roughly, relative to the best; only to guess what is worth trying."""

_LIKELY_ENOUGH = 0.03
"""Bytes for each picture pixel from which on the best picture is tried first, else the least."""


def encode(
    render: Callable[[int, int], np.ndarray], shape: tuple[int, int], stretch: float, max_bytes: int
) -> tuple[str, int, int]:
    """A picture as a data URI: the largest and best WebP that keeps to the size aimed at.

    Parameters
    ----------
    render : callable
        Width and height in picture pixels -> the picture reduced to them, uint8, grey or RGB.
    shape : (int, int)
        Rows and columns of the file.
    stretch : float
        Height over width of a pixel of the file.
    max_bytes : int
        Size aimed at; width and quality go down until it fits.

    Returns
    -------
    uri : str
    width, height : int
        Of the picture.
    """
    import cv2

    rows, cols = shape

    def made(width: int, quality: int) -> tuple[bytes, int, int]:
        height = max(1, round(width * rows * stretch / cols))
        small = render(width, height)
        bgr = small if small.ndim == 2 else cv2.cvtColor(small, cv2.COLOR_RGB2BGR)
        return (
            cv2.imencode(".webp", bgr, [cv2.IMWRITE_WEBP_QUALITY, quality])[1].tobytes(),
            width,
            height,
        )

    widths = list(dict.fromkeys(max(1, min(limit, cols)) for limit in _WIDTHS))
    choices = list(itertools.product(widths, _SHARE_OF_BYTES))
    best, least = choices[0], choices[-1]
    first = best if max_bytes > _LIKELY_ENOUGH * best[0] ** 2 * rows * stretch / cols else least
    known = {first: made(*first)}  # tells roughly what the others will weigh
    per_share = len(known[first][0]) / (first[0] ** 2 * _SHARE_OF_BYTES[first[1]])
    for choice in choices:
        if choice != least and per_share * choice[0] ** 2 * _SHARE_OF_BYTES[choice[1]] > 1.3 * max_bytes:
            continue
        if choice not in known:
            known[choice] = made(*choice)
        if len(known[choice][0]) <= max_bytes:
            break
    data, width, height = known[choice]
    return "data:image/webp;base64," + base64.b64encode(data).decode("ascii"), width, height


def picture_key(image_id: str) -> str:
    """What tells the drawings on one picture from those on all others of the page."""
    return hashlib.sha256(image_id.encode()).hexdigest()[:12]


def apart(marks: list[tuple[float, float]], distance: float) -> list[tuple[float, float]]:
    """Marks that would hide one another left out: each is at least `distance` from those before it."""
    kept: list[tuple[float, float]] = []
    for x, y in marks:
        if all(math.hypot(x - a, y - b) >= distance for a, b in kept):
            kept.append((x, y))
    return kept


def outside(measured: np.ndarray, zoom: tuple[float, float], speck_px2: float = SPECK_PX2) -> str:
    """Grey hatch over what was not measured."""
    path = "" if measured.all() else area_path(measured == 0, zoom, speck_px2)
    return f'<path class="outside" d="{path}"/>' if path else ""


def strokes(name: str, key: str, paths: list[str]) -> list[str]:
    """One path for all outlines of a kind, drawn twice: on a dark casing it stays visible on any grey."""
    if not paths:
        return []
    ident = f"{name}-{key}"
    return [
        f'<defs><path id="{ident}" class="line" d="{"".join(paths)}"/></defs>'
        f'<use class="case" href="#{ident}"/><use class="{name}" href="#{ident}"/>'
    ]


def outlines(
    labels: np.ndarray, zoom: tuple[float, float], unit: float
) -> tuple[dict[int, str], dict[int, tuple[float, float]]]:
    """Outline path of every label and the place above it where a mark goes, in picture pixels."""
    import cv2
    from scipy.ndimage import find_objects

    paths, marks = {}, {}
    scale = np.array(zoom)
    for label, box in enumerate(find_objects(labels.astype(np.int32, copy=False)), start=1):
        if box is None:
            continue
        mask = np.pad((labels[box] == label).astype(np.uint8), 1)
        corner = np.array([box[1].start - 1, box[0].start - 1])
        size = np.array([box[1].stop - box[1].start, box[0].stop - box[0].start]) * scale
        middle = (np.array([box[1].start + box[1].stop, box[0].start + box[0].stop]) / 2) * scale
        if size.max() < RING_BELOW_PX * unit:
            radius = (RING_BELOW_PX * unit) / 2
            paths[label] = (
                f"M{middle[0] - radius:.1f} {middle[1]:.1f}"
                f"a{radius:.1f} {radius:.1f} 0 1 0 {2 * radius:.1f} 0"
                f"a{radius:.1f} {radius:.1f} 0 1 0 {-2 * radius:.1f} 0z"
            )
            marks[label] = (float(middle[0]), float(middle[1]) - radius)
            continue
        contours = cv2.findContours(mask, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0]
        paths[label] = "".join(_polygon((c[:, 0, :] + corner + 0.5) * scale, 0.4) for c in contours)
        marks[label] = (float(middle[0]), float(box[0].start * scale[1]))
    return paths, marks


def area_path(
    mask: np.ndarray,
    zoom: tuple[float, float],
    speck_px2: float = SPECK_PX2,
    most_chars: int = MOST_CHARS,
) -> str:
    """Outline of an area with its holes, at picture resolution; what is smaller than a speck is not drawn.

    Where it would be longer than `most_chars`, it is drawn more coarsely, without the smallest parts.
    """
    import cv2

    size = (max(1, round(mask.shape[1] * zoom[0])), max(1, round(mask.shape[0] * zoom[1])))
    share = cv2.resize(mask.astype(np.float32), size, interpolation=cv2.INTER_AREA)
    drawn = np.pad((share >= 0.5).astype(np.uint8), 1)
    contours = cv2.findContours(drawn, cv2.RETR_CCOMP, cv2.CHAIN_APPROX_NONE)[0]
    path = ""
    for tolerance, coarser in ((0.6, 1), (1.2, 1), (2.4, 2), (4.8, 8), (4.8, 64)):
        kept = [c[:, 0, :] - 0.5 for c in contours if cv2.contourArea(c) >= coarser * speck_px2]
        path = "".join(_polygon(points, tolerance) for points in kept)
        if len(path) <= most_chars:
            break
    return path


def _polygon(points: np.ndarray, tolerance: float) -> str:
    """A closed path of relative steps, to a tenth of a pixel."""
    import cv2

    simple = cv2.approxPolyDP(points.astype(np.float32).reshape(-1, 1, 2), tolerance, True)[:, 0, :]
    tenths = np.rint(simple.astype(np.float64) * 10).astype(int)
    steps = np.vstack([tenths[:1], np.diff(tenths, axis=0)]) / 10
    (x, y), *others = steps.tolist()
    return f"M{x:g} {y:g}" + ("l" + " ".join(f"{x:g} {y:g}" for x, y in others) if others else "") + "z"


def scale_bar(
    width: int, top: int, strip: int, um_per_px: float | None, source_px_per_px: float
) -> tuple[str, str]:
    """A bar of a round length, about a fifth of the picture wide; in pixels of the file without a scale."""
    per_px = float(um_per_px if um_per_px is not None else source_px_per_px)
    target = width * per_px / 5
    decade = 10 ** math.floor(math.log10(target))
    length = max(step * decade for step in (1, 2, 5) if step * decade <= target)
    label = f"{significant(length, 1)} µm" if um_per_px is not None else f"{significant(length, 1)} px"
    if um_per_px is not None and length >= 1000:
        label = f"{significant(length / 1000, 1)} mm"
    bar = length / per_px
    middle = top + 0.55 * strip
    svg = (
        f'<g class="scale-bar" data-per-px="{per_px!r}" data-unit="{"px" if um_per_px is None else "µm"}" '
        f'data-strip="{strip}"><path d="M0 {middle:.1f}h{bar:.1f}" stroke-width="{0.2 * strip:.1f}"/>'
        f'<text x="{bar + 0.35 * strip:.1f}" y="{middle + 0.2 * strip:.1f}" font-size="{0.56 * strip:.1f}">'
        f"{html.escape(label)}</text></g>"
    )
    words = f"scale bar {label}" if um_per_px is not None else f"scale unknown; bar {label} of the file"
    return svg, words

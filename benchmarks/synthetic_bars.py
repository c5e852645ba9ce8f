"""Synthetic micrographs with a drawn scale bar of known ends and label, and others without any.

Styles: white, black, grey and coloured bars in a data strip (white, black, grey; bottom or top) or on the
picture itself; plain, with end ticks, or on a backing box; thin to 1.5 % of the height; label above, below
or beside; ends on whole pixels or between; distracting text, date, frames, lines under text, struts, fibres
and scratches; JPEG. Everything comes from the seed. The names and figures in the pictures are invented.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import cv2
import matplotlib
import numpy as np
import synthetic
from PIL import Image, ImageDraw, ImageFont

GROUNDS = ("pitted", "machined", "grains", "granular", "struts", "fibres", "polished")
PLACES = ("white strip", "black strip", "grey strip", "picture", "box")
LENGTHS_UM = (0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 25, 50, 100, 200, 250, 500, 1000)
_FONTS = ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf", "DejaVuSerif.ttf", "DejaVuSansMono.ttf", "STIXGeneral.ttf")
_FONTS_WITH_MICRO = len(_FONTS)
_COLOURS = (
    (255, 0, 0),
    (0, 255, 0),
    (255, 255, 0),
    (0, 255, 255),
    (255, 0, 255),
    (40, 90, 255),
    (255, 140, 0),
)
_OVER = 8  # sub-pixels to a pixel, for ends that lie between pixels


@dataclass(frozen=True)
class DrawnBar:
    """A bar as drawn; ends are outer edges, or tick centres where `ticks`; the first pixel centre is 0.

    Whether the label counts from the centres of the ticks or from their outer edges, `tick_width_px` / 2
    further out, is left open: both are right.
    """

    row_px: float
    col_start_px: float
    col_end_px: float
    thickness_px: float
    ticks: bool
    label: str
    length_um: float
    tick_width_px: float = 0.0

    @property
    def pixel_sizes_um(self) -> tuple[float, float]:
        """Of the picture, counted between outer edges and between the centres of ticks."""
        between = self.col_end_px - self.col_start_px
        return self.length_um / (between + self.tick_width_px), self.length_um / between


@dataclass(frozen=True)
class BarPicture:
    """A picture, grey (M, N) or colour (M, N, 3), uint8, its bars, and what was drawn in words."""

    pixels: np.ndarray
    bars: tuple[DrawnBar, ...]
    style: dict[str, Any]


def ground(kind: str, seed: int, shape: tuple[int, int]) -> np.ndarray:
    """A micrograph without any bar, uint8: one of GROUNDS."""
    rng = np.random.default_rng([seed, GROUNDS.index(kind), 77])
    rows, cols = shape
    if kind == "pitted":
        return synthetic.make_micrograph(seed, shape, n_pits=40)[0]
    if kind == "machined":
        return synthetic.make_micrograph(seed, shape, n_pits=25, machining=0.15, scratches=40)[0]
    if kind == "polished":
        return synthetic.make_micrograph(
            seed, shape, n_pits=12, grains=0.01, noise=0.01, metal_grey=rng.uniform(60, 225)
        )[0]
    noise = rng.standard_normal(shape, np.float32)
    if kind == "grains":
        n = int(rng.integers(40, 160))
        seeds = np.zeros(shape, np.uint8) + 255
        points = (rng.integers(0, rows, n), rng.integers(0, cols, n))
        seeds[points] = 0
        _, label = cv2.distanceTransformWithLabels(seeds, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL)
        level = rng.uniform(60, 240, label.max() + 1).astype(np.float32)
        out = level[label] + 6 * noise
        if rng.random() < 0.5:
            edges = cv2.morphologyEx(label.astype(np.float32), cv2.MORPH_GRADIENT, np.ones((3, 3))) > 0
            out[edges] = rng.uniform(10, 60)
        return _as_bytes(cv2.GaussianBlur(out, (0, 0), 0.8))
    if kind == "granular":
        sigma = rng.uniform(1.5, 6)
        blobs = cv2.GaussianBlur(noise, (0, 0), sigma)
        blobs = blobs / blobs.std() + 0.6 * cv2.GaussianBlur(noise[::-1], (0, 0), 12) / 0.024
        return _as_bytes(rng.uniform(70, 170) + rng.uniform(30, 60) * blobs)
    out = np.full(shape, rng.uniform(150, 230), np.float32)
    dark = rng.uniform(20, 80)
    if rng.random() < 0.5:
        out, dark = 255 - out, 255 - dark
    canvas = out.copy()
    if kind == "struts":
        pitch, width = rng.uniform(0.12, 0.3) * rows, rng.uniform(0.01, 0.06) * rows
        angle = rng.choice([0.0, 0.0, rng.uniform(0, 90)])
        for family in (0, 90):
            theta = np.radians(angle + family)
            for k in range(-12, 13):
                centre = np.array([cols / 2, rows / 2]) + k * pitch * np.array(
                    [-np.sin(theta), np.cos(theta)]
                )
                along = 2 * max(shape) * np.array([np.cos(theta), np.sin(theta)])
                a, b = (centre - along), (centre + along)
                cv2.line(canvas, _fixed(a), _fixed(b), float(dark), max(1, round(width)), cv2.LINE_AA, 4)
    else:
        for _ in range(int(rng.integers(10, 60))):
            theta = np.radians(rng.normal(0, 25) if rng.random() < 0.6 else rng.uniform(0, 180))
            centre, half = rng.uniform(0, 1, 2) * [cols, rows], rng.uniform(0.03, 0.4) * cols
            along = half * np.array([np.cos(theta), np.sin(theta)])
            thick = int(rng.integers(1, 9))
            cv2.line(
                canvas, _fixed(centre - along), _fixed(centre + along), float(dark), thick, cv2.LINE_AA, 4
            )
    canvas = cv2.GaussianBlur(canvas, (0, 0), rng.uniform(0.6, 1.5))
    return _as_bytes(canvas + rng.uniform(1, 10) * noise)


def bar_picture(seed: int, *, place: str | None = None, n_bars: int = 1) -> BarPicture:
    """A micrograph with drawn scale bars.

    Parameters
    ----------
    seed : int
        Everything random follows from it.
    place : str, optional
        One of PLACES; drawn by lot when not given.
    n_bars : {1, 2}
        A second bar, of another length, in another place of the picture itself.
    """
    rng = np.random.default_rng([seed, 4])
    shape = [(480, 640), (768, 1024), (960, 1280), (1024, 1024), (1200, 1600), (1536, 2048)][rng.integers(6)]
    kind = GROUNDS[rng.integers(len(GROUNDS))]
    place = place or PLACES[rng.integers(len(PLACES))]
    grey = ground(kind, seed, shape)
    pixels = np.repeat(grey[..., None], 3, axis=2)
    style: dict[str, Any] = {"ground": kind, "place": place, "shape": shape}
    area = (0, shape[0], 0, shape[1])
    strip_level = None
    if "strip" in place:
        pixels, area, strip_level = _with_strip(pixels, place, rng, style)
    if place in ("picture", "box") and rng.random() < 0.5:
        top = round(0.12 * shape[0])
        _write_distractors(pixels, (0, top, 0, shape[1]), (255, 255, 255), rng, clear=())
        area = (top, shape[0], 0, shape[1])
    first = _draw_bar(pixels, area, strip_level, place, rng, style)
    bars = [first]
    if n_bars == 2:
        rows = (round(0.15 * shape[0]), round(0.45 * shape[0]))
        bars.append(_draw_bar(pixels, (*rows, 0, shape[1]), None, "box", rng, {}))
    return BarPicture(_finish(pixels, rng, style), tuple(bars), style)


def barless_picture(seed: int) -> BarPicture:
    """A micrograph without a scale bar, but with strips, text, lines under text, frames, rulers and logos."""
    rng = np.random.default_rng([seed, 5])
    shape = [(480, 640), (768, 1024), (1024, 1024), (1536, 2048)][rng.integers(4)]
    kind = GROUNDS[rng.integers(len(GROUNDS))]
    grey = ground(kind, 100_000 + seed, shape)
    pixels = np.repeat(grey[..., None], 3, axis=2)
    style: dict[str, Any] = {"ground": kind, "place": "none", "shape": shape}
    area, ink = (0, round(0.2 * shape[0]), 0, shape[1]), (255, 255, 255)
    if rng.random() < 0.6:
        place = PLACES[rng.integers(3)]
        pixels, area, level = _with_strip(pixels, place, rng, style)
        ink = (0, 0, 0) if level > 127 else (255, 255, 255)
        style["place"] = place
    what = ["text", "underline", "frame", "ruler", "logo", "dash", "nothing"][rng.integers(7)]
    style["what"] = what
    if what != "nothing":
        _write_distractors(pixels, area, ink, rng, clear=())
        _draw_oddity(pixels, what, ink, area, rng)
    return BarPicture(_finish(pixels, rng, style), (), style)


def label_text(length_um: float, rng: np.random.Generator) -> str:
    """'500 nm', '10 µm', '1 mm' and their spellings."""
    if length_um < 1:
        number, unit = f"{length_um * 1000:g}", "nm"
    elif length_um >= 1000:
        number, unit = f"{length_um / 1000:g}", "mm"
    else:
        number, unit = f"{length_um:g}", str(rng.choice(["µm", "µm", "µm", "um", "\u03bcm"]))
        if rng.random() < 0.1:
            number = f"{length_um:.1f}"
    return number + (" " if rng.random() < 0.75 else "") + unit


@lru_cache(maxsize=128)
def _font(name: str, size: int) -> ImageFont.FreeTypeFont:
    return ImageFont.truetype(str(Path(matplotlib.get_data_path(), "fonts", "ttf", name)), size)


def _as_bytes(values: np.ndarray) -> np.ndarray:
    return np.clip(np.rint(values), 0, 255).astype(np.uint8)


def _fixed(point: np.ndarray) -> tuple[int, int]:
    return (round(16 * float(point[0])), round(16 * float(point[1])))


def _with_strip(
    pixels: np.ndarray, place: str, rng: np.random.Generator, style: dict[str, Any]
) -> tuple[np.ndarray, tuple[int, int, int, int], int]:
    """Draw a data strip at the bottom or the top: the picture, the strip's box, its level."""
    rows, cols = pixels.shape[:2]
    level = {"white strip": 255, "black strip": 0, "grey strip": int(rng.choice([40, 128, 192]))}[place]
    height = round(rows * rng.uniform(0.07, 0.13))
    top = rng.random() < 0.2
    area = (0, height, 0, cols) if top else (rows - height, rows, 0, cols)
    pixels[area[0] : area[1]] = level
    edge = area[1] - 1 if top else area[0]
    border = int(rng.integers(0, 4))
    ink = 0 if level > 127 else 255
    if border == 1:
        pixels[edge : edge + 1] = ink
    elif border == 2:
        cv2.rectangle(pixels, (1, area[0] + 1), (cols - 2, area[1] - 2), (ink,) * 3, 1)
    style["strip_edge"] = ("bare", "line", "frame", "bare")[border]
    return pixels, area, level


def _text_size(text: str, font: ImageFont.FreeTypeFont) -> tuple[int, int, int, int]:
    left, top, right, bottom = font.getbbox(text)
    return int(left), int(top), int(right), int(bottom)


def _write(pixels: np.ndarray, text: str, row: int, col: int, font: ImageFont.FreeTypeFont, ink: Any) -> None:
    """Text with the top left of its ink at (row, col)."""
    left, top, _, _ = _text_size(text, font)
    image = Image.fromarray(pixels)
    ImageDraw.Draw(image).text((col - left, row - top), text, fill=tuple(int(v) for v in ink), font=font)
    pixels[:] = np.asarray(image)


def _write_distractors(
    pixels: np.ndarray, area: tuple[int, int, int, int], ink: Any, rng: np.random.Generator, clear: Any
) -> None:
    """Data as instruments write it, in columns, clear of the box `clear`."""
    r0, r1, c0, c1 = area
    words = [
        f"WD {rng.uniform(3, 15):.1f} mm",
        f"WD = {rng.integers(3, 15)} mm",
        f"HV {rng.integers(2, 30)} kV",
        f"Mag {rng.integers(1, 90) * 50}x",
        f"EHT = {rng.uniform(1, 20):.2f} kV",
        f"spot {rng.uniform(1, 6):.1f}",
        f"{rng.integers(10, 28)}/{rng.integers(10, 12)}/2031 {rng.integers(10, 23)}:{rng.integers(10, 59)}",
        "Sample B-12",
        f"P {rng.integers(1, 9)}.0e-{rng.integers(3, 6)} mbar",
        "ETD",
    ]
    size = int(np.clip(rng.uniform(0.018, 0.028) * pixels.shape[0], 10, 40))
    font = _font(_FONTS[rng.integers(4)], size)
    row = r0 + max(4, size // 3)
    while row + size * 1.3 < r1:
        col = c0 + round(rng.uniform(0.01, 0.06) * (c1 - c0))
        while True:
            text = words[rng.integers(len(words))]
            left, top, right, bottom = _text_size(text, font)
            width, height = right - left, bottom - top
            if col + width > c1 - 5:
                break
            box = (row, row + height, col, col + width)
            if not clear or not _touch(box, clear, 8):
                _write(pixels, text, row, col, font, ink)
            col += width + round(rng.uniform(1.2, 5) * size)
        row += round(size * rng.uniform(1.4, 1.9))


def _touch(a: Any, b: Any, gap: int) -> bool:
    return a[0] < b[1] + gap and b[0] < a[1] + gap and a[2] < b[3] + gap and b[2] < a[3] + gap


def _draw_bar(
    pixels: np.ndarray,
    area: tuple[int, int, int, int],
    strip_level: int | None,
    place: str,
    rng: np.random.Generator,
    style: dict[str, Any],
) -> DrawnBar:
    """Draw one bar with its label (and the strip's other text) into `area`."""
    rows, cols = pixels.shape[:2]
    length_um = float(LENGTHS_UM[rng.integers(len(LENGTHS_UM))])
    label = label_text(length_um, rng)
    room = area[1] - area[0]
    length = rng.uniform(0.05, 0.32) * cols
    thickness = int(rng.choice([1, 2, 3, round(0.005 * rows), round(0.01 * rows), round(0.015 * rows)]))
    thickness = int(np.clip(thickness, 1, max(1, room // 6)))
    ticks = bool(rng.random() < (0.45 if strip_level is not None else 0.2)) and thickness <= 6
    tick_height = int(rng.integers(3, 12)) + thickness if ticks else 0  # above and below
    if strip_level is not None:
        tick_height = min(tick_height, room // 8)
    one_sided = ticks and rng.random() < 0.25
    size = int(np.clip(rng.uniform(0.022, 0.05) * rows, 11, 60))
    size = min(size, max(11, int(0.4 * room)))
    font = _font(_FONTS[rng.integers(_FONTS_WITH_MICRO)], size)
    left, top, right, bottom = _text_size(label, font)
    text_w, text_h = right - left, bottom - top
    side = ("above", "below", "below", "beside")[rng.integers(4)]
    gap = int(rng.integers(4, 10)) + (tick_height if side != "beside" else 0)
    ink = _ink(place, strip_level, rng)
    style.update(
        thickness=thickness, ticks=ticks, label=label, side=side, ink=ink, font_px=size, one_sided=one_sided
    )
    if side == "beside":
        width, height = length + 10 + text_w, max(text_h, thickness + 2 * tick_height)
    else:
        width, height = max(length, text_w), thickness + 2 * tick_height + gap + text_h
    margin = int(rng.integers(6, 14))
    free_r, free_c = room - height - 2 * margin, cols - width - 2 * margin - 4
    r = area[0] + margin + rng.uniform(0.3, 0.7) * max(0, free_r)
    if place in ("picture", "box"):
        r = area[0] + margin + rng.choice([0.02, 0.97, 0.97, 0.97]) * max(0, free_r)
    c = margin + 2 + rng.choice([0.01, 0.98, 0.98, rng.uniform(0, 1)]) * max(0, free_c)
    r, c = int(r), int(c)
    if place == "box":
        level = 255 if max(ink) < 128 or (ink != (255, 255, 255) and rng.random() < 0.5) else 0
        pixels[
            max(0, r - margin) : int(r + height + margin), max(0, c - margin) : int(c + width + margin)
        ] = level
    # Ends on whole pixels for half of the plain bars, between pixels for the others.
    whole = ticks or rng.random() < 0.5
    offset = c + (0 if side == "beside" else (width - length) / 2)
    x0 = float(round(offset)) if whole else offset
    x1 = x0 + (round(length) if whole else length)
    if side == "beside":
        bar_row = int(r + (height - thickness) / 2)
        text_at = (int(r + (height - text_h) / 2), int(x1 + 10 + tick_height // 2))
    else:
        text_col = int(c + (width - text_w) / 2) if rng.random() < 0.7 else c
        if side == "above":
            text_at, bar_row = (r, text_col), int(r + text_h + gap)
        else:
            bar_row = int(r + (0 if one_sided else tick_height))
            text_at = (bar_row + thickness + gap, text_col)
    _fill(pixels, bar_row, bar_row + thickness, x0, x1, ink)
    start, end = x0 - 0.5, x1 - 0.5
    wide = 0
    if ticks:
        wide = max(1, min(thickness, 3))
        low = bar_row if one_sided and side == "below" else bar_row - tick_height
        high = bar_row + thickness + (0 if one_sided and side == "above" else tick_height)
        if one_sided and side == "beside":
            low = bar_row - tick_height
        _fill(pixels, low, high, x0, x0 + wide, ink)
        _fill(pixels, low, high, x1 - wide, x1, ink)
        start, end = x0 - 0.5 + wide / 2, x1 - 0.5 - wide / 2
    _write(pixels, label, *text_at, font, ink)
    if strip_level is not None:
        taken = (area[0], area[1], int(c) - 20, int(c + width) + 20)
        text_ink = ink if rng.random() < 0.5 else ((0, 0, 0) if strip_level > 127 else (255, 255, 255))
        _write_distractors(pixels, area, text_ink, rng, taken)
    row = bar_row + thickness / 2 - 0.5
    return DrawnBar(row, start, end, float(thickness), ticks, label, length_um, float(wide))


def _ink(place: str, strip_level: int | None, rng: np.random.Generator) -> tuple[int, int, int]:
    colour = _COLOURS[rng.integers(len(_COLOURS))]
    if strip_level is None:
        return [(255, 255, 255), (255, 255, 255), (0, 0, 0), colour][rng.integers(4)]
    strong = (0, 0, 0) if strip_level > 127 else (255, 255, 255)
    grey = (120, 120, 120) if strip_level in (0, 255) else strong
    seen = colour if strip_level < 128 or colour not in ((255, 255, 0), (0, 255, 255)) else strong
    return [strong, strong, grey, seen][rng.integers(4)]


def _fill(pixels: np.ndarray, row0: int, row1: int, x0: float, x1: float, ink: Any) -> None:
    """Fill rows `row0:row1` from `x0` to `x1` (pixel 0 spans 0 to 1), partly filled pixels in proportion."""
    first, last = int(np.floor(x0)), int(np.ceil(x1))
    edges = np.arange(first, last + 1)
    cover = np.clip(np.minimum(edges[1:], x1) - np.maximum(edges[:-1], x0), 0, 1)[None, :, None]
    part = pixels[row0:row1, first:last]
    part[:] = np.rint(part * (1 - cover) + np.array(ink) * cover).astype(np.uint8)


def _finish(pixels: np.ndarray, rng: np.random.Generator, style: dict[str, Any]) -> np.ndarray:
    """To grey where no colour was drawn; on some, JPEG or a slight blur."""
    if not np.any(pixels.max(axis=2) != pixels.min(axis=2)):
        pixels = pixels[..., 0] if rng.random() < 0.6 else pixels
    softened = rng.random() < 0.15
    if softened:
        pixels = cv2.GaussianBlur(pixels, (0, 0), float(rng.uniform(0.4, 0.8)))
    quality = int(rng.integers(55, 96)) if rng.random() < 0.5 else None
    if quality is not None:
        buffer = io.BytesIO()
        Image.fromarray(pixels).save(buffer, format="JPEG", quality=quality)
        pixels = np.asarray(Image.open(buffer))
    style.update(jpeg=quality, blurred=softened, colour=pixels.ndim == 3)
    return np.ascontiguousarray(pixels)


def _draw_oddity(
    pixels: np.ndarray, what: str, ink: Any, area: tuple[int, int, int, int], rng: np.random.Generator
) -> None:
    """Draw one thing that could be taken for a bar."""
    rows, cols = pixels.shape[:2]
    ink = tuple(int(v) for v in ink)
    r, c = int(rng.uniform(0.3, 0.6) * rows), int(rng.uniform(0.1, 0.5) * cols)
    width = int(rng.uniform(0.1, 0.35) * cols)
    font = _font(_FONTS[rng.integers(4)], int(rng.uniform(0.03, 0.06) * rows))
    if what == "underline":
        text = "Specimen B-12"
        left, top, right, bottom = _text_size(text, font)
        _write(pixels, text, r, c, font, ink)
        row = r + bottom - top + 3
        pixels[row : row + 2, c : c + right - left] = ink
    elif what == "frame":
        thick = int(rng.integers(1, 5))
        cv2.rectangle(pixels, (c, r), (c + width, r + int(rng.uniform(0.05, 0.3) * rows)), ink, thick)
        cv2.rectangle(pixels, (0, 0), (cols - 1, rows - 1), ink, thick)
    elif what == "ruler":
        thick = int(rng.integers(1, 4))
        pixels[r : r + thick, c : c + width] = ink
        for k in range(11):
            x = c + round(k * (width - thick) / 10)
            pixels[r - (12 if k % 5 == 0 else 7) : r, x : x + thick] = ink
    elif what == "logo":
        high = int(0.05 * rows)
        cv2.rectangle(pixels, (c, r), (c + 2 * high, r + high), ink, -1)
        cv2.circle(pixels, (c + 4 * high, r + high // 2), high // 2, ink, -1)
        pixels[r + high // 4 : r + high // 2, c + high // 3 : c + high] = 127
    elif what == "dash":
        big = _font(_FONTS[rng.integers(4)], int(0.09 * rows))
        _write(pixels, "TEL 10-3", r, c, big, ink)

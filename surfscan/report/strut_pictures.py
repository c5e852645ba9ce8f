"""Pictures of struts: remaining width in colour along every strut, what was drawn, least places, faults."""

from __future__ import annotations

import html
import math
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from surfscan.columns import Table
from surfscan.images import Micrograph
from surfscan.report.drawing import SHOWN_WIDTH_PX, SPECK_PX2, encode, outside, picture_key, scale_bar
from surfscan.report.hand_drawing import edges_by_hand
from surfscan.report.pictures import FieldPicture, eight_bit, open_as_measured, stretch, um_per_px
from surfscan.report.plotting import GLYPH, path_of
from surfscan.report.records import FieldRecord
from surfscan.report.rounding import round_to_interval, significant
from surfscan.report.strut_colours import colour_table, coloured_runs, strut_colours
from surfscan.report.strut_records import least_section, stretches, worst_first

_RIBBON = 0.62
"""Share of the width that is coloured, so that the metal stays visible on both sides."""

_SEEN_PX = 3.0
"""Shorter patches of colour are not told apart on the page."""

_MAX_CHARS = 60_000
_MOST_FAULTS = 40
_MOST_NUMBERED = 60
_WORST_NUMBERED = 20
"""Of more than `_MOST_NUMBERED` struts only the worst have their numbers: all would hide the rest."""

_FONT = 14.5
_OUTLINE_DEGREE = 5
_SIGNS = {
    "crack": "M-7 1l4-5l3 8l3-8l4 5",
    "gap": "M-5-8v16M5-8v16",
    "free end": "M-7-6h14M0-6v13",
    "fragment": "M-7-7h14v14h-14z",
    "missing": "M-8 0a8 8 0 1 0 16 0a8 8 0 1 0-16 0M-5.5-5.5l11 11",
}
"""Sign of every kind of fault, about its place."""


@dataclass
class _Labels:
    """Texts on a picture, each where it hides no other one.

    Attributes
    ----------
    width, height, unit : float
        Of the picture, and the size that marks are scaled by.
    """

    width: float
    height: float
    unit: float
    _boxes: list[tuple[float, float, float, float]] = field(default_factory=list)

    def keep_clear(self, x: float, y: float, radius: float) -> None:
        """Let no text hide this place."""
        self._boxes.append((x - radius, y - radius, x + radius, y + radius))

    def beside(
        self, x: float, y: float, text: str, clear: tuple[float, float] = (0.0, 0.0), *, always: bool = False
    ) -> str:
        """A text so far across or down from a place; empty without room, unless it must be said."""
        size, near = _FONT * self.unit, 11 * self.unit
        wide = GLYPH * size * len(text)
        middle = min(max(x - wide / 2, 0.0), max(self.width - wide, 0.0))
        spots = [
            spot
            for across, down in (clear, (0.0, 0.0))
            for spot in (
                (middle, y - max(down, near) - size),
                (middle, y + max(down, near)),
                (x + max(across, near), y - size / 2),
                (x - max(across, near) - wide, y - size / 2),
                (x + near, y - max(down, near) - size),
                (x - near - wide, y - max(down, near) - size),
                (x + near, y + max(down, near)),
                (x - near - wide, y + max(down, near)),
            )
        ]
        inside = [
            (a, b)
            for a, b in spots
            if a >= 0 and b >= 0 and a + wide <= self.width and b + size <= self.height
        ]
        free = next((s for s in inside if self._is_free(*s, wide, size)), None)
        if free is None and always:
            free = inside[0] if inside else (middle, y)
        if free is None:
            return ""
        end = (min(max(x, free[0]), free[0] + wide), min(max(y, free[1]), free[1] + size))
        leader = ""
        if math.hypot(end[0] - x, end[1] - y) > 1.5 * near:
            d = f"M{x:.1f} {y:.1f}L{end[0]:.1f} {end[1]:.1f}"
            leader = f'<path class="strut-leader-case" d="{d}"/><path class="strut-leader" d="{d}"/>'
        return leader + self._text(*free, wide, size, text)

    def on(self, x: float, y: float, text: str) -> str:
        """A text on a place itself; empty where there is no room."""
        size = _FONT * self.unit
        wide = GLYPH * size * len(text)
        corner = (x - wide / 2, y - size / 2)
        return self._text(*corner, wide, size, text) if self._is_free(*corner, wide, size) else ""

    def _is_free(self, x: float, y: float, wide: float, high: float) -> bool:
        return all(x + wide < a or x > c or y + high < b or y > d for a, b, c, d in self._boxes)

    def _text(self, x: float, y: float, wide: float, high: float, text: str) -> str:
        self._boxes.append((x, y, x + wide, y + high))
        return (
            f'<text class="strut-mark" x="{x:.1f}" y="{y + 0.82 * high:.1f}" font-size="{high:.1f}">'
            f"{html.escape(text)}</text>"
        )


def make_strut_picture(record: FieldRecord, folder: Path, max_bytes: int) -> FieldPicture:
    """Draw one picture of struts with what was measured along them.

    Parameters
    ----------
    record : FieldRecord
        With a result that succeeded.
    folder : Path
        Folder of the study.
    max_bytes : int
        Size aimed at for the encoded picture, and bound of what is drawn over it.

    Raises
    ------
    InputError
        If the image or a mask cannot be read or is no longer the one measured.
    """
    import cv2

    image, measured = open_as_measured(record, folder)
    if not isinstance(image, Micrograph):
        raise TypeError(f"{record.image_id}: opened as a micrograph, got {type(image).__name__}")
    rows, cols = image.shape

    def render(width: int, height: int) -> np.ndarray:
        return eight_bit(cv2.resize(image.pixels, (width, height), interpolation=cv2.INTER_AREA))

    uri, width, height = encode(render, image.shape, stretch(measured), max_bytes)
    enlarged = max(1.0, SHOWN_WIDTH_PX / width)
    width, height = round(width * enlarged), round(height * enlarged)
    zoom = (width / cols, height / rows)
    unit = max(1.0, width / SHOWN_WIDTH_PX)
    layer = outside(measured.read_mask("region") > 0, zoom, SPECK_PX2 * enlarged**2)
    layer += _drawn(record, zoom)
    layer += _ribbons(record, zoom, min(_MAX_CHARS, max_bytes // 2))
    layer += edges_by_hand(record, picture_key(record.image_id), zoom)
    layer += _marks(record, zoom, _Labels(width, height, unit))
    strip = round(26 * unit)
    bar, words = scale_bar(width, height, strip, um_per_px(measured, zoom[0]), 1 / zoom[0])
    return FieldPicture(width, height, strip, uri, {"struts": layer}, bar, words)


def _ribbons(record: FieldRecord, zoom: tuple[float, float], most: int) -> str:
    """The middle of every strut in the colour of its width; longer patches where that would be too much."""
    colours = strut_colours(record)
    if colours is None:
        return ""
    table, shades = record.table("stations"), colour_table()
    left, right = ((_points(table, side) + 0.5) * np.array(zoom) for side in ("left", "right"))
    middle = (left + right) / 2
    upper, lower = (middle + _RIBBON * (side - middle) for side in (left, right))
    seen, text = _SEEN_PX, ""
    for _ in range(5):
        by_level: dict[int, list[str]] = {}
        for start, end in stretches(table["strut"]):
            step = _stations_in(middle[start:end], seen)
            for a, b, level in coloured_runs(colours.values[start:end], colours, step):
                own = slice(start + a, min(start + b + 1, end))
                ring = np.concatenate([upper[own], lower[own][::-1]])
                ring = ring[np.isfinite(ring).all(axis=1)]
                if len(ring) > 2:
                    by_level.setdefault(level, []).append(path_of(ring, closed=True, tolerance=0.4))
        text = "".join(
            f'<path fill="{shades[level]}" stroke="{shades[level]}" d="{"".join(paths)}"/>'
            for level, paths in sorted(by_level.items())
        )
        if len(text) <= most:
            break
        seen *= 2
    return f'<g class="strut-runs">{text}</g>'


def _drawn(record: FieldRecord, zoom: tuple[float, float]) -> str:
    """The width before or as drawn, laid evenly about the smoothed middle of each strut."""
    table, struts = record.table("stations"), record.table("struts")
    reference = dict(zip(struts["strut"].tolist(), struts["reference_width_px"].tolist(), strict=True))
    left, right = (_points(table, side) for side in ("left", "right"))
    paths = []
    for start, end in stretches(table["strut"]):
        wide = reference.get(int(table["strut"][start]), math.nan)
        counts = (table["fault"][start:end] == "") & np.isfinite(left[start:end]).all(axis=1)
        counts &= np.isfinite(right[start:end]).all(axis=1)
        if math.isnan(wide) or np.count_nonzero(counts) < 3:
            continue
        at = np.flatnonzero(counts)
        own = np.arange(at[0], at[-1] + 1)
        s = table["s_px"][start:end]
        widths = table["width_px"][start:end]
        middle = (left[start:end] + right[start:end]) / 2
        smooth = _smoothed(s[at], middle[at], widths[at], s[own])
        along = np.gradient(smooth, axis=0) if len(own) > 1 else np.zeros_like(smooth)
        length = np.maximum(np.hypot(*along.T), 1e-9)
        normal = np.stack([-along[:, 1], along[:, 0]], axis=1) / length[:, np.newaxis]
        for side in (0.5, -0.5):
            line = (smooth + side * wide * normal + 0.5) * np.array(zoom)
            paths.append(path_of(line, closed=False, tolerance=0.5))
    if not paths:
        return ""
    d = "".join(paths)
    return f'<path class="strut-drawn-case" d="{d}"/><path class="strut-drawn" d="{d}"/>'


def _smoothed(s: np.ndarray, middle: np.ndarray, widths: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    """A gentle curve through the middles where the strut is wide: beside a notch the middle lies aside."""
    whole = np.where(widths >= np.median(widths), 1.0, 0.1)
    centre, span = float(s.mean()), max(float(np.ptp(s)) / 2, 1e-9)
    degree = min(_OUTLINE_DEGREE, max(1, len(s) // 20))
    t, u = (s - centre) / span, (wanted - centre) / span
    powers = np.vander(t, degree + 1)
    found = np.linalg.lstsq(powers * whole[:, np.newaxis], middle * whole[:, np.newaxis], rcond=None)[0]
    return np.asarray(np.vander(u, degree + 1) @ found)


def _marks(record: FieldRecord, zoom: tuple[float, float], labels: _Labels) -> str:
    """Least places, faults and numbers of struts, in the order in which they must be seen."""
    parts = [_least(record, zoom, labels), _faults(record, zoom, labels)]
    struts = record.table("struts")
    if len(struts["strut"]) > 1:
        order = [k for k in worst_first(record) if np.isfinite(struts["mean_width_px"][k])]
        for k in order if len(order) <= _MOST_NUMBERED else order[:_WORST_NUMBERED]:
            x, y = _place(float(struts["row_px"][k]), float(struts["col_px"][k]), zoom)
            parts.append(labels.on(x, y, str(int(struts["strut"][k]))))
    return "".join(parts)


def _least(record: FieldRecord, zoom: tuple[float, float], labels: _Labels) -> str:
    """A cross at the least width and a triangle at the least section, each with its number."""
    width = least_width_words(record)
    section = least_section_words(record)
    at = [
        (record.figure("struts", f"{what}_row_px"), record.figure("struts", f"{what}_col_px"))
        for what in ("min_width", "least_section")
    ]
    if math.isnan(at[0][0]) or not width:
        return ""
    same = section and math.hypot(at[0][0] - at[1][0], at[0][1] - at[1][1]) < 1
    places = [("cross", at[0], f"least {width}, section left {section}" if same else f"least {width}")]
    if section and not same:
        places.append(("triangle", at[1], f"least section left {section}"))
    signs, texts = [], []
    arm = 6 * labels.unit
    for sign, (row, col), text in places:
        x, y = _place(row, col, zoom)
        labels.keep_clear(x, y, arm)
        both = 2 * arm
        d = (
            f"M{x - arm:.1f} {y - arm:.1f}l{both:.1f} {both:.1f}m{-both:.1f} 0l{both:.1f} {-both:.1f}"
            if sign == "cross"
            else f"M{x - arm:.1f} {y + 0.7 * arm:.1f}h{both:.1f}l{-arm:.1f} {-1.7 * arm:.1f}z"
        )
        signs.append(f'<path class="deepest-case" d="{d}"/><path class="deepest" d="{d}"/>')
        clear = _clearance(record, row, col, zoom, 11 * labels.unit)
        texts.append(labels.beside(x, y, text, clear, always=True))
    return "".join([*signs, *texts])


def _clearance(
    record: FieldRecord, row: float, col: float, zoom: tuple[float, float], margin: float
) -> tuple[float, float]:
    """How far across and down from a place on a strut its metal and its width as drawn end."""
    stations, struts = record.table("stations"), record.table("struts")
    at = int(np.argmin(np.hypot(stations["row_px"] - row, stations["col_px"] - col)))
    k = int(np.flatnonzero(struts["strut"] == stations["strut"][at])[0])
    half = max(np.nan_to_num(struts[n][k]) for n in ("reference_width_px", "mean_width_px")) * max(zoom) / 2
    along = math.radians(float(stations["normal_deg"][at]))
    across, down = (half / max(abs(f(along)), 0.4) + margin for f in (math.cos, math.sin))
    return across, down


def least_width_words(record: FieldRecord) -> str:
    """The least width of a picture with its unit; empty where there is none."""
    for unit, word in (("um", "µm"), ("px", "px")):
        value = record.figure("struts", f"min_width_{unit}")
        if not math.isnan(value):
            low, high = record.interval("struts", f"min_width_{unit}")
            return f"{round_to_interval(value, low, high).value}\u00a0{word}"
    return ""


def least_section_words(record: FieldRecord) -> str:
    """The least section left of a picture in per cent; empty where there is none."""
    left = least_section(record)
    if not left.basis:
        return ""
    return f"{round_to_interval(left.value, left.low, left.high, scale=100).value}\u00a0%"


def _faults(record: FieldRecord, zoom: tuple[float, float], labels: _Labels) -> str:
    """A sign at every fault, and beside it what it is and how long."""
    table = record.table("strut_faults")
    order = np.argsort(-np.nan_to_num(table["length_px"]), kind="stable")[:_MOST_FAULTS]
    signs, texts = [], []
    for k in order:
        kind = str(table["kind"][k])
        x, y = _place(float(table["row_px"][k]), float(table["col_px"][k]), zoom)
        x, y = min(max(x, 9 * labels.unit), labels.width), min(max(y, 9 * labels.unit), labels.height)
        labels.keep_clear(x, y, 7 * labels.unit)
        move = f'transform="translate({x:.1f} {y:.1f}) scale({labels.unit:.2f})"'
        signs.append(
            f'<path class="fault-case" {move} d="{_SIGNS[kind]}"/><path class="fault" {move} '
            f'd="{_SIGNS[kind]}"/>'
        )
    for k in order:
        x, y = _place(float(table["row_px"][k]), float(table["col_px"][k]), zoom)
        kind = str(table["kind"][k])
        length, word = float(table["length_um"][k]), "µm"
        if math.isnan(length):
            length, word = float(table["length_px"][k]), "px"
        said = f" {significant(length, 2)}\u00a0{word}" if length > 0 and kind != "missing" else ""
        texts.append(labels.beside(x, y, f"{kind}{said}") or labels.beside(x, y, kind))
    return "".join([*signs, *texts])


def _stations_in(points: np.ndarray, seen_px: float) -> int:
    """Stations in a stretch that can just be seen."""
    known = points[np.isfinite(points).all(axis=1)]
    if len(known) < 2:
        return 1
    step = float(np.median(np.hypot(*np.diff(known, axis=0).T)))
    return max(1, math.ceil(seen_px / max(step, 1e-6)))


def _points(table: Table, side: str) -> np.ndarray:
    """Edge points of all stations in pixels of the file, (n, 2) of column and row."""
    return np.stack([table[f"{side}_col_px"], table[f"{side}_row_px"]], axis=1)


def _place(row: float, col: float, zoom: tuple[float, float]) -> tuple[float, float]:
    return (col + 0.5) * zoom[0], (row + 0.5) * zoom[1]

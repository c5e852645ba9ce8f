"""Pictures of polished cross-sections: original and remaining outline, what is lost, and where most."""

from __future__ import annotations

import html
import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from surfscan.images import Micrograph
from surfscan.measurement.section_loss import least_ligament
from surfscan.report.drawing import (
    MAX_WIDTH_PX,
    SHOWN_WIDTH_PX,
    SPECK_PX2,
    area_path,
    encode,
    outside,
    picture_key,
    scale_bar,
)
from surfscan.report.hand_drawing import area_by_hand
from surfscan.report.pictures import FieldPicture, eight_bit, open_as_measured, stretch, um_per_px
from surfscan.report.records import FieldRecord
from surfscan.report.section_charts import greatest_station, least_station, marks
from surfscan.report.section_records import Section, sections_of
from surfscan.segmentation.section import METAL

BESIDE = 2
"""With more sections than this in a picture their charts stand below it, and the picture is wider."""

_MARGIN = 0.1
"""Room around the sections, as a share of their longer side, where their letters stand."""
_LEAST_MARGIN_PX = 12
_AGREES = 0.04
"""A ligament drawn anew on the stored mask is shown where it is as long as the one measured, within this."""
_STEP = 0.35
_LETTERED_PX = 380.0
"""Outlines drawn shorter than this get no letters: they would hide the section."""
_WORDS_PX = 320.0
"""Sections drawn narrower than this get values alone beside their lines, no words."""
_LIGAMENT_PX = 180.0
"""Sections drawn narrower than this show the greatest penetration alone."""
_HIDES_WORDS = 100
"""How much worse it is to hide a letter or other words than one twenty-fifth of a line."""
_CHARACTER = 9.0
"""Width of a character of a label, generously."""


@dataclass(frozen=True)
class _View:
    """Part of a file as the page shows it.

    Attributes
    ----------
    rows, cols : slice
        What is shown of the file.
    zoom : (float, float)
        Picture pixels per pixel of the file, along a row and along a column.
    unit : float
        Size of marks, in picture pixels.
    size : (int, int)
        Width and height in picture pixels.
    """

    rows: slice
    cols: slice
    zoom: tuple[float, float]
    unit: float
    size: tuple[int, int]

    def points(self, rows: np.ndarray, cols: np.ndarray) -> np.ndarray:
        """Places of the file in picture pixels, (n, 2)."""
        x = (np.asarray(cols) + 0.5 - self.cols.start) * self.zoom[0]
        y = (np.asarray(rows) + 0.5 - self.rows.start) * self.zoom[1]
        return np.stack([x, y], axis=-1)


class _Labels:
    """Words beside measured lines, put where they hide neither one another nor letters nor lines.

    Attributes
    ----------
    view : _View
    taken : list of (float, float, float, float)
        Left, top, right and bottom of letters and numbers.
    lines : list of (ndarray, ndarray, str)
        Start and end of every measured line, and its words.
    """

    def __init__(self, view: _View) -> None:
        self.view = view
        self.taken: list[tuple[float, float, float, float]] = []
        self.lines: list[tuple[np.ndarray, np.ndarray, str]] = []

    def take(self, x: float, y: float, half: float) -> None:
        """Keep a square clear."""
        self.taken.append((x - half, y - half, x + half, y + half))

    def beside(self, start: np.ndarray, end: np.ndarray, text: str) -> None:
        """Words for a line from start to end."""
        self.lines.append((start, end, text))

    def words(self) -> str:
        """All of them, each in the place along its line that hides least."""
        u = self.view.unit
        shares = np.linspace(0, 1, 25)[:, None]
        dots = np.concatenate([a + shares * (b - a) for a, b, _ in self.lines] or [np.empty((0, 2))])
        taken, parts = list(self.taken), []
        for start, end, text in self.lines:
            boxes = [self._inside(box) for box in self._places(start, end, text)]
            cost = [_HIDES_WORDS * sum(_overlap(b, o) for o in taken) + _held(b, dots) for b in boxes]
            box = boxes[int(np.argmin(cost))]
            taken.append(box)
            parts.append(
                f'<text class="sec-mark" x="{box[0]:.1f}" y="{box[3] - 3 * u:.1f}" font-size="{15 * u:.1f}">'
                f"{html.escape(text)}</text>"
            )
        return "".join(parts)

    def _places(
        self, start: np.ndarray, end: np.ndarray, text: str
    ) -> Iterator[tuple[float, float, float, float]]:
        """Boxes on the right, on the left, above and below of some places along a line, best liked first."""
        u = self.view.unit
        wide, high, gap = _CHARACTER * len(text) * u, 15 * u, 9 * u
        for share in (0.5, 0.3, 0.7, 0.1, 0.9):
            x, y = (float(v) for v in start + share * (end - start))
            for left, top in (
                (x + gap, y - high / 2),
                (x - gap - wide, y - high / 2),
                (x - wide / 2, y - gap - high),
                (x - wide / 2, y + gap),
            ):
                yield left, top, left + wide, top + high

    def _inside(self, box: tuple[float, float, float, float]) -> tuple[float, float, float, float]:
        """A box moved into the picture."""
        wide, high = box[2] - box[0], box[3] - box[1]
        x = min(max(box[0], 0.0), max(self.view.size[0] - wide, 0.0))
        y = min(max(box[1], 0.0), max(self.view.size[1] - high, 0.0))
        return x, y, x + wide, y + high


def make_section_picture(record: FieldRecord, folder: Path, max_bytes: int) -> FieldPicture:
    """Draw one picture of sections, cut to them.

    Parameters
    ----------
    record : FieldRecord
        A picture of sections that was measured.
    folder : Path
        Folder of the study.
    max_bytes : int
        Size aimed at for the encoded picture.

    Raises
    ------
    InputError
        If the file or a mask cannot be read or is no longer the one measured.
    """
    import cv2

    image, measured = open_as_measured(record, folder)
    if not isinstance(image, Micrograph):
        raise TypeError(f"{record.image_id}: opened as a micrograph, got {type(image).__name__}")
    classes, region = measured.read_mask("section"), measured.read_mask("region")
    found = sections_of([record])
    rows, cols = _window(classes, found)
    pixels = eight_bit(image.pixels)[rows, cols]
    shape = (pixels.shape[0], pixels.shape[1])

    def render(width: int, height: int) -> np.ndarray:
        return cv2.resize(pixels, (width, height), interpolation=cv2.INTER_AREA)

    uri, width, height = encode(render, shape, stretch(measured), max_bytes)
    shown = SHOWN_WIDTH_PX if len(found) <= BESIDE else MAX_WIDTH_PX
    enlarged = max(1.0, shown / width)
    width, height = round(width * enlarged), round(height * enlarged)
    unit = max(1.0, width / shown)
    view = _View(rows, cols, (width / shape[1], height / shape[0]), unit, (width, height))
    layer = outside(region[rows, cols], view.zoom, SPECK_PX2 * enlarged**2)
    layer += _layer(record, classes[rows, cols], found, view)
    layer += area_by_hand(record, "section", picture_key(record.image_id), view.zoom, (rows, cols))
    strip = round(26 * unit)
    bar, words = scale_bar(width, height, strip, um_per_px(measured, view.zoom[0]), 1 / view.zoom[0])
    return FieldPicture(width, height, strip, uri, {"section": layer}, bar, words)


def _window(classes: np.ndarray, found: list[Section]) -> tuple[slice, slice]:
    """The part of the file that holds the sections and their outlines, with room for letters."""
    places = [np.argwhere(classes > 0).astype(float)]
    for section in found:
        table = section.stations()
        places.append(np.stack([table["row_px"], table["col_px"]], axis=1))
    at = np.concatenate(places)
    if not len(at):
        return slice(0, classes.shape[0]), slice(0, classes.shape[1])
    low, high = at.min(axis=0), at.max(axis=0)
    margin = max(_MARGIN * float((high - low).max()), _LEAST_MARGIN_PX)
    starts = np.maximum(np.floor(low - margin), 0).astype(int)
    ends = np.minimum(np.ceil(high + margin) + 1, classes.shape).astype(int)
    return slice(int(starts[0]), int(ends[0])), slice(int(starts[1]), int(ends[1]))


def _layer(record: FieldRecord, classes: np.ndarray, found: list[Section], view: _View) -> str:
    """What is drawn over the picture, in picture pixels."""
    metal = classes == METAL
    originals = {s.number: o for s in found if len(o := _original(s, view)) > 2}
    parts = []
    lost = _lost(metal, list(originals.values()), view)
    path = area_path(lost, view.zoom) if lost.any() else ""
    if path:
        parts.append(f'<path class="sec-gone" d="{path}"/>')
    path = area_path(metal, view.zoom)
    key = picture_key(record.image_id)
    if path:
        parts.append(_cased("sec-metal", f"metal-{key}", path))
    for number, outline in originals.items():
        parts.append(_cased("sec-original", f"original-{number}-{key}", _closed(outline)))
    labels = _Labels(view)
    for section in found:
        if section.crosses:
            parts.append(_middle_letters(section, labels))
        elif section.number in originals:
            parts.append(_letters(section, originals[section.number], labels))
        if len(found) > 1:
            parts.append(_number(section, labels))
    for section in found:
        if section.crosses:
            parts.append(_least_thickness(section, labels))
            continue
        own = originals.get(section.number)
        wide = math.inf if own is None else float(np.ptp(own[:, 0])) / view.unit
        in_words = wide >= _WORDS_PX
        if own is not None:
            parts.append(_greatest(section, labels, in_words))
        if wide >= _LIGAMENT_PX:
            parts.append(_ligament(section, metal, labels, in_words))
    return "".join([*parts, labels.words()])


def _original(section: Section, view: _View) -> np.ndarray:
    table = section.stations()
    return view.points(table["row_px"], table["col_px"])


def _lost(metal: np.ndarray, originals: list[np.ndarray], view: _View) -> np.ndarray:
    """Where the original outlines hold no metal any more."""
    import cv2

    inside = np.zeros(metal.shape, np.uint8)
    for outline in originals:
        points = outline / np.array(view.zoom) - 0.5
        cv2.fillPoly(inside, [np.round(points * 256).astype(np.int32)], 1, shift=8)
    return (inside > 0) & ~metal


def _letters(section: Section, outline: np.ndarray, labels: _Labels) -> str:
    """Letters at quarters of the outline, outside it, and an arrow where arc length starts."""
    view = labels.view
    if np.hypot(*np.diff(outline, axis=0).T).sum() < _LETTERED_PX * view.unit:
        return ""
    middle = outline.mean(axis=0)
    parts = []
    for letter, k in marks(section):
        ahead = outline[(k + 3) % len(outline)] - outline[k - 3]
        along = ahead / max(float(np.hypot(*ahead)), 1e-9)
        out = np.array([along[1], -along[0]])
        if out @ (outline[k] - middle) < 0:
            out = -out
        parts.append(_lettered(letter, outline[k], out, labels))
        if letter == "A":
            parts.append(_arrow(outline[k] + 5 * view.unit * out, along, view))
    return "".join(parts)


def _middle_letters(section: Section, labels: _Labels) -> str:
    """Letters along the middle of a section that crosses the picture."""
    view, table = labels.view, section.thickness()
    middle = view.points(table["row_px"], table["col_px"])
    parts = []
    for letter, k in marks(section):
        x, y = np.clip(middle[k], 12 * view.unit, np.array(view.size) - 12 * view.unit)
        parts.append(_disc(letter, float(x), float(y), labels))
    return "".join(parts)


def _lettered(letter: str, at: np.ndarray, out: np.ndarray, labels: _Labels) -> str:
    """A tick across the outline and its letter beyond it."""
    view = labels.view
    inner, outer = at - 5 * view.unit * out, at + 8 * view.unit * out
    x, y = np.clip(at + 18 * view.unit * out, 11 * view.unit, np.array(view.size) - 11 * view.unit)
    return _measure_line(f"M{_xy(inner)}L{_xy(outer)}") + _disc(letter, float(x), float(y), labels)


def _disc(letter: str, x: float, y: float, labels: _Labels) -> str:
    u = labels.view.unit
    labels.take(x, y, 10 * u)
    return (
        f'<circle class="sec-disc" cx="{x:.1f}" cy="{y:.1f}" r="{9.5 * u:.1f}"/>'
        f'<text class="sec-letter" x="{x:.1f}" y="{y + 4.6 * u:.1f}" font-size="{13 * u:.1f}" '
        f'text-anchor="middle">{letter}</text>'
    )


def _arrow(start: np.ndarray, along: np.ndarray, view: _View) -> str:
    """The way that arc length runs."""
    u = view.unit
    across = np.array([-along[1], along[0]])
    tip = start + 34 * u * along
    d = (
        f"M{_xy(start)}L{_xy(tip)}M{_xy(tip - 8 * u * along + 5 * u * across)}L{_xy(tip)}"
        f"L{_xy(tip - 8 * u * along - 5 * u * across)}"
    )
    return _measure_line(d)


def _greatest(section: Section, labels: _Labels, in_words: bool) -> str:
    """The greatest penetration as a measured line inwards from the original outline."""
    view, table = labels.view, section.stations()
    k = greatest_station(section)
    outline = view.points(table["row_px"], table["col_px"])
    feet = view.points(table["metal_row_px"], table["metal_col_px"])
    depth, deepest = float(table["penetration_px"][k]), float(table["deepest_px"][k])
    if deepest <= 0:
        return ""
    if depth > 1:
        end = outline[k] + (feet[k] - outline[k]) * deepest / depth
    else:
        near = int(np.argmax(np.where(np.arange(len(outline)) == k, -1, table["penetration_px"])))
        scale = float(np.hypot(*(feet[near] - outline[near]))) / max(
            float(table["penetration_px"][near]), 1e-9
        )
        ahead = outline[(k + 1) % len(outline)] - outline[k - 1]
        inward = np.array([-ahead[1], ahead[0]]) / max(float(np.hypot(*ahead)), 1e-9)
        if inward @ (outline.mean(axis=0) - outline[k]) < 0:
            inward = -inward
        end = outline[k] + inward * deepest * scale
    return _measured(outline[k], end, _value(section, "greatest", "max_penetration", in_words), labels)


def _ligament(section: Section, metal: np.ndarray, labels: _Labels, in_words: bool) -> str:
    """The least ligament as a measured line, found again on the mask; left out where it does not agree."""
    import cv2

    view, stored = labels.view, section.figure("least_ligament_px")
    if math.isnan(stored):
        return ""
    y, x = section.figure("row_px") - view.rows.start, section.figure("col_px") - view.cols.start
    contours = cv2.findContours(metal.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0]
    bodies = [c for c in contours if cv2.contourArea(c) > 16]
    if not bodies:
        return ""
    body = max(bodies, key=lambda c: (cv2.pointPolygonTest(c, (x, y), False) >= 0, cv2.contourArea(c)))
    outline = (body[:, 0, :].astype(float) + 0.5) * np.array(view.zoom)
    length, ends = least_ligament(outline)
    per_px = min(view.zoom)
    if abs(length / per_px + 1 - stored) > max(_AGREES * stored, 2.0):
        return ""
    return _measured(ends[0], ends[1], _value(section, "ligament", "least_ligament", in_words), labels)


def _value(section: Section, word: str, name: str, in_words: bool) -> str:
    """A length as it stands beside its line."""
    value = f"{section.rounded(name).value} {section.unit_word}"
    return f"{word} {value}" if in_words else value


def _least_thickness(section: Section, labels: _Labels) -> str:
    view = labels.view
    table = section.thickness()
    if len(table["row_px"]) < 2:
        return ""
    middle = view.points(table["row_px"], table["col_px"])
    k = least_station(section)
    way = middle[-1] - middle[0]
    across = np.array([-way[1], way[0]]) / max(float(np.hypot(*way)), 1e-9)
    stored = section.record.done("section")
    angle = (stored.settings.get("cut_angle_deg") if stored else None) or 0.0
    half = 0.5 * float(table["thickness_px"][k]) / math.cos(math.radians(angle)) * min(view.zoom)
    text = _value(section, "least", "least_ligament", True)
    return _measured(middle[k] - half * across, middle[k] + half * across, text, labels)


def _number(section: Section, labels: _Labels) -> str:
    """The section's number, in its middle."""
    at = labels.view.points(np.array(section.figure("row_px")), np.array(section.figure("col_px")))
    x, y = (float(v) for v in at)
    u = labels.view.unit
    labels.take(x, y, 13 * u)
    return (
        f'<text class="sec-mark" x="{x:.1f}" y="{y + 8 * u:.1f}" font-size="{24 * u:.1f}" '
        f'text-anchor="middle">{section.number}</text>'
    )


def _measured(start: np.ndarray, end: np.ndarray, text: str, labels: _Labels) -> str:
    """A line with ends, and what it measures beside it."""
    u = labels.view.unit
    way = end - start
    along = way / max(float(np.hypot(*way)), 1e-9)
    across = np.array([-along[1], along[0]]) * 5 * u
    d = (
        f"M{_xy(start)}L{_xy(end)}M{_xy(start - across)}L{_xy(start + across)}"
        f"M{_xy(end - across)}L{_xy(end + across)}"
    )
    labels.beside(start, end, text)
    return _measure_line(d)


def _overlap(a: tuple[float, float, float, float], b: tuple[float, float, float, float]) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def _held(box: tuple[float, float, float, float], dots: np.ndarray) -> int:
    """How many points lie in a box."""
    x, y = dots.T
    return int(np.count_nonzero((x > box[0]) & (x < box[2]) & (y > box[1]) & (y < box[3])))


def _measure_line(d: str) -> str:
    return f'<path class="deepest-case" d="{d}"/><path class="deepest" d="{d}"/>'


def _cased(name: str, ident: str, d: str) -> str:
    """A line on a white casing, so that it is seen on any grey."""
    return (
        f'<defs><path id="{ident}" class="line" d="{d}"/></defs>'
        f'<use class="sec-case" href="#{ident}"/><use class="{name}" href="#{ident}"/>'
    )


def _closed(points: np.ndarray) -> str:
    """A closed path with no more points than can be seen."""
    import cv2

    simple = cv2.approxPolyDP(points.astype(np.float32).reshape(-1, 1, 2), _STEP, True)[:, 0, :]
    return "M" + "L".join(_xy(p) for p in simple) + "z"


def _xy(point: np.ndarray) -> str:
    return f"{point[0]:.1f} {point[1]:.1f}"

"""Pictures of polished cross-sections: original and remaining outline, what is lost, and where most."""

from __future__ import annotations

import hashlib
import html
import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from surfscan.images import Micrograph
from surfscan.measurement.section_loss import least_ligament
from surfscan.report.drawing import SHOWN_WIDTH_PX, SPECK_PX2, area_path, encode, outside, scale_bar
from surfscan.report.pictures import FieldPicture, eight_bit, open_as_measured, stretch, um_per_px
from surfscan.report.records import FieldRecord
from surfscan.report.rounding import significant
from surfscan.report.section_charts import greatest_station, least_station, marks
from surfscan.report.section_records import Section, sections_of
from surfscan.segmentation.section import METAL

_MARGIN = 0.1
"""Room around the sections, as a share of their longer side, where their letters stand."""
_LEAST_MARGIN_PX = 12
_AGREES = 0.04
"""A ligament drawn anew on the stored mask is shown where it is as long as the one measured, within this."""
_STEP = 0.35
_LETTERED_PX = 160.0
"""Outlines drawn shorter than this get no letters: they would hide the section."""


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
    enlarged = max(1.0, SHOWN_WIDTH_PX / width)
    width, height = round(width * enlarged), round(height * enlarged)
    unit = max(1.0, width / SHOWN_WIDTH_PX)
    view = _View(rows, cols, (width / shape[1], height / shape[0]), unit, (width, height))
    layer = outside(region[rows, cols], view.zoom, SPECK_PX2 * enlarged**2)
    layer += _layer(record, classes[rows, cols], found, view)
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
    key = hashlib.sha256(record.image_id.encode()).hexdigest()[:12]
    if path:
        parts.append(_cased("sec-metal", f"metal-{key}", path))
    for number, outline in originals.items():
        parts.append(_cased("sec-original", f"original-{number}-{key}", _closed(outline)))
    for section in found:
        if section.crosses:
            parts += [_middle_letters(section, view), _least_thickness(section, view)]
        elif section.number in originals:
            parts.append(_letters(section, originals[section.number], view))
            parts.append(_greatest(section, view))
        if not section.crosses:
            parts.append(_ligament(section, metal, view))
        if len(found) > 1:
            parts.append(_number(section, view))
    return "".join(parts)


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


def _letters(section: Section, outline: np.ndarray, view: _View) -> str:
    """Letters at quarters of the outline, outside it, and an arrow where arc length starts."""
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
        parts.append(_lettered(letter, outline[k], out, view))
        if letter == "A":
            parts.append(_arrow(outline[k] + 5 * view.unit * out, along, view))
    return "".join(parts)


def _middle_letters(section: Section, view: _View) -> str:
    """Letters along the middle of a section that crosses the picture."""
    table = section.thickness()
    middle = view.points(table["row_px"], table["col_px"])
    parts = []
    for letter, k in marks(section):
        x, y = np.clip(middle[k], 12 * view.unit, np.array(view.size) - 12 * view.unit)
        parts.append(_disc(letter, float(x), float(y), view))
    return "".join(parts)


def _lettered(letter: str, at: np.ndarray, out: np.ndarray, view: _View) -> str:
    """A tick across the outline and its letter beyond it."""
    inner, outer = at - 5 * view.unit * out, at + 8 * view.unit * out
    x, y = np.clip(at + 18 * view.unit * out, 11 * view.unit, np.array(view.size) - 11 * view.unit)
    return _measure_line(f"M{_xy(inner)}L{_xy(outer)}") + _disc(letter, float(x), float(y), view)


def _disc(letter: str, x: float, y: float, view: _View) -> str:
    u = view.unit
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


def _greatest(section: Section, view: _View) -> str:
    """The greatest penetration as a measured line inwards from the original outline."""
    table = section.stations()
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
    value = table[f"deepest_{section.unit}"][k]
    return _measured(outline[k], end, f"greatest {significant(float(value))} {section.unit_word}", view)


def _ligament(section: Section, metal: np.ndarray, view: _View) -> str:
    """The least ligament as a measured line, found again on the mask; left out where it does not agree."""
    import cv2

    stored = section.figure("least_ligament_px")
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
    per_px = _picture_px(section, view)
    if abs(length / per_px + 1 - stored) > max(_AGREES * stored, 2.0):
        return ""
    value = section.figure(f"least_ligament_{section.unit}")
    return _measured(ends[0], ends[1], f"ligament {significant(value)} {section.unit_word}", view)


def _picture_px(section: Section, view: _View) -> float:
    """Picture pixels of a px that lengths of the section are given in: the finer way of the file."""
    return min(view.zoom)


def _least_thickness(section: Section, view: _View) -> str:
    table = section.thickness()
    if len(table["row_px"]) < 2:
        return ""
    middle = view.points(table["row_px"], table["col_px"])
    k = least_station(section)
    way = middle[-1] - middle[0]
    across = np.array([-way[1], way[0]]) / max(float(np.hypot(*way)), 1e-9)
    stored = section.record.done("section")
    angle = (stored.settings.get("cut_angle_deg") if stored else None) or 0.0
    half = 0.5 * float(table["thickness_px"][k]) / math.cos(math.radians(angle)) * _picture_px(section, view)
    value = section.figure(f"least_ligament_{section.unit}")
    text = f"least {significant(value)} {section.unit_word}"
    return _measured(middle[k] - half * across, middle[k] + half * across, text, view)


def _number(section: Section, view: _View) -> str:
    """The section's number, in its middle."""
    x, y = view.points(np.array(section.figure("row_px")), np.array(section.figure("col_px")))
    u = view.unit
    return (
        f'<text class="sec-mark" x="{x:.1f}" y="{y + 8 * u:.1f}" font-size="{24 * u:.1f}" '
        f'text-anchor="middle">{section.number}</text>'
    )


def _measured(start: np.ndarray, end: np.ndarray, text: str, view: _View) -> str:
    """A line with ends, and what it measures beside it, inside the picture."""
    u = view.unit
    way = end - start
    along = way / max(float(np.hypot(*way)), 1e-9)
    across = np.array([-along[1], along[0]]) * 5 * u
    d = (
        f"M{_xy(start)}L{_xy(end)}M{_xy(start - across)}L{_xy(start + across)}"
        f"M{_xy(end - across)}L{_xy(end + across)}"
    )
    at = 0.5 * (start + end)
    wide = 8.2 * u * len(text)
    left = at[0] + 9 * u + wide > view.size[0]
    x = at[0] - 9 * u if left else at[0] + 9 * u
    y = min(max(float(at[1]) + 5 * u, 16 * u), view.size[1] - 5 * u)
    return _measure_line(d) + (
        f'<text class="sec-mark" x="{x:.1f}" y="{y:.1f}" font-size="{15 * u:.1f}" '
        f'text-anchor="{"end" if left else "start"}">{html.escape(text)}</text>'
    )


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

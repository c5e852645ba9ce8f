"""Charts of polished cross-sections: penetration around the original outline, thickness along a foil."""

from __future__ import annotations

import html
import math
from dataclasses import dataclass

import numpy as np

from surfscan.report.rounding import significant
from surfscan.report.section_records import Section, original_thickness

LETTERS = ("A", "B", "C", "D")
"""Marks at quarters of the original outline, A where arc length starts."""

_WIDTH = 600.0
ALONE, AMONG_OTHERS = 400.0, 268.0
"""Heights of a chart that stands alone beside its picture, and of one of several."""
_LEFT, _RIGHT, _TOP, _BOTTOM = 58.0, 16.0, 34.0, 46.0
_TOLERANCE = 0.35
_SHARE_OF_RUN = 0.004
"""Stretches without metal shorter than this share of the outline would not be seen, and are not hatched."""


@dataclass(frozen=True)
class _Frame:
    """The scales of a chart; `low` to `high` run downwards where `down`."""

    height: float
    length: float
    low: float
    high: float
    down: bool

    @property
    def foot(self) -> float:
        """Where the lower axis lies."""
        return self.height - _BOTTOM

    def x(self, s: float | np.ndarray) -> np.ndarray:
        return np.asarray(_LEFT + np.asarray(s) / self.length * (_WIDTH - _LEFT - _RIGHT))

    def y(self, value: float | np.ndarray) -> np.ndarray:
        share = (np.asarray(value) - self.low) / (self.high - self.low)
        inner = self.foot - _TOP
        return np.asarray(_TOP + inner * (share if self.down else 1 - share))

    def points(self, s: np.ndarray, value: np.ndarray) -> np.ndarray:
        return np.stack([self.x(s), self.y(value)], axis=1)


def section_chart(section: Section, height: float = ALONE) -> str:
    """The chart of one section, inline SVG; empty where it has neither an outline nor a thickness.

    Penetration along the original outline counts downwards from it; a section that crosses the picture has
    its thickness along the picture instead.
    """
    if section.crosses:
        return _thickness_chart(section, height)
    return _penetration_chart(section, height)


def marks(section: Section) -> list[tuple[str, int]]:
    """Letters of a section and the station each stands at: by them a place is found on picture and chart."""
    if section.crosses:
        n = len(section.thickness()["row_px"])
        return [(letter, round(k * (n - 1) / 4)) for k, letter in enumerate((*LETTERS, "E"))] if n > 4 else []
    n = len(section.stations()["row_px"])
    return [(letter, round(k * n / 4) % n) for k, letter in enumerate(LETTERS)] if n > 4 else []


def greatest_station(section: Section) -> int:
    """Station of the greatest penetration."""
    return int(np.argmax(section.stations()["deepest_px"]))


def _penetration_chart(section: Section, height: float) -> str:
    table, unit = section.stations(), section.unit
    if len(table["s_px"]) < 2:
        return ""
    s, depth, deepest = (table[f"{name}_{unit}"] for name in ("s", "penetration", "deepest"))
    reaches = table["reaches_metal"]
    length = section.perimeter()
    top = max(float(deepest.max()), 1e-9)
    _, doubt = section.interval("max_penetration_um")
    if unit == "um" and not math.isnan(doubt):
        top = max(top, doubt)
    frame = _Frame(height, length, min(float(depth.min()), 0.0), 1.08 * top, down=True)
    closed_s = np.r_[s, length]
    parts = [_grid_lines(frame)]
    parts += [_hatch(frame, a, b) for a, b in _stretches(~reaches, s, length)]
    for values, name in ((deepest, "sec-under"), (depth, "sec-gone")):
        edge = frame.points(closed_s, np.r_[values, values[0]])
        parts.append(f'<path class="{name}" d="{_filled(edge, float(frame.y(0.0)))}"/>')
    line = np.where(reaches, depth, np.nan)
    parts.append(f'<path class="sec-metal" d="{_broken(frame.points(closed_s, np.r_[line, line[0]]))}"/>')
    parts.append(f'<path class="sec-original" d="{_level(frame, 0.0)}"/>')
    parts.append(_mean(frame, section, "mean_penetration"))
    parts.append(_greatest(frame, section, s, deepest))
    at = [(letter, float(s[k])) for letter, k in marks(section)]
    parts.append(_lettered(frame, [*at, (LETTERS[0], length)]))
    parts.append(
        _axes(
            frame,
            f"Arc length along the original outline ({section.unit_word})",
            f"Penetration ({section.unit_word})",
        )
    )
    mean = section.rounded("mean_penetration").value
    most = section.rounded("max_penetration").value
    alt = (
        f"Penetration along the original outline of section {section.number} of {section.record.image_id}: "
        f"mean {mean} {section.unit_word}, greatest {most} {section.unit_word}"
    )
    return _svg(frame, parts, alt)


def _thickness_chart(section: Section, height: float) -> str:
    table, unit = section.thickness(), section.unit
    s, thickness = table[f"s_{unit}"], table[f"thickness_{unit}"]
    if len(s) < 2:
        return ""
    original = original_thickness(section)
    highest = np.nanmax(np.r_[thickness, original])
    frame = _Frame(height, float(s[-1]), 0.0, 1.1 * float(highest), down=False)
    edge = frame.points(s, thickness)
    parts = [_grid_lines(frame)]
    if not math.isnan(original):
        parts.append(f'<path class="sec-gone" d="{_filled(edge, float(frame.y(original)))}"/>')
    parts.append(f'<path class="sec-kept" d="{_filled(edge, float(frame.y(0.0)))}"/>')
    parts.append(f'<path class="sec-metal" d="{_broken(edge)}"/>')
    if not math.isnan(original):
        parts.append(f'<path class="sec-original" d="{_level(frame, original)}"/>')
        parts.append(
            _label(
                _WIDTH - _RIGHT - 4,
                float(frame.y(original)) - 6,
                f"original {significant(original)} {section.unit_word}",
                "end",
            )
        )
    parts.append(_mean(frame, section, "mean_thickness"))
    least = least_station(section)
    x, y = (float(v) for v in (frame.x(s[least]), frame.y(thickness[least])))
    parts.append(_measured(x, float(frame.y(0.0)), y))
    value = section.rounded("least_ligament").value
    parts.append(_beside(x, float(frame.y(0.4 * thickness[least])), f"least {value} {section.unit_word}"))
    parts.append(_lettered(frame, [(letter, float(s[k])) for letter, k in marks(section)]))
    word = section.unit_word
    parts.append(_axes(frame, f"Position along the section ({word})", f"Thickness ({word})"))
    alt = (
        f"Thickness along section {section.number} of {section.record.image_id}: mean "
        f"{section.rounded('mean_thickness').value} {word}, least {value} {word}"
    )
    return _svg(frame, parts, alt)


def least_station(section: Section) -> int:
    """Station of the least thickness of a section that crosses the picture, single specks passed over."""
    thickness = section.thickness()["thickness_px"]
    around = np.pad(thickness, 1, mode="edge")
    return int(np.argmin(np.median(np.stack([around[:-2], around[1:-1], around[2:]]), axis=0)))


def _stretches(missing: np.ndarray, s: np.ndarray, length: float) -> list[tuple[float, float]]:
    """Where runs of stations without metal begin and end."""
    half = 0.5 * float(s[1] - s[0])
    flags = np.diff(np.r_[0, missing.astype(np.int8), 0])
    starts, ends = np.flatnonzero(flags == 1), np.flatnonzero(flags == -1) - 1
    runs = [(max(float(s[a]) - half, 0.0), float(s[b]) + half) for a, b in zip(starts, ends, strict=True)]
    runs = [(a, min(b, length)) for a, b in runs]
    return [(a, b) for a, b in runs if b - a >= _SHARE_OF_RUN * length]


def _hatch(frame: _Frame, start: float, end: float) -> str:
    x0, x1 = float(frame.x(start)), float(frame.x(end))
    return (
        f'<rect class="sec-none" x="{x0:.1f}" y="{_TOP:g}" width="{x1 - x0:.1f}" '
        f'height="{frame.foot - _TOP:g}"/>'
    )


def _mean(frame: _Frame, section: Section, name: str) -> str:
    value = section.figure(f"{name}_{section.unit}")
    if math.isnan(value):
        return ""
    y = float(frame.y(value))
    return f'<path class="sec-mean" d="{_level(frame, value)}"/>' + _label(
        _LEFT + 6, y - 5, f"mean {section.rounded(name).value} {section.unit_word}"
    )


def _greatest(frame: _Frame, section: Section, s: np.ndarray, deepest: np.ndarray) -> str:
    """The greatest penetration as a measured line, with the bar of its 95 % interval."""
    k = greatest_station(section)
    x, top, foot = float(frame.x(s[k])), float(frame.y(0.0)), float(frame.y(deepest[k]))
    low, high = section.interval("max_penetration_um")
    bar = ""
    if section.unit == "um" and not math.isnan(low) and not math.isnan(high):
        y0, y1 = float(frame.y(low)), float(frame.y(high))
        bar = f'<path class="sec-bar" d="M{x:.1f} {y0:.1f}V{y1:.1f}"/>'
    text = f"greatest {section.rounded('max_penetration').value} {section.unit_word}"
    return _measured(x, top, foot) + bar + _beside(x, foot - 4, text)


def _measured(x: float, start: float, end: float) -> str:
    d = f"M{x:.1f} {start:.1f}V{end:.1f}M{x - 5:.1f} {start:.1f}h10M{x - 5:.1f} {end:.1f}h10"
    return f'<path class="sec-measure" d="{d}"/>'


def _beside(x: float, y: float, text: str) -> str:
    """A label beside a line, on the side that has room."""
    left = x > 0.68 * _WIDTH
    return _label(x - 9 if left else x + 9, y, text, "end" if left else "start")


def _label(x: float, y: float, text: str, anchor: str = "start") -> str:
    return (
        f'<text class="sec-label" x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{html.escape(text)}</text>'
    )


def _lettered(frame: _Frame, at: list[tuple[str, float]]) -> str:
    parts = []
    for letter, s in at:
        x = float(frame.x(s))
        parts.append(
            f'<path class="sec-tick" d="M{x:.1f} {_TOP:g}V{frame.foot:g}"/>'
            f'<text class="sec-letter" x="{x:.1f}" y="{_TOP - 10:g}" text-anchor="middle">{letter}</text>'
        )
    return "".join(parts)


def _grid_lines(frame: _Frame) -> str:
    lines = "".join(
        f"M{_LEFT:g} {float(frame.y(v)):.1f}H{_WIDTH - _RIGHT:g}" for v in _ticks(frame.low, frame.high, 5)
    )
    return f'<path class="sec-grid" d="{lines}"/>'


def _axes(frame: _Frame, x_title: str, y_title: str) -> str:
    foot = frame.foot
    parts = [f'<path class="sec-axis" d="M{_LEFT:g} {_TOP:g}V{foot:g}H{_WIDTH - _RIGHT:g}"/>']
    for value in _ticks(0.0, frame.length, 6):
        x = float(frame.x(value))
        parts.append(_number(x, foot + 16, value, "middle"))
    for value in _ticks(frame.low, frame.high, 5):
        y = float(frame.y(value))
        parts.append(_number(_LEFT - 7, y + 4.5, value, "end"))
    middle = 0.5 * (_TOP + foot)
    parts.append(
        f'<text class="sec-title" x="{0.5 * (_LEFT + _WIDTH - _RIGHT):g}" y="{frame.height - 8:g}" '
        f'text-anchor="middle">{html.escape(x_title)}</text>'
        f'<text class="sec-title" transform="translate(14 {middle:g}) rotate(-90)" text-anchor="middle">'
        f"{html.escape(y_title)}</text>"
    )
    return "".join(parts)


def _number(x: float, y: float, value: float, anchor: str) -> str:
    """A number on an axis."""
    text = f"{value:.6g}".replace("-", "−")
    return f'<text class="sec-number" x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{text}</text>'


def _ticks(low: float, high: float, most: int) -> list[float]:
    """Round numbers from low to high, at most so many."""
    span = high - low
    decade = 10.0 ** math.floor(math.log10(span / most))
    step = next(k * decade for k in (1, 2, 5, 10) if span / (k * decade) <= most)
    first = math.ceil(low / step - 1e-9)
    return [n * step for n in range(first, math.floor(high / step + 1e-9) + 1)]


def _level(frame: _Frame, value: float) -> str:
    return f"M{_LEFT:g} {float(frame.y(value)):.1f}H{_WIDTH - _RIGHT:g}"


def _filled(points: np.ndarray, base: float) -> str:
    """The area between a line and a level."""
    simple = _simple(points[np.isfinite(points[:, 1])])
    steps = "L".join(f"{x:.1f} {y:.1f}" for x, y in simple)
    return f"M{simple[0][0]:.1f} {base:.1f}L{steps}L{simple[-1][0]:.1f} {base:.1f}z"


def _broken(points: np.ndarray) -> str:
    """A line that is broken where there is no value."""
    there = np.isfinite(points[:, 1])
    edges = np.flatnonzero(np.diff(np.r_[0, there.astype(np.int8), 0]))
    out = ""
    for start, end in zip(edges[::2], edges[1::2], strict=True):
        if end - start > 1:
            out += "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in _simple(points[start:end]))
    return out


def _simple(points: np.ndarray) -> np.ndarray:
    """Points that can be told apart on the page."""
    import cv2

    line = points.astype(np.float32).reshape(-1, 1, 2)
    return np.asarray(cv2.approxPolyDP(line, _TOLERANCE, False)[:, 0, :], dtype=float)


def _svg(frame: _Frame, parts: list[str], alt: str) -> str:
    return (
        f'<svg class="sec-chart" role="img" aria-label="{html.escape(alt)}" '
        f'viewBox="0 0 {_WIDTH:g} {frame.height:g}">{"".join(parts)}</svg>'
    )

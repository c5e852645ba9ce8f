"""Charts of polished cross-sections: penetration around the original outline, thickness along a foil."""

from __future__ import annotations

import math

import numpy as np

from surfscan.report.plotting import Frame, axes, band, label, line, runs, svg
from surfscan.report.rounding import significant
from surfscan.report.section_records import Section, original_thickness

LETTERS = ("A", "B", "C", "D")
"""Marks at quarters of the original outline, A where arc length starts."""

_WIDTH = 600.0
ALONE, AMONG_OTHERS = 400.0, 268.0
"""Heights of a chart that stands alone beside its picture, and of one of several."""
_LEFT, _RIGHT, _TOP, _BOTTOM = 58.0, 16.0, 34.0, 46.0
_UNDERCUT = 1.1
"""A place is called undercut where attack goes deeper than the metal's face by a tenth or more."""
_SHARE_OF_RUN = 0.004
"""Stretches without metal shorter than this share of the outline would not be seen, and are not hatched."""


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


def _is_undercut(section: Section, k: int) -> bool:
    """Whether metal still stands above the deepest place at a station, by more than the drawing can hide."""
    stations = section.stations()
    depth, deepest = float(stations["penetration_px"][k]), float(stations["deepest_px"][k])
    return bool(stations["reaches_metal"][k]) and deepest > _UNDERCUT * max(depth, 1.0)


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
    frame = _frame(height, length, 1.08 * top, min(float(depth.min()), 0.0))
    closed_s = np.r_[s, length]
    word = section.unit_word
    parts = [axes(frame, f"Arc length along the original outline ({word})", f"Penetration ({word})", up=5)]
    parts += [_hatch(frame, a, b) for a, b in _stretches(~reaches, s, length)]
    face, last = (frame.points(closed_s, np.r_[values, values[0]]) for values in (depth, deepest))
    parts.append(f'<path class="sec-gone" d="{band(frame.points(closed_s, 0.0 * closed_s), face)}"/>')
    parts.append(f'<path class="sec-under" d="{band(face, last)}"/>')
    met = np.where(reaches, depth, np.nan)
    parts.append(f'<path class="sec-metal" d="{line(frame.points(closed_s, np.r_[met, met[0]]))}"/>')
    parts.append(f'<path class="sec-original" d="{_level(frame, 0.0)}"/>')
    parts.append(_mean(frame, section, "mean_penetration"))
    parts.append(_greatest(frame, section, s, deepest))
    at = [(letter, float(s[k])) for letter, k in marks(section)]
    parts.append(_lettered(frame, [*at, (LETTERS[0], length)]))
    mean = section.rounded("mean_penetration").value
    most = section.length_words("max_penetration")[0]
    alt = (
        f"Penetration along the original outline of section {section.number} of {section.record.image_id}: "
        f"mean {mean} {word}, greatest {most} {word}"
        + (
            ", below metal that still stands (undercut)"
            if _is_undercut(section, greatest_station(section))
            else ""
        )
    )
    return svg(parts, _WIDTH, height, alt)


def _thickness_chart(section: Section, height: float) -> str:
    table, unit = section.thickness(), section.unit
    s, thickness = table[f"s_{unit}"], table[f"thickness_{unit}"]
    if len(s) < 2:
        return ""
    original = original_thickness(section)
    highest = np.nanmax(np.r_[thickness, original])
    frame = _frame(height, float(s[-1]), 0.0, 1.1 * float(highest))
    edge = frame.points(s, thickness)
    word = section.unit_word
    parts = [axes(frame, f"Position along the section ({word})", f"Thickness ({word})", up=5)]
    if not math.isnan(original):
        drawn = frame.points(s, np.full(len(s), original))
        parts.append(f'<path class="sec-gone" d="{band(edge, drawn)}"/>')
    parts.append(f'<path class="sec-kept" d="{band(frame.points(s, 0.0 * s), edge)}"/>')
    parts.append(f'<path class="sec-metal" d="{line(edge)}"/>')
    if not math.isnan(original):
        parts.append(f'<path class="sec-original" d="{_level(frame, original)}"/>')
        text = f"original {significant(original)} {word}"
        parts.append(label(frame.right - 4, frame.y(original) - 6, text, "end"))
    parts.append(_mean(frame, section, "mean_thickness"))
    least = least_station(section)
    x, thinnest = frame.x(float(s[least])), float(thickness[least])
    value = section.rounded("least_ligament").value
    parts.append(_measured(x, frame.y(0.0), frame.y(thinnest)))
    parts.append(_beside(x, frame.y(0.4 * thinnest), f"least {value} {word}"))
    parts.append(_lettered(frame, [(letter, float(s[k])) for letter, k in marks(section)]))
    alt = (
        f"Thickness along section {section.number} of {section.record.image_id}: mean "
        f"{section.rounded('mean_thickness').value} {word}, least {value} {word}"
    )
    return svg(parts, _WIDTH, height, alt)


def _frame(height: float, length: float, foot: float, top: float) -> Frame:
    """The panel of a chart `height` high, with the values at its foot and top."""
    return Frame(_LEFT, _TOP, _WIDTH - _LEFT - _RIGHT, height - _TOP - _BOTTOM, 0.0, length, foot, top)


def least_station(section: Section) -> int:
    """Station of the least thickness of a section that crosses the picture, single specks passed over."""
    thickness = section.thickness()["thickness_px"]
    around = np.pad(thickness, 1, mode="edge")
    return int(np.argmin(np.median(np.stack([around[:-2], around[1:-1], around[2:]]), axis=0)))


def _stretches(missing: np.ndarray, s: np.ndarray, length: float) -> list[tuple[float, float]]:
    """Where runs of stations without metal begin and end."""
    half = 0.5 * float(s[1] - s[0])
    found = [(max(float(s[a]) - half, 0.0), min(float(s[b - 1]) + half, length)) for a, b in runs(missing)]
    return [(a, b) for a, b in found if b - a >= _SHARE_OF_RUN * length]


def _hatch(frame: Frame, start: float, end: float) -> str:
    x0, x1 = frame.x(start), frame.x(end)
    return (
        f'<rect class="sec-none" x="{x0:.1f}" y="{_TOP:g}" width="{x1 - x0:.1f}" '
        f'height="{frame.foot - _TOP:g}"/>'
    )


def _mean(frame: Frame, section: Section, name: str) -> str:
    value = section.figure(f"{name}_{section.unit}")
    if math.isnan(value):
        return ""
    y = frame.y(value)
    return f'<path class="sec-mean" d="{_level(frame, value)}"/>' + label(
        _LEFT + 6, y - 5, f"mean {section.rounded(name).value} {section.unit_word}"
    )


def _greatest(frame: Frame, section: Section, s: np.ndarray, deepest: np.ndarray) -> str:
    """The greatest penetration as a measured line, with the bar of its 95 % interval."""
    k = greatest_station(section)
    x, top, foot = frame.x(float(s[k])), frame.y(0.0), frame.y(float(deepest[k]))
    low, high = section.interval("max_penetration_um")
    bar = ""
    if section.unit == "um" and not math.isnan(low) and not math.isnan(high):
        y0, y1 = frame.y(low), frame.y(high)
        bar = f'<path class="sec-bar" d="M{x:.1f} {y0:.1f}V{y1:.1f}"/>'
    text = f"greatest {section.length_words('max_penetration')[0]} {section.unit_word}"
    if _is_undercut(section, k):
        text += ", undercut"
    return _measured(x, top, foot) + bar + _beside(x, foot - 4, text)


def _measured(x: float, start: float, end: float) -> str:
    d = f"M{x:.1f} {start:.1f}V{end:.1f}M{x - 5:.1f} {start:.1f}h10M{x - 5:.1f} {end:.1f}h10"
    return f'<path class="sec-measure" d="{d}"/>'


def _beside(x: float, y: float, text: str) -> str:
    """A label beside a line, on the side that has room."""
    left = x > 0.68 * _WIDTH
    return label(x - 9 if left else x + 9, y, text, "end" if left else "start")


def _lettered(frame: Frame, at: list[tuple[str, float]]) -> str:
    parts = []
    for letter, s in at:
        x = frame.x(s)
        parts.append(
            f'<path class="sec-tick" d="M{x:.1f} {_TOP:g}V{frame.foot:g}"/>'
            f'<text class="sec-letter" x="{x:.1f}" y="{_TOP - 10:g}" text-anchor="middle">{letter}</text>'
        )
    return "".join(parts)


def _level(frame: Frame, value: float) -> str:
    return f"M{frame.left:g} {frame.y(value):.1f}H{frame.right:g}"

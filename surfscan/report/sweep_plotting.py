"""What charts of sweeps and rates are drawn with: decades along an axis, dots, labelled lines, bands."""

from __future__ import annotations

import math

import numpy as np

from surfscan.report.plotting import Frame, axes, label

_RAISED = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")
_CELL = 1.5
"""Dots nearer than about this on the page cannot be told apart; one stands for them."""
_DECADES_WITH_STEPS = 2.5


def decades(values: np.ndarray, *others: float) -> tuple[float, float]:
    """log10 of the lowest and highest value of an axis, with room at both ends."""
    logs = np.log10(np.r_[values, [v for v in others if math.isfinite(v) and v > 0]])
    low, high = float(logs.min()), float(logs.max())
    room = max(0.05 * (high - low), 0.1)
    return low - room, high + room


def log_axes(frame: Frame, x_title: str, y_title: str, *, up: int = 5) -> str:
    """Axes of a frame whose positions are log10 of what they show; see `plotting.axes` for the rest."""
    low, high = sorted((frame.start, frame.end))
    steps = (1, 2, 5) if high - low < _DECADES_WITH_STEPS else (1,)
    every = max(1, math.ceil((high - low) / 8))
    parts, lines = [axes(frame, x_title, y_title, across=0, up=up)], ""
    for decade in range(math.floor(low), math.ceil(high) + 1):
        for step in steps:
            at = decade + math.log10(step)
            if low <= at <= high and decade % every == 0:
                lines += f"M{frame.x(at):.1f} {frame.top:g}V{frame.foot:g}"
                parts.append(
                    f'<text class="plot-number" x="{frame.x(at):.1f}" y="{frame.foot + 16:.1f}" '
                    f'text-anchor="middle">{_power(decade, step)}</text>'
                )
    return f'<path class="plot-grid" d="{lines}"/>' + "".join(parts)


def round_up(value: float) -> float:
    """The next of 1, 2 or 5 times a power of ten, for the ends of an axis."""
    decade = 10.0 ** math.floor(math.log10(value))
    return next(step * decade for step in (1, 2, 5, 10) if value <= step * decade * (1 + 1e-9))


def _power(decade: int, step: int) -> str:
    if -3 <= decade <= 3:
        return f"{step * 10.0**decade:g}"
    power = f"10{str(decade).translate(_RAISED)}"
    return f"{step} × {power}" if step > 1 else power


def dots(points: np.ndarray, name: str) -> str:
    """Dots of one kind, those that cannot be told apart as one; points that are not numbers are left out."""
    there = points[np.isfinite(points).all(axis=1)]
    if not len(there):
        return ""
    cells = np.rint(there / _CELL).astype(np.int64)
    first = np.sort(np.unique(cells, axis=0, return_index=True)[1])
    d = "".join(f"M{x:.1f} {y:.1f}h0" for x, y in there[first].tolist())
    return f'<path class="{name}" d="{d}"/>'


def inside(frame: Frame, points: np.ndarray) -> np.ndarray:
    """Points of a frame, those outside it not-a-number."""
    x, y = points[:, 0], points[:, 1]
    out = (x < frame.left) | (x > frame.right) | (y < frame.top) | (y > frame.foot)
    return np.where(out[:, None], np.nan, points)


def level(frame: Frame, value: float, text: str, name: str, *, at_end: bool = True) -> str:
    """A labelled line across a frame at one value; empty outside it."""
    if not min(frame.low, frame.high) <= value <= max(frame.low, frame.high):
        return ""
    y = frame.y(value)
    place = (frame.right - 4, "end") if at_end else (frame.left + 5, "start")
    return f'<path class="{name}" d="M{frame.left:g} {y:.1f}H{frame.right:g}"/>' + label(
        place[0], y - 4, text, place[1]
    )


def shade(frame: Frame, low: float, high: float, name: str) -> str:
    """A band across a frame between two values."""
    y1 = frame.y(min(high, max(frame.low, frame.high)))
    y0 = frame.y(max(low, min(frame.low, frame.high)))
    if y0 <= y1:
        return ""
    return (
        f'<rect class="{name}" x="{frame.left:g}" y="{y1:.1f}" width="{frame.width:g}" '
        f'height="{y0 - y1:.1f}"/>'
    )

"""Charts of loss against electrochemical rate, and of loss against time."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from surfscan.report.loss_over_time import Series
from surfscan.report.loss_with_rate import LossWithRate
from surfscan.report.plotting import Frame, axes, band, label, line, svg

_WIDTH, _HEIGHT = 560.0, 330.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 62.0, 12.0, 14.0, 44.0
_KEY = 20.0
_MOST_NAMED = 12
_STEPS = 60
_NEAR_X, _NEAR_Y = 50.0, 16.0
_BESIDE = 7.0
_DASHES = {"linear": "", "parabolic": "7 4", "power law": "2 3"}
_MARKS = ("circle", "square", "triangle", "diamond")


def scatter_chart(found: LossWithRate) -> str:
    """Points with intervals in both directions, the line with its band where there is one."""
    scale = found.loss.scale
    groups = list(dict.fromkeys(p.group for p in found.points))
    x = [v for p in found.points for v in (p.rate.mm_per_y or 0.0, *(p.rate.mm_per_y_ci95 or ()))]
    y = [v * scale for p in found.points for v in (p.value, p.low, p.high) if math.isfinite(v)]
    frame = _frame(x, y, len(groups))
    parts = [axes(frame, f"Rate by {found.method} (mm/y)", f"{found.loss.words} ({found.loss.unit})")]
    if found.line.slope is not None and found.line.x_range is not None:
        at = np.linspace(*found.line.x_range, _STEPS)
        middle, low, high = (v * scale for v in found.line.at(at))
        low, high = (np.clip(v, frame.low, frame.high) for v in (low, high))
        parts.append(f'<path class="plot-band" d="{band(frame.points(at, low), frame.points(at, high))}"/>')
        parts.append(f'<path class="plot-metal" d="{line(frame.points(at, middle))}"/>')
    named: list[tuple[float, float]] = []
    for p in found.points:
        cx, cy = frame.x(p.rate.mm_per_y or 0.0), frame.y(p.value * scale)
        bars = ""
        if p.rate.mm_per_y_ci95:
            a, b = (frame.x(v) for v in p.rate.mm_per_y_ci95)
            bars += f"M{a:.1f} {cy:.1f}H{b:.1f}"
        if math.isfinite(p.low) and math.isfinite(p.high):
            a, b = frame.y(p.low * scale), frame.y(p.high * scale)
            bars += f"M{cx:.1f} {a:.1f}V{b:.1f}"
        parts.append(f'<path class="rate-bar" d="{bars}"/>')
        parts.append(_mark(cx, cy, groups.index(p.group), hollow=bool(p.why_not)))
        near = any(abs(cx - a) < _NEAR_X and abs(cy - b) < _NEAR_Y for a, b in named)
        if len(found.points) <= _MOST_NAMED and not near:
            parts.append(label(min(cx + 7, frame.right - 50), cy - 6, p.specimen))
            named.append((cx, cy))
    parts.append(_key(groups, frame))
    points = "; ".join(
        f"{p.specimen} {p.rate.mm_per_y:.3g} mm/y, {p.value * scale:.3g} {found.loss.unit}"
        for p in found.points[:_MOST_NAMED]
    )
    about = f"{found.loss.words} against rate by {found.method}, {len(found.points)} specimens: {points}"
    return svg(parts, _WIDTH, frame.foot + _BOTTOM + _KEY * len(groups), about)


def time_chart(series: Series) -> str:
    """Specimens, each fitted law, and the limit with the time projected to it."""
    furthest = float(series.hours.max())
    projected = series.projection
    limit = series.limit_um if projected is not None and projected.hours is not None else None
    until = furthest
    if limit is not None and projected is not None and projected.hours is not None:
        upper = projected.hours_ci95[1] if projected.hours_ci95 else None
        until = max(until, projected.hours, min(upper or projected.furthest_h, projected.furthest_h))
    halves = np.nan_to_num(series.halves_um)
    tops = [*(series.losses_um + halves), *(series.losses_um - halves), limit or 0.0]
    at = np.linspace(until / _STEPS, until, _STEPS)
    curves = [(fit, fit.at(at)) for fit in series.fitted.fits]
    tops += [float(curve[0].max()) for _, curve in curves]
    frame = _frame([0.0, until], tops, len(curves))
    parts = [axes(frame, "Exposure (h)", f"{series.loss[0].upper()}{series.loss[1:]} (µm)")]
    for k, (fit, (middle, low, high)) in enumerate(curves):
        low, high = (np.clip(v, frame.low, frame.high) for v in (low, high))
        if k == 0:
            edge = band(frame.points(at, low), frame.points(at, high))
            parts.append(f'<path class="plot-band" d="{edge}"/>')
        dash = _DASHES[fit.law]
        extra = f' stroke-dasharray="{dash}"' if dash else ""
        drawn = line(frame.points(at, np.clip(middle, frame.low, frame.high)))
        parts.append(f'<path class="plot-metal"{extra} d="{drawn}"/>')
        y = frame.foot + _BOTTOM + _KEY * k + 6
        said = f"{fit.law}, AICc +{fit.difference:.1f}" if fit.difference else f"{fit.law}, best AICc"
        parts.append(f'<path class="plot-metal"{extra} d="M{frame.left:g} {y:.1f}h34"/>')
        parts.append(label(frame.left + 42, y + 5, said))
    if limit is not None and projected is not None and projected.hours is not None:
        y, x = frame.y(limit), frame.x(projected.hours)
        parts.append(f'<path class="plot-drawn" d="M{frame.left:g} {y:.1f}H{frame.right:g}"/>')
        parts.append(label(frame.left + 6, y - 5, series.limit_from.split(",")[0]))
        if projected.hours_ci95 is not None:
            a = frame.x(projected.hours_ci95[0])
            b = frame.x(min(projected.hours_ci95[1] or projected.furthest_h, until))
            open_end = "" if projected.hours_ci95[1] is not None else "l-6 -4m6 4l-6 4"
            parts.append(f'<path class="rate-mean-bar" d="M{a:.1f} {y - 4:.1f}v8m0 -4H{b:.1f}{open_end}"/>')
        parts.append(f'<path class="rate-mean" d="M{x:.1f} {y - 6:.1f}v12M{x - 6:.1f} {y:.1f}h12"/>')
    for k, (hours, loss, half) in enumerate(
        zip(series.hours, series.losses_um, series.halves_um, strict=True)
    ):
        alike = np.flatnonzero(series.hours == hours)
        place = int(np.flatnonzero(alike == k)[0]) - (len(alike) - 1) / 2
        cx = min(frame.x(float(hours)) + place * min(_BESIDE, 60 / len(alike)), frame.right - 4)
        cy = frame.y(float(loss))
        if math.isfinite(half):
            a, b = frame.y(float(loss - half)), frame.y(float(loss + half))
            parts.append(f'<path class="rate-bar" d="M{cx:.1f} {a:.1f}V{b:.1f}"/>')
        parts.append(_mark(cx, cy, 0, hollow=False))
    points = "; ".join(
        f"{name} {h:g} h {v:.3g} µm"
        for name, h, v in zip(series.specimens, series.hours, series.losses_um, strict=True)
    )
    about = f"{series.loss} of {series.name} against exposure: {points}"
    return svg(parts, _WIDTH, frame.foot + _BOTTOM + _KEY * max(len(curves), 1), about)


def _frame(x: Sequence[float], y: Sequence[float], keys: int) -> Frame:
    """A frame from 0, or below it where values are, with room at the far ends."""
    least, most = min(0.0, *y), max(0.0, *y)
    room = 0.06 * (most - least) or 1.0
    low = least - room if least < 0 else 0.0
    end = max(x) * 1.06 or 1.0
    return Frame(_LEFT, _TOP, _WIDTH - _LEFT - _RIGHT, _HEIGHT - _TOP - _BOTTOM, 0.0, end, low, most + room)


def _mark(x: float, y: float, group: int, *, hollow: bool) -> str:
    """Mark of a group: the shape tells it, and filled or hollow whether it enters the line."""
    name = "plot-hole" if hollow else "rate-average"
    shape = _MARKS[group % len(_MARKS)]
    if shape == "circle":
        return f'<circle class="{name}" cx="{x:.1f}" cy="{y:.1f}" r="4.6"/>'
    path = {
        "square": f"M{x - 4.4:.1f} {y - 4.4:.1f}h8.8v8.8h-8.8z",
        "triangle": f"M{x:.1f} {y - 5.6:.1f}l5.4 9.6h-10.8z",
        "diamond": f"M{x:.1f} {y - 6:.1f}l6 6l-6 6l-6 -6z",
    }[shape]
    return f'<path class="{name}" d="{path}"/>'


def _key(groups: Sequence[str], frame: Frame) -> str:
    parts = []
    for k, group in enumerate(groups):
        y = frame.foot + _BOTTOM + _KEY * k + 6
        parts.append(_mark(frame.left + 6, y, k, hollow=False) + label(frame.left + 20, y + 5, group))
    return "".join(parts)

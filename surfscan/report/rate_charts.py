"""Charts of rates: a row a specimen and method, averages and instants drawn apart, none blended."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from surfscan.report.plotting import Frame, axes, label, svg, ticks
from surfscan.report.rate_records import TOGETHER
from surfscan.report.rates import GroupRates, Rate
from surfscan.report.rounding import round_to_interval
from surfscan.report.sweep_plotting import decades, log_axes

MOST_ROWS = 60
"""Rates of one group that are drawn; the table has them all."""

_WIDTH, _LEFT, _RIGHT, _TOP, _BOTTOM = 600.0, 208.0, 92.0, 8.0, 44.0
_ROW, _BETWEEN = 19.0, 9.0
_LOG_FROM = 15.0
_APART = 50.0


def rate_charts(groups: Sequence[GroupRates], rates: Sequence[Rate]) -> list[tuple[str, str]]:
    """(group, chart) of every group with a rate in mm/y; groups of like rates share an axis.

    A group whose fastest rate is below a fiftieth of that of the next faster group has an axis apart, with
    those as slow.
    """
    names = dict.fromkeys(r.record.group for r in rates)
    ends = {name: _ends(name, groups, rates) for name in names}
    fastest_first = sorted((n for n in names if len(ends[n])), key=lambda n: -float(ends[n].max()))
    axes_of: dict[str, np.ndarray] = {}
    shared: list[str] = []
    for name in fastest_first:
        if shared and _APART * ends[name].max() < ends[shared[-1]].max():
            axes_of |= dict.fromkeys(shared, np.concatenate([ends[n] for n in shared]))
            shared = []
        shared.append(name)
    axes_of |= dict.fromkeys(shared, np.concatenate([ends[n] for n in shared] or [np.empty(0)]))
    out = []
    for name in names:
        if name in axes_of:
            own = [r for r in rates if r.record.group == name]
            out.append((name, _chart(name, own, [g for g in groups if g.group == name], axes_of[name])))
    return out


def _ends(name: str, groups: Sequence[GroupRates], rates: Sequence[Rate]) -> np.ndarray:
    """Rates of a group, and the limits of them and of their means; empty where no rate is in mm/y."""
    own = [r for r in rates if r.record.group == name and math.isfinite(r.mm_per_y)]
    means = [g.means["rate_mm_per_y"].ci95 for g in groups if g.group == name]
    found = [v for r in own for v in (r.mm_per_y, *r.mm_per_y_ci95)]
    found += [v for limits in means for v in limits or ()]
    return np.array([v for v in found if math.isfinite(v)])


def _chart(group: str, rates: Sequence[Rate], means: Sequence[GroupRates], values: np.ndarray) -> str:
    by_specimen: dict[str, list[Rate]] = {}
    for rate in rates[:MOST_ROWS]:
        by_specimen.setdefault(rate.record.specimen_names, []).append(rate)
    drawn = [m for m in means if m.means["rate_mm_per_y"].n > 1]
    rows = sum(map(len, by_specimen.values())) + len(drawn)
    blocks = len(by_specimen) + bool(drawn)
    height = rows * _ROW + blocks * _BETWEEN
    logarithmic = bool(values.min() > 0 and values.max() > _LOG_FROM * values.min())
    if logarithmic:
        start, end = decades(values)
    else:
        room = 0.05 * (max(values.max(), 0.0) - min(values.min(), 0.0))
        start, end = min(float(values.min()) - room, 0.0), max(float(values.max()), 0.0) + room
    frame = Frame(_LEFT, _TOP, _WIDTH - _LEFT - _RIGHT, height, start, end, 0.0, 1.0)
    title = "Penetration rate (mm/y)"
    if logarithmic:
        parts = [log_axes(frame, title, "", up=0)]
    else:
        lines = "".join(f"M{frame.x(v):.1f} {frame.top:g}V{frame.foot:g}" for v in ticks(start, end, 5))
        parts = [f'<path class="plot-grid" d="{lines}"/>', axes(frame, title, "", across=5, up=0)]
    y = _TOP
    for specimen, own in by_specimen.items():
        y += _BETWEEN
        for k, rate in enumerate(own):
            y += _ROW
            parts.append(_names(y, specimen if k == 0 else "", rate.method))
            parts.append(_row(frame, y - 5, rate, logarithmic=logarithmic))
    y += _BETWEEN if drawn else 0.0
    for k, each in enumerate(drawn):
        y += _ROW
        mean = each.means["rate_mm_per_y"]
        parts.append(_names(y, "mean" if k == 0 else "", f"{each.method}, n = {mean.n}"))
        parts.append(_mean(frame, y - 5, each, logarithmic=logarithmic))
    alt = f"Penetration rates of group {group} by specimen and method; the numbers are in the table below"
    return svg(parts, _WIDTH, _TOP + height + _BOTTOM, alt)


def _names(y: float, specimen: str, method: str) -> str:
    many = specimen.count(TOGETHER) + 1
    short = specimen if len(specimen) <= 13 else f"{specimen[:12]}…"
    if many > 1 and short != specimen:
        short = f"{many} together"
    method = method.replace("polarization resistance", "polarization res.")
    return _bold(4, y, short) + label(_LEFT - 8, y, method, "end")


def _bold(x: float, y: float, text: str) -> str:
    return label(x, y, text).replace('class="plot-label"', 'class="plot-label rate-name"') if text else ""


def _x(frame: Frame, value: float, *, logarithmic: bool) -> float:
    if logarithmic:
        value = math.log10(value) if value > 0 else frame.start
    return min(max(frame.x(value), frame.left), frame.right)


def _bar(frame: Frame, y: float, limits: tuple[float, float], name: str, *, logarithmic: bool) -> str:
    if not all(map(math.isfinite, limits)):
        return ""
    a, b = (_x(frame, v, logarithmic=logarithmic) for v in limits)
    return f'<path class="{name}" d="M{a:.1f} {y:.1f}H{b:.1f}M{a:.1f} {y - 4:.1f}v8M{b:.1f} {y - 4:.1f}v8"/>'


def _row(frame: Frame, y: float, rate: Rate, *, logarithmic: bool) -> str:
    if not math.isfinite(rate.mm_per_y):
        said = "refused" if rate.refused else "no mm/y"
        return label(frame.left + 6, y + 5, said)
    x = _x(frame, rate.mm_per_y, logarithmic=logarithmic)
    bar = _bar(frame, y, rate.mm_per_y_ci95, "rate-bar", logarithmic=logarithmic)
    if rate.is_instant:
        mark = f'<path class="rate-instant" d="M{x:.1f} {y - 6:.1f}l6 6l-6 6l-6 -6z"/>'
    else:
        mark = f'<circle class="rate-average" cx="{x:.1f}" cy="{y:.1f}" r="4.6"/>'
    number = round_to_interval(rate.mm_per_y, *rate.mm_per_y_ci95).value
    arrow = {"reads low": " ↑", "reads high": " ↓", "": ""}[rate.bias]
    return bar + mark + label(frame.right + 8, y + 5, f"{number}{arrow}")


def _mean(frame: Frame, y: float, group: GroupRates, *, logarithmic: bool) -> str:
    mean = group.means["rate_mm_per_y"]
    x = _x(frame, mean.value, logarithmic=logarithmic)
    limits = mean.ci95 or (math.nan, math.nan)
    bar = _bar(frame, y, limits, "rate-mean-bar", logarithmic=logarithmic)
    number = round_to_interval(mean.value, *limits).value
    return (
        bar
        + f'<path class="rate-mean" d="M{x:.1f} {y - 6:.1f}v12M{x - 6:.1f} {y:.1f}h12"/>'
        + label(frame.right + 8, y + 5, number)
    )

"""Charts of rig logs: channels with tolerance and excursions, hydraulic resistance, cumulative acid."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from surfscan.columns import Table
from surfscan.report.plotting import Frame, axes, band, label, line, svg
from surfscan.report.rate_records import RateRecord
from surfscan.report.rounding import round_to_interval, significant
from surfscan.report.sweep_plotting import shade

_WIDTH, _LEFT, _RIGHT = 600.0, 66.0, 14.0
_TITLE, _PANEL, _FOOT = 24.0, 88.0, 46.0
_ACID_PANEL = 150.0
_DAYS_FROM_H = 96.0
_LEAST_PX = 1.6
"""An excursion or gap is drawn at least so wide, so that it is seen."""


@dataclass(frozen=True)
class _Time:
    """The axis of time: hours, or days of a long exposure."""

    scale: float
    title: str
    end: float


def channels_chart(record: RateRecord) -> str:
    """One panel a channel, and one of the hydraulic resistance; empty where the log has none."""
    channels, trace = record.table("channels"), record.table("log_trace")
    names = [n for n in channels["channel"].tolist() if n != "acid" and (trace["channel"] == n).any()]
    panels = [*names, *(["resistance"] if (trace["channel"] == "resistance").any() else [])]
    if not panels:
        return ""
    time = _time(record)
    parts, top = [], 0.0
    for k, name in enumerate(panels):
        own = trace["channel"] == name
        rows = {column: values[own] for column, values in trace.items()}
        at = np.flatnonzero(channels["channel"] == name)
        row = {column: values[at[0]] for column, values in channels.items()} if len(at) else None
        last = k == len(panels) - 1
        frame = _frame(top, _PANEL, time, *_limits(rows, row))
        parts += _panel(record, name, frame, rows, row, time, last=last)
        top += _TITLE + _PANEL
    out = record.figure("excursion_count")
    alt = f"Channels of {record.entry_id} over time: {', '.join(panels)}; {out:.0f} excursions out of range"
    return svg(parts, _WIDTH, top + _FOOT, alt)


def acid_chart(record: RateRecord) -> str:
    """Acid dosed so far with its blank, and the rate of each stretch; empty where the log has no acid."""
    trace, table = record.table("log_trace"), record.table("acid_over_time")
    own = trace["channel"] == "acid"
    if not own.any() or not len(table["ends_h"]):
        return ""
    time = _time(record)
    hours, volume = trace["time_h"][own], trace["mean"][own]
    top = 1.06 * max(float(np.nanmax(volume)), float(table["acid_mL"].max()), 1e-9)
    frame = _frame(0.0, _ACID_PANEL, time, 0.0, top)
    rated = np.isfinite(table["rate_mm_per_y"]).any()
    parts = [_gaps(record, frame, time)]
    parts.append(axes(frame, "" if rated else time.title, "", across=0 if rated else 6, up=4))
    parts.append(label(_LEFT, frame.top - 7, "Acid dosed so far (mL)"))
    parts.append(f'<path class="log-mean" d="{line(frame.points(hours * time.scale, volume))}"/>')
    if table["blank_mL"].any():
        ends = np.r_[table["starts_h"][0], table["ends_h"]] * time.scale
        blank = np.r_[0.0, table["blank_mL"]]
        parts.append(f'<path class="plot-drawn" d="{line(frame.points(ends, blank))}"/>')
        y = frame.y(float(blank[-1])) - 6
        parts.append(label(frame.right - 4, y, f"blank {significant(float(blank[-1]))} mL", "end"))
    height = _TITLE + _ACID_PANEL
    if rated:
        parts += _acid_rates(table, time)
        height += _TITLE + _ACID_PANEL
    dosed = significant(float(table["acid_mL"][-1]))
    alt = f"Acid dosed in {record.entry_id} over time, {dosed} mL in all"
    return svg(parts, _WIDTH, height + _FOOT, alt + (", and the rate it implies" if rated else ""))


def _time(record: RateRecord) -> _Time:
    immersed = record.figure("immersed_h")
    if immersed >= _DAYS_FROM_H:
        return _Time(1 / 24, "Time since immersion (d)", immersed / 24)
    return _Time(1.0, "Time since immersion (h)", immersed)


def _frame(top: float, height: float, time: _Time, low: float, high: float) -> Frame:
    return Frame(_LEFT, top + _TITLE, _WIDTH - _LEFT - _RIGHT, height, 0.0, time.end, low, high)


def _limits(rows: Table, row: dict[str, np.generic] | None) -> tuple[float, float]:
    """Values at foot and top of a panel: all readings, and the tolerance."""
    values = np.r_[rows["least"], rows["mean"], rows["greatest"]]
    if row is not None and np.isfinite(row["set_point"]):
        point, tolerance = float(row["set_point"]), float(row["tolerance"])
        values = np.r_[values, point - 1.25 * tolerance, point + 1.25 * tolerance]
    values = values[np.isfinite(values)]
    low, high = (float(values.min()), float(values.max())) if len(values) else (0.0, 1.0)
    room = 0.06 * (high - low) or max(0.05 * abs(high), 1e-3)
    return low - room, high + room


def _panel(
    record: RateRecord,
    name: str,
    frame: Frame,
    rows: Table,
    row: dict[str, np.generic] | None,
    time: _Time,
    *,
    last: bool,
) -> list[str]:
    title = name[0].upper() + name[1:] if name != "pH" else name
    unit = "kPa min/mL" if row is None else str(row["unit"])
    title = "Hydraulic resistance" if row is None else title
    parts = [_gaps(record, frame, time)]
    judged = row is not None and bool(np.isfinite(row["set_point"]))
    said = "" if row is None or judged else ", not judged"
    if row is not None and judged:
        point, tolerance = float(row["set_point"]), float(row["tolerance"])
        parts.append(shade(frame, point - tolerance, point + tolerance, "log-tolerance"))
        said = f", set point {point:g} ± {tolerance:g}"
    parts.append(_excursions(record, name, frame, time))
    parts.append(axes(frame, time.title if last else "", "", across=6 if last else 0, up=3))
    hours = rows["time_h"] * time.scale
    spread = band(frame.points(hours, rows["least"]), frame.points(hours, rows["greatest"]))
    parts.append(f'<path class="log-spread" d="{spread}"/>')
    parts.append(f'<path class="log-mean" d="{line(frame.points(hours, rows["mean"]))}"/>')
    if row is None:
        parts.append(_trend(record, frame, rows, time))
    parts.append(label(_LEFT, frame.top - 7, f"{title} ({unit}){said}" if unit != "1" else f"{title}{said}"))
    return parts


def _gaps(record: RateRecord, frame: Frame, time: _Time) -> str:
    """Stretches without readings, hatched."""
    return "".join(
        f'<rect class="plot-none" x="{a:.1f}" y="{frame.top:g}" width="{b - a:.1f}" '
        f'height="{frame.height:g}"/>'
        for a, b, _ in _stretches(record, "log", ("gap",), frame, time)
    )


def _excursions(record: RateRecord, name: str, frame: Frame, time: _Time) -> str:
    """Excursions shaded with a mark on the side they lie; frozen stretches hatched."""
    parts = []
    for kind in ("above", "below"):
        for a, b, count in _stretches(record, name, (kind,), frame, time):
            x, up = (a + b) / 2, kind == "above"
            tip, foot = (frame.top + 2, 8) if up else (frame.foot - 2, -8)
            parts.append(
                f'<rect class="log-out" x="{a:.1f}" y="{frame.top:g}" width="{b - a:.1f}" '
                f'height="{frame.height:g}"/><path class="near-mark" d="M{x:.1f} {tip:.1f}l5 {foot}h-10z"/>'
            )
            if count > 1:
                y = frame.top + 22 if up else frame.foot - 14
                parts.append(label(x, y, f"{count}", "middle"))
    for a, b, _ in _stretches(record, name, ("frozen", "doubtful"), frame, time):
        parts.append(
            f'<rect class="plot-none" x="{a:.1f}" y="{frame.top:g}" width="{b - a:.1f}" '
            f'height="{frame.height:g}"/>' + label((a + b) / 2, frame.top + 14, "frozen?", "middle")
        )
    return "".join(parts)


def _stretches(
    record: RateRecord, channel: str, kinds: tuple[str, ...], frame: Frame, time: _Time
) -> list[tuple[float, float, int]]:
    """Where they begin and end on the page and how many they are, near ones drawn as one."""
    table = record.table("excursions")
    own = (table["channel"] == channel) & np.isin(table["kind"], kinds)
    out: list[tuple[float, float, int]] = []
    for start, length in zip(table["start_h"][own].tolist(), table["length_h"][own].tolist(), strict=True):
        a, b = frame.x(start * time.scale), frame.x((start + length) * time.scale)
        if b - a < _LEAST_PX:
            a, b = (a + b - _LEAST_PX) / 2, (a + b + _LEAST_PX) / 2
        a, b = max(a, frame.left), min(b, frame.right)
        if b <= a:
            continue
        if out and a - out[-1][1] < 12.0 and kinds in (("above",), ("below",)):
            out[-1] = (out[-1][0], max(b, out[-1][1]), out[-1][2] + 1)
        else:
            out.append((a, b, 1))
    return out


def _trend(record: RateRecord, frame: Frame, rows: Table, time: _Time) -> str:
    """The straight line through the hydraulic resistance and by how much it rises."""
    where = "hydraulic_resistance"
    start, end = (record.figure(where, f"{name}_kPa_min_per_mL") for name in ("start", "end"))
    if not (math.isfinite(start) and math.isfinite(end)):
        return ""
    known = rows["time_h"][np.isfinite(rows["mean"])] * time.scale
    points = frame.points(np.array([known[0], known[-1]]), np.array([start, end]))
    rise = round_to_interval(
        record.figure(where, "rise_fraction"), *record.interval(where, "rise_fraction"), scale=100.0
    )
    words = f"rise {rise.value} %" + (f" ({rise.interval} %)" if rise.has_interval else "")
    return f'<path class="plot-drawn" d="{line(points)}"/>' + label(frame.left + 6, frame.top + 14, words)


def _acid_rates(table: Table, time: _Time) -> list[str]:
    """Rate of each stretch as a step with its interval."""
    low, high = table["rate_mm_per_y_ci95_low"], table["rate_mm_per_y_ci95_high"]
    rate = table["rate_mm_per_y"]
    ends = np.r_[low, high, rate, 0.0]
    ends = ends[np.isfinite(ends)]
    reach = float(ends.max() - ends.min()) or 1.0
    foot = float(ends.min()) - (0.06 * reach if ends.min() < 0 else 0.0)
    frame = _frame(_TITLE + _ACID_PANEL, _ACID_PANEL, time, foot, float(ends.max()) + 0.08 * reach)
    starts, stops = table["starts_h"] * time.scale, table["ends_h"] * time.scale
    steps, bars, boxes = "", "", ""
    for a, b, value, lo, hi in zip(starts, stops, rate, low, high, strict=True):
        if not math.isfinite(value):
            continue
        x0, x1, y = frame.x(float(a)), frame.x(float(b)), frame.y(float(value))
        steps += f"M{x0:.1f} {y:.1f}H{x1:.1f}"
        if math.isfinite(lo) and math.isfinite(hi):
            boxes += f"M{x0:.1f} {frame.y(float(lo)):.1f}H{x1:.1f}V{frame.y(float(hi)):.1f}H{x0:.1f}z"
            x = (x0 + x1) / 2
            bars += f"M{x:.1f} {frame.y(float(lo)):.1f}V{frame.y(float(hi)):.1f}"
    return [
        axes(frame, time.title, "", across=6, up=4),
        f'<path class="log-rate-band" d="{boxes}"/><path class="log-rate-bar" d="{bars}"/>'
        f'<path class="log-rate" d="{steps}"/>',
        label(_LEFT, frame.top - 7, "Rate that the acid of each stretch implies (mm/y)"),
    ]

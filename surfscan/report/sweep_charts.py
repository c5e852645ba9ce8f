"""Charts of potential sweeps: log current against potential with fit and windows, and the cyclic loop.

Potential upwards and log current density to the right, as ASTM G3 has it (recalled, not read here).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from surfscan.columns import Table
from surfscan.report.plotting import Frame, axes, label, line, svg
from surfscan.report.rate_records import RateRecord
from surfscan.report.rounding import round_to_interval, significant
from surfscan.report.sweep_plotting import decades, dots, inside, level, log_axes, round_up, shade
from surfscan.report.sweep_prose import tenths

_WIDTH, _HEIGHT = 600.0, 430.0
_LEFT, _TOP, _BOTTOM = 66.0, 14.0, 50.0
_MAIN, _GAP, _SIDE = 396.0, 20.0, 106.0
_LOWEST_SHARE = 0.02
"""This share of the smallest currents, in the dip at zero, may lie off the chart."""
_ARROWS, _LEAST_FOR_ARROWS = 3, 8

_ABSCISSA = "Current density, absolute (µA/cm²)"


def has_loop(record: RateRecord) -> bool:
    """Whether a sweep is one of passivity: a passive stretch, or a run back with its vertex."""
    return record.value("passive_window_V") is not None


def ordinate(record: RateRecord) -> str:
    """Title of the axis of potentials."""
    reference = record.text("reference")
    return f"Potential (V against {reference})" if reference else "Potential (V, reference not stated)"


def polarization_chart(record: RateRecord) -> str:
    """Points, fit, branches and windows of the analysed run, residuals beside; empty without densities."""
    table = record.table("sweep")
    own = _analysed(record, table)
    size = np.abs(table["density_uA_per_cm2"])
    known = np.isfinite(size) & (size > 0)
    if (known & own).sum() < 2:
        return ""
    icorr, zero = record.figure("icorr_uA_per_cm2"), record.figure("Ecorr_V")
    shown = known & (table["scan"] > 0)
    frame, logs = _frame(table["potential_V"], size, shown, icorr)
    potential = table["potential_V"]
    parts = _windows(record, frame)
    parts.append(log_axes(frame, _ABSCISSA, ordinate(record)))
    others = inside(frame, frame.points(logs, potential))
    parts += [
        f'<path class="swp-other" d="{line(others[table["scan"] == scan])}"/>'
        for scan in np.unique(table["scan"][~own & shown]).tolist()
    ]
    density = table["density_uA_per_cm2"]
    for kind, chosen in (("cathodic", own & (density < 0)), ("anodic", own & (density > 0))):
        place = inside(frame, frame.points(logs[chosen], potential[chosen]))
        if kind == "cathodic":
            parts.append(dots(place, "swp-cathodic") + dots(place, "swp-hollow"))
        else:
            parts.append(dots(place, "swp-anodic"))
    parts += _branches(record, frame)
    parts.append(_fit(table, own, frame))
    parts.append(_cross(record, frame, icorr, zero))
    parts += _residuals(record, table, own, frame)
    alt = f"Sweep {record.entry_id}: log current density against potential, run {record.figure('scan'):.0f}"
    if math.isfinite(zero):
        alt += f", zero current at {_rounded(record, 'Ecorr_V')} V"
    if math.isfinite(icorr):
        alt += f", corrosion current {_rounded(record, 'icorr_uA_per_cm2')} µA/cm²"
    return svg(parts, _WIDTH, _HEIGHT, alt)


def cyclic_chart(record: RateRecord) -> str:
    """The loop with its potentials; empty where the sweep shows no passivity or has no densities."""
    table = record.table("sweep")
    size = np.abs(table["density_uA_per_cm2"])
    shown = np.isfinite(size) & (size > 0) & (table["scan"] > 0)
    if not has_loop(record) or shown.sum() < 2:
        return ""
    frame, logs = _frame(table["potential_V"], size, shown, math.nan, width=_WIDTH - _LEFT - 16)
    low, high = record.value("passive_window_V")
    parts = [shade(frame, low, high, "swp-window")]
    parts.append(label(frame.left + 6, frame.y(high) + 14, "passive stretch"))
    parts.append(log_axes(frame, _ABSCISSA, ordinate(record)))
    directions = record.table("sweep_runs")["direction"].tolist()
    for scan in np.unique(table["scan"][shown]).tolist():
        own = shown & (table["scan"] == scan)
        place = inside(frame, frame.points(logs[own], table["potential_V"][own]))
        up = directions[scan - 1] == "up"
        parts.append(f'<path class="{"swp-forward" if up else "swp-reverse"}" d="{line(place)}"/>')
        parts.append(_arrows(place, up))
    parts += _marks(record, frame)
    alt = f"Cyclic sweep {record.entry_id}, vertex {record.figure('vertex_V'):.3f} V"
    return svg(parts, _WIDTH, _HEIGHT, alt)


def _analysed(record: RateRecord, table: Table) -> np.ndarray:
    """Points of the run whose figures are the result."""
    own: np.ndarray = table["scan"] == record.figure("scan")
    return own


def _frame(
    potential: np.ndarray, size: np.ndarray, shown: np.ndarray, icorr: float, *, width: float = _MAIN
) -> tuple[Frame, np.ndarray]:
    """The panel of a chart, and log10 of the densities; zero and unknown ones are not-a-number."""
    logs = np.full(len(size), np.nan)
    logs[shown] = np.log10(size[shown])
    lowest = float(np.quantile(size[shown], _LOWEST_SHARE))
    start, end = decades(size[shown & (size >= lowest)], icorr / 3)
    low, high = float(potential[shown].min()), float(potential[shown].max())
    room = 0.04 * max(high - low, 1e-3)
    height = _HEIGHT - _TOP - _BOTTOM
    return Frame(_LEFT, _TOP, width, height, start, end, low - room, high + room), logs


def _windows(record: RateRecord, frame: Frame) -> list[str]:
    """Windows of the method of the result and of the polarization resistance, with their names."""
    table = record.table("sweep_windows")
    own = table["chosen"] & (table["scan"] == record.figure("scan"))
    method = record.text("method")
    drawn, parts = 0, []
    for k in np.flatnonzero(own).tolist():
        part, low, high = str(table["part"][k]), float(table["low_V"][k]), float(table["high_V"][k])
        if part == "zero current":
            parts.append(shade(frame, low, high, "swp-zero"))
        elif str(table["method"][k]) == method:
            parts.append(shade(frame, low, high, "swp-window"))
            name = "window of the fit" if part == "both" else f"{part} window"
            y = min(max(frame.y(high), frame.top) + 14, frame.foot - 4)
            parts.append(label(frame.left + 6, y, name))
            drawn += 1
    return parts


def _branches(record: RateRecord, frame: Frame) -> list[str]:
    """Both partial currents by the fitted slopes, through corrosion potential and current."""
    icorr, zero = record.figure("icorr_uA_per_cm2"), record.figure("Ecorr_V")
    if not (math.isfinite(icorr) and math.isfinite(zero)):
        return []
    anodic = record.figure("anodic_slope_mV_per_decade") / 1000
    cathodic = record.figure("cathodic_slope_mV_per_decade") / 1000
    limit = record.figure("limiting_current_uA_per_cm2")
    lines = []
    if math.isfinite(anodic):
        away = np.linspace(0.0, frame.high - zero, 60)
        lines.append((zero + away, math.log10(icorr) + away / anodic))
    if math.isfinite(cathodic):
        away = np.linspace(0.0, zero - frame.low, 200)
        r = icorr / limit if math.isfinite(limit) and limit > icorr else 0.0
        partial = icorr / ((1 - r) * 10 ** (-away / cathodic) + r)
        lines.append((zero - away, np.log10(partial)))
    paths = [line(inside(frame, frame.points(logs, potential))) for potential, logs in lines]
    parts = [f'<path class="swp-branch" d="{d}"/>' for d in paths if d]
    if math.isfinite(limit) and frame.start < math.log10(limit) < frame.end:
        x = frame.x(math.log10(limit))
        parts.append(f'<path class="swp-limit" d="M{x:.1f} {frame.y(zero):.1f}V{frame.foot:g}"/>')
        left = x > frame.left + 0.72 * frame.width
        where = (x - 5, "end") if left else (x + 5, "start")
        parts.append(label(where[0], frame.foot - 8, f"limit {_rounded(record, _LIMIT)} µA/cm²", where[1]))
    return parts


_LIMIT = "limiting_current_uA_per_cm2"


def _fit(table: Table, own: np.ndarray, frame: Frame) -> str:
    """The fitted net current over the analysed run, in the order of potential."""
    fitted = np.abs(table["fitted_uA_per_cm2"][own])
    order = np.argsort(table["potential_V"][own], kind="stable")
    logs = np.full(len(fitted), np.nan)
    there = np.isfinite(fitted) & (fitted > 0)
    logs[there] = np.log10(fitted[there])
    place = inside(frame, frame.points(logs[order], table["potential_V"][own][order]))
    d = line(place)
    return f'<path class="swp-fit" d="{d}"/>' if d else ""


def _cross(record: RateRecord, frame: Frame, icorr: float, zero: float) -> str:
    """Corrosion potential and current with their 95 % intervals; the potential alone where that is known."""
    if not math.isfinite(zero):
        return ""
    text = f"Ecorr {_rounded(record, 'Ecorr_V')} V"
    if not math.isfinite(icorr):
        return level(frame, zero, f"{text} (no corrosion current)", "swp-level")
    x, y = frame.x(math.log10(icorr)), frame.y(zero)
    low, high = record.interval("icorr_uA_per_cm2")
    e_low, e_high = record.interval("Ecorr_V")
    bars = f"M{x - 7:.1f} {y:.1f}h14M{x:.1f} {y - 7:.1f}v14"
    if math.isfinite(low) and low > 0 and math.isfinite(high):
        left, right = (min(max(frame.x(math.log10(v)), frame.left), frame.right) for v in (low, high))
        bars += f"M{left:.1f} {y:.1f}H{right:.1f}M{left:.1f} {y - 4:.1f}v8M{right:.1f} {y - 4:.1f}v8"
    if math.isfinite(e_low) and math.isfinite(e_high):
        bars += f"M{x:.1f} {frame.y(e_low):.1f}V{frame.y(e_high):.1f}"
    said = f"icorr {_rounded(record, 'icorr_uA_per_cm2')} µA/cm²"
    room = frame.right - x > 0.5 * frame.width
    anchor, at = ("start", x + 14) if room else ("end", x - 14)
    return (
        f'<path class="swp-cross-case" d="{bars}"/><path class="swp-cross" d="{bars}"/>'
        + label(at, y - 3, text, anchor)
        + label(at, y + 13, said, anchor)
    )


def _residuals(record: RateRecord, table: Table, own: np.ndarray, main: Frame) -> list[str]:
    """Measured over fitted in decades, in a strip that shares the axis of potentials."""
    used = own & table["in_window"] & np.isfinite(table["residual_decades"])
    left = main.right + _GAP
    if not used.any():
        text = label(left + _SIDE / 2, main.top + 20, "no fit,", "middle")
        return [text + label(left + _SIDE / 2, main.top + 36, "no residuals", "middle")]
    residual = table["residual_decades"][used]
    tick = round_up(max(float(np.quantile(np.abs(residual), 0.98)), 0.005))
    reach = 1.08 * tick
    frame = Frame(left, main.top, _SIDE, main.height, -reach, reach, main.low, main.high)
    axis = axes(frame, "Residual (decades)", "", across=3, up=0)
    middle = f'<path class="swp-level" d="M{frame.x(0):.1f} {frame.top:g}V{frame.foot:g}"/>'
    shown = np.clip(residual, -reach, reach)
    return [axis, middle, dots(frame.points(shown, table["potential_V"][used]), "swp-residual")]


def _arrows(place: np.ndarray, up: bool) -> str:
    """A few arrow heads along a run, pointing the way it was swept."""
    there = place[np.isfinite(place).all(axis=1)]
    if len(there) < _LEAST_FOR_ARROWS:
        return ""
    away = np.r_[0.0, np.cumsum(np.hypot(*np.diff(there, axis=0).T))]
    parts, reach = [], 8.0
    for k in range(1, _ARROWS + 1):
        share = (k - 0.4 * up) / (_ARROWS + 1)
        at = int(np.searchsorted(away, share * away[-1]))
        before = int(np.searchsorted(away, max(away[at] - reach, 0.0)))
        way = there[at] - there[before]
        length = float(np.hypot(*way))
        if length < 1e-6:
            continue
        ahead, aside = way / length, np.array([-way[1], way[0]]) / length
        tip, left, right = (
            there[at] + 5 * ahead,
            there[at] - 5 * ahead + 4.5 * aside,
            there[at] - 5 * ahead - 4.5 * aside,
        )
        corners = " ".join(f"{x:.1f},{y:.1f}" for x, y in (tip, left, right))
        parts.append(f'<polygon class="{"swp-arrow" if up else "swp-arrow-back"}" points="{corners}"/>')
    return "".join(parts)


def _marks(record: RateRecord, frame: Frame) -> list[str]:
    """Potentials of the loop as labelled lines, labels kept apart."""
    rest = record.figure("rest_potential_V")
    found: list[tuple[float, str]] = [
        (record.figure("breakdown_V"), "breakdown"),
        (record.figure("protection_V"), "protection"),
        (record.figure("Ecorr_V"), "zero current, way up"),
        (rest, "rest"),
        (record.figure("vertex_V"), _vertex_words(record)),
    ]
    if record.text("rise_is") not in ("", "breakdown", "none"):
        found.append((record.figure("rise_V"), f"rise ({record.text('rise_is')})"))
    there = sorted((value, name) for value, name in found if math.isfinite(value))
    texts = _apart([frame.y(value) - 4 for value, _ in there], 15.0)
    parts = []
    for (value, name), y in zip(there, texts, strict=True):
        at = frame.y(value)
        parts.append(f'<path class="swp-level" d="M{frame.left:g} {at:.1f}H{frame.right:g}"/>')
        parts.append(label(frame.right - 4, y, f"{name} {value:.3f} V".replace("-", "−"), "end"))
    return parts


def _vertex_words(record: RateRecord) -> str:
    return "no breakdown up to the vertex" if record.value("breakdown_at_least_V") is not None else "vertex"


def _apart(places: Sequence[float], distance: float) -> list[float]:
    """Places, from the lowest on the page up, moved up so that none is nearer than that to another."""
    out: list[float] = []
    for place in places:
        out.append(min(place, out[-1] - distance) if out else place)
    return out


def _rounded(record: RateRecord, name: str) -> str:
    value = record.figure(name)
    low, high = record.interval(name)
    if name == "Ecorr_V":
        return tenths(value)
    return round_to_interval(value, low, high).value if math.isfinite(low) else significant(value)

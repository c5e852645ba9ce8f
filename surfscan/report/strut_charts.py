"""Charts of struts: width against position along the worst few, and strips of remaining width of all."""

from __future__ import annotations

import math

import numpy as np

from surfscan.columns import Table
from surfscan.procedures.strut_profile import width_half_interval
from surfscan.report.plotting import Frame, axes, band, label, line, runs, svg
from surfscan.report.pooling import count
from surfscan.report.records import FieldRecord
from surfscan.report.rounding import round_to_interval, significant
from surfscan.report.strut_colours import Colours, colour_table, coloured_runs, strut_colours
from surfscan.report.strut_records import runs_backwards, stretches, worst_first

FEW = 4
"""So many struts are each shown by a line; of more only the worst `_WORST`, and all as strips."""

_WORST = 3
_WIDTH, _LEFT, _RIGHT = 600.0, 62.0, 14.0
_TITLE, _FOOT, _GAP = 24.0, 22.0, 12.0
_PANEL, _ONE_PANEL = 108.0, 210.0
_X_TITLE = 20.0
_MOST_STRIPS = 120
_STRIPS_HEIGHT = 360.0
_STRIP_GAP = 0.18
_SEEN_PX = 3.0
_RIGHT_OF_STRIPS = 62.0
_LABEL_PX = 14.0


def width_chart(record: FieldRecord) -> str:
    """Width along the worst struts of a picture, or along all of a few; empty where none counts."""
    struts = record.table("struts")
    spans = {int(record.table("stations")["strut"][a]): (a, b) for a, b in _spans(record)}
    shown = [k for k in worst_first(record) if _has_line(record, spans.get(int(struts["strut"][k])))]
    if not shown:
        return ""
    n_all = len(shown)
    shown = shown if n_all <= FEW else shown[:_WORST]
    unit = _unit(record)
    table = record.table("stations")
    high = _ONE_PANEL if len(shown) == 1 else _PANEL
    low_value, high_value = _range(record, [spans[int(struts["strut"][k])] for k in shown], shown, unit)
    parts, top = [], _TITLE
    for place, k in enumerate(shown):
        start, end = spans[int(struts["strut"][k])]
        length = float(table[f"s_{unit}"][end - 1])
        frame = Frame(_LEFT, top, _WIDTH - _LEFT - _RIGHT, high, 0.0, length, low_value, high_value)
        last = place == len(shown) - 1
        parts.append(_panel(record, k, start, end, frame, unit, last=last))
        top += high + _FOOT + (_X_TITLE if last else _GAP + _TITLE)
    worst = int(struts["strut"][shown[0]])
    alt = (
        f"Width against position along {count(len(shown), 'strut')} of {record.image_id}"
        + (f", the worst of {n_all}" if n_all > len(shown) else "")
        + f"; strut {worst}: mean {significant(float(struts[f'mean_width_{unit}'][shown[0]]))}, least "
        f"{significant(float(struts[f'min_width_{unit}'][shown[0]]))} {_word(unit)}"
    )
    return svg(parts, _WIDTH, top, alt)


def strips_chart(record: FieldRecord) -> str:
    """Every strut as a strip of remaining width, the worst on top; empty for up to `FEW` struts."""
    struts = record.table("struts")
    everything = worst_first(record)
    order = [k for k in everything if np.isfinite(struts["mean_width_px"][k])]
    colours = strut_colours(record)
    if colours is None or len(order) <= FEW:
        return ""
    unit = _unit(record)
    shown = order[:_MOST_STRIPS]
    longest = float(np.nanmax(struts[f"length_{unit}"][shown]))
    pitch = min(_LABEL_PX + 2, _STRIPS_HEIGHT / len(shown))
    every = math.ceil(_LABEL_PX / pitch)
    gone = int(np.count_nonzero(struts["condition"][shown] == "missing"))  # on top; the next is the worst
    apart = max(0.0, _LABEL_PX - pitch) if 0 < gone < len(shown) else 0.0
    frame = Frame(
        _LEFT,
        30.0,
        _WIDTH - _LEFT - _RIGHT_OF_STRIPS,
        pitch * len(shown) + apart,
        0.0,
        1.02 * longest,
        float(len(shown)),
        0.0,
    )
    spans = {int(record.table("stations")["strut"][a]): (a, b) for a, b in _spans(record)}
    by_level: dict[int, list[str]] = {}
    excluded: list[str] = []
    outlines: list[str] = []
    texts: list[str] = []
    for row, k in enumerate(shown):
        number = int(struts["strut"][k])
        is_gone = struts["condition"][k] == "missing"
        top, high = frame.top + row * pitch + (0.0 if is_gone else apart), pitch * (1 - _STRIP_GAP)
        if number in spans:
            for level, x0, x1 in _strip(record, spans[number], frame, colours, unit):
                box = f"M{x0:.1f} {top:.1f}h{x1 - x0:.1f}v{high:.1f}h{x0 - x1:.1f}z"
                by_level.setdefault(level, []).append(box)
        x1 = frame.x(float(struts[f"length_{unit}"][k]))
        if is_gone:
            outlines.append(f"M{frame.left:g} {top:.1f}H{x1:.1f}v{high:.1f}H{frame.left:g}z")
        else:
            excluded.append(f"M{frame.left:g} {top + high / 2:.1f}H{x1:.1f}")
        if (row if is_gone else row - gone) % every == 0:
            texts.append(_row_words(record, k, top + high / 2 + 4.5, frame, colours))
    shades = colour_table()
    n_none = len(everything) - len(order)
    few = f" {len(shown)} of {len(order)}" if len(shown) < len(order) else ""
    title = f"Colours as on the picture; worst{few} on top"
    title += f"; {n_none} without a width left out" if n_none else ""
    parts = [
        f'<text class="plot-title" x="{frame.left:g}" y="18">{title}</text>'
        f'<text class="plot-number" x="{_WIDTH - 4:g}" y="18" text-anchor="end">least</text>',
        axes(frame, f"Distance from the left or upper end ({_word(unit)})", "Strut number", up=0),
        f'<path class="plot-thin" d="{"".join(excluded)}"/>' if excluded else "",
        *(
            f'<path fill="{shades[n]}" stroke="{shades[n]}" stroke-width=".5" d="{"".join(paths)}"/>'
            for n, paths in sorted(by_level.items())
        ),
        f'<path class="plot-lost" d="{"".join(outlines)}"/>' if outlines else "",
        *texts,
    ]
    left_out = f" (the worst {len(shown)} of {len(order)})" if len(shown) < len(order) else ""
    alt = (
        f"{count(len(shown), 'strut')} of {record.image_id}{left_out} as strips of {colours.title}, sorted "
        f"from the worst, strut {int(struts['strut'][shown[0]])}"
    )
    return svg(parts, _WIDTH, frame.foot + 42, alt)


def _panel(record: FieldRecord, k: int, start: int, end: int, frame: Frame, unit: str, *, last: bool) -> str:
    """One strut: its width with the 95 % band, what was drawn, what is left out, the least place."""
    table, struts = record.table("stations"), record.table("struts")
    own = slice(start, end)
    s, width = _positions(table, start, end, unit), table[f"width_{unit}"][own]
    counts = table["fault"][own] == ""
    shown = np.where(counts, width, np.nan)
    half = _half_width(record, own)
    word = _word(unit)
    number = int(struts["strut"][k])
    condition = str(struts["condition"][k])
    title = f"Strut {number}{'' if condition == 'whole' else f', {condition}'} "
    title += f"(n = {count(int(counts.sum()), 'station')})"
    references, said = _references(record, k, start, end, frame, unit)
    above = frame.top - 8
    parts = [
        f'<text class="plot-title" x="{frame.left:g}" y="{above:.1f}">{title}</text>'
        f'<text class="plot-title" x="{frame.right:g}" y="{above:.1f}" text-anchor="end">{said}</text>',
        *(_hatch(frame, s, a, b) for a, b in runs(~counts)),
        axes(
            frame,
            f"Distance from the left or upper end ({word})" if last else "",
            f"Width ({word})",
            up=4 if frame.height > _PANEL else 3,
        ),
        f'<path class="plot-band" d="{band(frame.points(s, shown - half), frame.points(s, shown + half))}"/>',
        f'<path class="plot-metal" d="{line(frame.points(s, shown))}"/>',
    ]
    parts += references
    holes = [(a + b) // 2 for a, b in runs(table["through_pit"][own] & counts)]
    parts += [
        f'<circle class="plot-hole" cx="{x:.1f}" cy="{y:.1f}" r="4"/>'
        for x, y in frame.points(s[holes], width[holes]).tolist()
    ]
    least, at = float(struts[f"min_width_{unit}"][k]), float(struts[f"min_s_{unit}"][k])
    if math.isfinite(least) and math.isfinite(at):
        at = frame.end - at if runs_backwards(table, start, end) else at
        x, y = frame.x(at), min(frame.y(least), frame.foot - 2)
        parts.append(f'<path class="plot-least" d="M{x:.1f} {y + 2:.1f}l-6 9h12z"/>')
        left = x > frame.left + 0.6 * frame.width
        parts.append(
            label(
                x - 10 if left else x + 10,
                min(y + 13, frame.foot - 4),
                f"least {_least_words(struts, k, unit)} {word}",
                "end" if left else "start",
            )
        )
    return "".join(parts)


def _least_words(struts: Table, k: int, unit: str) -> str:
    name = f"min_width_{unit}"
    limits = (float(struts[f"{name}_ci95_{end}"][k]) for end in ("low", "high"))
    return round_to_interval(float(struts[name][k]), *limits).value


def _references(
    record: FieldRecord, k: int, start: int, end: int, frame: Frame, unit: str
) -> tuple[list[str], str]:
    """Width as drawn, dashed, and width before at every place, dotted; and both in words."""
    table, struts = record.table("stations"), record.table("struts")
    own = slice(start, end)
    parts, said = [], []
    drawn = drawn_width_um(record)
    if unit == "um" and frame.low <= drawn <= frame.high:
        y = frame.y(drawn)
        parts.append(f'<path class="plot-drawn" d="M{frame.left:g} {y:.1f}H{frame.right:g}"/>')
        said.append(f"dashed: drawn {significant(drawn)} µm")
    before = table["width_before_um"][own]
    counts = table["fault"][own] == ""
    if unit == "um" and np.isfinite(before).any():
        points = frame.points(_positions(table, start, end, unit), np.where(counts, before, np.nan))
        parts.append(f'<path class="plot-before" d="{line(points)}"/>')
        mean = float(struts["reference_width_um"][k])
        said.append(f"dotted: before {significant(mean)} µm")
    return parts, ", ".join(said)


def drawn_width_um(record: FieldRecord) -> float:
    """The width as drawn that a picture was compared with; not-a-number where none is stated."""
    stored = record.done("struts")
    value = stored.settings.get("drawn_width_um") if stored else None
    return math.nan if value is None else float(value)


def _half_width(record: FieldRecord, own: slice) -> np.ndarray:
    """Half of the 95 % interval of every width; none where nothing is stored."""
    stored = record.done("struts")
    if stored is None:
        return np.full(own.stop - own.start, math.nan)
    return width_half_interval(stored, own)


def _range(
    record: FieldRecord, spans: list[tuple[int, int]], shown: list[int], unit: str
) -> tuple[float, float]:
    """Widths at foot and top of the panels: all that is drawn in them, and room for the words."""
    table = record.table("stations")
    everything = []
    for start, end in spans:
        own = slice(start, end)
        counts = table["fault"][own] == ""
        half = _half_width(record, own)
        width = table[f"width_{unit}"][own]
        everything += [(width - half)[counts], (width + half)[counts]]
        if unit == "um":
            everything.append(table["width_before_um"][own][counts])
    if unit == "um":
        everything.append(np.array([drawn_width_um(record)]))
    values = np.concatenate(everything)
    low, high = float(np.nanmin(values)), float(np.nanmax(values))
    span = max(high - low, 0.1 * high)
    return max(0.0, low - 0.28 * span), high + 0.08 * span


def _strip(
    record: FieldRecord, span: tuple[int, int], frame: Frame, colours: Colours, unit: str
) -> list[tuple[int, float, float]]:
    """Coloured stretches of one strut: step of the colours, and from where to where."""
    start, end = span
    s = _positions(record.table("stations"), start, end, unit)
    if len(s) < 2:
        return []
    pitch = abs(float(np.median(np.diff(s))))
    step = max(1, math.ceil(_SEEN_PX / max(pitch / (frame.end - frame.start) * frame.width, 1e-6)))
    out = []
    for a, b, level in coloured_runs(colours.values[start:end], colours, step):
        low, high = sorted((float(s[a]), float(s[b - 1])))
        out.append((level, frame.x(max(low - pitch / 2, 0.0)), frame.x(high + pitch / 2)))
    return out


def _positions(table: Table, start: int, end: int, unit: str) -> np.ndarray:
    """Distances of the stations of one strut from its left or upper end, whichever end it begins at."""
    s = table[f"s_{unit}"][start:end]
    return float(s[-1]) - s if runs_backwards(table, start, end) else s


def _row_words(record: FieldRecord, k: int, y: float, frame: Frame, colours: Colours) -> str:
    """Number of a strut before its strip, what is wrong with it and its least figure behind it."""
    struts = record.table("struts")
    condition = str(struts["condition"][k])
    own = record.table("stations")["strut"] == struts["strut"][k]
    known = colours.values[own][np.isfinite(colours.values[own])]
    least = colours.words(float(known.min())) if known.size else ""
    said = {"missing": "missing", "broken": "broken", "fragment": "fragment"}.get(condition, "")
    end = frame.x(float(struts[f"length_{_unit(record)}"][k]))
    out = (
        f'<text class="plot-number" x="{frame.left - 7:g}" y="{y:.1f}" text-anchor="end">'
        f"{int(struts['strut'][k])}</text>"
    )
    if least and condition != "missing":
        out += f'<text class="plot-number" x="{_WIDTH - 4:g}" y="{y:.1f}" text-anchor="end">{least}</text>'
    return out + (label(min(end + 5, frame.right - 60), y, f"✕ {said}") if said else "")


def _has_line(record: FieldRecord, span: tuple[int, int] | None) -> bool:
    if span is None:
        return False
    return bool(np.count_nonzero(record.table("stations")["fault"][span[0] : span[1]] == "") > 1)


def _hatch(frame: Frame, s: np.ndarray, start: int, end: int) -> str:
    half = abs(float(s[1] - s[0])) / 2
    x0, x1 = sorted(frame.x(float(s[k])) for k in (start, end - 1))
    reach = half / frame.end * frame.width
    x0, x1 = x0 - reach, x1 + reach
    x0, x1 = max(x0, frame.left), min(x1, frame.right)
    return (
        f'<rect class="plot-none" x="{x0:.1f}" y="{frame.top:g}" width="{max(x1 - x0, 0.5):.1f}" '
        f'height="{frame.height:g}"/>'
    )


def _spans(record: FieldRecord) -> list[tuple[int, int]]:
    return stretches(record.table("stations")["strut"])


def _unit(record: FieldRecord) -> str:
    stored = record.done("struts")
    return "px" if stored is None or stored.calibration is None else "um"


def _word(unit: str) -> str:
    return "µm" if unit == "um" else "px"

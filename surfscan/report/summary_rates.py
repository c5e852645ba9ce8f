"""Rates on one axis: averages over the exposure apart from moments, bounds as arrows, none blended."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby, product

import numpy as np

from surfscan.comparison.rates import METHODS, PenetrationRate
from surfscan.estimates.groups import specimen_mean
from surfscan.report.plotting import Frame, axes, label, svg, ticks
from surfscan.report.rounding import at_least, at_most, round_to_interval
from surfscan.report.specimen_agreement import SpecimenRates
from surfscan.report.sweep_plotting import decades, log_axes

AVERAGES, MOMENTS = "Averages over the exposure", "Moments of a sweep"
_JOINED = {"own": "", "twin": "twin", "group": "group"}
_WIDTH, _LEFT, _RIGHT, _TOP, _BOTTOM = 600.0, 208.0, 96.0, 4.0, 44.0
_ROW, _HEAD, _BETWEEN = 19.0, 21.0, 7.0
_LOG_FROM = 30.0
_ARROW = 26.0


@dataclass(frozen=True)
class RateRow:
    """One row of the drawing.

    Attributes
    ----------
    block : str
        Heading that it stands under: `AVERAGES` or `MOMENTS`, of a group with its name before.
    name : str
    value, low, high : float
        mm/y; limits not-a-number where there is no interval.
    mark : {"average", "instant", "mean"}
        Circle, hollow diamond or cross.
    bound : {"", "at least", "at most"}
        Drawn as an arrow to where the true value lies.
    bias : {"", "reads low", "reads high"}
    joined : bool
        Measured on others: its interval is dashed.
    points : tuple of float
        Values of single specimens behind a mean.
    refused : str
        Why there is none; empty where there is one.
    """

    block: str
    name: str
    value: float
    low: float = math.nan
    high: float = math.nan
    mark: str = "average"
    bound: str = ""
    bias: str = ""
    joined: bool = False
    points: tuple[float, ...] = ()
    refused: str = ""


def specimen_rows(rates: Sequence[PenetrationRate]) -> list[RateRow]:
    """Rows of the rates of one specimen."""
    rows = []
    for rate in rates:
        of = _JOINED[rate.joined]
        name = f"{rate.method} ({of})" if of else rate.method
        block = MOMENTS if rate.kind == "instant" else AVERAGES
        low, high = rate.mm_per_y_ci95 or (math.nan, math.nan)
        value = math.nan if rate.mm_per_y is None else rate.mm_per_y
        mark = "instant" if rate.kind == "instant" else "average"
        rows.append(
            RateRow(
                block, name, value, low, high, mark, rate.bound, rate.bias, bool(of), refused=rate.refused
            )
        )
    return rows


def group_rows(group: str, specimens: Sequence[SpecimenRates], *, named: bool = False) -> list[RateRow]:
    """Rows of the means of one group over its specimens, method by method, with the points behind them.

    Rates joined from a whole group or vessel are one row, not a mean; bounds have a row of their own, with
    no interval. With `named` the group stands before each heading.
    """
    own = [s for s in specimens if s.summary.specimen.group == group]
    rows = []
    for method, bound in product(METHODS, ("", "at least", "at most")):
        rates = [rate for s in own for rate in s.known if rate.method == method and rate.bound == bound]
        if not rates:
            continue
        shared = [rate for rate in rates if rate.joined == "group"]
        single = [rate for rate in rates if rate.joined != "group"]
        kind = rates[0].kind
        block = MOMENTS if kind == "instant" else AVERAGES
        block = f"{group}: {block.lower()}" if named else block
        by_specimen: dict[str, list[float]] = {}
        for rate in single:
            by_specimen.setdefault(rate.specimen, []).append(rate.mm_per_y or 0.0)
        values = [math.fsum(v) / len(v) for v in by_specimen.values()]
        if values:
            mean = specimen_mean(values)
            low, high = mean.ci95 or (math.nan, math.nan)
            biases = {r.bias for r in single}
            twins = all(r.joined == "twin" for r in single)
            one = len(values) == 1
            if one and single[0].mm_per_y_ci95 is not None and len(single) == 1:
                low, high = single[0].mm_per_y_ci95
            elif bound:
                low, high = math.nan, math.nan
            rows.append(
                RateRow(
                    block,
                    f"{method}, {'twins, ' if twins else ''}n = {len(values)}",
                    mean.value,
                    low,
                    high,
                    ("instant" if kind == "instant" else "average") if one else "mean",
                    bound,
                    biases.pop() if len(biases) == 1 else "",
                    twins,
                    () if one else tuple(values),
                )
            )
        elif shared:
            rows += [RateRow(block, r.name, *_rest(r)) for r in specimen_rows(shared[:1])]
    return rows


def rates_drawing(rows: Sequence[RateRow], about: str) -> str:
    """The rows on one axis; empty where no row has a rate.

    Parameters
    ----------
    rows : sequence of RateRow
        Those of one block after the other.
    about : str
        Whose rates they are, for the words that stand for the drawing.
    """
    ends = _ends(rows)
    if not ends.size:
        return ""
    logarithmic = bool(ends.min() > 0 and ends.max() > _LOG_FROM * ends.min())
    blocks = [(name, list(own)) for name, own in groupby(rows, key=lambda row: row.block)]
    height = len(rows) * _ROW + len(blocks) * (_HEAD + _BETWEEN)
    start, end = _range(ends, logarithmic=logarithmic)
    frame = Frame(_LEFT, _TOP, _WIDTH - _LEFT - _RIGHT, height, start, end, 0.0, 1.0)
    if logarithmic:
        parts = [log_axes(frame, "Penetration rate (mm/y)", "", up=0)]
    else:
        lines = "".join(f"M{frame.x(v):.1f} {frame.top:g}V{frame.foot:g}" for v in ticks(start, end, 5))
        parts = [
            f'<path class="plot-grid" d="{lines}"/>',
            axes(frame, "Penetration rate (mm/y)", "", across=5, up=0),
        ]
    y = _TOP
    for place, (name, own) in enumerate(blocks):
        if place:
            parts.append(f'<path class="plot-thin" d="M4 {y + _BETWEEN / 2:.1f}H{_WIDTH - 4:g}"/>')
        y += _HEAD
        parts.append(_heading(y, name, first=not place))
        for row in own:
            y += _ROW
            parts.append(_drawn(frame, y - 5, row, logarithmic=logarithmic))
        y += _BETWEEN
    said = "; ".join(_words(row) for row in rows)
    return svg(parts, _WIDTH, _TOP + height + _BOTTOM, f"Penetration rates of {about}: {said}")


def rate_words(row: RateRow) -> str:
    """The number of a row as it is written beside its mark."""
    text = round_to_interval(row.value, row.low, row.high).value
    return at_most(at_least(text, row.bound == "at least"), row.bound == "at most")


def _rest(row: RateRow) -> tuple[float, float, float, str, str, str, bool]:
    return row.value, row.low, row.high, row.mark, row.bound, row.bias, row.joined


def _ends(rows: Sequence[RateRow]) -> np.ndarray:
    """What the axis must hold: values and limits; of bounds only where nothing else is known."""
    firm = [row for row in rows if not row.bound and not row.refused]
    used = firm or [row for row in rows if not row.refused]
    found = [v for row in used for v in (row.value, row.low, row.high, *row.points)]
    return np.array([v for v in found if math.isfinite(v)])


def _range(ends: np.ndarray, *, logarithmic: bool) -> tuple[float, float]:
    if logarithmic:
        return decades(ends)
    least, most = min(float(ends.min()), 0.0), max(float(ends.max()), 0.0)
    room = 0.05 * (most - least) or 1e-6
    return (least - room if least < 0 else 0.0), most + room


def _heading(foot: float, text: str, *, first: bool) -> str:
    """A heading across the drawing, the axis taken out behind it."""
    named = label(4, foot - 2, text).replace('class="plot-label"', 'class="plot-label rate-name"')
    top = 0.0 if first else foot - _HEAD + _BETWEEN / 2 + 1
    size = f'width="{_WIDTH:g}" height="{foot - top + 2:.1f}"'
    return f'<rect class="plot-blank" x="0" y="{top:.1f}" {size}/>{named}'


def _x(frame: Frame, value: float, *, logarithmic: bool) -> float:
    if logarithmic:
        value = math.log10(value) if value > 0 else frame.start
    return min(max(frame.x(value), frame.left), frame.right)


def _drawn(frame: Frame, y: float, row: RateRow, *, logarithmic: bool) -> str:
    name = row.name.replace("polarization resistance", "polarization res.")
    parts = [label(_LEFT - 8, y + 5, name, "end")]
    if row.refused or not math.isfinite(row.value):
        return parts[0] + label(frame.left + 6, y + 5, "refused")
    dash = ' stroke-dasharray="4 3"' if row.joined else ""
    for value in row.points:
        at = _x(frame, value, logarithmic=logarithmic)
        parts.append(f'<circle class="plot-hole" cx="{at:.1f}" cy="{y:.1f}" r="3"/>')
    if math.isfinite(row.low) and math.isfinite(row.high):
        a, b = (_x(frame, v, logarithmic=logarithmic) for v in (row.low, row.high))
        kind = "rate-mean-bar" if row.mark == "mean" else "rate-bar"
        parts.append(
            f'<path class="{kind}"{dash} d="M{a:.1f} {y:.1f}H{b:.1f}"/>'
            f'<path class="{kind}" d="M{a:.1f} {y - 4:.1f}v8M{b:.1f} {y - 4:.1f}v8"/>'
        )
    x = _x(frame, row.value, logarithmic=logarithmic)
    if row.bound:
        way = 1 if row.bound == "at least" else -1
        parts.append(
            f'<path class="rate-bar" d="M{x:.1f} {y:.1f}h{way * _ARROW:.1f}l{-way * 6} -4m{way * 6} 4'
            f'l{-way * 6} 4"/>'
        )
    parts.append(
        {
            "average": f'<circle class="rate-average" cx="{x:.1f}" cy="{y:.1f}" r="4.6"/>',
            "instant": f'<path class="rate-instant" d="M{x:.1f} {y - 6:.1f}l6 6l-6 6l-6 -6z"/>',
            "mean": f'<path class="rate-mean" d="M{x:.1f} {y - 6:.1f}v12M{x - 6:.1f} {y:.1f}h12"/>',
        }[row.mark]
    )
    arrow = {"reads low": " ↑", "reads high": " ↓", "": ""}[row.bias]
    return "".join(parts) + label(frame.right + 8, y + 5, f"{rate_words(row)}{arrow}")


def _words(row: RateRow) -> str:
    if row.refused or not math.isfinite(row.value):
        return f"{row.name} refused"
    number = round_to_interval(row.value, row.low, row.high)
    interval = f" ({number.interval})" if number.has_interval else ""
    return f"{row.name} {rate_words(row)}{interval} mm/y"

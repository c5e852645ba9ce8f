"""Every interval against its true value, one small chart a figure, where true values are known."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from surfscan.report.cells import HEADS, Cell, Grid, Head, estimate_cell
from surfscan.report.plotting import Frame, axes, svg
from surfscan.report.rounding import significant
from surfscan.report.truth import TruthComparison

_WIDTH, _HEIGHT = 600.0, 190.0
_TICK = 3.0


def interval_charts(truth: Sequence[TruthComparison]) -> list[tuple[str, str]]:
    """(name of the figure, its chart) of all that have intervals."""
    return [(name_of(t), interval_chart(t)) for t in truth if t.with_interval]


def interval_chart(comparison: TruthComparison) -> str:
    """Measured less true with its 95 % interval, by rising true value; those that miss it are marked.

    Parameters
    ----------
    comparison : TruthComparison
        With at least one interval.
    """
    _, unit, scale = HEADS[comparison.figure]
    low, high = (np.array(v, dtype=float) for v in zip(*comparison.limits, strict=True))
    known = np.isfinite(low) & np.isfinite(high)
    order = np.flatnonzero(known)[np.argsort(comparison.true[known], kind="stable")]
    error, below, above = (
        scale * (v[order] - comparison.true[order]) for v in (comparison.measured, low, high)
    )
    least, most = min(float(below.min()), 0.0), max(float(above.max()), 0.0)
    room = 0.06 * (most - least) or 1.0
    frame = Frame(74, 12, _WIDTH - 90, _HEIGHT - 58, 0, len(order) + 1, least - room, most + room)
    bars, dots, marks = [], [], []
    for place, (centre, bottom, top) in enumerate(zip(error, below, above, strict=True), start=1):
        x = frame.x(place)
        bars.append(
            f"M{x - _TICK:.1f} {frame.y(bottom):.1f}h{2 * _TICK:g}m{-_TICK:g} 0V{frame.y(top):.1f}"
            f"m{-_TICK:g} 0h{2 * _TICK:g}"
        )
        dots.append(f'<circle class="rate-average" cx="{x:.1f}" cy="{frame.y(centre):.1f}" r="3"/>')
        if bottom > 0 or top < 0:
            y = frame.y(0.0)
            marks.append(f'<path class="truth-missed" d="M{x - 5:.1f} {y - 5:.1f}l10 10m0 -10l-10 10"/>')
    parts = [
        axes(frame, "images or entries, by rising true value", f"less true ({unit})", across=0),
        f'<path class="plot-drawn" d="M{frame.left:g} {frame.y(0.0):.1f}H{frame.right:g}"/>',
        f'<path class="rate-bar" d="{"".join(bars)}"/>',
        *dots,
        *marks,
    ]
    alt = (
        f"{name_of(comparison)}: measured less true with 95 % intervals; {comparison.covered} of "
        f"{comparison.with_interval} hold the true value"
    )
    return svg(parts, _WIDTH, _HEIGHT, alt)


def interval_grids(truth: Sequence[TruthComparison]) -> list[Grid]:
    """A table a figure: every image or entry, its true value, what was measured, whether that is held."""
    return [_grid(t) for t in truth]


def name_of(comparison: TruthComparison) -> str:
    """A figure in words, and of what."""
    return f"{HEADS[comparison.figure][0]}, {_OF[comparison.kind]}"


_OF = {
    "surface": "surfaces",
    "heights": "height maps",
    "strut": "struts",
    "section": "cross-sections",
    "sweep": "sweeps",
    "mass_loss": "mass loss",
    "gas": "gas",
    "exposure": "rig logs",
}


def _grid(comparison: TruthComparison) -> Grid:
    _, unit, scale = HEADS[comparison.figure]
    rows = []
    pairs = zip(comparison.images, comparison.true, comparison.measured, comparison.limits, strict=True)
    for image, true, measured, (low, high) in pairs:
        held = "" if math.isnan(low) else "yes" if low <= true <= high else "✕ no"
        rows.append(
            [
                Cell(image),
                Cell(significant(float(true) * scale, 4), value=float(true)),
                estimate_cell(float(measured), low, high, scale=scale),
                Cell(held),
            ]
        )
    heads = [
        Head("Image or entry"),
        Head("True", unit, number=True),
        Head("Measured", unit, number=True, figure=comparison.figure),
        Head("Interval holds it"),
    ]
    caption = f"{name_of(comparison)} ({len(rows)})"
    return Grid(caption, heads, rows).without_empty_columns()

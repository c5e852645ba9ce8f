"""Figures of the page, from summaries to panels."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from surfscan.estimates.groups import MIN_SPECIMENS
from surfscan.report import figures
from surfscan.report.cells import HEADS
from surfscan.report.grids import shown_figures, shown_groups
from surfscan.report.groups import GroupSummary
from surfscan.report.rounding import significant
from surfscan.report.truth import TruthComparison

if TYPE_CHECKING:
    from surfscan.study.entries import Shows

_COUNTED = {
    "surface": ("image", "images"),
    "heights": ("height map", "height maps"),
    "strut": ("strut", "struts"),
    "section": ("section", "sections"),
    "sweep": ("sweep", "sweeps"),
    "mass_loss": ("weighing", "weighings"),
    "gas": ("gas series", "gas series"),
    "exposure": ("rig log", "rig logs"),
}
"""What was compared with true values -> what one and several of it are called."""


def group_chart(summaries: Sequence[GroupSummary], kind: Shows = "surface") -> str:
    """Specimens, means and intervals of every figure of one kind of image; empty where none."""
    names = [n for n in shown_figures(summaries, kind) if n != "tarnished_area_fraction"]
    if "pit_density_per_mm2" in names and "pit_density_per_mpx" in names:
        names.remove("pit_density_per_mpx")
    groups = [g for g in shown_groups(summaries, kind) if g.members]
    if not names or not groups:
        return ""
    panels = []
    for name in names:
        text, unit, scale = HEADS[name]
        bars = []
        for group in groups:
            mean = group.means[name]
            low, high = mean.ci95 or (math.nan, math.nan)
            worst = f"worst_seen_{name}"
            seen = [v for m in group.members if not math.isnan(v := m.by_kind[kind].row.get(worst, math.nan))]
            bars.append(
                figures.GroupBar(
                    [v * scale for v in group.values(name)],
                    mean.value * scale if mean.n >= MIN_SPECIMENS else math.nan,
                    low * scale,
                    high * scale,
                    [v * scale for v in seen],
                    group.lower_bounds(name),
                )
            )
        panels.append(figures.Panel(f"{text}\n({unit})", bars))
    alt = "Specimen values, group means and 95 % intervals of " + ", ".join(
        HEADS[n][0].lower() for n in names
    )
    return figures.group_figure(
        [g.name for g in groups], panels, f"{alt}; the numbers are in the group table"
    )


def size_charts(summaries: Sequence[GroupSummary]) -> list[str]:
    """Pit sizes by group: one figure in µm, and one in pixels for fields without a scale."""
    charts = []
    for unit, column, limit in (
        ("µm", "equivalent_diameter_um", "smallest_diameter_um"),
        ("px", "equivalent_diameter_px", "smallest_diameter_px"),
    ):
        panels = [p for g in summaries if (p := _size_panel(g, column, limit, scaled=unit == "µm"))]
        if panels:
            alt = f"Cumulative distributions of pit diameter in {unit}, one panel a group: " + "; ".join(
                f"{p.title}: {len(p.diameters)} pits, median {significant(float(np.median(p.diameters)))}"
                for p in panels
            )
            charts.append(figures.size_figure(panels, unit, alt))
    return charts


def truth_chart(truth: Sequence[TruthComparison]) -> str:
    """Measured against true, one panel a figure."""
    panels = [
        (
            *HEADS[t.figure][:2],
            _COUNTED[t.kind][len(t.true) > 1],
            t.true * HEADS[t.figure][2],
            t.measured * HEADS[t.figure][2],
        )
        for t in truth
    ]
    names = ", ".join(dict.fromkeys(HEADS[t.figure][0].lower() for t in truth))
    return figures.truth_figure(panels, f"Measured against true: {names}; the numbers are in the table below")


def _size_panel(group: GroupSummary, column: str, limit: str, *, scaled: bool) -> figures.SizePanel | None:
    diameters, weights, limits, specimens = [], [], set(), 0
    for member in group.members:
        fields = [
            r for r in member.pooled["pits"] if math.isnan(r.figure("pits", "field_area_mm2")) is not scaled
        ]
        for record in fields:
            table = record.table("pits")
            whole = table["edge_weight"] > 0
            diameters.append(table[column][whole])
            weights.append(table["edge_weight"][whole])
            limits.add(float(f"{record.figure('pits', limit):.2e}"))
        specimens += bool(fields)
    if not diameters or not sum(map(len, diameters)):
        return None
    return figures.SizePanel(
        group.name,
        np.concatenate(diameters),
        np.concatenate(weights),
        specimens,
        sorted(v for v in limits if not math.isnan(v)),
    )

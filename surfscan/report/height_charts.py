"""Figures of the page about height maps: how depths are distributed in each group."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from surfscan.estimates.depths import censored_quantile, product_limit
from surfscan.report import figures
from surfscan.report.groups import GroupSummary
from surfscan.report.height_specimens import pooled_depths
from surfscan.report.rounding import significant


def depth_chart(summaries: Sequence[GroupSummary]) -> str:
    """Product-limit distributions of pit depth, a panel a group; empty where no group has a depth."""
    panels = [panel for g in summaries if (panel := _depth_panel(g))]
    if not panels:
        return ""
    alt = "Cumulative distributions of pit depth in µm, one panel a group: " + "; ".join(
        f"{p.title}: {p.n_pits} pits, {len(p.bounds_um)} of them lower bounds, median "
        f"{significant(p.median_um)}"
        for p in panels
    )
    return figures.depth_figure(panels, alt)


def _depth_panel(group: GroupSummary) -> figures.DepthPanel | None:
    members = [m for m in group.members if m.pooled["height_pits"]]
    fields = [r for m in members for r in m.pooled["height_pits"]]
    depths, bounds = pooled_depths(fields)
    known = ~np.isnan(depths)
    depths, bounds = depths[known], bounds[known]
    if not depths.size:
        return None
    limits = [float(f"{r.figure('pits', 'smallest_depth_um'):.1e}") for r in fields]
    at, reached = product_limit(depths, bounds)
    hidden = np.sort(depths[bounds])
    place = np.searchsorted(at, hidden, side="right")
    return figures.DepthPanel(
        group.name,
        at,
        reached,
        hidden,
        np.r_[0.0, reached][place],
        len(depths),
        len(members),
        censored_quantile(depths, bounds, 0.5),
        sorted({min(limits), max(limits)}),
    )

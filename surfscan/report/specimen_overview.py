"""The table of all specimens: one row each, what matters most, to be sorted and filtered."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

from surfscan.report.cells import GREATEST, HEADS, Cell, Grid, Head, estimate_cell, greatest_cell
from surfscan.report.grids import hours
from surfscan.report.page_parts import PageContent
from surfscan.report.pooling import SpecimenSummary
from surfscan.report.rounding import NO_VALUE

FIGURES = (
    "pit_density_per_mm2",
    "degraded_area_fraction",
    "max_depth_um",
    "min_strut_width_um",
    "least_section_left_fraction",
    "remaining_section_fraction",
    "max_section_penetration_um",
)
"""Figures of a specimen that stand in the table, where any has them."""

_FAULTS = (
    ("broken_count", "broken"),
    ("missing_count", "missing"),
    ("crack_count", "cracked"),
    ("through_pitted_count", "pitted through"),
)


def specimen_overview(content: PageContent, anchors: Mapping[str, str]) -> dict[str, Any]:
    """What the part on specimens shows: its table, the groups to filter by, and what its signs mean.

    Parameters
    ----------
    content : PageContent
    anchors : mapping of str to str
        Specimen id -> anchor of its section.
    """
    grid = specimen_grid(content.specimens, anchors)
    return {
        "grid": grid,
        "groups": list(dict.fromkeys(s.specimen.group for s in content.specimens)),
        "notes": [
            "Least and greatest are those of metal that was seen. ≥: the floor of a pit was not measured. "
            "Below each figure its 95 % interval; how it was pooled stands in the tables that follow."
        ],
    }


def specimen_grid(specimens: Sequence[SpecimenSummary], anchors: Mapping[str, str]) -> Grid:
    """One row a specimen, its name leading to its section; columns that say nothing are left out."""
    heads = [
        Head("Specimen"),
        Head("Group"),
        Head("Exposure", "h", number=True, figure="exposure_h"),
        Head("Images", "measured of all", number=True),
        *(Head(*HEADS[name][:2], number=True, figure=name) for name in FIGURES),
        Head("Struts", "lost or hurt"),
        Head("Warnings", "n", number=True),
    ]
    rows = [_cells(s, anchors[s.specimen.id]) for s in specimens]
    caption = f"All specimens ({len(specimens)}); each name leads to its section"
    return Grid(caption, heads, rows).without_empty_columns()


def fault_words(row: Mapping[str, Any]) -> str:
    """What became of the struts of a specimen, in words; empty where nothing did."""
    return ", ".join(f"{row[name]:.0f}\u00a0{word}" for name, word in _FAULTS if row.get(name, 0) > 0)


def figure_cell(summary: SpecimenSummary, name: str) -> Cell:
    """A figure of a specimen with its interval below it."""
    row = next((own.row for own in summary.by_kind.values() if name in own.row), {})
    value = float(row.get(name, math.nan))
    limits = (row.get(f"{name}_ci95_low", math.nan), row.get(f"{name}_ci95_high", math.nan))
    if name in GREATEST:
        return greatest_cell(value, *limits)
    bound = bool(row.get(f"{name.removesuffix('_um')}_is_lower_bound"))
    return estimate_cell(value, *limits, scale=HEADS[name][2], is_lower_bound=bound)


def _cells(summary: SpecimenSummary, anchor: str) -> list[Cell]:
    specimen = summary.specimen
    records = [r for own in summary.by_kind.values() for r in own.records]
    done = sum(all(r.status(p) == "done" for p in r.image.procedures) for r in records)
    stated = math.nan if specimen.exposure_h is None else float(specimen.exposure_h)
    warned = len({*summary.warnings, *(text for r in records for text in r.warnings)})
    return [
        Cell(specimen.id, link=anchor),
        Cell(specimen.group),
        Cell(hours(stated), value=stated),
        Cell(f"{done}\u00a0of\u00a0{len(records)}" if records else NO_VALUE, value=float(done)),
        *(figure_cell(summary, name) for name in FIGURES),
        Cell(fault_words(summary.by_kind["strut"].row)),
        Cell(str(warned) if warned else "", value=float(warned)),
    ]

"""Tables of the page about polished cross-sections: specimens and sections."""

from __future__ import annotations

import math
from collections.abc import Sequence

from surfscan.report.cells import HEADS, Cell, Grid, Head, estimate_cell, greatest_cell
from surfscan.report.grids import hours
from surfscan.report.pooling import SpecimenSummary, count
from surfscan.report.records import NOT_STATED, FieldRecord, of_kind, words
from surfscan.report.rounding import NO_VALUE, significant
from surfscan.report.section_records import FALLBACK, Section, sections_of
from surfscan.report.section_specimens import rests_on_product

MARK = "§"
"""Mark of a figure that rests on the outer edge of product."""

_KINDS = {"closed": "", "cut": ", cut by the frame", "crossing": ", crosses the picture"}


def section_specimen_grid(specimens: Sequence[SpecimenSummary]) -> Grid:
    """One row a specimen that has pictures of sections."""
    heads = [
        Head("Specimen", "group, surface"),
        Head("Exposure", "h", number=True),
        Head("Sections", "n, pictures", number=True),
        Head("Original outline"),
        Head(*HEADS["remaining_section_fraction"][:2], number=True),
        Head("Metal area", "µm², mean", number=True),
        Head("Original area", "µm², mean", number=True),
        Head(*HEADS["section_penetration_um"][:2], number=True),
        Head(*HEADS["max_section_penetration_um"][:2], number=True),
        Head("Local pitting factor", number=True),
        Head("Least ligament", "µm", number=True),
        Head("Worst-seen picture", "in no mean"),
    ]
    rows = [_specimen_cells(s) for s in specimens if s.by_kind["section"].row]
    caption = (
        "Specimens: sections pooled, 95 % interval below (that of one section, or between sections with what "
        "all have in common)"
    )
    return Grid(caption, heads, rows).without_empty_columns()


def section_specimen_notes(specimens: Sequence[SpecimenSummary]) -> list[str]:
    """What the marks in that table mean, and from what penetration counts."""
    shown = [s for s in specimens if s.by_kind["section"].row]
    notes = []
    if any(rests_on_product(s) for s in shown):
        notes.append(
            f"{MARK} Original outline from the outer edge of product, which swells and spalls: rough, by how "
            "much nobody can say, so without interval."
        )
    if any(s.by_kind["section"].row["n_failed"] for s in shown):
        notes.append("‡ Some pictures of this specimen were not measured; see below.")
    if any(s.condition("section") == NOT_STATED for s in shown):
        notes.append("¶ Surface condition not stated.")
    return notes


def section_grid(records: Sequence[FieldRecord]) -> Grid:
    """One row a section."""
    heads = [
        Head("Section", "picture, number"),
        Head("Original outline", "± of its area, 95 %"),
        Head("Remaining section", "%", number=True),
        Head("Metal area", "µm²", number=True),
        Head("Original area", "µm²", number=True),
        Head("Mean thickness", "µm", number=True),
        Head("Mean penetration", "µm", number=True),
        Head("Greatest penetration", "µm", number=True),
        Head("Local pitting factor", number=True),
        Head("Least ligament", "µm", number=True),
        Head("Islands", "n", number=True),
        Head("Product", "µm², cracks and pores", number=True),
    ]
    found = sections_of(of_kind(records, "section"))
    rows = [_section_cells(s) for s in found]
    return Grid(f"Sections ({len(rows)})", heads, rows).without_empty_columns()


def section_notes(records: Sequence[FieldRecord]) -> list[str]:
    """What the marks in that table mean."""
    found = sections_of(of_kind(records, "section"))
    notes = []
    if any(not s.record.enters_means for s in found):
        notes.append("× Worst seen: in no pooled figure.")
    if any(s.original == FALLBACK for s in found):
        notes.append(
            f"{MARK} Outer edge of product: the fraction is too low where product swelled and too high where "
            "it spalled."
        )
    if any(s.crosses for s in found):
        notes.append(
            "Sections that cross the picture have a thickness in place of an area; their mean penetration is "
            "half the loss of thickness."
        )
    if any(s.unit == "px" for s in found):
        notes.append(
            "Without a known scale only fractions are given here; lengths in px stand in the tables."
        )
    return notes


def _specimen_cells(summary: SpecimenSummary) -> list[Cell]:
    row = summary.by_kind["section"].row
    marks = "".join(
        mark
        for mark, holds in (
            (MARK, rests_on_product(summary)),
            ("¶", row["condition"] == NOT_STATED),
            ("‡", row["n_failed"]),
        )
        if holds
    )

    def estimate(name: str) -> Cell:
        low, high = row[f"{name}_ci95_low"], row[f"{name}_ci95_high"]
        return estimate_cell(row[name], low, high, scale=HEADS[name][2])

    whose = (row["group"], words(row["condition"]))
    worst = row["worst_seen_remaining_section_fraction"]
    return [
        Cell(f"{row['specimen']} {marks}".strip(), (", ".join(filter(None, whose)),)),
        Cell(hours(row["exposure_h"])),
        Cell(str(row["n_profiles"]), (count(row["n_pooled"], "picture"),)),
        Cell(row["original_outline"]),
        estimate("remaining_section_fraction"),
        Cell(significant(row["metal_area_um2"])),
        Cell(significant(row["original_area_um2"])),
        estimate("section_penetration_um"),
        greatest_cell(
            *(row[f"max_section_penetration_um{end}"] for end in ("", "_ci95_low", "_ci95_high")),
            lines=[] if not row["max_penetration_image"] or row["n_profiles"] < 2 else ["one section"],
        ),
        Cell(significant(row["local_pitting_factor"], 2)),
        Cell(significant(row["least_ligament_um"])),
        Cell(
            "" if math.isnan(worst) else "× shown",
            () if math.isnan(worst) else (f"{significant(100 * worst)} % left",),
        ),
    ]


def _section_cells(section: Section) -> list[Cell]:
    def estimate(name: str, scale: float = 1.0) -> Cell:
        return estimate_cell(section.figure(name), *section.interval(name), scale=scale)

    def shown(name: str, digits: int = 3) -> Cell:
        return Cell(significant(section.figure(name), digits))

    doubt = section.figure("original_relative_uncertainty")
    mark = f" {MARK}" if section.original == FALLBACK else ""
    worst = "" if section.record.enters_means else " ×"
    voids = section.figure("void_area_um2")
    islands = section.figure("island_count")
    return [
        Cell(
            f"{section.record.image_id}, {section.number}{worst}",
            (f"{section.record.specimen.id}{_KINDS[section.text('kind')]}",),
        ),
        Cell(
            NO_VALUE if section.original == "none" else f"{section.original}{mark}",
            () if math.isnan(doubt) else (f"± {significant(196 * doubt, 2)} %",),
        ),
        estimate("remaining_fraction", 100.0),
        estimate("metal_area_um2"),
        shown("original_area_um2"),
        shown("mean_thickness_um"),
        estimate("mean_penetration_um"),
        greatest_cell(section.figure("max_penetration_um"), *section.interval("max_penetration_um")),
        shown("local_pitting_factor", 2),
        shown("least_ligament_um"),
        Cell(
            f"{islands:.0f}",
            ()
            if not islands or math.isnan(a := section.figure("island_area_um2"))
            else (f"{significant(a)} µm²",),
        ),
        Cell(
            significant(section.figure("product_area_um2")),
            () if not voids or math.isnan(voids) else (f"voids {significant(voids)}",),
        ),
    ]

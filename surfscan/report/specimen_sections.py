"""One section a specimen: pictures, figures, rates, what to mind, and where all of it comes from."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from surfscan.columns import BESIDE_FIGURES, FIGURES_OF
from surfscan.report.by_hand_page import correction_grid
from surfscan.report.cells import HEADS, Cell, Grid, Head
from surfscan.report.comparison_blocks import rates_blocks
from surfscan.report.comparison_grids import side_by_side_grid
from surfscan.report.page_parts import KindPictures, PageContent
from surfscan.report.pooling import SpecimenSummary, count
from surfscan.report.rate_records import NOUNS, RateRecord
from surfscan.report.records import PROCEDURES, FieldRecord, words
from surfscan.report.rounding import NO_VALUE, significant
from surfscan.report.specimen_overview import fault_words, figure_cell
from surfscan.report.summary_blocks import Block
from surfscan.report.warning_groups import WarningGroup, group_warnings

if TYPE_CHECKING:
    from surfscan.study.entries import Shows
    from surfscan.study.manifest import Study

_MORE_FIGURES: dict[Shows, tuple[str, ...]] = {"heights": ("mean_depth_10_deepest_um",)}
"""Figures of a specimen that no group has a mean of."""

_KINDS: dict[Shows, tuple[str, str]] = {
    "surface": ("Surface", "field"),
    "heights": ("Height maps", "map"),
    "strut": ("Struts", "picture"),
    "section": ("Cross-sections", "picture"),
}
_POOL_OF = {
    "pit_density_per_mm2": "pits",
    "pit_density_per_mpx": "pits",
    "pitted_area_fraction": "pits",
    "median_equivalent_diameter_um": "pits",
    "degraded_area_fraction": "degraded",
    "tarnished_area_fraction": "degraded",
    "max_depth_um": "height_pits",
    "mean_depth_10_deepest_um": "height_pits",
    "median_depth_um": "height_pits",
    "volume_per_area_um": "height_pits",
    "Sq_um": "texture",
}
"""Figure -> fields it rests on; all others rest on those of their kind."""


@dataclass(frozen=True)
class SpecimenSection:
    """What the section of one specimen shows.

    Attributes
    ----------
    anchor, name, group : str
    facts : sequence of str
        What the study states of it.
    blocks : sequence of Block
        What is said first: rates on one axis, and what else there is to draw.
    figures : Grid
        Its pooled figures, one a row.
    rates : Grid or None
        Its rates by every method, one a row; None where it has none.
    missing : sequence of str
        What was asked for and is not there.
    galleries : sequence of (KindPictures, list of dict)
        Its pictures by kind.
    warnings : sequence of WarningGroup
    corrections : Grid or None
        What was corrected by hand, by whom and why; None where nothing was.
    provenance : Grid
        Files with their SHA-256, the settings that are not the study's, versions, who reviewed.
    """

    anchor: str
    name: str
    group: str
    facts: Sequence[str]
    blocks: Sequence[Block]
    figures: Grid
    rates: Grid | None
    missing: Sequence[str]
    galleries: Sequence[tuple[KindPictures, list[dict[str, Any]]]]
    warnings: Sequence[WarningGroup]
    corrections: Grid | None
    provenance: Grid


def specimen_anchors(specimens: Sequence[SpecimenSummary]) -> dict[str, str]:
    """Specimen id -> anchor of its section: its name in letters and digits, numbered where that is taken."""
    out: dict[str, str] = {}
    for summary in specimens:
        stem = re.sub(r"[^A-Za-z0-9]+", "-", summary.specimen.id).strip("-") or "unnamed"
        anchor, number = f"specimen-{stem}", 1
        while anchor in out.values():
            number += 1
            anchor = f"specimen-{stem}-{number}"
        out[summary.specimen.id] = anchor
    return out


def specimen_sections(
    content: PageContent, pictures: Sequence[KindPictures], anchors: Mapping[str, str]
) -> list[SpecimenSection]:
    """The sections of all specimens, in the study's order."""
    return [_section(content, summary, pictures, anchors) for summary in content.specimens]


def rates_by_specimen(content: PageContent, specimen: str) -> list[RateRecord]:
    """Sweeps, weighings, gas series and logs of a specimen, and sweeps of electrodes that stand for it."""
    return [r for r in content.rates if specimen in (r.twin_of, *(s.id for s in r.specimens))]


def _section(
    content: PageContent,
    summary: SpecimenSummary,
    pictures: Sequence[KindPictures],
    anchors: Mapping[str, str],
) -> SpecimenSection:
    specimen = summary.specimen
    records = [r for own in summary.by_kind.values() for r in own.records]
    entries = rates_by_specimen(content, specimen.id)
    said = [
        *((specimen.id, text) for text in summary.warnings),
        *((r.image_id, text) for r in records for text in r.warnings),
        *((r.entry_id, text) for r in entries for text in r.warnings),
    ]
    return SpecimenSection(
        anchors[specimen.id],
        specimen.id,
        specimen.group,
        _facts(summary),
        _blocks(content, summary),
        _figure_grid(summary),
        _rates(content, specimen.id),
        _missing(records, entries),
        [(kind, fields) for kind in pictures if (fields := kind.fields.get(specimen.id))],
        group_warnings(said),
        _corrections(content, specimen.id),
        _provenance(content.study, specimen.id, records, entries),
    )


def _blocks(content: PageContent, summary: SpecimenSummary) -> list[Block]:
    """What is said of a specimen before its tables."""
    return [] if content.comparison is None else rates_blocks(content.comparison, summary.specimen.id)


def _rates(content: PageContent, specimen: str) -> Grid | None:
    """Its rates by every method, those of a twin or its group among them; None where there is none."""
    if content.comparison is None:
        return None
    own = content.comparison.of(specimen).rates
    return side_by_side_grid(own, specimen) if own else None


def _facts(summary: SpecimenSummary) -> list[str]:
    """What the study states of a specimen, in words."""
    s = summary.specimen
    stated = [
        f"exposed {s.exposure_h:g}\u00a0h" if s.exposure_h else "",
        "as received" if s.exposure_h == 0 else "",
        "exposure not stated" if s.exposure_h is None else "",
        s.material or "",
        f"wetted surface {significant(s.wetted_mm2)}\u00a0mm²" if s.wetted_mm2 is not None else "",
        f"struts drawn {s.drawn_strut_width_um:g}\u00a0µm wide" if s.drawn_strut_width_um else "",
        f"drawn {s.drawn_thickness_um:g}\u00a0µm thick" if s.drawn_thickness_um else "",
        s.note,
    ]
    return [text for text in stated if text]


def _figure_grid(summary: SpecimenSummary) -> Grid:
    """One row a figure that the specimen has."""
    rows = []
    for kind, (title, noun) in _KINDS.items():
        own = summary.by_kind[kind]
        for name in (*FIGURES_OF[kind], *_MORE_FIGURES.get(kind, ())):
            if name in BESIDE_FIGURES:
                continue
            value = float(own.row.get(name, math.nan))
            if math.isnan(value):
                continue
            head, unit, _ = HEADS[name]
            cell = figure_cell(summary, name)
            pool = summary.pooled[_POOL_OF.get(name, {"strut": "struts"}.get(kind, kind))]
            rows.append(
                [
                    Cell(head),
                    replace(cell, lines=(), figure=name),
                    Cell(unit),
                    Cell(" ".join(cell.lines) or "no interval"),
                    Cell(f"{title}: {count(len(pool), noun)}"),
                    Cell(_remark(own.row, name)),
                ]
            )
    faults = fault_words(summary.by_kind["strut"].row)
    if faults:
        rows.append([Cell("Struts"), Cell(faults), *(Cell("") for _ in range(4))])
    heads = [
        Head("Figure"),
        Head("Value", number=True),
        Head("Unit"),
        Head("95 % interval"),
        Head("From"),
        Head("How"),
    ]
    return Grid(f"Figures of {summary.specimen.id}", heads, rows).without_empty_columns()


def _remark(row: Mapping[str, Any], name: str) -> str:
    """What the interval or the figure rests on, as the tables have it."""
    return str(row.get(f"{name}_interval") or row.get(name.removesuffix("_fraction") + "_basis") or "")


def _missing(records: Sequence[FieldRecord], entries: Sequence[RateRecord]) -> list[str]:
    """What was asked for and did not work, and that a specimen has no picture."""
    out = [
        f"{record.image_id}: {PROCEDURES[p].lower()} not measured"
        + (f" ({record.results[p].message})." if record.status(p) == "failed" else ": run surfscan measure.")
        for record in records
        for p in record.image.procedures
        if record.status(p) in ("failed", "not measured")
    ]
    out += [
        f"{r.entry_id}: {NOUNS[r.procedure]} without a result ({r.message})" for r in entries if not r.done
    ]
    return [*out, *([] if records else ["No picture of this specimen in the study."])]


def _corrections(content: PageContent, specimen: str) -> Grid | None:
    """Corrections on record of a specimen's images; None where there are none."""
    found = content.by_hand
    own = [r for r in found.records if r.specimen.id == specimen] if found else []
    if found is None or not own:
        return None
    return replace(
        correction_grid(replace(found, records=own)), caption=f"Corrections of {specimen} on record"
    )


def _provenance(
    study: Study, specimen: str, records: Sequence[FieldRecord], entries: Sequence[RateRecord]
) -> Grid:
    """One row a file or entry."""
    heads = [
        Head("File"),
        Head("What"),
        Head("Pixel", "µm", number=True),
        Head("Scale from"),
        Head("Settings other than the study's"),
        Head("Measured by"),
        Head("Reviewed by"),
        Head("SHA-256 as measured", hash=True),
    ]
    rows = []
    for record in records:
        done = record.any_done()
        scale = done.calibration if done else None
        sizes = (
            dict.fromkeys(significant(v, 4) for v in (scale.pixel_size_x_um, scale.pixel_size_y_um))
            if scale
            else {}
        )
        rows.append(
            [
                Cell(record.image_id),
                Cell(f"{_KINDS[record.kind][0].lower()}, {words(record.image.condition)}"),
                Cell(" × ".join(sizes) or NO_VALUE),
                Cell(scale.origin if scale else "unknown"),
                Cell("; ".join(_own_settings(study, record))),
                Cell(f"surfscan {done.version}" if done else "not measured"),
                Cell(", ".join(dict.fromkeys(c.reviewer for own in record.saved.values() for c in own))),
                Cell(done.source.sha256 if done and done.source else NO_VALUE),
            ]
        )
    for entry in entries:
        rows.append(
            [
                Cell(entry.entry_id),
                Cell(NOUNS[entry.procedure] + (f" of {entry.specimen_names}" if entry.twin_of else "")),
                Cell(""),
                Cell(""),
                Cell(""),
                Cell(f"surfscan {entry.done.version}" if entry.done else "not measured"),
                Cell(""),
                Cell(entry.sha256 or NO_VALUE),
            ]
        )
    return Grid(f"Files of {specimen} ({len(rows)})", heads, rows).without_empty_columns()


def _own_settings(study: Study, record: FieldRecord) -> list[str]:
    """Settings of an image's results that differ from those the study states for all."""
    out = []
    for procedure in record.image.procedures:
        done = record.done(procedure)
        if done is None:
            continue
        common = study.settings.of(procedure, record.image.shows).model_dump(mode="json")
        out += [
            f"{name} {'unset' if value is None else value}"
            for name, value in done.settings.items()
            if name in common and common[name] != value
        ]
    return list(dict.fromkeys(out))

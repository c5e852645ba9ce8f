"""Tables of the page about struts: specimens and pictures."""

from __future__ import annotations

import math
from collections.abc import Sequence

from surfscan.report.cells import HEADS, Cell, Grid, Head, estimate_cell
from surfscan.report.grids import hours
from surfscan.report.pooling import SpecimenSummary
from surfscan.report.records import NOT_STATED, WITH_PRODUCT, FieldRecord, of_kind, words
from surfscan.report.rounding import NO_VALUE, at_most, significant
from surfscan.report.strut_prose import faults_words
from surfscan.report.strut_records import (
    EQUAL_LOSS,
    MEASURED_THICKNESS,
    exceeds_reference,
    is_upper_bound,
    least_section,
    lost_metal,
)
from surfscan.report.strut_specimens import has_upper_bound

_BASES = {MEASURED_THICKNESS: "measured", EQUAL_LOSS: "equal loss"}
"""What a least section left rests on, in a narrow column."""


def strut_specimen_grid(specimens: Sequence[SpecimenSummary]) -> Grid:
    """One row a specimen that has pictures of struts."""
    heads = [
        Head("Specimen", "group, surface"),
        Head("Exposure", "h", number=True),
        Head("Pictures", "n", number=True),
        Head("Struts", "n", number=True),
        Head("Mean width", "µm", number=True),
        Head("Least width", "µm", number=True),
        Head("Loss of width", "%", number=True),
        Head("Penetration", "µm, one side", number=True),
        Head("Loss with lost metal", "%, survivors below", number=True),
        Head("Least section left", "%, basis", number=True),
        Head("Beside it", "%", number=True),
        Head("Worst-seen picture", "in no figure"),
    ]
    caption = (
        "Specimens: struts of all pictures pooled, 95 % interval below. Beside the least section left: ≤ "
        "marks the upper bound with the thickness as drawn; where the thickness was measured, the estimate "
        "with equal loss all round, to compare with"
    )
    rows = [_specimen_cells(s) for s in specimens if s.by_kind["strut"].row]
    return Grid(caption, heads, rows).without_empty_columns()


def strut_specimen_notes(specimens: Sequence[SpecimenSummary]) -> list[str]:
    """What the marks in that table mean."""
    rows = [row for s in specimens if (row := s.by_kind["strut"].row)]
    notes = []
    if any(row["condition"] == WITH_PRODUCT for row in rows):
        notes.append(
            "† Measured with corrosion product on the struts: product as dark as the metal widens them."
        )
    if any(row["condition"] == NOT_STATED for row in rows):
        notes.append("¶ Surface condition not stated: corrosion product, if any, may widen the struts.")
    if any(row["n_failed"] for row in rows):
        notes.append("‡ Some pictures of this specimen were not measured; see below.")
    if any(row["broken_count"] > 0 or row["missing_count"] > 0 for row in rows):
        notes.append(
            "✕ Struts broken or missing: widths and least section are those of metal that still stands."
        )
    return notes


def strut_image_grid(records: Sequence[FieldRecord]) -> Grid:
    """One row a picture of struts that was measured."""
    heads = [
        Head("Picture"),
        Head("Specimen"),
        Head("Pixel", "µm", number=True),
        Head("Struts", "n", number=True),
        *(Head(*HEADS[name][:2], number=True) for name in ("mean_width_um", "min_width_um")),
        Head("Loss of width", "%, against", number=True),
        Head("Loss with lost metal", "%, survivors below", number=True),
        Head("Least section left", "%, basis", number=True),
        Head("Beside it", "%", number=True),
        Head("Warnings", "n", number=True),
    ]
    rows = [_image_cells(r) for r in of_kind(records, "strut") if r.done("struts")]
    return Grid(f"Pictures of struts ({len(rows)})", heads, rows).without_empty_columns()


def _specimen_cells(summary: SpecimenSummary) -> list[Cell]:
    row = summary.by_kind["strut"].row
    gone = row["broken_count"] > 0 or row["missing_count"] > 0
    marks = "".join(
        mark
        for mark, holds in (
            ("†", row["condition"] == WITH_PRODUCT),
            ("¶", row["condition"] == NOT_STATED),
            ("‡", row["n_failed"]),
            ("✕", gone),
        )
        if holds
    )

    def estimate(name: str, lines: Sequence[str] = ()) -> Cell:
        low, high = row[f"{name}_ci95_low"], row[f"{name}_ci95_high"]
        lines = [] if math.isnan(row[name]) else lines
        return estimate_cell(row[name], low, high, scale=HEADS[name][2], lines=lines)

    broken = [
        f"{word} {row[name]:.0f}"
        for name, word in (("broken_count", "broken"), ("missing_count", "missing"))
        if row[name] > 0
    ]
    pictures = str(row["n_pooled"])
    worst = row["worst_seen_min_strut_width_um"]
    whose = (row["group"], words(row["condition"]))
    return [
        Cell(f"{row['specimen']} {marks}".strip(), (", ".join(filter(None, whose)),)),
        Cell(hours(row["exposure_h"])),
        Cell(pictures),
        Cell(NO_VALUE if math.isnan(row["strut_count"]) else f"{row['strut_count']:.0f}", tuple(broken)),
        estimate("mean_strut_width_um"),
        estimate("min_strut_width_um"),
        estimate("strut_loss_fraction"),
        estimate("width_penetration_um"),
        _lost_cell(
            row["lost_length_fraction"], row["loss_with_lost_fraction"], row["loss_of_survivors_fraction"]
        ),
        estimate("least_section_left_fraction", [_BASES.get(row["least_section_left_basis"], "")]),
        _beside_cell(
            row["least_section_fraction"] if has_upper_bound(summary) else math.nan,
            row["least_section_equal_loss_fraction"],
            row["least_section_left_basis"],
        ),
        Cell(
            "" if math.isnan(worst) else "× shown", () if math.isnan(worst) else (f"{significant(worst)} µm",)
        ),
    ]


def _image_cells(record: FieldRecord) -> list[Cell]:
    def estimate(name: str, lines: Sequence[str] = ()) -> Cell:
        low, high = record.interval("struts", name)
        scale = 100.0 if name.endswith("_fraction") else 1.0
        value = record.figure("struts", name)
        return estimate_cell(value, low, high, scale=scale, lines=[] if math.isnan(value) else lines)

    stored = record.done("struts")
    scale = stored.calibration if stored else None
    pixel = NO_VALUE
    if scale:
        sizes = dict.fromkeys(significant(v) for v in (scale.pixel_size_x_um, scale.pixel_size_y_um))
        pixel = " × ".join(sizes)
    lost = lost_metal(record)
    faults = [text for text in faults_words(record).split(", ") if text]
    left, beyond = least_section(record), exceeds_reference(record)
    basis = _BASES.get(left.basis, "")
    if left.basis == MEASURED_THICKNESS:
        basis += f" {significant(record.figure('struts', 'thickness_um'))} µm"
    return [
        Cell(f"{record.image_id}{'' if record.enters_means else ' ×'}"),
        Cell(record.specimen.id),
        Cell(pixel),
        Cell(f"{record.figure('struts', 'strut_count'):.0f}", tuple(faults)),
        *(
            estimate(f"{name}_width_um") if scale else estimate(f"{name}_width_px", ("px",))
            for name in ("mean", "min")
        ),
        Cell(NO_VALUE, ("more than", "there was"))
        if beyond
        else estimate("loss_fraction", (record.text("struts", "loss_against"),)),
        Cell("") if beyond else _lost_cell(lost.length_fraction, lost.with_lost, lost.of_survivors),
        estimate_cell(left.value, left.low, left.high, scale=100, lines=[basis] if basis else []),
        _beside_cell(
            record.figure("struts", "least_section_fraction")
            if is_upper_bound(record) and not beyond
            else math.nan,
            record.figure("struts", "least_section_equal_loss_fraction"),
            left.basis,
        ),
        Cell(str(len(record.warnings))),
    ]


def _beside_cell(bound: float, equal_loss: float, basis: str) -> Cell:
    """What stands beside a least section: the upper bound, and the estimate that a measured one replaces."""
    if not math.isnan(bound):
        return Cell(at_most(significant(100 * bound), True), ("as drawn",))
    if basis == MEASURED_THICKNESS and not math.isnan(equal_loss):
        return Cell("", (f"{significant(100 * equal_loss)} with", _BASES[EQUAL_LOSS]))
    return Cell("")


def _lost_cell(length: float, with_lost: float, survivors: float) -> Cell:
    """Loss with lost metal as zero width, without it, and the share of the length that is gone."""
    if not length > 0:
        return Cell("")
    gone = f"{significant(100 * length, 2)}\u00a0% of length gone"
    if math.isnan(with_lost):
        return Cell(NO_VALUE, (gone,))
    return Cell(significant(100 * with_lost), (f"survivors {significant(100 * survivors)}", gone))

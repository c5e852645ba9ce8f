"""Tables with a row an image, a pit or a feature for review."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from surfscan.columns import Table, columns, conform, empty_table
from surfscan.report.records import FieldRecord

_PIT_NUMBERS = (
    "pit_count",
    "near_limit_count",
    "for_review_count",
    "field_area_mm2",
    "field_area_px",
    "total_pit_area_um2",
    "total_pit_area_px",
    "median_equivalent_diameter_um",
    "median_equivalent_diameter_px",
    "mean_area_um2",
    "mean_area_px",
    "smallest_diameter_um",
    "smallest_diameter_px",
)
_PIT_ESTIMATES = ("pit_density_per_mm2", "pit_density_per_mpx", "pitted_area_fraction")
_DEGRADED_NUMBERS = ("region_area_mm2", "region_area_px")
_DEGRADED_ESTIMATES = ("degraded_area_fraction", "tarnished_area_fraction")


def image_table(records: Sequence[FieldRecord]) -> Table:
    """One row an image, `study_images` in the column registry, in the study's order."""
    rows = [_image_row(r) for r in records]
    return conform(
        "study_images", {c.name: np.array([row[c.name] for row in rows]) for c in columns("study_images")}
    )


def object_table(records: Sequence[FieldRecord], name: str) -> Table:
    """All rows of the stored "pits" or "for_review" tables, each with its image, specimen and group.

    Worst-seen fields are in it too; column `enters_means` of the image table tells them apart.
    """
    parts = []
    for record in records:
        table = record.table(name)
        length = len(table["label"])
        if length:
            whose = (record.image_id, record.specimen.id, record.specimen.group)
            keys = {
                key: np.full(length, value)
                for key, value in zip(("image", "specimen", "group"), whose, strict=True)
            }
            parts.append(conform(f"study_{name}", {**keys, **table}))
    if not parts:
        return empty_table(f"study_{name}")
    return {c.name: np.concatenate([p[c.name] for p in parts]) for c in columns(f"study_{name}")}


def _image_row(record: FieldRecord) -> dict[str, Any]:
    measured = record.any_done()
    scale = measured.calibration if measured else None
    row: dict[str, Any] = {
        "image": record.image_id,
        "specimen": record.specimen.id,
        "group": record.specimen.group,
        "exposure_h": math.nan if record.specimen.exposure_h is None else record.specimen.exposure_h,
        "material": record.specimen.material or "",
        "condition": record.image.condition,
        "cleaning": record.image.cleaning,
        "field_choice": record.image.field_choice,
        "enters_means": record.enters_means,
        "pixel_size_x_um": scale.pixel_size_x_um if scale else math.nan,
        "pixel_size_y_um": scale.pixel_size_y_um if scale else math.nan,
        "pixel_size_relative_uncertainty": scale.relative_uncertainty if scale else math.nan,
        "pixel_size_origin": scale.origin if scale else "",
        "pits_status": record.status("pits"),
        "degraded_status": record.status("degraded"),
        "g46_density_class": record.text("pits", "g46_density_class"),
        "g46_size_class": record.text("pits", "g46_size_class"),
        "sha256": measured.source.sha256 if measured and measured.source else "",
        "warnings": " | ".join(record.warnings),
    }
    for procedure, numbers, estimates in (
        ("pits", _PIT_NUMBERS, _PIT_ESTIMATES),
        ("degraded", _DEGRADED_NUMBERS, _DEGRADED_ESTIMATES),
    ):
        row |= {name: record.figure(procedure, name) for name in (*numbers, *estimates)}
        for name in estimates:
            row[f"{name}_ci95_low"], row[f"{name}_ci95_high"] = record.interval(procedure, name)
    return row

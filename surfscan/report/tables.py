"""Tables with a row a picture, a height map, a pit or a feature for review."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from surfscan.columns import TEXTURE_PARAMETERS, Table, columns, conform, empty_table
from surfscan.report.records import FieldRecord, of_kind

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
_DEPTH_NUMBERS = (
    "roughness_sq_um",
    "smallest_depth_um",
    "lower_bound_depth_count",
    "mean_depth_10_deepest_um",
    "deepest_count",
    "depth_p10_um",
    "median_depth_um",
    "depth_p90_um",
    "total_volume_um3",
    "volume_per_area_um",
    "mean_penetration_um",
    "max_penetration_um",
    "pitting_factor",
)
_DEPTH_ESTIMATES = ("max_depth_um",)
_DEPTH_FLAGS = ("max_depth_is_lower_bound", "mean_depth_10_deepest_is_lower_bound")
_DEPTH_TEXTS = ("original_level", "pitting_factor_denominator", "g46_depth_class")
_TEXTURE_NUMBERS = ("s_cutoff_um", "l_cutoff_um", *(c.name for c in TEXTURE_PARAMETERS))
_DEGRADED_NUMBERS = ("region_area_mm2", "region_area_px")
_DEGRADED_ESTIMATES = ("degraded_area_fraction", "tarnished_area_fraction")


def image_table(records: Sequence[FieldRecord]) -> Table:
    """One row a picture, `study_images` in the column registry, in the study's order."""
    return table_of("study_images", [_image_row(r) for r in of_kind(records, "surface")])


def height_table(records: Sequence[FieldRecord]) -> Table:
    """One row a height map, `study_heights` in the column registry, in the study's order."""
    return table_of("study_heights", [_height_row(r) for r in of_kind(records, "heights")])


def object_table(records: Sequence[FieldRecord], stored: str, name: str) -> Table:
    """All rows of one stored table as table `name` of the report, each with its image, specimen and group.

    Worst-seen fields are in it too; column `enters_means` of the image table tells them apart.
    """
    parts = []
    for record in records:
        table = record.table(stored)
        length = len(next(iter(table.values())))
        if length:
            keys = {
                "image": np.full(length, record.image_id),
                "specimen": np.full(length, record.specimen.id),
                "group": np.full(length, record.specimen.group),
                "image_kind": np.full(length, record.image_kind),
            }
            whole = {**keys, **table}
            parts.append(conform(name, {c.name: whole[c.name] for c in columns(name)}))
    if not parts:
        return empty_table(name)
    return {c.name: np.concatenate([p[c.name] for p in parts]) for c in columns(name)}


def table_of(name: str, rows: Sequence[dict[str, Any]]) -> Table:
    """A table of the registry from rows that hold at least its columns."""
    return conform(name, {c.name: np.array([row[c.name] for row in rows]) for c in columns(name)})


def taken_row(record: FieldRecord) -> dict[str, Any]:
    """Whose an image is, how it was taken and what its scale is: alike for every kind of image."""
    measured = record.any_done()
    scale = measured.calibration if measured else None
    return {
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
        "sha256": measured.source.sha256 if measured and measured.source else "",
        "warnings": " | ".join(record.warnings),
    }


def _common_row(record: FieldRecord) -> dict[str, Any]:
    """What an image says of pits: alike for pictures and height maps."""
    row = taken_row(record) | {
        "pits_status": record.status("pits"),
        "g46_density_class": record.text("pits", "g46_density_class"),
        "g46_size_class": record.text("pits", "g46_size_class"),
    }
    return row | figures_of(record, "pits", _PIT_NUMBERS, _PIT_ESTIMATES)


def _image_row(record: FieldRecord) -> dict[str, Any]:
    degraded = figures_of(record, "degraded", _DEGRADED_NUMBERS, _DEGRADED_ESTIMATES)
    return {**_common_row(record), "degraded_status": record.status("degraded"), **degraded}


def _height_row(record: FieldRecord) -> dict[str, Any]:
    return {
        **_common_row(record),
        **figures_of(record, "pits", _DEPTH_NUMBERS, _DEPTH_ESTIMATES),
        **{name: record.flag("pits", name) for name in _DEPTH_FLAGS},
        **{name: record.text("pits", name) for name in _DEPTH_TEXTS},
        "texture_status": record.status("texture"),
        "texture_surface": record.text("texture", "surface"),
        **{name: record.map_text(name) for name in ("form", "form_text")},
        **{name: record.map_figure(name) for name in ("measured_fraction", "spike_count")},
        **figures_of(record, "texture", _TEXTURE_NUMBERS, ()),
    }


def figures_of(
    record: FieldRecord, procedure: str, numbers: Sequence[str], estimates: Sequence[str]
) -> dict[str, Any]:
    """Summary figures of one procedure, estimates with the limits of their intervals."""
    row: dict[str, Any] = {name: record.figure(procedure, name) for name in (*numbers, *estimates)}
    for name in estimates:
        row[f"{name}_ci95_low"], row[f"{name}_ci95_high"] = record.interval(procedure, name)
    return row

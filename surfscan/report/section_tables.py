"""Tables of polished cross-sections: a row a picture, a section, a station, a specimen."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from surfscan.columns import Table
from surfscan.report.pooling import SpecimenSummary
from surfscan.report.records import FieldRecord, of_kind
from surfscan.report.section_specimens import section_specimen_table
from surfscan.report.tables import figures_of, object_table, table_of, taken_row

_NUMBERS = (
    "profile_count",
    "measured_profile_count",
    "original_area_um2",
    "local_pitting_factor",
    "least_ligament_um",
    "mean_thickness_um",
    "remaining_thickness_fraction",
    "cut_angle_deg",
)
_ESTIMATES = ("metal_area_um2", "remaining_fraction", "mean_penetration_um", "max_penetration_um")


def section_tables(records: Sequence[FieldRecord], specimens: Sequence[SpecimenSummary]) -> dict[str, Table]:
    """Every table of the study about sections, by its name in the column registry."""
    return {
        "study_section_images": section_image_table(records),
        "study_profiles": object_table(records, "profiles", "study_profiles"),
        "study_section_outlines": object_table(records, "outline", "study_section_outlines"),
        "study_section_thickness": object_table(records, "thickness", "study_section_thickness"),
        "study_section_specimens": section_specimen_table(specimens),
    }


def section_image_table(records: Sequence[FieldRecord]) -> Table:
    """One row a picture of sections, `study_section_images` in the column registry, in the study's order."""
    return table_of("study_section_images", [_row(r) for r in of_kind(records, "section")])


def _row(record: FieldRecord) -> dict[str, Any]:
    return {
        **taken_row(record),
        "status": record.status("section"),
        "original_outline": record.text("section", "original_outline"),
        "grey_order_found": record.text("section", "grey_order_found"),
        **figures_of(record, "section", _NUMBERS, _ESTIMATES),
    }

"""Tables of a study about struts: pictures, struts, stations, faults, specimens."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from surfscan.columns import Table
from surfscan.report.pooling import SpecimenSummary
from surfscan.report.records import FieldRecord, of_kind
from surfscan.report.strut_records import COUNTS, least_section, lost_metal, section_basis
from surfscan.report.strut_specimens import strut_specimen_table
from surfscan.report.tables import figures_of, object_table, table_of, taken_row

_NUMBERS = (*COUNTS, "thickness_um", "least_section_strut", "least_section_row_px", "least_section_col_px")
_ESTIMATES = (
    "mean_width_um",
    "min_width_um",
    "loss_fraction",
    "least_section_fraction",
    "least_section_equal_loss_fraction",
    "mean_width_px",
    "min_width_px",
)


def strut_tables(records: Sequence[FieldRecord], specimens: Sequence[SpecimenSummary]) -> dict[str, Table]:
    """Every table of the study about struts, by its name in the column registry."""
    shown = of_kind(records, "strut")
    return {
        "study_strut_images": table_of("study_strut_images", [_row(r) for r in shown]),
        "study_strut_specimens": strut_specimen_table(specimens),
        "study_struts": object_table(shown, "struts", "study_struts"),
        "study_strut_faults": object_table(shown, "strut_faults", "study_strut_faults"),
        "study_stations": object_table(shown, "stations", "study_stations"),
    }


def _row(record: FieldRecord) -> dict[str, Any]:
    lost, least = lost_metal(record), least_section(record)
    return {
        **taken_row(record),
        "status": record.status("struts"),
        **figures_of(record, "struts", _NUMBERS, _ESTIMATES),
        "loss_against": record.text("struts", "loss_against"),
        "lost_length_fraction": lost.length_fraction,
        "loss_with_lost_fraction": lost.with_lost,
        "loss_of_survivors_fraction": lost.of_survivors,
        "least_section_left_fraction": least.value,
        "least_section_left_fraction_ci95_low": least.low,
        "least_section_left_fraction_ci95_high": least.high,
        "least_section_left_basis": least.basis,
        "section_basis": section_basis(record),
    }

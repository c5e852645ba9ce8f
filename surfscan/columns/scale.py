"""Columns of scale bars."""

from __future__ import annotations

from surfscan.columns.base import Column

SCALE_TABLES: dict[str, tuple[Column, ...]] = {
    "bars": (
        Column("row_px", "px", "float64", "Middle of the bar's thickness; the first pixel's centre is 0."),
        Column(
            "col_start_px",
            "px",
            "float64",
            "Left end: outer edge at half level of a plain bar; of one with end ticks half way between the "
            "tick's centre and its outer edge.",
        ),
        Column("col_end_px", "px", "float64", "Right end, as col_start_px."),
        Column("length_px", "px", "float64", "From end to end."),
        Column("end_uncertainty_px", "px", "float64", "Standard uncertainty of one end (k = 1)."),
        Column("style", "", "str", "light, dark or coloured against its surroundings; plain, or with ticks."),
        Column("label", "", "str", "Label as understood; empty where none was read or given."),
        Column("length_um", "µm", "float64", "Length that the label states."),
        Column("pixel_size_um", "µm", "float64", "length_um over length_px."),
        Column(
            "relative_uncertainty",
            "1",
            "float64",
            "Relative standard uncertainty of pixel_size_um: ends, label, instrument, y not calibrated.",
        ),
        Column("bar_evidence", "1", "float64", "How sure it is that this is a scale bar, 0 to 1."),
        Column("label_evidence", "1", "float64", "How sure the label's reading is, 0 to 1."),
        Column("fit", "1", "float64", "How well label and bar go together, 0 to 1."),
        Column("confidence", "1", "float64", "Product of the three, lowered by contradictions, 0 to 1."),
        Column("accepted", "", "bool", "Whether the reading is sure enough to be taken without a look."),
        Column("crop_row0_px", "px", "int32", "First row of bar and label."),
        Column("crop_row1_px", "px", "int32", "Row behind the last of bar and label."),
        Column("crop_col0_px", "px", "int32", "First column of bar and label."),
        Column("crop_col1_px", "px", "int32", "Column behind the last of bar and label."),
    )
}
"""Table name -> its columns, in order."""

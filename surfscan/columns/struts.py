"""Columns of struts: stations along them, and one row a strut."""

from __future__ import annotations

from surfscan.columns.base import Column

_STATION = (
    Column("strut", "1", "int32", "Number of the strut, as in the table struts."),
    Column("s_um", "µm", "float64", "Distance along the centreline from the start of the strut."),
    Column("row_px", "px", "float64", "Row half-way between the edges; the centre of the first pixel is 0."),
    Column("col_px", "px", "float64", "Column half-way between the edges; first pixel centre is 0."),
    Column(
        "width_um",
        "µm",
        "float64",
        "Metal across the normal of the centreline, from edge to edge at half level between metal and "
        "background, less through-pits in between; empty where an edge is missing.",
    ),
    Column(
        "width_uncertainty_um",
        "µm",
        "float64",
        "Standard uncertainty of width_um from noise, slope of the edges and their levels (k = 1), scale not "
        "included.",
    ),
    Column("open_width_um", "µm", "float64", "Width of through-pits on the line across."),
    Column(
        "normal_deg",
        "deg",
        "float64",
        "Direction of the line across, -90 (excluded) to 90, counter-clockwise from the image row direction.",
    ),
    Column("left_row_px", "px", "float64", "Row of the edge to the left of the way along the strut."),
    Column("left_col_px", "px", "float64", "Column of the edge to the left of the way along the strut."),
    Column("right_row_px", "px", "float64", "Row of the edge to the right of the way along the strut."),
    Column("right_col_px", "px", "float64", "Column of the edge to the right of the way along the strut."),
    Column(
        "near_junction",
        "",
        "bool",
        "Inside the circle inscribed at a junction, or beyond it in the fillet (width above the strut's own "
        "by 2 % and two uncertainties, at most to 2.5 radii); left out of the strut's widths.",
    ),
    Column("through_pit", "", "bool", "The line across meets a through-pit."),
    Column(
        "fault",
        "",
        "str",
        "Why the station is left out of the strut's widths: junction, end (rounding of a free end), frame "
        "(an edge outside the field), no edge; empty where it counts.",
    ),
    Column("s_px", "px", "float64", "As s_um, where no scale is known."),
    Column("width_px", "px", "float64", "As width_um, where no scale is known."),
    Column("width_uncertainty_px", "px", "float64", "As width_uncertainty_um, where no scale is known."),
    Column("open_width_px", "px", "float64", "As open_width_um, where no scale is known."),
)

STRUT_TABLES: dict[str, tuple[Column, ...]] = {"stations": _STATION}

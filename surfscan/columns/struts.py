"""Columns of struts: stations along them, and one row a strut."""

from __future__ import annotations

from surfscan.columns.base import Column, with_ci95

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
        "by 2 % and two uncertainties, at most to 2.5 radii), or in the fillet of a junction that the frame "
        "cuts off; left out of the strut's widths.",
    ),
    Column("through_pit", "", "bool", "The line across meets a through-pit."),
    Column(
        "product",
        "",
        "bool",
        "Something of a grey of its own clings to an edge; the width is that of the metal under it.",
    ),
    Column(
        "soft_edge",
        "",
        "bool",
        "An edge spreads 1.25 times as far as the sharper edges of the picture: out of focus, or under a "
        "layer too thin to tell, which lower limits of widths allow for.",
    ),
    Column(
        "fault",
        "",
        "str",
        "Why the station is left out of the strut's widths: junction, end (rounding of a free end), frame "
        "(an edge outside the field), no edge; empty where it counts.",
    ),
    Column(
        "width_before_um",
        "µm",
        "float64",
        "Width at the same place on the picture before, interpolated along the strut; empty without one.",
        "micrograph",
    ),
    Column(
        "section_area_um2",
        "µm²",
        "float64",
        "Area of the section from width_um and the thickness: measured, or drawn (an upper bound); empty "
        "where no thickness is known.",
        "micrograph",
    ),
    Column(
        "section_fraction",
        "1",
        "float64",
        "Area of the section over the area before; an upper bound where the thickness is the drawn one.",
        "micrograph",
    ),
    Column(
        "section_equal_loss_fraction",
        "1",
        "float64",
        "As section_fraction, from the width alone with equal loss on all sides of the section.",
        "micrograph",
    ),
    Column("s_px", "px", "float64", "As s_um, in px."),
    Column("width_px", "px", "float64", "As width_um, in px."),
    Column("width_uncertainty_px", "px", "float64", "As width_uncertainty_um, in px."),
    Column("open_width_px", "px", "float64", "As open_width_um, in px."),
    Column(
        "width_before_px",
        "px",
        "float64",
        "As width_before_um, in px of this picture.",
        "micrograph",
    ),
)

_STRUT = (
    Column("strut", "1", "int32", "Number of the strut; missing struts follow those that were found."),
    Column(
        "condition",
        "",
        "str",
        "whole; broken (parted by a crack or gap, or an end where none was drawn); fragment (loose metal, "
        "left out of the figures of the whole picture); missing (on the picture before, gone on this one).",
    ),
    Column("row_px", "px", "float64", "Row of the middle of the strut; the centre of the first pixel is 0."),
    Column("col_px", "px", "float64", "Column of the middle of the strut."),
    Column("length_um", "µm", "float64", "Length of the centreline, from node to node, end or frame."),
    Column(
        "counted_length_um", "µm", "float64", "Length over which widths count: fillets and ends left out."
    ),
    Column("station_count", "1", "int32", "Stations that count."),
    *with_ci95(
        "mean_width_um",
        "µm",
        "Mean width over the counted length; the interval holds noise, levels, edges and scale. 0 where the "
        "strut is missing.",
    ),
    Column("width_sd_um", "µm", "float64", "Standard deviation of the widths along the strut."),
    Column("p05_width_um", "µm", "float64", "5th percentile of the widths along the strut."),
    *with_ci95(
        "min_width_um",
        "µm",
        "Least width of a station; the interval allows for noise, which draws the least of many readings "
        "down, and for blur, which fills notches.",
    ),
    Column("min_s_um", "µm", "float64", "Where the least width is: distance along the centreline."),
    Column("min_row_px", "px", "float64", "Row of the least width."),
    Column("min_col_px", "px", "float64", "Column of the least width."),
    Column(
        "edge_roughness_um",
        "µm",
        "float64",
        "Root mean square deviation of both edges from their trends (polynomials along the strut), variance "
        "of noise taken off.",
    ),
    Column("edge_roughness_left_um", "µm", "float64", "The same of the edge to the left of the way."),
    Column("edge_roughness_right_um", "µm", "float64", "The same of the edge to the right of the way."),
    Column("broken", "", "bool", "Parted by a crack or gap, ending where no end was drawn, or a fragment."),
    Column("through_pitted", "", "bool", "A line across meets a hole through the metal."),
    Column("leaves_field", "", "bool", "The strut goes on beyond the field."),
    Column(
        "loss_against",
        "",
        "str",
        "What loss_fraction compares with: before, drawn; empty where with nothing.",
    ),
    Column(
        "before_strut",
        "1",
        "int32",
        "Number of the strut on the picture before that it is, or most of it; 0 where nothing was compared.",
    ),
    Column(
        "compared_length_um",
        "µm",
        "float64",
        "Length over which widths were compared: counted_length_um against the drawn width, the part of it "
        "that counts on the picture before as well against that one.",
    ),
    Column(
        "compared_width_um",
        "µm",
        "float64",
        "Mean width over compared_length_um, which mean_width_um may go beyond; 0 for a missing strut.",
    ),
    Column(
        "reference_width_um",
        "µm",
        "float64",
        "Drawn width, or mean width before at the places of compared_length_um; where a straight strut can "
        "slide along itself, over all of the strut that counts before.",
    ),
    *with_ci95(
        "loss_fraction",
        "1",
        "1 minus compared_width_um over reference_width_um, and so over compared_length_um only; 1 for a "
        "missing strut.",
    ),
    Column("min_loss_fraction", "1", "float64", "1 minus least width over reference width."),
    Column("mean_section_fraction", "1", "float64", "Mean of section_fraction over the stations that count."),
    Column(
        "mean_section_equal_loss_fraction",
        "1",
        "float64",
        "Mean of section_equal_loss_fraction over the stations that count.",
    ),
    *with_ci95(
        "least_section_fraction",
        "1",
        "Least section over the section before; an upper bound where the thickness is the drawn one.",
    ),
    *with_ci95("least_section_equal_loss_fraction", "1", "The same with equal loss on all sides."),
    Column("least_section_area_um2", "µm²", "float64", "Area of the least section, as section_area_um2."),
    Column("least_section_s_um", "µm", "float64", "Where the least section is: distance along."),
    Column("least_section_row_px", "px", "float64", "Row of the least section."),
    Column("least_section_col_px", "px", "float64", "Column of the least section."),
    *(
        Column(f"{name}_px", "px", "float64", f"As {name}_um, in px.")
        for name in (
            "length",
            "counted_length",
            "width_sd",
            "p05_width",
            "min_s",
            "compared_length",
            "compared_width",
            "reference_width",
        )
    ),
    *with_ci95("mean_width_px", "px", "As mean_width_um, in px."),
    *with_ci95("min_width_px", "px", "As min_width_um, in px."),
    *(
        Column(f"edge_roughness{side}_px", "px", "float64", f"As edge_roughness{side}_um, in px.")
        for side in ("", "_left", "_right")
    ),
    Column("least_section_s_px", "px", "float64", "As least_section_s_um, in px."),
)

_FAULT = (
    Column(
        "kind",
        "",
        "str",
        "crack (shorter along the strut than half its width), gap, free end (facing nothing), fragment "
        "(loose metal), missing (a strut of the picture before).",
    ),
    Column("strut", "1", "int32", "Strut it belongs to; 0 for none."),
    Column("other_strut", "1", "int32", "Strut on the other side of it; 0 for none."),
    Column("row_px", "px", "float64", "Row of its middle."),
    Column("col_px", "px", "float64", "Column of its middle."),
    Column(
        "length_um", "µm", "float64", "Lost length along the strut; largest Feret diameter of a fragment."
    ),
    Column(
        "area_um2",
        "µm²",
        "float64",
        "Area of a fragment: the sum of its grey, and that of its blurred rim, as a share of the contrast.",
    ),
    Column("through", "", "bool", "Whether it parts the strut; a fragment itself does not."),
    Column("length_px", "px", "float64", "As length_um, in px."),
    Column("area_px", "px", "float64", "As area_um2, in px."),
)

STRUT_TABLES: dict[str, tuple[Column, ...]] = {
    "struts": _STRUT,
    "stations": _STATION,
    "strut_faults": _FAULT,
}

"""Columns of polished cross-sections: one row a profile, and stations along outlines and foils."""

from __future__ import annotations

from surfscan.columns.base import Column, with_ci95

_PROFILES: tuple[Column, ...] = (
    Column("profile", "", "int64", "Number of the section in the picture, from 1 in reading order."),
    Column("row_px", "px", "float64", "Row of the metal's centroid; the centre of the first pixel is 0."),
    Column("col_px", "px", "float64", "Column of the metal's centroid."),
    Column(
        "kind",
        "",
        "str",
        "'closed': whole within the field; 'cut': cut by the frame; 'crossing': from side to side.",
    ),
    Column("cut_fraction", "1", "float64", "Share of the section's outline that lies on the frame."),
    *with_ci95(
        "metal_area_um2",
        "µm²",
        "Remaining metal, islands included, without product, cracks and pores, within the half-level "
        "outline; times the cosine of the cut angle where one is given.",
    ),
    Column("original_area_um2", "µm²", "float64", "Area inside the original outline."),
    Column(
        "original_outline",
        "",
        "str",
        "Where the original outline comes from: 'before', 'twin', 'stated area' (no outline, or the drawn "
        "one brought to that area), 'drawn size', 'outer edge of product', or 'none'.",
    ),
    Column(
        "original_relative_uncertainty",
        "1",
        "float64",
        "Relative standard uncertainty (k = 1) of original_area_um2: edge and scale of the picture it is "
        "read from, the scatter of a lot for a twin, or what is declared for a drawing or a stated area; "
        "not-a-number for the outer edge of product, whose error nobody can state.",
    ),
    *with_ci95("remaining_fraction", "1", "Remaining metal over original area."),
    *with_ci95(
        "mean_penetration_um",
        "µm",
        "Distance by which the original outline, moved evenly inwards, encloses the remaining metal area.",
    ),
    *with_ci95(
        "max_penetration_um",
        "µm",
        "Greatest distance of lost metal from the original outline (deepest_um of the table outline).",
    ),
    Column("max_row_px", "px", "float64", "Row of the outline point with the greatest penetration."),
    Column("max_col_px", "px", "float64", "Column of the outline point with the greatest penetration."),
    Column("local_pitting_factor", "1", "float64", "max_penetration_um over mean_penetration_um."),
    Column(
        "least_ligament_um",
        "µm",
        "float64",
        "Shortest straight cut through the largest piece of metal that leaves a quarter of its area or more "
        "on either side; of a crossing section its least thickness.",
    ),
    Column(
        "mean_thickness_um", "µm", "float64", "Mean thickness of a crossing section, outer faces of metal."
    ),
    Column("island_count", "1", "int64", "Pieces of metal apart from the largest."),
    Column("island_area_um2", "µm²", "float64", "Area of these pieces."),
    Column("product_area_um2", "µm²", "float64", "Product inside the section's outer edge."),
    Column("void_area_um2", "µm²", "float64", "Cracks and pores inside the section's outer edge."),
    Column("misfit_um", "µm", "float64", "Root mean square distance of metal outside the original outline."),
    Column("metal_area_px", "px", "float64", "As metal_area_um2, in px."),
    Column("original_area_px", "px", "float64", "As original_area_um2, in px."),
    Column("mean_penetration_px", "px", "float64", "As mean_penetration_um, in px."),
    Column("max_penetration_px", "px", "float64", "As max_penetration_um, in px."),
    Column("least_ligament_px", "px", "float64", "As least_ligament_um, in px."),
    Column("mean_thickness_px", "px", "float64", "As mean_thickness_um, in px."),
    Column("island_area_px", "px", "float64", "As island_area_um2, in px."),
    Column("product_area_px", "px", "float64", "As product_area_um2, in px."),
    Column("void_area_px", "px", "float64", "As void_area_um2, in px."),
    Column("misfit_px", "px", "float64", "As misfit_um, in px."),
)

_OUTLINE: tuple[Column, ...] = (
    Column("profile", "", "int64", "Section that the point belongs to."),
    Column("s_um", "µm", "float64", "Arc length along the original outline from its first point."),
    Column("row_px", "px", "float64", "Row of the point on the original outline."),
    Column("col_px", "px", "float64", "Column of the point on the original outline."),
    Column(
        "penetration_um",
        "µm",
        "float64",
        "Distance along the inward normal to the metal (islands below a tenth of the largest piece passed "
        "over), at most to where another part of the outline is nearer; below 0 where metal lies outside.",
    ),
    Column(
        "deepest_um",
        "µm",
        "float64",
        "Distance along the inward normal to the last point where metal has gone: penetration_um, or more "
        "where attack undercuts metal; closed pores are not counted.",
    ),
    Column(
        "uncertainty_um",
        "µm",
        "float64",
        "Standard uncertainty (k = 1) of deepest_um: the metal's edge, the original outline's size and place "
        "along the normal, and the scale.",
    ),
    Column(
        "reaches_metal", "", "bool", "False where the normal meets no metal: a corner, or metal all gone."
    ),
    Column("metal_row_px", "px", "float64", "Row of the other end of the penetration."),
    Column("metal_col_px", "px", "float64", "Column of the other end of the penetration."),
    Column("s_px", "px", "float64", "As s_um, in px."),
    Column("penetration_px", "px", "float64", "As penetration_um, in px."),
    Column("deepest_px", "px", "float64", "As deepest_um, in px."),
    Column("uncertainty_px", "px", "float64", "As uncertainty_um, in px."),
)

_THICKNESS: tuple[Column, ...] = (
    Column("profile", "", "int64", "Section that the station belongs to."),
    Column("s_um", "µm", "float64", "Distance along a section that crosses the field."),
    Column("row_px", "px", "float64", "Row half-way between both faces of the metal."),
    Column("col_px", "px", "float64", "Column half-way between both faces of the metal."),
    Column(
        "thickness_um",
        "µm",
        "float64",
        "Distance between the outer faces of the metal, square to the section's direction.",
    ),
    Column("s_px", "px", "float64", "As s_um, in px."),
    Column("thickness_px", "px", "float64", "As thickness_um, in px."),
)

SECTION_TABLES: dict[str, tuple[Column, ...]] = {
    "profiles": _PROFILES,
    "outline": _OUTLINE,
    "thickness": _THICKNESS,
}
"""Tables of a polished cross-section."""

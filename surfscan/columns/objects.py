"""Columns of what is outlined on one image: pits, and features listed for review."""

from __future__ import annotations

from surfscan.columns.base import Column

_POSITION = (
    Column("label", "1", "int32", "Number of the object in the label image; background is 0."),
    Column("row_px", "px", "float64", "Centroid row; the centre of the first pixel is 0."),
    Column("col_px", "px", "float64", "Centroid column; the centre of the first pixel is 0."),
    Column("row_um", "µm", "float64", "Centroid distance from the first row of pixel centres."),
    Column("col_um", "µm", "float64", "Centroid distance from the first column of pixel centres."),
)

_SIZE = (
    Column("area_px", "px", "int64", "Number of pixels inside the outline."),
    Column("area_um2", "µm²", "float64", "Area inside the outline."),
    Column("equivalent_diameter_um", "µm", "float64", "Diameter of the circle of the same area."),
    Column(
        "perimeter_um",
        "µm",
        "float64",
        "Length of the outline, from its crossings with lines in four directions (Cauchy-Crofton).",
    ),
    Column("length_um", "µm", "float64", "Major axis of the ellipse with the same second moments of area."),
    Column("width_um", "µm", "float64", "Minor axis of the ellipse with the same second moments of area."),
    Column("equivalent_diameter_px", "px", "float64", "As equivalent_diameter_um, where no scale is known."),
    Column("perimeter_px", "px", "float64", "As perimeter_um, where no scale is known."),
    Column("length_px", "px", "float64", "As length_um, where no scale is known."),
    Column("width_px", "px", "float64", "As width_um, where no scale is known."),
    Column(
        "orientation_deg",
        "deg",
        "float64",
        "Direction of the major axis, -90 (excluded) to 90, counter-clockwise from the image row direction; "
        "empty where length and width are equal.",
    ),
    Column("aspect", "1", "float64", "length divided by width, 1 or more."),
)

_GREY = (
    Column(
        "contrast",
        "1",
        "float64",
        "1 minus the median grey of the floor over the grey of the surrounding metal.",
        "micrograph",
    ),
    Column(
        "contrast_to_noise",
        "1",
        "float64",
        "Contrast over the local spread of the surrounding metal at the working resolution.",
        "micrograph",
    ),
)

_DEPTH = (
    Column(
        "depth_um",
        "µm",
        "float64",
        "Greatest depth below the local reference surface, the floor's roughness included.",
        "heightmap",
    ),
    Column(
        "depth_is_lower_bound",
        "",
        "bool",
        "True where part of the floor was not measured, or the deepest reading lies on the frame: the pit "
        "is at least this deep (censored).",
        "heightmap",
    ),
    Column(
        "depth_uncertainty_um",
        "µm",
        "float64",
        "Standard uncertainty of depth_um from the roughness of the surroundings and the levelling (k = 1).",
        "heightmap",
    ),
    Column(
        "floor_depth_um",
        "µm",
        "float64",
        "Depth of the floor with its roughness averaged out: the deepest point of a smooth floor.",
        "heightmap",
    ),
    Column(
        "mean_depth_um", "µm", "float64", "Mean depth over the measured pixels inside the mouth.", "heightmap"
    ),
    Column(
        "volume_um3",
        "µm³",
        "float64",
        "Mean measured depth times mouth area: gaps are neither filled nor counted as metal.",
        "heightmap",
    ),
    Column("depth_to_width", "1", "float64", "depth_um over width_um.", "heightmap"),
    Column(
        "cross_section",
        "",
        "str",
        "Cross-section as far as it can be seen from above (after ASTM G46): narrow and deep, elliptical, "
        "wide and shallow; 'not seen' where the floor was not measured.",
        "heightmap",
    ),
    Column(
        "steepest_wall_deg",
        "deg",
        "float64",
        "Steepest slope of the wall between neighbouring measured pixels, from the horizontal.",
        "heightmap",
    ),
    Column(
        "wall_against_limit",
        "",
        "str",
        "Steepest wall against the slope that the objective's aperture admits: within or beyond; empty where "
        "the aperture is not given.",
        "heightmap",
    ),
    Column("prominence_um", "µm", "float64", "Depth below the lowest way out over the rim.", "heightmap"),
    Column("depth_to_roughness", "1", "float64", "depth_um over the Sq of the surroundings.", "heightmap"),
    Column(
        "measured_fraction",
        "1",
        "float64",
        "Share of the pixels inside the mouth that were measured.",
        "heightmap",
    ),
    Column("deepest_row_px", "px", "float64", "Row of the deepest measured pixel.", "heightmap"),
    Column("deepest_col_px", "px", "float64", "Column of the deepest measured pixel.", "heightmap"),
)

OBJECT_TABLES: dict[str, tuple[Column, ...]] = {
    "pits": (
        *_POSITION,
        *_SIZE,
        *_GREY,
        *_DEPTH,
        Column("nearest_pit_um", "µm", "float64", "Distance from centroid to the nearest other centroid."),
        Column("nearest_pit_px", "px", "float64", "As nearest_pit_um, where no scale is known."),
        Column(
            "touches_image_border",
            "",
            "bool",
            "Outline reaches the border of the counting frame: image edge or data strip.",
        ),
        Column("touches_specimen_edge", "", "bool", "Outline reaches the edge of the specimen region."),
        Column(
            "edge_weight",
            "1",
            "float64",
            "Weight in the density (Miles-Lantuéjoul): specimen area over the part of it where a pit of this "
            "size would lie clear of the frame's border; 0 where the pit touches the frame, empty where "
            "there is no such part or the pit spans the frame (then there is no density).",
        ),
        Column("near_limit", "", "str", "Which limits the pit only just passed; empty where none."),
    ),
    "for_review": (
        *_POSITION,
        *_SIZE,
        *_GREY,
        *(c for c in _DEPTH if c.name in ("depth_um", "depth_to_roughness", "measured_fraction")),
        Column("reason", "", "str", "Why the feature is listed for a person and not counted as a pit."),
    ),
}

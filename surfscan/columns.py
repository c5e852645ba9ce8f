"""The column registry: name, unit, dtype and definition of every column surfscan writes.

It drives result tables, empty results and the data dictionary of the report.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

Table = dict[str, np.ndarray]
"""Column name -> array of shape (n,), all of one length; light enough for a single command."""


@dataclass(frozen=True)
class Column:
    """One column of a table.

    Attributes
    ----------
    name : str
        Name with its unit as suffix.
    unit : str
        Unit in plain text; "1" for a pure number, "" for text and flags.
    dtype : str
        numpy dtype; "str" for text.
    definition : str
        One sentence that another lab could measure by.
    """

    name: str
    unit: str
    dtype: str
    definition: str


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
    ),
    Column(
        "contrast_to_noise",
        "1",
        "float64",
        "Contrast over the local spread of the surrounding metal at the working resolution.",
    ),
)

TABLES: dict[str, tuple[Column, ...]] = {
    "pits": (
        *_POSITION,
        *_SIZE,
        *_GREY,
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
        Column("reason", "", "str", "Why the feature is listed for a person and not counted as a pit."),
    ),
}


def _with_ci95(name: str, unit: str, definition: str) -> tuple[Column, ...]:
    """A figure and the two columns of its 95 % interval."""
    return (
        Column(name, unit, "float64", definition),
        Column(f"{name}_ci95_low", unit, "float64", f"Lower 95 % limit of {name}."),
        Column(f"{name}_ci95_high", unit, "float64", f"Upper 95 % limit of {name}."),
    )


_WHOSE = (
    Column("image", "", "str", "Image file as named in the study, with #page where one was given."),
    Column("specimen", "", "str", "Specimen id."),
    Column("group", "", "str", "Group of the specimen."),
)

_HISTORY = (
    Column("exposure_h", "h", "float64", "Exposure of the specimen, as stated in the study."),
    Column("material", "", "str", "Material of the specimen, as named in the study."),
)

_LIMIT = (
    Column("smallest_diameter_um", "µm", "float64", "Smallest equivalent diameter counted as a pit."),
    Column("smallest_diameter_px", "px", "float64", "As smallest_diameter_um, in pixels."),
)

_RATING = (
    Column(
        "g46_density_class", "", "str", "ASTM G46 rating chart, A: pit density; 'outside chart' beyond it."
    ),
    Column(
        "g46_size_class", "", "str", "ASTM G46 rating chart, B: mean pit opening; 'outside chart' beyond it."
    ),
)

GROUP_FIGURES: dict[str, tuple[str, str]] = {
    "pit_density_per_mm2": ("mm⁻²", "pit density"),
    "pit_density_per_mpx": ("per million px", "pit density where no scale is known"),
    "pitted_area_fraction": ("1", "pitted area fraction"),
    "degraded_area_fraction": ("1", "degraded area fraction"),
    "tarnished_area_fraction": ("1", "tarnished area fraction"),
    "median_equivalent_diameter_um": ("µm", "median equivalent diameter of the pits"),
}
"""Specimen figures that are averaged over the specimens of a group: name -> (unit, words)."""

SUBTRACTED_FIGURES = tuple(name for name in GROUP_FIGURES if name != "median_equivalent_diameter_um")
"""Those that a baseline is taken from: pits and areas on the same surface add up, median diameters do not."""


def _group_figure(name: str, unit: str, words: str) -> tuple[Column, ...]:
    mean = (
        Column(f"n_specimens_{name}", "1", "int64", f"Specimens that have a {words}: the replicates."),
        *_with_ci95(
            f"mean_{name}",
            unit,
            f"Mean {words} over specimens, with t-interval between specimens cut at what the figure can be.",
        ),
        Column(f"sd_{name}", unit, "float64", f"Standard deviation of {words} between specimens (n - 1)."),
    )
    if name not in SUBTRACTED_FIGURES:
        return mean
    return (
        *mean,
        *_with_ci95(
            f"baseline_subtracted_{name}",
            unit,
            f"Mean {words} less the mean of the baseline group; both uncertainties in the interval "
            "(Welch-Satterthwaite). May be negative.",
        ),
    )


TABLES |= {
    "study_images": (
        *_WHOSE,
        *_HISTORY,
        Column("condition", "", "str", "Surface when imaged: as_received, with_product or cleaned."),
        Column("cleaning", "", "str", "How the surface was cleaned, as stated."),
        Column("field_choice", "", "str", "How the field was chosen: systematic, random or worst_seen."),
        Column("enters_means", "", "bool", "False for a worst-seen field: shown, but in no mean or density."),
        Column("pixel_size_x_um", "µm", "float64", "Distance of pixel centres along a row."),
        Column("pixel_size_y_um", "µm", "float64", "Distance of pixel centres along a column."),
        Column(
            "pixel_size_relative_uncertainty",
            "1",
            "float64",
            "Relative standard uncertainty of a length measured with this pixel size.",
        ),
        Column("pixel_size_origin", "", "str", "Where the pixel size comes from."),
        Column("pits_status", "", "str", "done, failed, or not measured (asked for but not run yet)."),
        Column("pit_count", "1", "float64", "Pits outlined in the field, those at its edge included."),
        Column("near_limit_count", "1", "float64", "Pits that only just passed a limit."),
        Column("for_review_count", "1", "float64", "Features listed for a person and not counted."),
        Column("field_area_mm2", "mm²", "float64", "Specimen surface inside the frame."),
        Column("field_area_px", "px", "float64", "As field_area_mm2, in pixels."),
        *_with_ci95("pit_density_per_mm2", "mm⁻²", "Edge-weighted pit count over field area."),
        *_with_ci95("pit_density_per_mpx", "per million px", "Pit density where no scale is known."),
        *_with_ci95("pitted_area_fraction", "1", "Area inside pit outlines over field area."),
        Column("total_pit_area_um2", "µm²", "float64", "Area inside all pit outlines."),
        Column("total_pit_area_px", "px", "float64", "As total_pit_area_um2, in pixels."),
        Column(
            "median_equivalent_diameter_um",
            "µm",
            "float64",
            "Median equivalent diameter of the pits that the frame does not cut.",
        ),
        Column("median_equivalent_diameter_px", "px", "float64", "The same where no scale is known."),
        Column("mean_area_um2", "µm²", "float64", "Mean area of those pits."),
        Column("mean_area_px", "px", "float64", "The same where no scale is known."),
        *_RATING,
        *_LIMIT,
        Column("degraded_status", "", "str", "done, failed, or not measured (asked for but not run yet)."),
        *_with_ci95("degraded_area_fraction", "1", "Corroded or covered part of the specimen region."),
        *_with_ci95("tarnished_area_fraction", "1", "Tarnished part, where three classes are told apart."),
        Column("region_area_mm2", "mm²", "float64", "Specimen region of the degraded area."),
        Column("region_area_px", "px", "float64", "As region_area_mm2, in pixels."),
        Column("sha256", "", "str", "SHA-256 of the image file as measured."),
        Column("warnings", "", "str", "Warnings of the image, separated by ' | '."),
    ),
    "study_specimens": (
        Column("specimen", "", "str", "Specimen id."),
        Column("group", "", "str", "Group of the specimen."),
        *_HISTORY,
        Column("surface_area_mm2", "mm²", "float64", "Surface of the specimen, as stated in the study."),
        Column("n_worst_seen", "1", "int64", "Worst-seen fields: shown, but in no mean or density."),
        Column("n_failed", "1", "int64", "Images with a procedure that failed or has not run yet."),
        Column("pits_condition", "", "str", "Surface condition of the fields pooled for pits."),
        Column("n_pit_fields", "1", "int64", "Fields pooled for pits."),
        Column("pit_count", "1", "float64", "Pits outlined in the pooled fields."),
        Column("edge_weighted_count", "1", "float64", "Sum of edge_weight over those pits."),
        Column("field_area_mm2", "mm²", "float64", "Summed area of the pooled fields."),
        *_with_ci95("pit_density_per_mm2", "mm⁻²", "Summed edge-weighted counts over summed field areas."),
        *_with_ci95("pit_density_per_mpx", "per million px", "Pit density where no scale is known."),
        Column(
            "pit_density_interval",
            "",
            "str",
            "What the interval rests on: Poisson (one field, or fields alike) or between fields.",
        ),
        *_with_ci95(
            "pitted_area_fraction", "1", "Mean over fields of the pitted area fraction (E562, E1245)."
        ),
        Column(
            "pitted_area_fraction_interval",
            "",
            "str",
            "What the interval rests on: one field, between or within fields.",
        ),
        Column(
            "pitted_area_fraction_relative_accuracy_percent",
            "%",
            "float64",
            "%RA of E562: half width of the between-field 95 % interval over the mean.",
        ),
        Column(
            "median_equivalent_diameter_um",
            "µm",
            "float64",
            "Median over the pits of the pooled fields that the frame does not cut.",
        ),
        Column("median_equivalent_diameter_px", "px", "float64", "The same where no scale is known."),
        Column("mean_equivalent_diameter_um", "µm", "float64", "Mean over those pits."),
        Column("mean_area_um2", "µm²", "float64", "Mean area of those pits."),
        *_RATING,
        Column("degraded_condition", "", "str", "Surface condition of the fields pooled for degraded area."),
        Column("n_degraded_fields", "1", "int64", "Fields pooled for degraded area."),
        *_with_ci95(
            "degraded_area_fraction",
            "1",
            "Mean over fields (E562, E1245); the interval takes in field sampling and class boundary.",
        ),
        Column(
            "degraded_area_fraction_interval",
            "",
            "str",
            "What the interval rests on: one field, between or within fields.",
        ),
        Column(
            "degraded_area_fraction_relative_accuracy_percent",
            "%",
            "float64",
            "%RA of E562 between fields.",
        ),
        *_with_ci95("tarnished_area_fraction", "1", "As degraded_area_fraction, for the tarnished class."),
        Column(
            "tarnished_area_fraction_interval",
            "",
            "str",
            "What the interval rests on: one field, between or within fields.",
        ),
        Column(
            "tarnished_area_fraction_relative_accuracy_percent", "%", "float64", "%RA of E562 between fields."
        ),
        Column("worst_seen_pit_density_per_mm2", "mm⁻²", "float64", "Highest among worst-seen fields."),
        Column("worst_seen_pitted_area_fraction", "1", "float64", "Highest among worst-seen fields."),
        Column("worst_seen_degraded_area_fraction", "1", "float64", "Highest among worst-seen fields."),
        Column("warnings", "", "str", "What limits these figures, separated by ' | '."),
    ),
    "study_groups": (
        Column("group", "", "str", "Group name."),
        *_HISTORY,
        Column("baseline", "", "str", "Control group whose mean is subtracted; empty where none."),
        Column("n_specimens", "1", "int64", "Specimens of the group in the study."),
        *(c for name, (unit, words) in GROUP_FIGURES.items() for c in _group_figure(name, unit, words)),
        Column("warnings", "", "str", "Intervals refused and why, other limits; separated by ' | '."),
    ),
    "study_pits": (*_WHOSE, *TABLES["pits"]),
    "study_for_review": (*_WHOSE, *TABLES["for_review"]),
    "data_dictionary": (
        Column("table", "", "str", "Table (file and sheet) the column stands in."),
        Column("column", "", "str", "Column name, with its unit as suffix."),
        Column("unit", "", "str", "Unit in plain text; 1 for a pure number, empty for text and flags."),
        Column("dtype", "", "str", "Kind of value: number, whole number, text or flag (true, false)."),
        Column("definition", "", "str", "What the column means."),
    ),
}


def columns(table: str) -> tuple[Column, ...]:
    """Columns of a named table, in order.

    Raises
    ------
    KeyError
        If the table is not registered.
    """
    return TABLES[table]


def empty_table(table: str) -> Table:
    """A table with no rows but all its columns and dtypes."""
    return {c.name: np.empty(0, dtype=c.dtype) for c in TABLES[table]}


def conform(table: str, values: Mapping[str, np.ndarray]) -> Table:
    """Order and type `values` by the registry.

    Raises
    ------
    KeyError
        If a registered column is missing or an unregistered one is present.
    ValueError
        If columns differ in length.
    """
    names = [c.name for c in TABLES[table]]
    missing, extra = set(names) - set(values), set(values) - set(names)
    if missing or extra:
        raise KeyError(f"table {table!r}: missing {sorted(missing)}, unregistered {sorted(extra)}")
    out = {c.name: np.asarray(values[c.name]).astype(c.dtype, copy=False) for c in TABLES[table]}
    lengths = {len(v) for v in out.values()}
    if len(lengths) > 1:
        raise ValueError(f"table {table!r}: columns of different lengths {sorted(lengths)}")
    return out

"""Columns of the report on a study: images, specimens, groups, every pit, and the data dictionary."""

from __future__ import annotations

from surfscan.columns.base import Column, with_ci95
from surfscan.columns.objects import OBJECT_TABLES

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
        *with_ci95(
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
        *with_ci95(
            f"baseline_subtracted_{name}",
            unit,
            f"Mean {words} less the mean of the baseline group; both uncertainties in the interval "
            "(Welch-Satterthwaite). May be negative.",
        ),
    )


STUDY_TABLES: dict[str, tuple[Column, ...]] = {
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
        *with_ci95("pit_density_per_mm2", "mm⁻²", "Edge-weighted pit count over field area."),
        *with_ci95("pit_density_per_mpx", "per million px", "Pit density where no scale is known."),
        *with_ci95("pitted_area_fraction", "1", "Area inside pit outlines over field area."),
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
        *with_ci95("degraded_area_fraction", "1", "Corroded or covered part of the specimen region."),
        *with_ci95("tarnished_area_fraction", "1", "Tarnished part, where three classes are told apart."),
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
        *with_ci95("pit_density_per_mm2", "mm⁻²", "Summed edge-weighted counts over summed field areas."),
        *with_ci95("pit_density_per_mpx", "per million px", "Pit density where no scale is known."),
        Column(
            "pit_density_interval",
            "",
            "str",
            "What the interval rests on: Poisson (one field, or fields alike) or between fields.",
        ),
        *with_ci95(
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
        *with_ci95(
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
        *with_ci95("tarnished_area_fraction", "1", "As degraded_area_fraction, for the tarnished class."),
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
    "study_pits": (*_WHOSE, *OBJECT_TABLES["pits"]),
    "study_for_review": (*_WHOSE, *OBJECT_TABLES["for_review"]),
    "data_dictionary": (
        Column("table", "", "str", "Table (file and sheet) the column stands in."),
        Column("column", "", "str", "Column name, with its unit as suffix."),
        Column("unit", "", "str", "Unit in plain text; 1 for a pure number, empty for text and flags."),
        Column("dtype", "", "str", "Kind of value: number, whole number, text or flag (true, false)."),
        Column("definition", "", "str", "What the column means."),
    ),
}

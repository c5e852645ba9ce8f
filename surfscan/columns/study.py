"""Columns of the report on a study: images, height maps, specimens, groups, pits, and the data dictionary."""

from __future__ import annotations

from surfscan.columns.base import Column, with_ci95
from surfscan.columns.objects import OBJECT_TABLES
from surfscan.columns.texture import TEXTURE_PARAMETERS

WHOSE = (
    Column("image", "", "str", "Image file as named in the study, with #page where one was given."),
    Column("specimen", "", "str", "Specimen id."),
    Column("group", "", "str", "Group of the specimen."),
)

_KIND = Column(
    "image_kind", "", "str", "micrograph or heightmap: figures of the two are never pooled together."
)

HISTORY = (
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

FIGURES_OF: dict[str, tuple[str, ...]] = {
    "surface": (
        "pit_density_per_mm2",
        "pit_density_per_mpx",
        "pitted_area_fraction",
        "degraded_area_fraction",
        "tarnished_area_fraction",
        "median_equivalent_diameter_um",
    ),
    "heights": ("max_depth_um", "median_depth_um", "volume_per_area_um", "Sq_um"),
    "strut": (
        "mean_strut_width_um",
        "min_strut_width_um",
        "strut_loss_fraction",
        "width_penetration_um",
        "least_section_left_fraction",
        "least_section_fraction",
        "least_section_equal_loss_fraction",
    ),
    "section": ("remaining_section_fraction", "section_penetration_um", "max_section_penetration_um"),
}
"""What images show -> specimen figures from them that are averaged over the specimens of a group."""

GROUP_FIGURES: dict[str, tuple[str, str]] = {
    "pit_density_per_mm2": ("mm⁻²", "pit density"),
    "pit_density_per_mpx": ("per million px", "pit density where no scale is known"),
    "pitted_area_fraction": ("1", "pitted area fraction"),
    "degraded_area_fraction": ("1", "degraded area fraction"),
    "tarnished_area_fraction": ("1", "tarnished area fraction"),
    "median_equivalent_diameter_um": ("µm", "median equivalent diameter of the pits"),
    "max_depth_um": ("µm", "greatest pit depth"),
    "median_depth_um": ("µm", "median pit depth"),
    "volume_per_area_um": ("µm", "pit volume per area"),
    "Sq_um": ("µm", "root mean square height Sq"),
    "mean_strut_width_um": ("µm", "mean strut width"),
    "min_strut_width_um": ("µm", "least strut width"),
    "strut_loss_fraction": ("1", "loss of strut width"),
    "width_penetration_um": ("µm", "penetration from strut width"),
    "least_section_left_fraction": ("1", "least section left of a strut"),
    "least_section_fraction": (
        "1",
        "least section of a strut with thickness measured or drawn (upper bound, without interval)",
    ),
    "least_section_equal_loss_fraction": ("1", "least section of a strut with equal loss all round"),
    "remaining_section_fraction": ("1", "remaining section of polished cross-sections"),
    "section_penetration_um": ("µm", "mean penetration on polished cross-sections"),
    "max_section_penetration_um": ("µm", "greatest penetration on polished cross-sections"),
}
"""All of them: name -> (unit, words)."""

LOWER_BOUND_FIGURES = ("max_depth_um",)
"""Those whose value may be a lower bound, because part of a pit's floor was not measured."""

SUBTRACTED_FIGURES = (
    "pit_density_per_mm2",
    "pit_density_per_mpx",
    "pitted_area_fraction",
    "degraded_area_fraction",
    "tarnished_area_fraction",
    "volume_per_area_um",
    "strut_loss_fraction",
    "width_penetration_um",
    "section_penetration_um",
)
"""Those that a baseline is taken from: pits, areas, volumes and what an edge has lost add up; medians, least
and greatest values, root mean squares and what is left do not."""

BESIDE_FIGURES = ("least_section_fraction", "least_section_equal_loss_fraction")
"""Those that stand beside `least_section_left_fraction` in tables; the page and its charts show that one."""


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
    if name in LOWER_BOUND_FIGURES:
        mean = (
            *mean,
            Column(
                f"n_lower_bound_{name}",
                "1",
                "int64",
                f"Specimens whose {words} is a lower bound; above 0 the mean is one too, without interval.",
            ),
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


TAKEN = (
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
)
"""How an image was taken."""

_FIELD = (
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
)
"""What a field says of its pits seen from above, on pictures and on height maps alike."""

_DEPTHS = (
    Column("lower_bound_depth_count", "1", "float64", "Pits whose depth is a lower bound (censored)."),
    *with_ci95(
        "max_depth_um",
        "µm",
        "Greatest pit depth; upper limit empty where it is a lower bound.",
    ),
    Column(
        "max_depth_is_lower_bound",
        "",
        "bool",
        "True where the depth of some pit is a lower bound: the greatest depth is at least this.",
    ),
    Column("mean_depth_10_deepest_um", "µm", "float64", "Mean depth of the ten deepest pits, or of all."),
    Column("deepest_count", "1", "float64", "Pits in that mean: ten, or all where there are fewer."),
    Column("mean_depth_10_deepest_is_lower_bound", "", "bool", "As max_depth_is_lower_bound, for that mean."),
    Column(
        "depth_p10_um",
        "µm",
        "float64",
        "Depth that 10 % of the pits do not exceed, by the product-limit estimate of Kaplan and Meier.",
    ),
    Column(
        "median_depth_um",
        "µm",
        "float64",
        "Median depth of the pits by the same estimate; empty where lower bounds leave it open.",
    ),
    Column(
        "depth_p90_um", "µm", "float64", "Depth that 90 % of the pits do not exceed, by the same estimate."
    ),
    Column(
        "total_volume_um3",
        "µm³",
        "float64",
        "Summed pit volume below the surface around each; gaps are neither filled nor taken for metal.",
    ),
)

_LEVEL = (
    Column(
        "original_level",
        "",
        "str",
        "What penetration is measured from: unexposed surface, masked datum, or else the present surface.",
    ),
    Column(
        "mean_penetration_um",
        "µm",
        "float64",
        "Mean loss of height below the original level; empty where that is not known.",
    ),
    Column("max_penetration_um", "µm", "float64", "Greatest depth below the original level; likewise."),
    Column("pitting_factor", "1", "float64", "Deepest over mean penetration (ASTM G46)."),
    Column(
        "pitting_factor_denominator", "", "str", "What the mean penetration of pitting_factor was taken from."
    ),
    Column("g46_depth_class", "", "str", "ASTM G46 rating chart, C: pit depth; 'outside chart' beyond it."),
)

_HEIGHT_MAP = (
    Column("form", "", "str", "Form that was taken off: none, plane, polynomial2 or cylinder."),
    Column("form_text", "", "str", "That form in words."),
    Column("measured_fraction", "1", "float64", "Share of the region that holds measured heights."),
    Column("spike_count", "1", "float64", "Points set to not measured because they stood out as spikes."),
)

_SURFACE = (
    Column("texture_surface", "", "str", "Surface that texture describes: S-F, or S-L with an L-filter."),
    Column("s_cutoff_um", "µm", "float64", "Nesting index of the S-filter; empty where none."),
    Column("l_cutoff_um", "µm", "float64", "Nesting index of the L-filter; empty where none."),
)
STUDY_TABLES: dict[str, tuple[Column, ...]] = {
    "study_images": (
        *WHOSE,
        *HISTORY,
        *TAKEN,
        Column("pits_status", "", "str", "done, failed, or not measured (asked for but not run yet)."),
        *_FIELD,
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
        *HISTORY,
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
    "study_heights": (
        *WHOSE,
        *HISTORY,
        *TAKEN,
        *_HEIGHT_MAP,
        Column("pits_status", "", "str", "done, failed, or not measured (asked for but not run yet)."),
        Column("roughness_sq_um", "µm", "float64", "Sq of the surface outside the pits."),
        Column("smallest_depth_um", "µm", "float64", "Smallest depth counted as a pit."),
        *_LIMIT,
        *_FIELD,
        *_DEPTHS,
        Column(
            "volume_per_area_um",
            "µm",
            "float64",
            "total_volume_um3 over field area: loss below the present surface, a lower bound.",
        ),
        *_LEVEL,
        *_RATING,
        Column("texture_status", "", "str", "done, failed, or not measured (asked for but not run yet)."),
        *_SURFACE,
        *TEXTURE_PARAMETERS,
        Column("sha256", "", "str", "SHA-256 of the height map's file as measured."),
        Column("warnings", "", "str", "Warnings of the height map, separated by ' | '."),
    ),
    "study_height_specimens": (
        Column("specimen", "", "str", "Specimen id."),
        Column("group", "", "str", "Group of the specimen."),
        *HISTORY,
        Column("surface_area_mm2", "mm²", "float64", "Surface of the specimen, as stated in the study."),
        Column("n_height_maps", "1", "int64", "Height maps of the specimen in the study."),
        Column("n_worst_seen", "1", "int64", "Worst-seen ones: shown, but in no pooled figure."),
        Column("n_failed", "1", "int64", "Those with a procedure that failed or has not run yet."),
        Column("pits_condition", "", "str", "Surface condition of the height maps pooled for pits."),
        Column("n_pit_fields", "1", "int64", "Height maps pooled for pits."),
        Column("measured_fraction", "1", "float64", "Mean over them of the share of measured heights."),
        Column("pit_count", "1", "float64", "Pits outlined in them."),
        Column("edge_weighted_count", "1", "float64", "Sum of edge_weight over those pits."),
        Column("field_area_mm2", "mm²", "float64", "Summed area of the pooled height maps."),
        *with_ci95("pit_density_per_mm2", "mm⁻²", "Pit density from height maps alone."),
        *with_ci95("pit_density_per_mpx", "per million px", "The same where no scale is known."),
        Column("pit_density_interval", "", "str", "What the interval rests on: Poisson or between fields."),
        *_DEPTHS,
        *with_ci95(
            "volume_per_area_um",
            "µm",
            "Summed pit volume over summed area: loss below the present surface, a lower bound.",
        ),
        Column(
            "volume_per_area_um_interval",
            "",
            "str",
            "What the interval rests on: one field, between or within fields.",
        ),
        *_LEVEL,
        Column("texture_condition", "", "str", "Surface condition of the height maps pooled for texture."),
        Column("n_texture_fields", "1", "int64", "Height maps pooled for texture."),
        *_SURFACE,
        *with_ci95("Sa_um", "µm", "Mean Sa over height maps with between-field t-interval."),
        *with_ci95("Sq_um", "µm", "Mean Sq over height maps with between-field t-interval."),
        *with_ci95("Sdr", "1", "Mean Sdr (a fraction) over height maps with between-field t-interval."),
        Column("worst_seen_max_depth_um", "µm", "float64", "Greatest depth on worst-seen height maps."),
        Column("warnings", "", "str", "What limits these figures, separated by ' | '."),
    ),
    "study_extremes": (
        Column("group", "", "str", "Group name."),
        Column("specimen", "", "str", "Specimen id; empty where the blocks are those of the whole group."),
        Column("block", "", "str", "What one block maximum is."),
        Column("n_specimens", "1", "int64", "Specimens that the blocks lie on."),
        Column("n_blocks", "1", "int64", "Block maxima: fields of equal area."),
        Column("n_lower_bound", "1", "int64", "Block maxima that are lower bounds (censored)."),
        Column("n_without_pit", "1", "int64", "Fields without a pit, which have no maximum."),
        Column("block_area_mm2", "mm²", "float64", "Area of one block."),
        Column("part_area_mm2", "mm²", "float64", "Area that the return level is for: the whole part."),
        Column("return_period", "1", "float64", "T: part area over block area."),
        Column("model", "", "str", "Distribution fitted: gumbel or gev."),
        Column("location_um", "µm", "float64", "Location of the distribution."),
        Column("scale_um", "µm", "float64", "Scale of the distribution."),
        Column("shape", "1", "float64", "Shape of the GEV (above 0: heavy tail); 0 for Gumbel."),
        Column("gumbel_p", "1", "float64", "p-value of the test that Gumbel is enough; small: it is not."),
        *with_ci95("return_level_um", "µm", "Depth of the deepest pit to expect on the whole part."),
        Column("refused", "", "str", "Why there is no fit; empty where there is one."),
        Column("warnings", "", "str", "What limits it, separated by ' | '."),
    ),
    "study_groups": (
        Column("group", "", "str", "Group name."),
        *HISTORY,
        Column("baseline", "", "str", "Control group whose mean is subtracted; empty where none."),
        Column("n_specimens", "1", "int64", "Specimens of the group in the study."),
        *(c for name, (unit, words) in GROUP_FIGURES.items() for c in _group_figure(name, unit, words)),
        Column("warnings", "", "str", "Intervals refused and why, other limits; separated by ' | '."),
    ),
    "study_pits": (*WHOSE, _KIND, *OBJECT_TABLES["pits"]),
    "study_for_review": (*WHOSE, _KIND, *OBJECT_TABLES["for_review"]),
    "data_dictionary": (
        Column("table", "", "str", "Table (file and sheet) the column stands in."),
        Column("column", "", "str", "Column name, with its unit as suffix."),
        Column("unit", "", "str", "Unit in plain text; 1 for a pure number, empty for text and flags."),
        Column("dtype", "", "str", "Kind of value: number, whole number, text or flag (true, false)."),
        Column("definition", "", "str", "What the column means."),
    ),
}

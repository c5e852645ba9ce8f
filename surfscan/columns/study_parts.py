"""Columns of the report on struts and polished cross-sections of a study."""

from __future__ import annotations

from surfscan.columns.base import Column, with_ci95
from surfscan.columns.section import SECTION_TABLES
from surfscan.columns.struts import STRUT_TABLES
from surfscan.columns.study import HISTORY, TAKEN, WHOSE

_STATUS = Column("status", "", "str", "done, failed, or not measured (asked for but not run yet).")

_END = (
    Column("sha256", "", "str", "SHA-256 of the image file as measured."),
    Column("warnings", "", "str", "Warnings of the image, separated by ' | '."),
)

_SECTION_BASIS = Column(
    "section_basis",
    "",
    "str",
    "Thickness behind the sections: measured; drawn (fractions are then upper bounds); empty where none.",
)

_LEAST_LEFT = (
    *with_ci95(
        "least_section_left_fraction",
        "1",
        "Least section left over the section before or as drawn: with measured thickness where there is one, "
        "else estimated from the width with equal loss all round; see least_section_left_basis.",
    ),
    Column(
        "least_section_left_basis",
        "",
        "str",
        "What it rests on: measured thickness; equal loss all round; empty where there is none.",
    ),
)

_WITH_LOST = (
    Column(
        "loss_with_lost_fraction",
        "1",
        "float64",
        "Loss of width with lost metal counted as zero width against what was drawn or there before.",
    ),
    Column("loss_of_survivors_fraction", "1", "float64", "The same over what is left alone."),
    Column(
        "lost_length_fraction", "1", "float64", "Share of the length that is gone: missing struts and gaps."
    ),
)

_STRUT_COUNTS = (
    Column("strut_count", "1", "float64", "Struts found, fragments left out."),
    Column(
        "broken_count", "1", "float64", "Struts parted by a crack or gap, or ending where none was drawn."
    ),
    Column("through_pitted_count", "1", "float64", "Struts with a hole through the metal."),
    Column("crack_count", "1", "float64", "Cracks, through or part of the way."),
    Column("gap_count", "1", "float64", "Gaps."),
    Column("fragment_count", "1", "float64", "Loose pieces of metal."),
    Column("missing_count", "1", "float64", "Struts before that are gone; empty without a picture before."),
)

_WHERE_LEAST = (
    Column("least_section_strut", "1", "float64", "Strut with the least section."),
    Column("least_section_row_px", "px", "float64", "Row of the least section."),
    Column("least_section_col_px", "px", "float64", "Column of the least section."),
)

_ORIGINAL = Column(
    "original_outline",
    "",
    "str",
    "Where the original outline comes from: before, twin, stated area, drawn size, outer edge of product; "
    "several are separated by commas.",
)

_SPECIMEN = (
    Column("specimen", "", "str", "Specimen id."),
    Column("group", "", "str", "Group of the specimen."),
    *HISTORY,
    Column("condition", "", "str", "Surface condition of the images pooled."),
    Column("n_images", "1", "int64", "Images of this kind of the specimen in the study."),
    Column("n_pooled", "1", "int64", "Those that its figures rest on."),
    Column("n_worst_seen", "1", "int64", "Worst-seen ones: shown, but in no mean."),
    Column("n_failed", "1", "int64", "Those that failed or have not been measured yet."),
)

PART_TABLES: dict[str, tuple[Column, ...]] = {
    "study_strut_images": (
        *WHOSE,
        *HISTORY,
        *TAKEN,
        _STATUS,
        *_STRUT_COUNTS,
        *with_ci95("mean_width_um", "µm", "Mean width over all struts of the image, by counted length."),
        *with_ci95("min_width_um", "µm", "Least width of all struts of the image."),
        *with_ci95("loss_fraction", "1", "Loss of width against what was drawn or there before."),
        Column(
            "loss_against", "", "str", "What loss compares with: before, drawn; empty where with nothing."
        ),
        *_WITH_LOST,
        _SECTION_BASIS,
        Column("thickness_um", "µm", "float64", "Measured thickness, where there is one."),
        *_LEAST_LEFT,
        *with_ci95("least_section_fraction", "1", "Least remaining section; see section_basis."),
        *with_ci95("least_section_equal_loss_fraction", "1", "The same with equal loss on all sides."),
        *_WHERE_LEAST,
        *with_ci95("mean_width_px", "px", "As mean_width_um, in px."),
        *with_ci95("min_width_px", "px", "As min_width_um, in px."),
        *_END,
    ),
    "study_struts": (*WHOSE, *STRUT_TABLES["struts"]),
    "study_stations": (*WHOSE, *STRUT_TABLES["stations"]),
    "study_strut_faults": (*WHOSE, *STRUT_TABLES["strut_faults"]),
    "study_strut_specimens": (
        *_SPECIMEN,
        Column("drawn_strut_width_um", "µm", "float64", "Width as drawn, stated for the specimen."),
        Column("drawn_thickness_um", "µm", "float64", "Thickness as drawn, stated for the specimen."),
        *_STRUT_COUNTS,
        Column("total_length_um", "µm", "float64", "Length of struts measured."),
        *with_ci95(
            "mean_strut_width_um",
            "µm",
            "Mean width over images by counted length; the interval holds images, edges and scale.",
        ),
        Column(
            "mean_strut_width_interval", "", "str", "What the interval rests on: one image, between images."
        ),
        *with_ci95("min_strut_width_um", "µm", "Least width seen on the specimen, with the interval there."),
        Column("min_width_image", "", "str", "Image that shows it."),
        *with_ci95("strut_loss_fraction", "1", "Loss of mean width against what was drawn or there before."),
        *with_ci95(
            "width_penetration_um",
            "µm",
            "Half of the width lost on average: penetration on one side, if both lost alike.",
        ),
        *_WITH_LOST,
        *_LEAST_LEFT,
        Column("least_section_image", "", "str", "Image that shows the least section left."),
        Column("least_section_strut", "1", "float64", "Strut with the least section there."),
        _SECTION_BASIS,
        *with_ci95("least_section_fraction", "1", "Least remaining section; see section_basis."),
        *with_ci95("least_section_equal_loss_fraction", "1", "The same with equal loss on all sides."),
        Column("worst_seen_min_strut_width_um", "µm", "float64", "Least width on worst-seen images."),
        Column("warnings", "", "str", "What limits these figures, separated by ' | '."),
    ),
    "study_section_images": (
        *WHOSE,
        *HISTORY,
        *TAKEN,
        _STATUS,
        Column("profile_count", "1", "float64", "Sections in the image."),
        Column(
            "measured_profile_count", "1", "float64", "Those that lie whole in it and have an original area."
        ),
        *with_ci95("metal_area_um2", "µm²", "Remaining metal of all sections of the image."),
        Column("original_area_um2", "µm²", "float64", "Area inside their original outlines."),
        _ORIGINAL,
        *with_ci95("remaining_fraction", "1", "Remaining metal over original area."),
        *with_ci95("mean_penetration_um", "µm", "Mean penetration by the exact form of the shape."),
        *with_ci95("max_penetration_um", "µm", "Greatest distance of lost metal from the original outline."),
        Column("local_pitting_factor", "1", "float64", "Greatest over mean penetration."),
        Column("least_ligament_um", "µm", "float64", "Shortest cut through the metal."),
        Column("mean_thickness_um", "µm", "float64", "Mean thickness of sections that cross the image."),
        Column("remaining_thickness_fraction", "1", "float64", "Their thickness over the original one."),
        Column("cut_angle_deg", "deg", "float64", "Angle of an oblique cut, as stated."),
        Column("grey_order_found", "", "str", "Classes from light to dark, as found or stated."),
        *_END,
    ),
    "study_profiles": (*WHOSE, *SECTION_TABLES["profiles"]),
    "study_section_outlines": (*WHOSE, *SECTION_TABLES["outline"]),
    "study_section_thickness": (*WHOSE, *SECTION_TABLES["thickness"]),
    "study_section_specimens": (
        *_SPECIMEN,
        Column("n_profiles", "1", "int64", "Sections that the figures rest on."),
        _ORIGINAL,
        *with_ci95(
            "remaining_section_fraction",
            "1",
            "Summed metal over summed original area; the interval holds what differs between sections.",
        ),
        Column(
            "remaining_section_interval",
            "",
            "str",
            "What the interval rests on: one section, between sections.",
        ),
        Column("metal_area_um2", "µm²", "float64", "Mean metal area of a section."),
        Column("original_area_um2", "µm²", "float64", "Mean original area of a section."),
        *with_ci95(
            "section_penetration_um", "µm", "Mean penetration over sections, weighted by original perimeter."
        ),
        *with_ci95(
            "max_section_penetration_um",
            "µm",
            "Greatest penetration on any section of the specimen, with the interval there.",
        ),
        Column("max_penetration_image", "", "str", "Image that shows it."),
        Column("local_pitting_factor", "1", "float64", "Greatest over mean penetration."),
        Column("least_ligament_um", "µm", "float64", "Shortest cut through the metal of any section."),
        Column("worst_seen_remaining_section_fraction", "1", "float64", "Least among worst-seen images."),
        Column("warnings", "", "str", "What limits these figures, separated by ' | '."),
    ),
}
"""Tables of the report on struts and sections. A specimen stands in them where it has such images."""

"""Columns of the report on what people corrected in a study."""

from __future__ import annotations

from surfscan.columns.base import Column, with_ci95
from surfscan.columns.study import WHOSE

_PROCEDURE = Column("procedure", "", "str", "What was corrected: pits, degraded, struts, section or scale.")

BY_HAND_TABLES: dict[str, tuple[Column, ...]] = {
    "study_corrections": (
        *WHOSE,
        _PROCEDURE,
        Column("reviewer", "", "str", "Who saved the correction."),
        Column("saved_at", "", "str", "When, UTC."),
        Column("number", "1", "int64", "Counts the saves on this image and procedure."),
        Column("reason", "", "str", "Why, in the reviewer's words."),
        Column("in_force", "", "bool", "Whether this save is the one that counts for the image as it is."),
        Column("in_figures", "", "bool", "Whether the figures of this report are measured with it."),
        Column("rejected_count", "1", "float64", "Automatic objects rejected."),
        Column("added_count", "1", "float64", "Objects drawn that were not found."),
        Column("split_count", "1", "float64", "Automatic objects split in several."),
        Column("merged_count", "1", "float64", "Objects made by merging several."),
        Column("outline_moved_count", "1", "float64", "Objects whose outline was moved."),
        Column("unsure_count", "1", "float64", "Objects marked as not sure; they count as accepted."),
        Column("move_count", "1", "float64", "Edges of struts dragged."),
        Column("rejected_area_px", "px", "float64", "Area of rejected objects, or of a class taken away."),
        Column("added_area_px", "px", "float64", "Area of objects drawn, or of a class painted in."),
        Column(
            "moved_area_px",
            "px",
            "float64",
            "Area between outlines before and after, or gone from one other class to another.",
        ),
        Column("automatic_area_px", "px", "float64", "Area of what was found."),
        Column("corrected_area_px", "px", "float64", "Area of what stands after the correction."),
        Column("touched_fraction", "1", "float64", "Share of the objects that a person changed or rejected."),
        Column(
            "area_by_hand_fraction",
            "1",
            "float64",
            "Share of the corrected area in objects drawn or changed, or of a class painted in.",
        ),
        Column("length_by_hand_fraction", "1", "float64", "Share of the strut length with a moved edge."),
        Column("pixel_size_x_um", "µm", "float64", "Of a scale: pixel size along a row as confirmed."),
        Column("pixel_size_y_um", "µm", "float64", "Of a scale: pixel size along a column as confirmed."),
        Column(
            "pixel_size_relative_uncertainty",
            "1",
            "float64",
            "Of a scale: relative standard uncertainty (k = 1).",
        ),
        Column("version", "", "str", "Version of surfscan that saved it."),
        Column("file", "", "str", "Its record in the folder corrections."),
        Column("sha256", "", "str", "SHA-256 of what the record says, through which the mask is fixed too."),
    ),
    "study_by_hand": (
        Column("level", "", "str", "specimen or group: whose figure it is."),
        Column("name", "", "str", "Specimen id or group name."),
        Column("figure", "", "str", "Column of study_specimens or study_groups, and of their like."),
        Column("unit", "", "str", "Unit of the figure."),
        Column("value", "", "float64", "The figure as reported, with corrections."),
        Column("automatic_value", "", "float64", "The same from automatic results alone."),
        Column("change_fraction", "1", "float64", "value less automatic_value, over automatic_value."),
        Column(
            "by_hand_fraction",
            "1",
            "float64",
            "Share of the figure that came by hand. Counts and sizes of pits: objects changed over all, by "
            "number. Areas, volumes and penetration: area drawn or taken away over all area. Widths: length "
            "with a moved edge over all length. Greatest and least values: 1 where the correction changed "
            "them, else 0. Of a group: mean over its specimens.",
        ),
        Column("n_images", "1", "int64", "Images that the figure rests on."),
        Column("n_corrected", "1", "int64", "Those of them that a person corrected."),
    ),
    "study_reviewers": (
        *WHOSE,
        _PROCEDURE,
        Column("first_reviewer", "", "str", "Reviewer who saved first on these images."),
        Column("second_reviewer", "", "str", "The other one."),
        Column("n_images", "1", "int64", "Images compared; 1 for a row of one image."),
        Column("dice", "1", "float64", "Dice of area: twice the common area over the sum of both."),
        Column("first_count", "1", "float64", "Objects of the first reviewer."),
        Column("second_count", "1", "float64", "Objects of the second reviewer."),
        Column(
            "matched_count",
            "1",
            "float64",
            "Objects that both have: common pixels above half of those of both together.",
        ),
        Column("matched_fraction", "1", "float64", "Twice those over the objects of both."),
        *with_ci95("kappa", "1", "Cohen's kappa on accepting or rejecting the automatic objects."),
        Column("judged_count", "1", "float64", "Automatic objects that kappa rests on."),
        Column("figure", "", "str", "Figure whose differences over images follow; empty for one image."),
        Column("bias", "", "float64", "Mean of first less second reviewer's figure over images."),
        Column("agreement_low", "", "float64", "Lower 95 % limit of agreement (Bland and Altman)."),
        Column("agreement_high", "", "float64", "Upper 95 % limit of agreement."),
    ),
}

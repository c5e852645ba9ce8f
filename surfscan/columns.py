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
    Column(
        "length_um", "µm", "float64", "Major axis of the ellipse with the same second moments of area."
    ),
    Column("width_um", "µm", "float64", "Minor axis of the ellipse with the same second moments of area."),
    Column("equivalent_diameter_px", "px", "float64", "As equivalent_diameter_um, where no scale is known."),
    Column("perimeter_px", "px", "float64", "As perimeter_um, where no scale is known."),
    Column("length_px", "px", "float64", "As length_um, where no scale is known."),
    Column("width_px", "px", "float64", "As width_um, where no scale is known."),
    Column(
        "orientation_deg",
        "deg",
        "float64",
        "Direction of the major axis, -90 (excluded) to 90, counter-clockwise from the image row direction.",
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
            "size would lie wholly in the frame; 0 where the pit touches the frame.",
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

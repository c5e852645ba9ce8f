"""The column registry: name, unit, dtype and definition of every column surfscan writes.

It drives result tables, empty results and the data dictionary of the report.
"""

from surfscan.columns.base import Column, Table, with_ci95
from surfscan.columns.objects import OBJECT_TABLES
from surfscan.columns.registry import TABLES, columns, conform, empty_table
from surfscan.columns.study import (
    BESIDE_FIGURES,
    FIGURES_OF,
    GROUP_FIGURES,
    LOWER_BOUND_FIGURES,
    STUDY_TABLES,
    SUBTRACTED_FIGURES,
)
from surfscan.columns.texture import TEXTURE_PARAMETERS

__all__ = [
    "BESIDE_FIGURES",
    "FIGURES_OF",
    "GROUP_FIGURES",
    "LOWER_BOUND_FIGURES",
    "OBJECT_TABLES",
    "STUDY_TABLES",
    "SUBTRACTED_FIGURES",
    "TABLES",
    "TEXTURE_PARAMETERS",
    "Column",
    "Table",
    "columns",
    "conform",
    "empty_table",
    "with_ci95",
]

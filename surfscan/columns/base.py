"""What a column is, and how a figure with an interval becomes three of them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

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
    only_on : {"", "micrograph", "heightmap"}
        Kind of image that the column can be measured on; "" for both. On the other kind it is empty.
    """

    name: str
    unit: str
    dtype: str
    definition: str
    only_on: Literal["", "micrograph", "heightmap"] = ""


def with_ci95(name: str, unit: str, definition: str) -> tuple[Column, ...]:
    """A figure and the two columns of its 95 % interval."""
    return (
        Column(name, unit, "float64", definition),
        Column(f"{name}_ci95_low", unit, "float64", f"Lower 95 % limit of {name}."),
        Column(f"{name}_ci95_high", unit, "float64", f"Upper 95 % limit of {name}."),
    )

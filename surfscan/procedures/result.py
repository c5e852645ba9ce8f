"""What a procedure returns: labels, tables, summary, warnings and all that made them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from surfscan._version import __version__
from surfscan.columns import Table
from surfscan.images import Calibration, Source

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Result:
    """One procedure run on one image.

    Attributes
    ----------
    procedure : str
        "pits" or "degraded".
    source : Source
    calibration : Calibration or None
    settings : mapping
        Every setting as used, ready for JSON.
    summary : mapping
        Figures of the whole field; NAME_ci95 is [low, high]; None where not defensible.
    tables : mapping of str to Table
        Named tables of `surfscan.columns`.
    masks : mapping of str to ndarray of shape (M, N)
        Label images (int32) and masks (bool) by name; "region" is the specimen region measured.
    warnings : tuple of str
    version : str
        Version of surfscan that made it.
    """

    procedure: str
    source: Source
    calibration: Calibration | None
    settings: Mapping[str, Any]
    summary: Mapping[str, Any]
    tables: Mapping[str, Table] = field(default_factory=dict)
    masks: Mapping[str, np.ndarray] = field(default_factory=dict)
    warnings: tuple[str, ...] = ()
    version: str = __version__

    def to_frame(self, table: str) -> pd.DataFrame:
        """A named table as a DataFrame (loads pandas)."""
        import pandas as pd

        return pd.DataFrame(self.tables[table])

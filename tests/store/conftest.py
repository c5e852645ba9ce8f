"""A result made by hand."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from surfscan.columns import empty_table
from surfscan.images import Calibration, Source
from surfscan.procedures.result import Result


@pytest.fixture
def make_result() -> Callable[..., Result]:
    """Results that differ by `pits`, the number of pixels marked."""

    def make(pits: int = 3, procedure: str = "pits") -> Result:
        labels = np.zeros((20, 30), np.int32)
        labels.flat[:pits] = np.arange(1, pits + 1)
        table = {
            name: np.zeros(pits, column.dtype) if column.dtype.kind != "U" else np.array(["größe, ok"] * pits)
            for name, column in empty_table("pits").items()
        }
        table["label"] = np.arange(1, pits + 1, dtype=np.int32)
        table["row_um"] = np.full(pits, np.nan)
        return Result(
            procedure=procedure,
            source=Source("images/a.png", "0" * 64, None, "PNG"),
            calibration=Calibration(0.5, 0.25, 0.01, "stated"),
            settings={"min_contrast": 0.08, "min_diameter_um": None},
            summary={"pit_count": np.int64(pits), "pit_density_per_mm2_ci95": np.array([0.5, 1.5])},
            tables={"pits": table, "for_review": empty_table("for_review")},
            masks={"pits": labels, "region": np.ones((20, 30), bool)},
            warnings=("a warning",),
        )

    return make

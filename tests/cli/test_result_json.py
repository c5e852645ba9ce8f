"""JSON of a result: strict, rounded, in registry order, quick."""

import json
import time

import numpy as np
import pytest

from surfscan.cli.result_json import result_json, row_columns
from surfscan.columns import Column, columns, conform, empty_table
from surfscan.images import Calibration, Source
from surfscan.procedures.result import Result

SCALE = Calibration(0.5, 0.5, 0.01, "stated")


def _values(column: Column, n: int) -> np.ndarray:
    if column.dtype == "str":
        return np.array(["", 'said "so", µm'] * n)[:n]
    if column.dtype == "bool":
        return np.arange(n) % 2 == 0
    return np.linspace(1, 1234.56789, n).astype(column.dtype)


def _result(n: int, calibration: Calibration | None, **changed: np.ndarray) -> Result:
    table = {c.name: _values(c, n) for c in columns("pits")} | changed
    return Result(
        procedure="pits",
        source=Source("plate 7.png", "ab" * 32, None, "PNG"),
        calibration=calibration,
        settings={"min_contrast": 0.08, "min_diameter_um": None},
        summary={
            "pit_count": np.int64(n),
            "pit_density_per_mm2": np.float64(12.3456789),
            "pit_density_per_mm2_ci95": [1.0, np.inf],
            "mean_area_um2": float("nan"),
        },
        tables={"pits": conform("pits", table), "for_review": empty_table("for_review")},
        warnings=("scale from “µm” tag",),
    )


def _refuse(constant: str) -> None:
    raise AssertionError(f"{constant} is not JSON")


def test_keys_and_strictness():
    """The text parses without any of the constants that JSON does not have, with the keys of the contract."""
    text = result_json(_result(3, SCALE, nearest_pit_um=np.array([1.0, np.nan, np.inf])))
    got = json.loads(text, parse_constant=_refuse)
    assert list(got) == [
        "procedure",
        "source",
        "calibration",
        "settings",
        "warnings",
        "summary",
        "pits",
        "for_review",
        "version",
    ]
    assert got["summary"]["mean_area_um2"] is None
    assert got["summary"]["pit_density_per_mm2_ci95"] == [1.0, None]
    assert [row["nearest_pit_um"] for row in got["pits"]] == [1.0, None, None]
    assert got["for_review"] == []
    assert got["warnings"] == ["scale from “µm” tag"]
    assert got["calibration"]["origin"] == "stated"


def test_rows_follow_registry_order_and_types():
    """Row keys stand in registry order; whole numbers, flags and text keep their JSON types."""
    rows = json.loads(result_json(_result(2, SCALE)))["pits"]
    assert list(rows[0]) == row_columns("pits", scaled=True)
    assert type(rows[0]["label"]) is int
    assert rows[0]["touches_image_border"] is True
    assert rows[1]["near_limit"] == 'said "so", µm'


def test_px_twins_only_without_scale():
    """With a scale only position and area stay in px; without one every px twin is there and µm is null."""
    with_scale = json.loads(result_json(_result(1, SCALE)))["pits"][0]
    assert [k for k in with_scale if k.endswith("_px")] == [
        "row_px", "col_px", "area_px", "deepest_row_px", "deepest_col_px",
    ]  # fmt: skip
    without = json.loads(result_json(_result(1, None, area_um2=np.array([np.nan]))))
    assert without["calibration"] is None
    assert without["pits"][0]["area_um2"] is None
    assert {"equivalent_diameter_px", "nearest_pit_px"} <= set(without["pits"][0])


def test_seven_significant_digits():
    """Floats are rounded to seven significant digits, in the summary and in rows."""
    got = json.loads(result_json(_result(1, SCALE, area_um2=np.array([12345.678912]))))
    assert got["summary"]["pit_density_per_mm2"] == 12.34568
    assert got["pits"][0]["area_um2"] == 12345.68


@pytest.mark.parametrize("n", [0, 1])
def test_few_rows(n):
    """No pits and one pit both give a list."""
    assert len(json.loads(result_json(_result(n, SCALE)))["pits"]) == n


def test_many_rows_are_quick():
    """Linear in rows: 12 000 rows take far less than json would need for as many dictionaries."""
    result = _result(12_000, None)
    best = min(_timed(result) for _ in range(3))
    assert best < 0.5  # about 0.06 s on an idle core; ten thousand pits must not be felt


def _timed(result: Result) -> float:
    start = time.process_time()
    result_json(result)
    return time.process_time() - start

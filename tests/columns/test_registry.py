"""The column registry: names carry their units, empty and full tables come out alike."""

import numpy as np
import pytest

from surfscan.columns import TABLES, Column, columns, conform, empty_table

SUFFIX_UNIT = {
    "_um": "µm",
    "_um2": "µm²",
    "_um3": "µm³",
    "_mm2": "mm²",
    "_px": "px",
    "_deg": "deg",
    "_h": "h",
    "_fraction": "1",
    "_percent": "%",
    "_per_mm2": "mm⁻²",
    "_per_mpx": "per million px",
    "_mm_per_y": "mm/y",
    "_g_per_m2_d": "g/(m² d)",
    "_V": "V",
    "_uA_per_cm2": "µA/cm²",
    "_mV_per_decade": "mV/decade",
    "_ohm_cm2": "ohm cm²",
    "_decades": "decades",
    "_mL": "mL",
    "_kPa_min_per_mL": "kPa min/mL",
    "_mmol": "mmol",
    "_mg": "mg",
    "_s": "s",
    "_cm2": "cm²",
    "_degC": "°C",
    "_V_per_s": "V/s",
    "_ohm": "ohm",
    "_uA_V_per_cm2": "µA V/cm²",
}
INTERVAL_ENDS = ("_ci95_low", "_ci95_high")


def bare_name(name: str) -> str:
    """Name without the end of an interval."""
    for end in INTERVAL_ENDS:
        name = name.removesuffix(end)
    return name


@pytest.mark.parametrize("table", TABLES)
def test_names_are_unique_and_defined(table):
    names = [c.name for c in columns(table)]
    assert len(names) == len(set(names))
    assert all(c.definition.endswith(".") for c in columns(table))


def unit_of_name(column: Column) -> str | None:
    """Unit that the longest fitting suffix stands for; None without a suffix."""
    fitting = [s for s in SUFFIX_UNIT if bare_name(column.name).endswith(s)]
    return SUFFIX_UNIT[max(fitting, key=len)] if fitting else None


@pytest.mark.parametrize("table", TABLES)
def test_unit_and_suffix_agree(table):
    measured = [c for c in columns(table) if c.dtype == "float64"]
    wrong = {c.name: c.unit for c in measured if unit_of_name(c) not in (c.unit, None)}
    silent = {c.name: c.unit for c in columns(table) if c.unit not in ("", "1") and unit_of_name(c) is None}
    assert not wrong
    assert not silent


@pytest.mark.parametrize("table", TABLES)
def test_interval_columns_come_in_pairs(table):
    names = {c.name for c in columns(table)}
    lows = {n.removesuffix("_low") for n in names if n.endswith("_ci95_low")}
    highs = {n.removesuffix("_high") for n in names if n.endswith("_ci95_high")}
    assert lows == highs


@pytest.mark.parametrize("table", TABLES)
def test_empty_table_has_the_columns_and_types_of_a_full_one(table):
    empty = empty_table(table)
    full = conform(table, {c.name: np.zeros(3) for c in columns(table)})
    assert list(empty) == list(full) == [c.name for c in columns(table)]
    assert all(len(v) == 0 for v in empty.values())
    assert [v.dtype.kind for v in empty.values()] == [v.dtype.kind for v in full.values()]


def test_conform_orders_and_types():
    given = {c.name: np.ones(2) for c in reversed(columns("pits"))}
    table = conform("pits", given)
    assert list(table) == [c.name for c in columns("pits")]
    assert table["label"].dtype == np.int32
    assert table["touches_image_border"].dtype == bool


def test_conform_refuses_missing_unregistered_and_ragged_columns():
    good = {c.name: np.ones(2) for c in columns("pits")}
    missing = {k: v for k, v in good.items() if k != "label"}
    with pytest.raises(KeyError, match=r"missing \['label'\]"):
        conform("pits", missing)
    with pytest.raises(KeyError, match=r"unregistered \['girth_um'\]"):
        conform("pits", {**good, "girth_um": np.ones(2)})
    with pytest.raises(ValueError, match="different lengths"):
        conform("pits", {**good, "label": np.ones(3)})


def test_unknown_table_is_a_key_error():
    with pytest.raises(KeyError):
        columns("craters")


def test_columns_of_the_other_kind_of_image_come_out_empty():
    given = {c.name: np.zeros(2, c.dtype) for c in columns("pits") if c.only_on != "heightmap"}
    table = conform("pits", given)
    assert np.isnan(table["depth_um"]).all()
    assert table["depth_is_lower_bound"].tolist() == [False, False]
    assert table["cross_section"].tolist() == ["", ""]

"""Tables as Parquet."""

import io

import numpy as np
from pyarrow import parquet

from surfscan.columns import TABLES, empty_table
from surfscan.report.parquet import parquet_bytes


def read(content):
    return parquet.read_table(io.BytesIO(content))


def filled(name, rows):
    table = empty_table(name)
    return {c: np.resize(np.array([0.1, np.nan, -2.5]), rows) if v.dtype.kind == "f" else
            np.resize(np.array(["a,b", "µm", ""]), rows) if v.dtype.kind == "U" else
            np.arange(rows).astype(v.dtype) for c, v in table.items()}  # fmt: skip


def test_values_types_units_and_definitions_read_back():
    table = filled("study_groups", 3)
    found = read(parquet_bytes("study_groups", table))
    assert found.column_names == [c.name for c in TABLES["study_groups"]]
    for column in TABLES["study_groups"]:
        field = found.schema.field(column.name)
        assert field.metadata == {b"unit": column.unit.encode(), b"definition": column.definition.encode()}
        values = found.column(column.name).to_pylist()
        if table[column.name].dtype.kind == "f":
            assert values == [0.1, None, -2.5]
        else:
            assert values == table[column.name].tolist()
    assert found.schema.metadata[b"table"] == b"groups"


def test_table_without_rows_keeps_its_types():
    found = read(parquet_bytes("study_pits", empty_table("study_pits")))
    kinds = {c.name: np.dtype(c.dtype).kind for c in TABLES["study_pits"]}
    named = {"f": "double", "U": "string", "b": "bool", "i": "int"}
    types = {f.name: str(f.type).rstrip("0123456789") for f in found.schema}
    assert types == {name: named[kind] for name, kind in kinds.items()}


def test_same_table_same_bytes():
    assert parquet_bytes("study_groups", filled("study_groups", 50)) == parquet_bytes(
        "study_groups", filled("study_groups", 50)
    )

"""Tables as Parquet, each column with its unit and definition."""

from __future__ import annotations

import io

import numpy as np

from surfscan._version import __version__
from surfscan.columns import TABLES, Table


def parquet_bytes(name: str, table: Table) -> bytes:
    """A table as Parquet, the same bytes for the same table.

    Parameters
    ----------
    name : str
        Its name in the column registry.
    table : Table

    Returns
    -------
    bytes
        Numbers in full; null where there is no value. Metadata of every field: `unit` and `definition`, as in
        the data dictionary; of the file: `table`, and the `surfscan` that wrote it.
    """
    import pyarrow
    from pyarrow import parquet

    fields, arrays = [], []
    for column in TABLES[name]:
        values = table[column.name]
        missing = np.isnan(values) if values.dtype.kind == "f" else None
        array = pyarrow.array(values.tolist() if values.dtype.kind == "U" else values, mask=missing)
        told = {"unit": column.unit, "definition": column.definition}
        kind = pyarrow.string() if values.dtype.kind == "U" else array.type
        fields.append(pyarrow.field(column.name, kind, metadata=told))
        arrays.append(array.cast(kind))
    schema = pyarrow.schema(fields, metadata={"table": name.removeprefix("study_"), "surfscan": __version__})
    out = io.BytesIO()
    parquet.write_table(
        pyarrow.Table.from_arrays(arrays, schema=schema), out, compression="zstd", use_dictionary=True
    )
    return out.getvalue()

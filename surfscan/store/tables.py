"""Tables as bytes: a NumPy archive without pickles and without timestamps."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator, Mapping
from functools import lru_cache

import numpy as np

from surfscan.columns import Table


def encode_table(table: Mapping[str, np.ndarray]) -> bytes:
    """Bytes of a table: the same table gives the same bytes.

    Parameters
    ----------
    table : mapping of str to ndarray of shape (n,)
        Columns of numbers, flags or text; no objects.

    Returns
    -------
    bytes
        A deflated `.npz` archive, one member per column in the order of the table, that
        ``numpy.load(io.BytesIO(content), allow_pickle=False)`` reads anywhere.

    Raises
    ------
    ValueError
        If a column holds Python objects.
    """
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for name, column in table.items():
            member = io.BytesIO()
            np.save(member, np.asarray(column), allow_pickle=False)
            info = zipfile.ZipInfo(f"{name}.npy")  # dated 1980 whatever the clock says
            info.create_system = 3  # the same byte on every operating system
            info.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(info, member.getvalue())
    return buffer.getvalue()


def decode_table(content: bytes) -> Table:
    """The table that `encode_table` wrote.

    As ``numpy.load`` does, but the head of a column, alike in thousands of tables, is understood only once.

    Raises
    ------
    ValueError
        If a column is damaged or no column of numbers, flags or text.
    """
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        return {
            info.filename.removesuffix(".npy"): _column(archive.read(info)) for info in archive.infolist()
        }


def _column(member: bytes) -> np.ndarray:
    start = 10 + int.from_bytes(member[8:10], "little")  # the length of the head as format 1.0 has it
    dtype, shape = _head(member[:start])
    return np.frombuffer(member, dtype, offset=start).reshape(shape).copy()


@lru_cache(maxsize=4096)
def _head(head: bytes) -> tuple[np.dtype, tuple[int, ...]]:
    """What the head of a column says: type and shape."""
    stream = io.BytesIO(head)
    version = np.lib.format.read_magic(stream)
    if version != (1, 0):
        raise ValueError(f"a stored column is of format {version}, not 1.0")
    shape, _, dtype = np.lib.format.read_array_header_1_0(stream)
    if dtype.hasobject:
        raise ValueError("a stored column holds objects")
    return dtype, shape


class StoredTables(Mapping[str, Table]):
    """Tables of one result, unpacked one by one when asked for.

    A study of a thousand images is thus listed without unpacking all its tables.

    Parameters
    ----------
    contents : mapping of str to bytes
        Encoded tables by name.
    """

    def __init__(self, contents: Mapping[str, bytes]) -> None:
        self._contents = dict(contents)

    def __getitem__(self, name: str) -> Table:
        return decode_table(self._contents[name])

    def __iter__(self) -> Iterator[str]:
        return iter(self._contents)

    def __len__(self) -> int:
        return len(self._contents)

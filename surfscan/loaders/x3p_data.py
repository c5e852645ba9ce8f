"""Points of an X3P file: stored numbers into coordinates, from a binary member or a data list, with the mask.

Layout, as the openly published schema of the format and its sample files have it:

- Only absolute axes are stored with a point, in the order x, y, z, each in its own number type,
  little-endian. Coordinate = stored number times Increment plus Offset.
- Points of a matrix: x fastest, then y, then the layer. Nothing in a file of incremental axes tells another
  order from this one. Where x or y are absolute they do tell, and points that were written y fastest are
  turned round, with a warning.
- Mask: one bit a point, 1 = measured, least significant bit first. Where that order declares real values
  unmeasured, and the other one only blanks (NaN or 0, or the lowest number of a whole type), the other one
  is taken, with a warning. Bits after the last point mean nothing: writers fill them either way.
- Without a mask, NaN is unmeasured; whole numbers are all measured. In a data list, empty is unmeasured.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from surfscan.errors import InputError
from surfscan.loaders.archive import Archive
from surfscan.loaders.x3p_xml import Axis, X3pRecord

_REMEDY = "Export the file again"
_SMALLEST_RELIEF_M, _LARGEST_RELIEF_M = 1e-11, 1e-2


@dataclass(frozen=True)
class Points:
    """Coordinates of the points of one layer, or of a list, in the order of the file.

    Attributes
    ----------
    x, y : ndarray of shape (n,) or None
        Metres from the axis's offset, float64; None for an incremental axis.
    z : ndarray of shape (n,)
        Metres; not-a-number where nothing was measured.
    warnings : tuple of str
    """

    x: np.ndarray | None
    y: np.ndarray | None
    z: np.ndarray
    warnings: tuple[str, ...]


def read_points(
    archive: Archive, record: X3pRecord, links: tuple[str, str], total: int, start: int, stop: int
) -> Points:
    """Read points `start` to `stop` of `total`.

    The MD5 of points and mask is verified over the whole of each: one that disagrees is refused, since it
    says that the heights are not those that were measured, and nothing else in the file could show it. One
    that is not there at all is warned about.

    Parameters
    ----------
    archive : Archive
    record : X3pRecord
    links : (str, str)
        Names in the archive of the file of points (unless they are inline) and of the mask; empty for none.
    total, start, stop : int

    Raises
    ------
    InputError
        If the amount of data is not what the record claims, or a checksum disagrees.
    """
    path = archive.path
    axes = {name: axis for name, axis in _named(record) if not axis.incremental}
    warnings: list[str] = []
    if record.inline is not None:
        stored = _inline(path, record.inline, len(axes), total)[start:stop]
        columns = {name: stored[:, k] for k, name in enumerate(axes)}
    else:
        layout = np.dtype([(name, axis.dtype) for name, axis in axes.items()])
        table = _member(archive, links[0], record.points_md5, layout.itemsize, total, (start, stop), warnings)
        rows = table.view(layout)
        columns = {name: rows[name] for name in axes}
    z = _physical(columns["z"], record.z, from_text=record.inline is not None)
    z = _without_increment(columns["z"], z, record.z, warnings)
    if links[1]:
        packed = _member(archive, links[1], record.mask_md5, 1, -(-total // 8), None, warnings)
        z = _masked(path, packed, columns["z"], z, total, start, warnings)
    x, y = (_lateral(columns[name], axes[name]) if name in axes else None for name in "xy")
    return Points(x, y, z, tuple(warnings))


def _named(record: X3pRecord) -> tuple[tuple[str, Axis], ...]:
    return (("x", record.x), ("y", record.y), ("z", record.z))


def _inline(path: Path, data: tuple[str, ...], axes: int, total: int) -> np.ndarray:
    """Stored numbers of a data list, shape (points, axes); not-a-number where a point is empty."""
    if len(data) != total:
        raise InputError(path, f"the data list holds {len(data)} points instead of {total}", _REMEDY)
    missing = (np.nan,) * axes
    rows = []
    for number, text in enumerate(data):
        fields = text.split(";") if text and not text.isspace() else []
        try:
            row = tuple(map(float, fields)) if fields else missing
        except ValueError:
            row = ()
        if len(row) != axes:
            raise InputError(
                path,
                f"point {number} of the data list is {text.strip()[:80]!r}; needed are {axes} numbers parted "
                "by semicolons, or nothing",
                _REMEDY,
            )
        rows.append(row)
    return np.array(rows, np.float64).reshape(total, axes)


def _member(
    archive: Archive,
    name: str,
    md5: str,
    item: int,
    count: int,
    part: tuple[int, int] | None,
    warnings: list[str],
) -> np.ndarray:
    """Bytes of items `part` (first, last + 1) of a member of `count` items; of all where part is None."""
    size, needed = archive.size(name), count * item
    if size != needed:
        raise InputError(
            archive.path,
            f"{name} holds {size} bytes; the record describes {count} items of {item} bytes, {needed} bytes",
            _REMEDY,
        )
    first, last = (0, needed) if part is None else (part[0] * item, part[1] * item)
    wanted = np.empty(last - first, np.uint8)
    digest = hashlib.md5(usedforsecurity=False)
    at = 0
    for piece in archive.chunks(name):
        digest.update(piece)
        begin, end = max(first, at), min(last, at + len(piece))
        if begin < end:
            wanted[begin - first : end - first] = np.frombuffer(piece, np.uint8)[begin - at : end - at]
        at += len(piece)
    if not md5:
        warnings.append(f"There is no checksum of {name} in the record; it was not verified.")
    elif digest.hexdigest() != md5:
        raise InputError(
            archive.path,
            f"the MD5 checksum of {name} is {digest.hexdigest()}, the record says {md5}: these are not the "
            "data that were recorded",
            "Copy or export the file again",
        )
    return wanted


def _physical(stored: np.ndarray, axis: Axis, *, from_text: bool) -> np.ndarray:
    """Stored numbers times increment plus offset, float64 arithmetic.

    Floating-point numbers that need neither come as they are. The result is float32 where the file holds
    float32 or int16 and no offset would cost digits.
    """
    increment = 1.0 if axis.increment is None else axis.increment
    if axis.dtype.kind == "f" and increment == 1 and axis.offset == 0:
        return stored.astype(np.float64 if from_text else axis.dtype.newbyteorder("="), copy=False)
    with np.errstate(over="ignore", invalid="ignore"):
        values = stored.astype(np.float64)
        values *= increment
        values += axis.offset
        small = not from_text and axis.dtype.char in "hf" and axis.offset == 0
        return values.astype(np.float32) if small else values


def _lateral(stored: np.ndarray, axis: Axis) -> np.ndarray:
    """Coordinates without the offset, which would cost the pitch digits and says nothing about it."""
    with np.errstate(over="ignore", invalid="ignore"):
        return stored.astype(np.float64) * (1.0 if axis.increment is None else axis.increment)


def _without_increment(stored: np.ndarray, z: np.ndarray, axis: Axis, warnings: list[str]) -> np.ndarray:
    """Heights as stored where a writer noted an increment that floating-point heights do not want.

    Only whole numbers need an increment. Where it would make the relief less than 0.01 nm, and without it
    there is a relief up to 10 mm, the stored numbers are metres already.
    """
    if axis.dtype.kind != "f" or axis.increment in (None, 1.0):
        return z
    if _relief(z) >= _SMALLEST_RELIEF_M or not _SMALLEST_RELIEF_M <= _relief(stored) <= _LARGEST_RELIEF_M:
        return z
    warnings.append(
        f"The height increment {axis.increment:g} would make heights vary by {_relief(z):.3g} m, less than "
        "an atom: the stored floating-point numbers are taken as metres by themselves."
    )
    return stored.astype(axis.dtype.newbyteorder("="))


def _relief(values: np.ndarray) -> float:
    finite = values[np.isfinite(values)]
    return float(finite.max()) - float(finite.min()) if finite.size else 0.0


def _masked(
    path: Path,
    packed: np.ndarray,
    stored: np.ndarray,
    z: np.ndarray,
    total: int,
    start: int,
    warnings: list[str],
) -> np.ndarray:
    """Heights with not-a-number where the mask says so."""
    stop = start + z.size
    measured = np.unpackbits(packed, count=total, bitorder="little")[start:stop].view(bool)
    if measured.all():
        return z
    blank = np.isnan(stored) | (stored == 0)
    if stored.dtype.kind in "iu":
        blank = (stored == 0) | (stored == np.iinfo(stored.dtype).min)
    if bool((~measured & ~blank).any()):
        other = np.unpackbits(packed, count=total, bitorder="big")[start:stop].view(bool)
        if bool((~other).any()) and bool(blank[~other].all()):
            measured = other
            warnings.append(
                "The mask of measured points has its bits the other way round, most significant first: read "
                "so, it marks the blank points, and only those."
            )
    if not measured.any():
        raise InputError(path, "the mask says that no point was measured", "Export the image again")
    return np.where(measured, z, np.asarray(np.nan, z.dtype))

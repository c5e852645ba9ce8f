"""The few Exif fields that matter here: orientation and resolution, from a JPEG or PNG."""

from __future__ import annotations

import struct
from dataclasses import dataclass

from surfscan.loaders.base import ScaleTag

_ORIENTATION, _X_RESOLUTION, _Y_RESOLUTION, _RESOLUTION_UNIT = 274, 282, 283, 296
_SIZE = {3: 2, 4: 4, 5: 8}  # SHORT, LONG, RATIONAL
_UNIT = {1: "", 2: "inch", 3: "cm"}


@dataclass(frozen=True)
class Exif:
    """Orientation (1 = as stored) and the resolution tag, where the block has one."""

    orientation: int = 1
    scale_tag: ScaleTag | None = None


def read_exif(block: bytes) -> Exif:
    """First directory of an Exif block (a small TIFF structure that starts with its byte order).

    A block that cannot be followed is taken as empty: it says nothing about the pixels.
    """
    order = {b"II": "<", b"MM": ">"}.get(block[:2])
    if order is None:
        return Exif()
    values: dict[int, float] = {}
    try:
        (first,) = struct.unpack_from(f"{order}I", block, 4)
        (count,) = struct.unpack_from(f"{order}H", block, first)
        for entry in range(first + 2, first + 2 + 12 * count, 12):
            code, kind, n = struct.unpack_from(f"{order}HHI", block, entry)
            if kind in _SIZE and n == 1:
                values[code] = _value(block, order, kind, entry + 8)
    except struct.error:
        return Exif()
    orientation = int(values.get(_ORIENTATION, 1))
    x, y = values.get(_X_RESOLUTION), values.get(_Y_RESOLUTION)
    if x is None and y is None:
        return Exif(orientation)
    unit = _UNIT.get(int(values.get(_RESOLUTION_UNIT, 2)), "")
    return Exif(orientation, ScaleTag("Exif resolution", "density", x, y, unit, unit))


def _value(block: bytes, order: str, kind: int, at: int) -> float:
    if kind == 3:
        return float(struct.unpack_from(f"{order}H", block, at)[0])
    if kind == 4:
        return float(struct.unpack_from(f"{order}I", block, at)[0])
    (offset,) = struct.unpack_from(f"{order}I", block, at)
    top, bottom = struct.unpack_from(f"{order}II", block, offset)
    return top / bottom if bottom else 0.0


def orientation_warning(orientation: int) -> str | None:
    """What to tell where a file asks to be turned for display; the pixels are measured as stored."""
    if orientation in (0, 1):
        return None
    return (
        f"The file asks to be turned or mirrored for display (orientation {orientation}); "
        "pixels and positions are as stored, not turned."
    )

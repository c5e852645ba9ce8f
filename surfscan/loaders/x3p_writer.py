"""Writing X3P (ISO 25178-72): one surface, or several layers of one, the same bytes for the same input."""

from __future__ import annotations

import hashlib
import math
import zipfile
from pathlib import Path
from typing import Literal
from xml.sax.saxutils import escape

import numpy as np

from surfscan.loaders.x3p import CHECKSUM, RECORD
from surfscan.loaders.x3p_xml import DATA_TYPES

DataType = Literal["float64", "float32", "int32", "int16"]

UNKNOWN_DATE = "1980-01-01T00:00:00"
"""Date written where none is given: the first day that a zip archive knows."""

_LETTERS = {"float64": "D", "float32": "F", "int32": "L", "int16": "I"}
_POINTS, _MASK = "bindata/data.bin", "bindata/valid.bin"
_UM_PER_METRE = 1e6
_ZIP_DATE = (1980, 1, 1, 0, 0, 0)
_LEVEL = 1  # of deflate: measured heights hardly shrink further, and it takes three times as long
_RECORD = """\
<?xml version="1.0" encoding="UTF-8"?>
<p:ISO5436_2 xmlns:p="http://www.opengps.eu/2008/ISO5436_2">
  <Record1>
    <Revision>ISO5436 - 2000</Revision>
    <FeatureType>SUR</FeatureType>
    <Axes>
      <CX>
        <AxisType>I</AxisType>
        <DataType>D</DataType>
        <Increment>{x!r}</Increment>
        <Offset>0</Offset>
      </CX>
      <CY>
        <AxisType>I</AxisType>
        <DataType>D</DataType>
        <Increment>{y!r}</Increment>
        <Offset>0</Offset>
      </CY>
      <CZ>
        <AxisType>A</AxisType>
        <DataType>{letter}</DataType>
        <Increment>{increment!r}</Increment>
        <Offset>{offset!r}</Offset>
      </CZ>
    </Axes>
  </Record1>
  <Record2>
    <Date>{date}</Date>
    <Creator>{creator}</Creator>
    <Instrument>
      <Manufacturer>not stated</Manufacturer>
      <Model>not stated</Model>
      <Serial>not stated</Serial>
      <Version>not stated</Version>
    </Instrument>
    <CalibrationDate>{date}</CalibrationDate>
    <ProbingSystem>
      <Type>Software</Type>
      <Identification>not stated</Identification>
    </ProbingSystem>
    <Comment>{comment}</Comment>
  </Record2>
  <Record3>
    <MatrixDimension>
      <SizeX>{cols}</SizeX>
      <SizeY>{rows}</SizeY>
      <SizeZ>{layers}</SizeZ>
    </MatrixDimension>
    <DataLink>
      <PointDataLink>{points}</PointDataLink>
      <MD5ChecksumPointData>{points_md5}</MD5ChecksumPointData>{mask}
    </DataLink>
  </Record3>
  <Record4>
    <ChecksumFile>{checksum}</ChecksumFile>
  </Record4>
</p:ISO5436_2>
"""
_MASK_LINK = """
      <ValidPointsLink>{name}</ValidPointsLink>
      <MD5ChecksumValidPoints>{md5}</MD5ChecksumValidPoints>"""


def write_x3p(
    path: str | Path,
    heights_um: np.ndarray,
    pixel_size_um: float | tuple[float, float],
    *,
    data_type: DataType = "float64",
    z_step_um: float | None = None,
    creator: str = "surfscan",
    comment: str = "",
    date: str = UNKNOWN_DATE,
    mask: bool = True,
) -> None:
    """Write heights as X3P, in metres as the format wants them.

    Opened again, floating-point heights are the same within one rounding of their type; whole numbers within
    half a step, and the same within rounding where heights are multiples of `z_step_um`.

    Parameters
    ----------
    path : str or Path
        Written over if it is there.
    heights_um : ndarray of shape (M, N) or (L, M, N)
        µm; not-a-number where not measured. Three dimensions are L layers.
    pixel_size_um : float or (float, float)
        Pixel size in µm, square or (x, y).
    data_type : {"float64", "float32", "int32", "int16"}
        Number type of stored heights.
    z_step_um : float, optional
        Height of one step of a whole type, µm; with it the offset is 0. By itself the range of heights is
        spread over the type.
    creator, comment, date : str
        For the record; the date is not looked at.
    mask : bool
        Whether to mark unmeasured points in a file of their own, if there are any. Floating-point heights
        are not-a-number there either way.

    Raises
    ------
    ValueError
        If heights are no such array, infinite or none at all, the pixel size or the step is no size, heights
        do not fit into the type, unmeasured ones would be lost, or a text cannot stand in XML.
    """
    heights = np.asarray(heights_um)
    if heights.ndim not in (2, 3) or 0 in heights.shape or heights.dtype.kind not in "fiu":
        raise ValueError(f"heights must be a filled array of 2 or 3 dimensions, got shape {heights.shape}")
    if data_type not in _LETTERS:
        raise ValueError(f"data_type {data_type!r} is unknown; known are {', '.join(_LETTERS)}")
    x, y = _sizes(pixel_size_um)
    texts = {name: _text(name, t) for name, t in (("creator", creator), ("comment", comment), ("date", date))}
    values = heights.astype(np.float64)
    measured = ~np.isnan(values)
    if not measured.any() or np.isinf(values).any():
        raise ValueError("heights must be finite or not-a-number, and some must be finite")
    letter = _LETTERS[data_type]
    stored, increment, offset = _stored(values, measured, DATA_TYPES[letter], z_step_um)
    if not mask and stored.dtype.kind == "i" and not measured.all():
        raise ValueError(f"{data_type} cannot mark unmeasured heights without a mask")
    members = {_POINTS: stored.tobytes()}
    if mask and not measured.all():
        padded = np.ones(-(-measured.size // 8) * 8, bool)
        padded[: measured.size] = measured.ravel()
        members[_MASK] = np.packbits(padded, bitorder="little").tobytes()
    md5 = {name: hashlib.md5(data, usedforsecurity=False).hexdigest() for name, data in members.items()}
    xml = _RECORD.format(
        x=x / _UM_PER_METRE,
        y=y / _UM_PER_METRE,
        letter=letter,
        increment=increment,
        offset=offset,
        rows=heights.shape[-2],
        cols=heights.shape[-1],
        layers=heights.shape[0] if heights.ndim == 3 else 1,
        points=_POINTS,
        points_md5=md5[_POINTS],
        mask=_MASK_LINK.format(name=_MASK, md5=md5[_MASK]) if _MASK in md5 else "",
        checksum=CHECKSUM,
        **texts,
    ).encode()
    members[RECORD] = xml
    members[CHECKSUM] = f"{hashlib.md5(xml, usedforsecurity=False).hexdigest()} *{RECORD}\n".encode()
    with zipfile.ZipFile(path, "w") as archive:
        for name, data in members.items():
            info = zipfile.ZipInfo(name, _ZIP_DATE)
            info.create_system = 3  # the same on every system
            info.external_attr = 0o644 << 16
            archive.writestr(info, data, zipfile.ZIP_DEFLATED, _LEVEL)


def _sizes(pixel_size_um: float | tuple[float, float]) -> tuple[float, float]:
    pair = pixel_size_um if isinstance(pixel_size_um, (tuple, list)) else (pixel_size_um, pixel_size_um)
    if len(pair) != 2 or not all(math.isfinite(v) and v > 0 for v in pair):
        raise ValueError(f"pixel size must be one or two finite numbers above 0, got {pixel_size_um!r}")
    return float(pair[0]), float(pair[1])


def _text(name: str, text: str) -> str:
    """Text as it can stand in XML 1.0."""
    if any(
        (ord(c) < 32 and c not in "\t\n") or 0xD800 <= ord(c) < 0xE000 or c in "\ufffe\uffff" for c in text
    ):
        raise ValueError(f"{name} holds characters that XML cannot hold")
    return escape(text)


def _stored(
    values: np.ndarray, measured: np.ndarray, dtype: np.dtype, z_step_um: float | None
) -> tuple[np.ndarray, float, float]:
    """Heights as they are stored, and the increment and offset in metres that bring them back."""
    if dtype.kind == "f":
        if z_step_um is not None:
            raise ValueError("z_step_um is for whole number types")
        return (values / _UM_PER_METRE).astype(dtype), 1.0, 0.0
    most = int(np.iinfo(dtype).max)
    low, high = float(values[measured].min()), float(values[measured].max())
    step, offset = z_step_um, 0.0
    if step is None:
        offset = low / 2 + high / 2
        step = (high - low) / (2 * most) or 1e-3
    if not (math.isfinite(step) and step > 0):
        raise ValueError(f"z_step_um must be a finite number above 0, got {z_step_um!r}")
    if max(abs(low - offset), abs(high - offset)) / step > most + 0.5:
        raise ValueError(
            f"heights of {low:g} to {high:g} µm do not fit into {dtype.name} in steps of {step:g} µm"
        )
    counts = np.rint((np.where(measured, values, offset) - offset) / step)
    return (
        np.clip(counts, -most, most).astype(dtype),
        step / _UM_PER_METRE,
        offset / _UM_PER_METRE,
    )

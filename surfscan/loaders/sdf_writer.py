"""Writing height maps as SDF (ISO 25178-71), text or binary."""

from __future__ import annotations

import math
import struct
from datetime import datetime
from pathlib import Path
from typing import Literal

import numpy as np

_VERSIONS = {"ISO": "ISO-1.0", "older": "BCR-1.0"}
_CODES = {"float64": 7, "int32": 6, "int16": 5}
_MANUFACTURER = "surfscan"
_NO_DATE = "010119700000"
_BINARY_SIDE = 2**16 - 1
_SMALLEST_SCALE_M = 1e-300
_UNKNOWN_RESOLUTION = -1.0
_ON_GRID = 1e-6  # of a step: what a height may miss a whole number of steps by when the step is given


def write_sdf(
    path: str | Path,
    heights_um: np.ndarray,
    pixel_size_um: float | tuple[float, float],
    *,
    form: Literal["ascii", "binary"] = "ascii",
    data_type: Literal["float64", "int32", "int16"] = "float64",
    version: Literal["ISO", "older"] = "ISO",
    z_step_um: float | None = None,
    trailer: str = "",
    created: datetime | None = None,
) -> None:
    """Write heights as an SDF file, first row as first profile.

    Opened again, float64 heights come back equal (to 1 unit in the last place, because they pass through
    metres), integers as whole numbers of steps, gaps as gaps.

    Parameters
    ----------
    path : str or Path
    heights_um : ndarray of shape (M, N)
        µm, not-a-number where nothing was measured.
    pixel_size_um : float or (float, float)
        Pitch, square or (x, y), µm.
    form : {"ascii", "binary"}
        Text, or the 81-byte header with little-endian values.
    data_type : {"float64", "int32", "int16"}
        How heights are stored. Gaps are the word BAD in text; in binary form not-a-number, or the lowest
        value of the integer type.
    version : {"ISO", "older"}
        Version string aISO-1.0 or bISO-1.0, or aBCR-1.0 or bBCR-1.0, which the format had before.
    z_step_um : float, optional
        Height of one step of an integer type, µm; every height must then be a whole number of steps within
        1e-6 of one. Where not given, the smallest of 1, 2, 5 times a power of ten that fits the heights is
        taken and heights are rounded to it, by half a step at most. Not used for float64.
    trailer : str
        Free text after the heights; without asterisks, which end sections in text.
    created : datetime, optional
        Date in the header; 1 January 1970 where not given, so that the same heights make the same file.

    Raises
    ------
    ValueError
        If the heights are no 2-D array of numbers, are infinite, do not fit the type or are off the given
        step, or an argument is impossible.
    """
    heights = _check_heights(heights_um)
    x_um, y_um = _check_pitch(pixel_size_um)
    for name, value, known in (
        ("form", form, ("ascii", "binary")),
        ("data_type", data_type, _CODES),
        ("version", version, _VERSIONS),
    ):
        if value not in known:
            raise ValueError(f"{name} must be one of {', '.join(known)}, got {value!r}")
    if "*" in trailer:
        raise ValueError("the trailer must not hold an asterisk: it ends a section of the file")
    if form == "binary" and max(heights.shape) > _BINARY_SIDE:
        raise ValueError(
            f"heights of shape {heights.shape} do not fit the 16-bit counts of a binary SDF file; use "
            "form='ascii'"
        )
    step_um = 1.0
    values: np.ndarray = heights
    if data_type != "float64":
        step_um = _choose_step(heights, data_type) if z_step_um is None else _check_step(z_step_um)
        values = _to_steps(heights, step_um, data_type, given=z_step_um is not None)
    date = _NO_DATE if created is None else created.strftime("%d%m%Y%H%M")
    scales = (_metres(x_um), _metres(y_um), _metres(step_um))
    if min(scales) < _SMALLEST_SCALE_M:
        raise ValueError(f"pitch {x_um:g} x {y_um:g} µm or step {step_um:g} µm is too small to be written")
    gaps = np.isnan(heights)
    if form == "ascii":
        content = _text(f"a{_VERSIONS[version]}", date, scales, _CODES[data_type], values, gaps, trailer)
    else:
        content = _binary(f"b{_VERSIONS[version]}", date, scales, _CODES[data_type], values, gaps, trailer)
    Path(path).write_bytes(content)


def _check_heights(heights_um: np.ndarray) -> np.ndarray:
    heights = np.asarray(heights_um)
    if heights.ndim != 2 or heights.size == 0 or heights.dtype.kind not in "fiu":
        raise ValueError(
            f"heights must be a 2-D array of numbers, got shape {heights.shape}, {heights.dtype}"
        )
    heights = heights.astype(np.float64)
    if np.isinf(heights).any():
        raise ValueError("heights must be finite or not-a-number, got infinite ones")
    return heights


def _check_pitch(pixel_size_um: float | tuple[float, float]) -> tuple[float, float]:
    pair = pixel_size_um if isinstance(pixel_size_um, tuple) else (pixel_size_um, pixel_size_um)
    if len(pair) != 2 or not all(math.isfinite(v) and v > 0 for v in pair):
        raise ValueError(f"pixel_size_um must be finite and above 0, got {pixel_size_um!r}")
    return float(pair[0]), float(pair[1])


def _check_step(z_step_um: float) -> float:
    if not (math.isfinite(z_step_um) and z_step_um > 0):
        raise ValueError(f"z_step_um must be finite and above 0, got {z_step_um!r}")
    return float(z_step_um)


def _metres(value_um: float) -> float:
    """The metres nearest to a length in µm: 0.5 becomes 5e-07, not 0.5 times a rounded 1e-6."""
    return value_um / 1e6


def _choose_step(heights: np.ndarray, data_type: str) -> float:
    """The smallest of 1, 2, 5 times a power of ten, µm, in whose steps every height fits the type."""
    finite = np.abs(heights[np.isfinite(heights)])
    highest = float(finite.max()) if finite.size else 0.0
    if highest == 0:
        return 1.0
    needed = highest / np.iinfo(data_type).max
    power = math.floor(math.log10(needed))
    steps = (float(f"{digit}e{exponent}") for exponent in (power, power + 1) for digit in (1, 2, 5))
    return next(step for step in steps if step >= needed)


def _to_steps(heights: np.ndarray, step_um: float, data_type: str, *, given: bool) -> np.ndarray:
    limits = np.iinfo(data_type)
    with np.errstate(over="ignore", invalid="ignore"):
        steps = heights / step_um
        whole = np.rint(steps)
        off = np.abs(steps - whole)
        astray = off > np.maximum(_ON_GRID, 4 * np.spacing(np.abs(steps)))
    if given and bool(astray.any()):
        raise ValueError(
            f"heights lie up to {np.nanmax(off):.3g} of a step off whole steps of {step_um:g} µm; use a "
            "finer step, none, or data_type='float64'"
        )
    if bool((np.abs(whole) > limits.max).any()):
        raise ValueError(
            f"heights from {np.nanmin(heights):.6g} to {np.nanmax(heights):.6g} µm do not fit {data_type} in "
            f"steps of {step_um:g} µm; use a coarser step or a wider type"
        )
    return np.where(np.isnan(whole), limits.min, whole).astype(data_type)


def _text(
    version: str,
    date: str,
    scales: tuple[float, float, float],
    code: int,
    values: np.ndarray,
    gaps: np.ndarray,
    trailer: str,
) -> bytes:
    header = {
        "ManufacID": _MANUFACTURER,
        "CreateDate": date,
        "ModDate": date,
        "NumPoints": values.shape[1],
        "NumProfiles": values.shape[0],
        "Xscale": repr(scales[0]),
        "Yscale": repr(scales[1]),
        "Zscale": repr(scales[2]),
        "Zresolution": repr(_UNKNOWN_RESOLUTION),
        "Compression": 0,
        "DataType": code,
        "CheckType": 0,
    }
    lines = [version, *(f"{key} = {value}" for key, value in header.items()), "*"]
    for row, gap in zip(values, gaps, strict=True):
        words = list(map(repr, row.tolist()))
        for col in np.flatnonzero(gap):
            words[col] = "BAD"
        lines.append(" ".join(words))
    lines += ["*", *([trailer] if trailer else []), "*", ""]
    return "\r\n".join(lines).encode()


def _binary(
    version: str,
    date: str,
    scales: tuple[float, float, float],
    code: int,
    values: np.ndarray,
    gaps: np.ndarray,
    trailer: str,
) -> bytes:
    header = struct.pack(
        "<8s10s12s12sHHddddBBB",
        version.encode(),
        _MANUFACTURER.ljust(10).encode(),
        date.encode(),
        date.encode(),
        values.shape[1],
        values.shape[0],
        *scales,
        _UNKNOWN_RESOLUTION,
        0,
        code,
        0,
    )
    body = values.astype(values.dtype.newbyteorder("<"))
    if body.dtype.kind == "f":
        body[gaps] = np.nan
    return header + body.tobytes() + trailer.encode()

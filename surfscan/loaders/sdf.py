"""SDF surface data files (ISO 25178-71), text and binary, with the version strings of ISO and older ones.

The file is a header, the heights and a trailer. Height is stored value times Zscale, in metres; pitches are
Xscale (along a profile) and Yscale (from profile to profile), in metres. The first profile is the first row,
its first point the first column; nothing is flipped.

Where the published text of the format was not at hand the loader takes what can be told apart: asterisks
between the sections or none, counts of 16 or 32 bits, either byte order (the standard's is little-endian).
"""

from __future__ import annotations

import math
import re
import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from surfscan.errors import InputError
from surfscan.loaders.base import LoadedImage, ScaleTag, check_single_image, check_size
from surfscan.loaders.number_text import is_unmeasured, read_values, to_number

DATA_TYPES = {0: "u1", 1: "u2", 2: "u4", 3: "f4", 4: "i1", 5: "i2", 6: "i4", 7: "f8"}
"""Number type of each DataType code; int is 2 and long 4 bytes, as on the machines of the format's time."""

_REMEDY = "Copy or export the file again"
_VERSION = re.compile(rb"(?:\xef\xbb\xbf)?\s*([abAB])((?:ISO|BCR)-\d+(?:\.\d+)?)", re.IGNORECASE)
_COMMENT = re.compile(rb";[^\r\n]*")
_LINE_END = re.compile(rb"\r\n|\n|\r")
_COUNT_LIMIT = 2**63
_PLAUSIBLE_SCALE = (1e-18, 1e6)
_TRAILER_LIMIT = 2**20
_HEADER_LIMIT = 2**18
_NARROW = ("u1", "u2", "i1", "i2", "f4")
_BAND = 256


@dataclass(frozen=True)
class SdfHeader:
    """What the header says.

    Attributes
    ----------
    version : str
        As written, without padding ("aISO-1.0", "bBCR-1.0").
    points, profiles : int
        Columns and rows.
    x_scale, y_scale, z_scale : float
        Metres from point to point, from profile to profile, and in one unit of the stored values.
    data_type : int
        Code of `DATA_TYPES`.
    compression, check_type : int
        0 where there is none.
    """

    version: str
    points: int
    profiles: int
    x_scale: float
    y_scale: float
    z_scale: float
    data_type: int
    compression: int
    check_type: int


@dataclass(frozen=True)
class SdfFile:
    """One file, read whole.

    Attributes
    ----------
    header : SdfHeader
    heights_m : ndarray of shape (profiles, points), float
        Metres, not-a-number where nothing was measured; float32 for stored types of up to 16 bits and
        float32, float64 for the others.
    trailer : str
        Text after the heights, without the asterisks round it; at most 1 MiB is kept.
    warnings : tuple of str
    """

    header: SdfHeader
    heights_m: np.ndarray
    trailer: str
    warnings: tuple[str, ...]


class SdfLoader:
    """Loader of SDF files."""

    formats = "SDF"

    def recognises(self, head: bytes) -> bool:
        """Whether a version string of the format stands first."""
        return _VERSION.match(head) is not None

    def load(self, path: Path, page: int | None) -> LoadedImage:
        """Read the heights; see `surfscan.loaders.base.Loader`."""
        check_single_image(path, page)
        content = read_sdf(path)
        header = content.header
        return LoadedImage(
            content.heights_m,
            "SDF",
            kind="heightmap",
            scale_tags=(ScaleTag("SDF Xscale and Yscale", "size", header.x_scale, header.y_scale, "m", "m"),),
            height_unit="m",
            warnings=content.warnings,
        )


def read_sdf(path: Path) -> SdfFile:
    """Read an SDF file with its header and trailer.

    Not measured is: in text the word BAD or another of `number_text.is_unmeasured`; in integers the lowest
    value of the type (0 for unsigned types, in binary files only; told in a warning, because 0 can be a
    height to a writer that does not know the rule); in floating point not-a-number, infinity and the lowest
    value of the type.

    Raises
    ------
    InputError
        If the header is damaged, announces more than the file holds or what is not read, or a value is not
        a number.
    """
    with path.open("rb") as file:
        head = file.read(4096)
    version = _VERSION.match(head)
    if version is None:
        raise InputError(path, "the file does not start with an SDF version string", _REMEDY)
    name = (version[1] + version[2]).decode("ascii")
    return _read_text(path, name) if version[1] in b"aA" else _read_binary(path, name, head)


def _check_header(path: Path, header: SdfHeader) -> None:
    if header.data_type not in DATA_TYPES:
        raise InputError(path, f"the SDF data type {header.data_type} is none of 0 to 7", _REMEDY)
    if header.compression != 0:
        raise InputError(
            path,
            f"the SDF data are compressed (Compression = {header.compression}), which is not read",
            "Export the file without compression",
        )
    if header.points > 0 and header.profiles == 1:
        raise InputError(
            path,
            f"the SDF file holds a single profile of {header.points} points, not a height map",
            "Export the whole area",
        )
    for name in ("x_scale", "y_scale", "z_scale"):
        value = getattr(header, name)
        if not (math.isfinite(value) and value > 0):
            label = name.replace("_s", "S").capitalize().replace("S", "s")
            raise InputError(path, f"the SDF {label} is {value:g}: not a length above 0", _REMEDY)
    check_size(path, header.profiles, header.points, 8)


def _scaled(stored: np.ndarray, header: SdfHeader) -> np.ndarray:
    """Stored values times Zscale; where Zscale is one part of a whole number (1E-6), divided by that number,
    which is exact and so rounds once."""
    scale = header.z_scale
    parts = round(1 / scale) if 2**-53 < scale <= 1 else 0
    divided = parts > 0 and 1 / parts == scale
    out = np.empty(stored.shape, np.float32 if DATA_TYPES[header.data_type] in _NARROW else np.float64)
    with np.errstate(over="ignore", under="ignore", invalid="ignore"):
        for first in range(0, len(stored), _BAND):
            rows = stored[first : first + _BAND].astype(np.float64)
            out[first : first + _BAND] = rows / parts if divided else rows * scale
    return out


def _read_text(path: Path, version: str) -> SdfFile:
    data = path.read_bytes()
    fields, at = _text_header(path, data)
    header = SdfHeader(
        version,
        points=_count(path, fields, "numpoints", "NumPoints"),
        profiles=_count(path, fields, "numprofiles", "NumProfiles"),
        x_scale=_number(path, fields, "xscale", "Xscale"),
        y_scale=_number(path, fields, "yscale", "Yscale"),
        z_scale=_number(path, fields, "zscale", "Zscale"),
        data_type=_count(path, fields, "datatype", "DataType", 7),
        compression=_count(path, fields, "compression", "Compression", 0),
        check_type=_count(path, fields, "checktype", "CheckType", 0),
    )
    _check_header(path, header)
    wanted = header.points * header.profiles
    end = data.find(b"*", at)
    section = data[at : end if end >= 0 else len(data)]
    if 2 * wanted - 1 > len(section):
        raise InputError(
            path,
            f"the SDF header announces {header.profiles} profiles of {header.points} points, but "
            f"{len(section)} bytes of text cannot hold them: truncated or damaged",
            _REMEDY,
        )
    if b";" in section:
        section = _COMMENT.sub(b"", section)
    try:
        values = read_values(section)
    except ValueError as error:
        raise InputError(path, f"the SDF heights are damaged: {error}", _REMEDY) from None
    if values.size != wanted:
        raise InputError(
            path,
            f"the SDF file holds {values.size} heights, its header announces {wanted} ({header.profiles} "
            f"profiles of {header.points} points)",
            _REMEDY,
        )
    warnings = _check_type_warning(header)
    kind = np.dtype(DATA_TYPES[header.data_type])
    if kind.kind != "u":
        lowest = np.iinfo(kind).min if kind.kind == "i" else float(np.finfo(kind).min) * (1 - 1e-6)
        values[values <= lowest] = np.nan
    trailer = data[end + 1 :] if end >= 0 else b""
    heights = _scaled(values.reshape(header.profiles, header.points), header)
    return SdfFile(header, heights, _trailer_text(trailer), warnings)


def _text_header(path: Path, data: bytes) -> tuple[dict[str, bytes], int]:
    """Values by key in small letters, and where the heights start: after an asterisk, or at the first line of
    numbers."""
    fields: dict[str, bytes] = {}
    version = _VERSION.match(data)
    at = version.end() if version else 0
    for start, end in _lines(data, at):
        line = data[start:end]
        stripped = line.strip()
        if stripped.startswith(b"*"):
            return fields, start + line.index(b"*") + 1
        key, mark, value = _parted(_COMMENT.sub(b"", stripped))
        if mark:
            fields.setdefault(_plain(key), value.rstrip(b"* \t"))
            if value.endswith(b"*"):
                return fields, end
        elif stripped and _is_numeric(stripped.split(None, 1)[0]) and "numpoints" in fields:
            return fields, start
        if start > _HEADER_LIMIT:
            break
    raise InputError(path, "the SDF header does not end: no asterisk and no numbers follow it", _REMEDY)


def _lines(data: bytes, at: int) -> Iterator[tuple[int, int]]:
    """Start and end of each line, whichever of the three line ends is used."""
    while at < len(data):
        found = _LINE_END.search(data, at)
        end, following = (found.start(), found.end()) if found else (len(data), len(data))
        yield at, end
        at = following


def _parted(line: bytes) -> tuple[bytes, bytes, bytes]:
    """Key, mark and value of a header line; the mark is empty where it has none or starts with no letter."""
    mark = b"=" if b"=" in line else b":"
    key, mark, value = line.partition(mark)
    return (key.strip(), mark, value.strip()) if key[:1].isalpha() else (line, b"", b"")


def _plain(key: bytes) -> str:
    return key.decode("ascii", "replace").replace(" ", "").replace("_", "").lower()


def _is_numeric(token: bytes) -> bool:
    if is_unmeasured(token):
        return True
    try:
        to_number(token)
    except ValueError:
        return False
    return True


def _number(path: Path, fields: dict[str, bytes], key: str, name: str, default: float | None = None) -> float:
    if key not in fields:
        if default is not None:
            return default
        raise InputError(path, f"the SDF header has no {name}", _REMEDY)
    try:
        return to_number(fields[key].replace(b",", b"."))
    except ValueError as error:
        raise InputError(path, f"the SDF header is damaged: {name} {error}", _REMEDY) from None


def _count(path: Path, fields: dict[str, bytes], key: str, name: str, default: int | None = None) -> int:
    value = _number(path, fields, key, name, default)
    if not (math.isfinite(value) and value == int(value) and 0 <= value < _COUNT_LIMIT):
        raise InputError(path, f"the SDF header is damaged: {name} is {value:g}, not a whole number", _REMEDY)
    return int(value)


def _read_binary(path: Path, version: str, head: bytes) -> SdfFile:
    size = path.stat().st_size
    readings = [(order + counts, *_unpack(version, head, order, counts)) for order in "<>" for counts in "HI"]
    sound = [r for r in readings if _is_sound(r[1])]
    fitting = [r for r in sound if _needed(r[1], r[2]) <= size]
    layout, header, start = (fitting or sound or readings)[0]
    if header is None:
        raise InputError(path, f"the SDF header is truncated: the file ends after {size} bytes", _REMEDY)
    _check_header(path, header)
    stored_type = np.dtype(layout[0] + DATA_TYPES[header.data_type])
    wanted = header.points * header.profiles
    if _needed(header, start) > size:
        raise InputError(
            path,
            f"the SDF header announces {header.profiles} profiles of {header.points} points of "
            f"{stored_type.itemsize} bytes, but the file ends after {size} bytes: truncated or damaged",
            _REMEDY,
        )
    stored = np.fromfile(path, stored_type, wanted, offset=start)
    if stored.size != wanted:
        raise InputError(path, "the SDF file became shorter while it was read", _REMEDY)
    stored = stored.reshape(header.profiles, header.points)
    heights = _scaled(stored, header)
    warnings = list(_check_type_warning(header))
    if stored_type.kind == "f":
        missing = ~(stored > np.finfo(stored_type).min * stored_type.type(1 - 1e-6)) | np.isinf(stored)
    else:
        missing = stored == np.iinfo(stored_type).min
    count = int(np.count_nonzero(missing))
    if count:
        heights[missing] = np.nan
    if count and stored_type.kind == "u":
        warnings.append(
            f"{count} of {wanted} points hold 0, the lowest value of their unsigned type, and are taken as "
            "not measured; where 0 is a height, export the map with a signed or floating-point type."
        )
    if layout[0] == ">":
        warnings.append("The SDF file is big-endian against the standard; it was read so.")
    with path.open("rb") as file:
        file.seek(start + wanted * stored_type.itemsize)
        trailer = file.read(_TRAILER_LIMIT)
    return SdfFile(header, heights, _trailer_text(trailer), tuple(warnings))


def _unpack(version: str, head: bytes, order: str, counts: str) -> tuple[SdfHeader | None, int]:
    """The header in one byte order and width of the counts, and where the heights start."""
    layout = struct.Struct(f"{order}8s10s12s12s{counts}{counts}ddddBBB")
    if len(head) < layout.size:
        return None, layout.size
    _, _, _, _, points, profiles, x, y, z, _, compression, data_type, check = layout.unpack_from(head)
    return SdfHeader(version, points, profiles, x, y, z, data_type, compression, check), layout.size


def _is_sound(header: SdfHeader | None) -> bool:
    """Whether a reading of the header makes sense; one in a wrong layout has scales of arbitrary bits."""
    low, high = _PLAUSIBLE_SCALE
    return (
        header is not None
        and header.points > 0
        and header.profiles > 0
        and header.data_type in DATA_TYPES
        and all(low <= scale <= high for scale in (header.x_scale, header.y_scale, header.z_scale))
    )


def _needed(header: SdfHeader | None, start: int) -> float:
    """Bytes that a file with this header has at least."""
    if header is None:
        return math.inf
    return start + header.points * header.profiles * np.dtype(DATA_TYPES[header.data_type]).itemsize


def _check_type_warning(header: SdfHeader) -> tuple[str, ...]:
    if header.check_type == 0:
        return ()
    return (f"The SDF file announces a check sum of type {header.check_type}, which is not verified.",)


def _trailer_text(trailer: bytes) -> str:
    text = trailer[:_TRAILER_LIMIT].decode("utf-8", "replace").strip("\0 \t\r\n\x1a")
    return text.removesuffix("*").removeprefix("*").strip("\0 \t\r\n\x1a")

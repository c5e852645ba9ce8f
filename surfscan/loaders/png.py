"""PNG: 1 to 16 bits, grey, RGB, RGBA and palette."""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass, field
from pathlib import Path

from surfscan.errors import InputError
from surfscan.loaders.base import LoadedImage, ScaleTag, check_single_image, check_size
from surfscan.loaders.decoding import ALPHA_DROPPED, decode, to_rgb
from surfscan.loaders.exif import orientation_warning, read_exif

_SIGNATURE = b"\x89PNG\r\n\x1a\n"
_REMEDY = "Copy or export the file again"
_GREY, _PALETTE, _GREY_ALPHA = 0, 3, 4
_CHANNELS = {_GREY: 1, 2: 3, _PALETTE: 3, _GREY_ALPHA: 2, 6: 4}


@dataclass
class _Header:
    """What the chunks before the pixels say."""

    rows: int = 0
    cols: int = 0
    bit_depth: int = 0
    colour_type: int = -1
    palette: bytes = b""
    scale_tags: list[ScaleTag] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)


class PngLoader:
    """Loader of PNG files; every chunk's checksum is verified before decoding."""

    formats = "PNG"

    def recognises(self, head: bytes) -> bool:
        """Whether the PNG signature stands first."""
        return head.startswith(_SIGNATURE)

    def load(self, path: Path, page: int | None) -> LoadedImage:
        """Read the image; see `surfscan.loaders.base.Loader`."""
        check_single_image(path, page)
        data = path.read_bytes()
        header = _read_chunks(path, data)
        check_size(path, header.rows, header.cols, 4 * max(1, header.bit_depth // 8))
        pixels, messages = decode(path, data)
        grey = header.colour_type in (_GREY, _GREY_ALPHA) or (
            header.colour_type == _PALETTE and _is_grey(header.palette)
        )
        pixels, opaque = to_rgb(pixels, grey=grey)
        warnings = [*header.warnings, *(f"The decoder reports: {m}." for m in messages)]
        if not opaque:
            warnings.append(ALPHA_DROPPED)
        return LoadedImage(pixels, "PNG", scale_tags=tuple(header.scale_tags), warnings=tuple(warnings))


def _is_grey(palette: bytes) -> bool:
    return palette[0::3] == palette[1::3] == palette[2::3]


def _read_chunks(path: Path, data: bytes) -> _Header:
    """Walk all chunks to the end; InputError where one is cut short or its checksum is wrong."""
    header = _Header()
    view = memoryview(data)
    at, seen_pixels = len(_SIGNATURE), False
    while True:
        if at + 12 > len(data):
            raise InputError(path, f"the PNG is truncated: it ends after {len(data)} bytes", _REMEDY)
        (length,) = struct.unpack_from(">I", data, at)
        name = data[at + 4 : at + 8]
        if at + 12 + length > len(data):
            raise InputError(
                path,
                f"the PNG is truncated or damaged: chunk {name!r} at byte {at} needs {length} bytes, the "
                f"file ends after {len(data)}",
                _REMEDY,
            )
        if zlib.crc32(view[at + 4 : at + 8 + length]) != struct.unpack_from(">I", data, at + 8 + length)[0]:
            raise InputError(
                path, f"the PNG is damaged: wrong checksum of chunk {name!r} at byte {at}", _REMEDY
            )
        if header.colour_type < 0 and name != b"IHDR":
            raise InputError(path, "the PNG is damaged: it does not start with its header", _REMEDY)
        if name == b"IEND":
            break
        if name == b"IDAT":
            seen_pixels = True
        else:
            _read_chunk(path, name, data[at + 8 : at + 8 + length], header)
        at += 12 + length
    if not seen_pixels:
        raise InputError(path, "the PNG holds no pixels", _REMEDY)
    return header


def _read_chunk(path: Path, name: bytes, body: bytes, header: _Header) -> None:
    if name == b"IHDR":
        if len(body) != 13:
            raise InputError(path, "the PNG is damaged: its header has the wrong length", _REMEDY)
        header.cols, header.rows, header.bit_depth, header.colour_type = struct.unpack(">IIBB", body[:10])
        if header.colour_type not in _CHANNELS:
            raise InputError(path, f"the PNG is damaged: colour type {header.colour_type}", _REMEDY)
    elif name == b"PLTE":
        header.palette = body
    elif name == b"pHYs" and len(body) == 9:
        x, y, unit = struct.unpack(">IIB", body)
        unit_name = "m" if unit == 1 else ""
        header.scale_tags.append(ScaleTag("PNG pHYs", "density", x, y, unit_name, unit_name))
    elif name == b"eXIf":
        warning = orientation_warning(read_exif(body).orientation)
        if warning:
            header.warnings.append(warning)
    elif name == b"acTL":
        raise InputError(
            path, "the PNG is animated and holds several frames", "Export the frame to be measured on its own"
        )

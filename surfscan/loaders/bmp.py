"""BMP: 1 to 32 bits per pixel, palette or direct colour."""

from __future__ import annotations

import struct
from pathlib import Path

from surfscan.errors import InputError
from surfscan.loaders.base import LoadedImage, ScaleTag, check_single_image, check_size
from surfscan.loaders.decoding import ALPHA_DROPPED, decode, to_rgb

_REMEDY = "Copy or export the file again"
_INFO_HEADER, _V4_HEADER = 40, 108
_UNCOMPRESSED, _BITFIELDS, _ALPHA_BITFIELDS = 0, 3, 6


class BmpLoader:
    """Loader of Windows bitmaps with an information header of 40 bytes or more."""

    formats = "BMP"

    def recognises(self, head: bytes) -> bool:
        """Whether the bitmap signature and a known header length stand first."""
        return head.startswith(b"BM") and len(head) >= 18 and head[14:18] in _HEADER_LENGTHS

    def load(self, path: Path, page: int | None) -> LoadedImage:
        """Read the image; see `surfscan.loaders.base.Loader`."""
        check_single_image(path, page)
        data = path.read_bytes()
        if len(data) < 14 + _INFO_HEADER:
            raise InputError(path, f"the BMP is truncated: it ends after {len(data)} bytes", _REMEDY)
        (pixels_at,) = struct.unpack_from("<I", data, 10)
        header_length, cols, rows, _, bits, compression, stored, x, y, used = struct.unpack_from(
            "<IiiHHIIiiI", data, 14
        )
        check_size(path, abs(rows), cols, 4)
        if compression in (_UNCOMPRESSED, _BITFIELDS, _ALPHA_BITFIELDS):
            stored = (cols * bits + 31) // 32 * 4 * abs(rows)
        if pixels_at + stored > len(data):
            raise InputError(
                path,
                f"the BMP is truncated or damaged: its pixels reach byte {pixels_at + stored}, the file ends "
                f"after {len(data)}",
                _REMEDY,
            )
        pixels, messages = decode(path, data)
        warnings = [f"The decoder reports: {m}." for m in messages]
        grey = False
        if bits <= 8:
            palette = data[14 + header_length : 14 + header_length + 4 * (used or 2**bits)]
            grey = palette[0::4] == palette[1::4] == palette[2::4]
        pixels, opaque = to_rgb(pixels, grey=grey)
        has_alpha = header_length >= _V4_HEADER and compression != _UNCOMPRESSED and data[66:70] != bytes(4)
        if has_alpha and not opaque:
            warnings.append(ALPHA_DROPPED)
        return LoadedImage(
            pixels,
            "BMP",
            scale_tags=(ScaleTag("BMP resolution", "density", x, y, "m", "m"),),
            warnings=tuple(warnings),
        )


_HEADER_LENGTHS = {struct.pack("<I", n) for n in (40, 52, 56, 64, _V4_HEADER, 124)}

"""JPEG: grey and colour, 8 bits."""

from __future__ import annotations

import re
import struct
from dataclasses import dataclass, field
from pathlib import Path

from surfscan.errors import InputError
from surfscan.loaders.base import LoadedImage, ScaleTag, check_single_image, check_size
from surfscan.loaders.decoding import decode, to_rgb
from surfscan.loaders.exif import Exif, orientation_warning, read_exif

_REMEDY = "Copy or export the file again"
_SOI, _EOI, _SOS, _APP0, _APP1 = 0xD8, 0xD9, 0xDA, 0xE0, 0xE1
_FRAME_HEADERS = frozenset(range(0xC0, 0xD0)) - {0xC4, 0xC8, 0xCC}
_END_OF_SCAN = re.compile(rb"\xff[^\x00\xd0-\xd7\xff]", re.DOTALL)  # not a stuffed byte, restart or fill
_HARMLESS = re.compile(r"extraneous bytes before marker|JFIF revision|Adobe color transform|ICC marker")
_DENSITY_UNIT = {1: "inch", 2: "cm"}


@dataclass
class _Header:
    rows: int = 0
    cols: int = 0
    components: int = 0
    precision: int = 0
    density: ScaleTag | None = None
    exif: Exif = field(default_factory=Exif)


class JpegLoader:
    """Loader of JPEG files; the file is followed to its end marker before decoding."""

    formats = "JPEG"

    def recognises(self, head: bytes) -> bool:
        """Whether a start-of-image marker stands first."""
        return head.startswith(b"\xff\xd8\xff")

    def load(self, path: Path, page: int | None) -> LoadedImage:
        """Read the image; see `surfscan.loaders.base.Loader`."""
        check_single_image(path, page)
        data = path.read_bytes()
        header = _read_markers(path, data)
        check_size(path, header.rows, header.cols, 3)
        if header.components not in (1, 3):
            raise InputError(
                path,
                f"the JPEG has {header.components} colour components; grey and RGB are read",
                "Save it in grey or RGB",
            )
        if header.precision != 8:
            raise InputError(
                path, f"the JPEG has {header.precision} bits per sample; 8 are read", "Save it as TIFF or PNG"
            )
        pixels, messages = decode(path, data)
        warnings = []
        for message in messages:
            if not _HARMLESS.search(message):
                raise InputError(path, f"the JPEG is damaged ({message})", _REMEDY)
            warnings.append(f"The JPEG may be damaged: the decoder reports {message!r}.")
        if turned := orientation_warning(header.exif.orientation):
            warnings.append(turned)
        tags = tuple(t for t in (header.exif.scale_tag, header.density) if t is not None)
        return LoadedImage(to_rgb(pixels)[0], "JPEG", lossy=True, scale_tags=tags, warnings=tuple(warnings))


def _read_markers(path: Path, data: bytes) -> _Header:
    """Follow the marker segments to the end of the image; InputError where the file ends before."""
    header = _Header()
    at, scans = 2, 0
    while True:
        while data[at : at + 2] == b"\xff\xff":  # fill bytes
            at += 1
        if at + 2 > len(data):
            raise InputError(path, f"the JPEG is truncated: it ends after {len(data)} bytes", _REMEDY)
        if data[at] != 0xFF:
            raise InputError(path, f"the JPEG is damaged: no marker at byte {at}", _REMEDY)
        marker = data[at + 1]
        if marker == _EOI:
            break
        if marker == 0x01 or 0xD0 <= marker <= _SOI:  # markers without a body
            at += 2
            continue
        body = _segment(path, data, at)
        _read_segment(marker, body, header)
        at += 4 + len(body)
        if marker == _SOS:
            scans += 1
            end = _END_OF_SCAN.search(data, at)
            if end is None:
                raise InputError(
                    path, f"the JPEG is truncated: no end of image in {len(data)} bytes", _REMEDY
                )
            at = end.start()
    if not scans or not header.components:
        raise InputError(path, "the JPEG holds no pixels", _REMEDY)
    return header


def _segment(path: Path, data: bytes, at: int) -> bytes:
    if at + 4 <= len(data):
        (length,) = struct.unpack_from(">H", data, at + 2)
        if length >= 2 and at + 2 + length <= len(data):
            return data[at + 4 : at + 2 + length]
    raise InputError(path, f"the JPEG is truncated or damaged: segment at byte {at} is cut short", _REMEDY)


def _read_segment(marker: int, body: bytes, header: _Header) -> None:
    if marker in _FRAME_HEADERS and len(body) >= 6:
        header.precision, header.rows, header.cols, header.components = struct.unpack(">BHHB", body[:6])
    elif marker == _APP0 and body.startswith(b"JFIF\0") and len(body) >= 12:
        unit_code, x, y = struct.unpack(">BHH", body[7:12])
        unit = _DENSITY_UNIT.get(unit_code, "")
        header.density = ScaleTag("JPEG density", "density", x, y, unit, unit)
    elif marker == _APP1 and body.startswith(b"Exif\0\0"):
        header.exif = read_exif(body[6:])

"""X3P, the zip container of ISO 25178-72 (earlier ISO 5436-2): surfaces with heights in metres.

`surfscan.loaders.x3p_xml` reads the record, `surfscan.loaders.x3p_data` the points. Checksums:

- main.xml against md5checksum.hex: a mismatch is a warning. Records are edited and re-saved by hand, every
  number in them that matters is checked against the data, and the zip archive has its own CRC-32.
- points and mask against the MD5 in the record: a mismatch is refused. Nothing else would show that the
  heights are others than those recorded.
"""

from __future__ import annotations

import hashlib
import posixpath
import re
from pathlib import Path

import numpy as np

from surfscan.errors import InputError
from surfscan.loaders.archive import Archive
from surfscan.loaders.base import LoadedImage, ScaleTag, check_single_image, check_size
from surfscan.loaders.lattice import to_lattice
from surfscan.loaders.x3p_data import Points, read_points
from surfscan.loaders.x3p_matrix import to_matrix
from surfscan.loaders.x3p_xml import X3pRecord, read_record

RECORD, CHECKSUM = "main.xml", "md5checksum.hex"
MAX_RECORD_BYTES = 2**24
"""Longest main.xml read, bytes: room for some 400 000 points inside it."""

_REMEDY = "Export the file again"
_CHECKSUM_LENGTH = 4096
_HEX = re.compile(rb"\s*\\?([0-9a-fA-F]{32})\b")
_ASK_FOR_LAYER = "Name the layer: page= in Python and in study.toml, --page on the command line"


class X3pLoader:
    """Loader of X3P files: one layer of a surface, or a list of points that lie on an even grid.

    Rows run along y, columns along x, in the order of the file: the first row is the first y. Heights come
    in metres. Layers are pages. A profile is refused, and so is a list of points off any grid.
    """

    formats = "X3P"

    def recognises(self, head: bytes) -> bool:
        """Whether the signature of a zip archive stands first."""
        return head.startswith((b"PK\x03\x04", b"PK\x05\x06"))

    def load(self, path: Path, page: int | None) -> LoadedImage:
        """Read the surface or the asked layer; see `surfscan.loaders.base.Loader`."""
        with Archive(path) as archive:
            name = _find_record(archive)
            xml = archive.read(name, MAX_RECORD_BYTES)
            record = read_record(path, xml)
            folder = posixpath.dirname(name)
            warnings = _verify_record(archive, folder, record, xml)
            rows, cols, layer, layers = _choose_layer(path, record, page)
            size = rows * cols
            links = (
                _linked(archive, folder, record.points_link, "points") if record.inline is None else "",
                _linked(archive, folder, record.mask_link, "mask") if record.mask_link else "",
            )
            points = read_points(archive, record, links, layers * size, layer * size, (layer + 1) * size)
        warnings += points.warnings
        if record.is_rotated:
            warnings.append("The record has a rotation of the axes; heights are taken as stored, unrotated.")
        pitch: tuple[float | None, float | None]
        if record.shape is None:
            heights, pitch = _listed(path, points)
        else:
            if record.feature == "PRF":
                warnings.append(
                    "The file calls itself a profile and holds a matrix: it is read as a surface."
                )
            heights, pitch = to_matrix(path, record, points, rows, cols, warnings)
        tag = ScaleTag("X3P increment", "size", *pitch, "m", "m")
        return LoadedImage(
            heights,
            "X3P",
            kind="heightmap",
            page=layer if layers > 1 else None,
            scale_tags=(tag,) if any(pitch) else (),
            height_unit="m",
            warnings=tuple(warnings),
        )


def _find_record(archive: Archive) -> str:
    """Name of main.xml: at the top, or else in the only folder that has one."""
    records = [name for name in archive.names if posixpath.basename(name).casefold() == RECORD]
    top = [name for name in records if "/" not in name]
    found = top or records
    if not found:
        raise InputError(
            archive.path,
            f"this is a zip archive without {RECORD}, which makes an X3P file",
            "Name an X3P file; unpack other archives first",
        )
    if len(found) > 1:
        raise InputError(
            archive.path,
            f"the archive holds several records ({', '.join(found[:4])})",
            "Export each surface to its own file",
        )
    return found[0]


def _verify_record(archive: Archive, folder: str, record: X3pRecord, xml: bytes) -> list[str]:
    """A warning where the checksum of main.xml is missing, unreadable or another."""
    link = record.checksum_link or CHECKSUM
    name = archive.find(_joined(folder, link))
    if name is None:
        return [f"The checksum file {link[:80]} is missing: {RECORD} was not verified."]
    stated = _HEX.match(archive.read(name, _CHECKSUM_LENGTH))
    if stated is None:
        return [f"There is no checksum in {name}: {RECORD} was not verified."]
    expected, found = stated[1].decode().lower(), hashlib.md5(xml, usedforsecurity=False).hexdigest()
    if expected == found:
        return []
    return [
        f"The MD5 checksum of {RECORD} is {found}, {name} says {expected}: the record was changed after it "
        "was written. Its sizes agree with the data; check its pixel size."
    ]


def _choose_layer(path: Path, record: X3pRecord, page: int | None) -> tuple[int, int, int, int]:
    """Rows, columns, layer to read, number of layers; a list of points is one row."""
    if record.shape is None:
        if record.feature == "PRF" or record.x.incremental or record.y.incremental:
            raise _profile(path)
        check_single_image(path, page)
        check_size(path, 1, record.list_length, 3 * 8)
        return 1, record.list_length, 0, 1
    layers, rows, cols = record.shape
    if record.feature == "PRF" and 1 in (rows, cols):
        raise _profile(path)
    check_size(path, rows, cols, 8 * (1 + (not record.x.incremental) + (not record.y.incremental)))
    if layers < 1:
        raise InputError(path, "the file holds no layer: SizeZ is 0", _REMEDY)
    if layers == 1:
        check_single_image(path, page)
        return rows, cols, 0, 1
    if page is None:
        raise InputError(
            path,
            f"the file holds {layers} layers of {rows} x {cols} points, and surfscan does not guess which "
            "one to measure",
            f"{_ASK_FOR_LAYER}; layers count from 0",
        )
    if page >= layers:
        raise InputError(path, f"there is no layer {page}: the last one is {layers - 1}", _ASK_FOR_LAYER)
    return rows, cols, page, layers


def _profile(path: Path) -> InputError:
    return InputError(
        path,
        "the file holds a profile, a line of heights and not a surface",
        "Export the whole map: pits and areal texture cannot be had from a line",
    )


def _joined(folder: str, link: str) -> str:
    return posixpath.normpath(posixpath.join(folder, link.strip().replace("\\", "/")))


def _linked(archive: Archive, folder: str, link: str, what: str) -> str:
    """Name in the archive of what the record links to: beside main.xml, or from the top."""
    plain = link.replace("\\", "/")
    if plain.startswith("/") or ".." in plain.split("/") or ":" in plain:
        raise InputError(
            archive.path,
            f"the link to the {what}, {link[:80]!r}, points outside of the archive",
            "Do not trust the file; export it again from where it was measured",
        )
    for base in dict.fromkeys((folder, "")):
        name = archive.find(_joined(base, link)) if link else None
        if name is not None:
            return name
    raise InputError(
        archive.path, f"the {what} that the record links to, {link[:80]!r}, are not in the archive", _REMEDY
    )


def _listed(path: Path, points: Points) -> tuple[np.ndarray, tuple[float, float]]:
    """Heights and pitch of a list of points; those without coordinates are left out."""
    if points.x is None or points.y is None:
        raise _profile(path)
    known = np.isfinite(points.x) & np.isfinite(points.y)
    if not known.any():
        raise InputError(path, "no point of the list has coordinates", _REMEDY)
    try:
        found = to_lattice(points.x[known], points.y[known], points.z[known])
    except ValueError as error:
        raise InputError(
            path,
            f"the file holds a list of points: {error}",
            "Export the surface as a matrix on an even grid",
        ) from None
    return found.z, (found.pitch_x, found.pitch_y)

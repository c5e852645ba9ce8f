"""The XML record of an X3P file (ISO 25178-72): axes, dimensions, links, data lists; nothing is believed yet.

Record1 holds the axes, Record3 the dimensions and where the points are, Record4 where the checksum of this
record is. Record2 (instrument, date, people) is not read: nothing that is measured depends on it.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from surfscan.errors import InputError
from surfscan.loaders.xml_elements import child, local_name

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

DATA_TYPES: dict[str, np.dtype] = {
    "I": np.dtype("<i2"),
    "L": np.dtype("<i4"),
    "F": np.dtype("<f4"),
    "D": np.dtype("<f8"),
}
"""Number type by letter: 16 and 32 bits whole, 32 and 64 bits floating; little-endian."""

MAX_DEPTH, MAX_ELEMENTS = 32, 10_000
"""Deepest nesting and most elements besides data that are read; the format needs 6 and some 60."""

MAX_ATTRIBUTES, MAX_TAG = 64, 2**18
"""Most attributes of an element, most namespaces in all, and the longest tag or comment, bytes; the format
needs 3, 2 and some hundred."""

_REMEDY = "Export the file again"
_PIECE = 2**15
_WHOLE = re.compile(r"\+?[0-9]{1,18}")
_MD5 = re.compile(r"[0-9a-fA-F]{32}")


@dataclass(frozen=True)
class Axis:
    """One axis of Record1.

    Attributes
    ----------
    incremental : bool
        Whether coordinates follow from the index; absolute ones are stored with every point.
    dtype : numpy dtype
        Of stored values.
    increment : float or None
        Metres in one step; None where it is left out.
    offset : float
        Metres.
    """

    incremental: bool
    dtype: np.dtype
    increment: float | None
    offset: float


@dataclass(frozen=True)
class X3pRecord:
    """What main.xml says.

    Attributes
    ----------
    feature : str
        SUR (surface), PRF (profile) or PCL (points).
    x, y, z : Axis
    shape : (int, int, int) or None
        Layers, rows (SizeY) and columns (SizeX) of a matrix; None for a list of points.
    list_length : int
        Points of a list; 0 for a matrix.
    points_link, mask_link : str
        Names relative to main.xml; empty where there is none.
    points_md5, mask_md5 : str
        32 lower-case hex digits; empty where none are written.
    inline : tuple of str or None
        Text of each point where they stand in the record itself; None where they are in a file.
    checksum_link : str
        Name of the file with the checksum of main.xml.
    is_rotated : bool
        Whether a rotation other than none is recorded.
    """

    feature: str
    x: Axis
    y: Axis
    z: Axis
    shape: tuple[int, int, int] | None
    list_length: int
    points_link: str
    mask_link: str
    points_md5: str
    mask_md5: str
    inline: tuple[str, ...] | None
    checksum_link: str
    is_rotated: bool


def read_record(path: Path, xml: bytes) -> X3pRecord:
    """Parse main.xml.

    Raises
    ------
    InputError
        If it is no XML, declares a document type or entities, is nested or branched beyond reason, lacks a
        required element, or holds something that is no number where one belongs.
    """
    root, data = _parse(path, xml)
    if local_name(root) != "ISO5436_2":
        raise _fault(path, f"its outermost element is {local_name(root)[:80]!r} instead of 'ISO5436_2'")
    header = _needed(path, root, "Record1")
    axes = _needed(path, header, "Axes")
    feature = _text(header, "FeatureType").upper()
    if feature not in ("SUR", "PRF", "PCL"):
        raise _fault(path, f"FeatureType is {feature[:80]!r}; known are SUR, PRF and PCL")
    body = _needed(path, root, "Record3")
    matrix, listed = child(body, "MatrixDimension"), child(body, "ListDimension")
    shape, list_length = None, 0
    if matrix is not None:
        sizes = [_whole(path, matrix, name) for name in ("SizeZ", "SizeY", "SizeX")]
        shape = (sizes[0], sizes[1], sizes[2])
    elif listed is not None:
        list_length = _whole(path, body, "ListDimension")
    else:
        raise _fault(path, "neither MatrixDimension nor ListDimension is there")
    link, inline = child(body, "DataLink"), child(body, "DataList")
    if (link is None) == (inline is None):
        raise _fault(path, "points must stand either in a DataLink or in a DataList")
    record4 = child(root, "Record4")
    return X3pRecord(
        feature,
        x=_axis(path, axes, "CX"),
        y=_axis(path, axes, "CY"),
        z=_axis(path, axes, "CZ"),
        shape=shape,
        list_length=list_length,
        points_link="" if link is None else _text(link, "PointDataLink"),
        mask_link="" if link is None else _text(link, "ValidPointsLink"),
        points_md5="" if link is None else _md5(_text(link, "MD5ChecksumPointData")),
        mask_md5="" if link is None else _md5(_text(link, "MD5ChecksumValidPoints")),
        inline=None if inline is None else tuple(data),
        checksum_link="" if record4 is None else _text(record4, "ChecksumFile"),
        is_rotated=_is_rotated(path, child(axes, "Rotation")),
    )


class _Collector:
    """Builds the tree without its points, and keeps the text of each point; what XMLParser calls a target."""

    def __init__(self, path: Path) -> None:
        from xml.etree.ElementTree import TreeBuilder

        self.path = path
        self.points: list[str] = []
        self.events = 0
        self._builder = TreeBuilder()
        self._trail: list[str] = []
        self._count = 0
        self._namespaces = 0
        self._text: str | None = None  # of the point that is being read

    def start_ns(self, prefix: str, uri: str) -> None:
        self._namespaces += 1
        if self._namespaces > MAX_ATTRIBUTES:
            raise _fault(self.path, f"there are more than {MAX_ATTRIBUTES} namespaces")

    def start(self, tag: str, attributes: dict[str, str]) -> None:
        self.events += 1
        if len(attributes) > MAX_ATTRIBUTES:
            raise _fault(self.path, f"an element has more than {MAX_ATTRIBUTES} attributes")
        if self._text is not None:
            raise _fault(self.path, "there are elements inside a Datum")
        name = tag.rpartition("}")[2]
        if name == "Datum" and self._trail and self._trail[-1] == "DataList":
            self._text = ""
            return
        self._trail.append(name)
        self._count += 1
        if len(self._trail) > MAX_DEPTH:
            raise _fault(self.path, f"elements are nested more than {MAX_DEPTH} deep")
        if self._count > MAX_ELEMENTS:
            raise _fault(self.path, f"there are more than {MAX_ELEMENTS} elements")
        self._builder.start(tag, attributes)

    def data(self, text: str) -> None:
        self.events += 1
        if self._text is not None:
            self._text += text
        elif not (self._trail and self._trail[-1] == "DataList"):
            self._builder.data(text)

    def end(self, tag: str) -> None:
        if self._text is not None:
            self.points.append(self._text)
            self._text = None
            return
        self._trail.pop()
        self._builder.end(tag)

    def close(self) -> Element:
        return self._builder.close()


def _parse(path: Path, xml: bytes) -> tuple[Element, list[str]]:
    """The tree without its points, and the text of each point."""
    from defusedxml import ElementTree
    from defusedxml.common import DefusedXmlException

    collector = _Collector(path)
    parser = ElementTree.DefusedXMLParser(target=collector, forbid_dtd=True)
    try:
        events = silent = 0
        for at in range(0, len(xml), _PIECE):
            parser.feed(xml[at : at + _PIECE])
            silent = 0 if collector.events > events else silent + _PIECE
            events = collector.events
            if silent > MAX_TAG:
                raise _fault(path, f"a tag or comment is longer than {MAX_TAG} bytes")
        root = parser.close()
    except DefusedXmlException as error:
        raise InputError(
            path,
            f"its main.xml declares a document type or entities ({type(error).__name__}), which X3P has no "
            "use for",
            "Do not trust the file; export it again from where it was measured",
        ) from error
    except (ElementTree.ParseError, ValueError, LookupError) as error:
        raise _fault(path, f"it is no XML ({error or type(error).__name__})") from error
    return root, collector.points


def _axis(path: Path, axes: Element, name: str) -> Axis:
    axis = _needed(path, axes, name)
    kind = _text(axis, "AxisType").upper()
    letter = _text(axis, "DataType").upper()
    if kind not in ("I", "A"):
        raise _fault(path, f"AxisType of {name} is {kind[:80]!r}; known are I and A")
    if kind == "I" and name == "CZ":
        raise _fault(path, "axis CZ is incremental: there are no heights in it")
    if kind == "I" and not letter:
        letter = "D"  # not stored with the points, so that the type does not matter
    if letter not in DATA_TYPES:
        raise _fault(path, f"DataType of {name} is {letter[:80]!r}; known are {', '.join(DATA_TYPES)}")
    increment = _number(path, axis, "Increment", name)
    if increment is not None and name != "CZ" and kind == "I" and increment <= 0:
        raise _fault(path, f"Increment of {name} is {increment:g}; it must be above 0")
    if increment == 0 and name == "CZ" and DATA_TYPES[letter].kind == "i":
        raise _fault(path, "Increment of CZ is 0: whole numbers times nothing are no heights")
    return Axis(kind == "I", DATA_TYPES[letter], increment, _number(path, axis, "Offset", name) or 0.0)


def _is_rotated(path: Path, rotation: Element | None) -> bool:
    if rotation is None:
        return False
    for row in "123":
        for col in "123":
            value = _number(path, rotation, f"r{row}{col}", "Rotation")
            if value is not None and abs(value - (row == col)) > 1e-6:
                return True
    return False


def _needed(path: Path, parent: Element, name: str) -> Element:
    found = child(parent, name)
    if found is None:
        raise _fault(path, f"{name} is missing in {local_name(parent)[:80]}")
    return found


def _text(parent: Element, name: str) -> str:
    found = child(parent, name)
    return "" if found is None else (found.text or "").strip()


def _number(path: Path, parent: Element, name: str, axis: str) -> float | None:
    text = _text(parent, name)
    if not text:
        return None
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise _fault(path, f"{name} of {axis} is {text[:80]!r}, not a finite number")
    return value


def _whole(path: Path, parent: Element, name: str) -> int:
    text = _text(parent, name)
    if name == "SizeZ" and not text:
        return 1
    if not _WHOLE.fullmatch(text):
        raise _fault(path, f"{name} is {text[:80]!r}, not a whole number")
    return int(text)


def _md5(text: str) -> str:
    return text.lower() if _MD5.fullmatch(text) and set(text) != {"0"} else ""


def _fault(path: Path, what: str) -> InputError:
    return InputError(path, f"its main.xml cannot be used: {what}", _REMEDY)

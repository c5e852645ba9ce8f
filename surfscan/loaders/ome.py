"""OME-XML in a TIFF description: physical pixel size, and whether the pixels are brightness."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from surfscan.loaders.base import ScaleTag
from surfscan.loaders.xml_elements import child, children

if TYPE_CHECKING:
    from xml.etree.ElementTree import Element

DEFAULT_UNIT = "µm"
"""Unit of PhysicalSizeX and PhysicalSizeY where none is written (OME schema, June 2016)."""

_OME = re.compile(r"<(\w+:)?OME[\s>]")
_BRIGHTNESS = re.compile(
    r"\b(intensity|brightness|micrograph|luminance|reflectance|gr[ae]y[ _-]?(level|value|scale)s?)\b", re.I
)
_HEIGHT = re.compile(r"\b(height(s|map)?|depth|topograph\w*|elevation)\b", re.I)
_OPTICAL_ATTRIBUTES = (
    "ContrastMethod",
    "IlluminationType",
    "EmissionWavelength",
    "ExcitationWavelength",
    "Fluor",
)


@dataclass(frozen=True)
class OmeFacts:
    """What the OME-XML says about one page."""

    scale_tag: ScaleTag | None = None
    is_brightness: bool = False
    warnings: tuple[str, ...] = ()


def is_ome(description: str) -> bool:
    """Whether a TIFF description is (or was meant to be) OME-XML."""
    return bool(_OME.search(description[:4096]))


def speaks_of_brightness(text: str) -> bool:
    """Whether free text calls the pixels brightness and does not also speak of heights."""
    return bool(_BRIGHTNESS.search(text)) and not _HEIGHT.search(text)


def read_ome(xml: str, page: int) -> OmeFacts:
    """Facts about page `page` (first page 0) of a TIFF whose description is `xml`.

    The page's image is found by the TiffData entries. Where they do not tell, the images' physical sizes
    are taken if all agree.
    """
    from defusedxml import ElementTree
    from defusedxml.common import DefusedXmlException

    try:
        root = ElementTree.fromstring(xml.strip())
    except (ElementTree.ParseError, DefusedXmlException, ValueError) as error:
        reason = str(error) or type(error).__name__
        return OmeFacts(warnings=(f"The OME metadata cannot be read ({reason}) and was not used.",))
    images = [(image, child(image, "Pixels")) for image in children(root, "Image")]
    known = [(image, pixels) for image, pixels in images if pixels is not None]
    own = [pair for pair in known if page in _pages(pair[1])] or known
    tags = {_scale_tag(pixels) for _, pixels in own}
    warnings: tuple[str, ...] = ()
    if len(tags) > 1:
        listed = "; ".join(sorted(str(t) for t in tags))
        warnings = (f"The OME metadata does not tell which physical size belongs to page {page}: {listed}.",)
    return OmeFacts(
        scale_tag=tags.pop() if len(tags) == 1 else None,
        is_brightness=any(_is_brightness(image, pixels) for image, pixels in own),
        warnings=warnings,
    )


def _pages(pixels: Element) -> set[int]:
    """Pages that TiffData entries give to this image; empty where they do not say."""
    pages: set[int] = set()
    for entry in children(pixels, "TiffData"):
        first, count = entry.get("IFD"), entry.get("PlaneCount", "1")
        if first is not None and first.isdecimal() and count.isdecimal():
            pages.update(range(int(first), int(first) + min(int(count), 1_000_000)))
    return pages


def _scale_tag(pixels: Element) -> ScaleTag | None:
    x, y = (_number(pixels.get(f"PhysicalSize{axis}")) for axis in "XY")
    if x is None and y is None:
        return None
    x_unit, y_unit = (pixels.get(f"PhysicalSize{axis}Unit", DEFAULT_UNIT) for axis in "XY")
    if x is None:
        x_unit = y_unit
    if y is None:
        y_unit = x_unit
    return ScaleTag("OME physical size", "size", x, y, x_unit, y_unit)


def _number(text: str | None) -> float | None:
    """A number; not-a-number where the text is none, so that it is judged; None where absent."""
    if text is None:
        return None
    try:
        return float(text)
    except ValueError:
        return float("nan")


def _is_brightness(image: Element, pixels: Element) -> bool:
    channels = children(pixels, "Channel")
    if any(channel.get(name) for channel in channels for name in _OPTICAL_ATTRIBUTES):
        return True
    description = child(image, "Description")
    texts = [image.get("Name", ""), (description.text or "") if description is not None else ""]
    texts += [channel.get("Name", "") for channel in channels]
    return speaks_of_brightness(" ".join(texts))

"""TIFF, BigTIFF and OME-TIFF: strips and tiles, pyramids, several pages, every usual number type."""

from __future__ import annotations

import logging
import math
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import get_ident
from typing import TYPE_CHECKING, Any

from surfscan.errors import InputError
from surfscan.loaders.base import LoadedImage, ScaleTag, check_size
from surfscan.loaders.exif import orientation_warning
from surfscan.loaders.ome import is_ome, read_ome, speaks_of_brightness
from surfscan.loaders.tiff_pixels import interpret

if TYPE_CHECKING:
    import tifffile

_REMEDY = "Copy or export the file again"
_ASK_FOR_PAGE = (
    "Name the page: page= in Python and in study.toml, --page on the command line; pages count from 0"
)
_LOSSY = {
    6,
    7,
    34892,
    33003,
    33004,
    33005,
    34712,
    50001,
    50002,
    22610,
}  # JPEG, JPEG 2000, WebP, JPEG XL kinds
_REDUCED, _MASK = 1, 4  # bits of NewSubfileType
_ORIENTATION, _X_RESOLUTION, _Y_RESOLUTION, _RESOLUTION_UNIT = 274, 282, 283, 296
_INCH = 2
_UNIT = {1: "", _INCH: "inch", 3: "cm"}
_LISTED = 8


class TiffLoader:
    """Loader of the TIFF family.

    A single-channel floating-point image is a height map in µm, unless the file speaks of brightness: an
    optical attribute (illumination, contrast method, wavelength, fluor) or a word such as "intensity" in the
    OME-XML or the description, or a photometric tag that calls white zero.
    """

    formats = "TIFF, BigTIFF, OME-TIFF"

    def recognises(self, head: bytes) -> bool:
        """Whether a TIFF or BigTIFF byte order and version stand first."""
        return head[:4] in (b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")

    def load(self, path: Path, page: int | None) -> LoadedImage:
        """Read the image or the asked page; see `surfscan.loaders.base.Loader`."""
        import tifffile

        with _complaints() as complaints, tifffile.TiffFile(path) as file:
            index, reported_page = _choose_page(path, file, page, complaints)
            chosen: Any = file.pages[index]
            _check_layout(path, chosen, file.filehandle.size)
            pixels, zero, remarks = interpret(path, chosen, chosen.asarray(squeeze=False))
            file_format, tags, brightness, told = facts_of(file, index)
            remarks += told
            turned = orientation_warning(_whole_number(chosen, _ORIENTATION, 1))
        if turned:
            remarks.append(turned)
        remarks += [f"The TIFF is irregular: {c}." for c in list(dict.fromkeys(complaints))[:_LISTED]]
        heights = pixels.ndim == 2 and pixels.dtype.kind == "f" and not brightness
        return LoadedImage(
            pixels,
            file_format,
            kind="heightmap" if heights else "micrograph",
            page=reported_page,
            lossy=int(chosen.compression) in _LOSSY,
            zero=zero,
            scale_tags=tuple(tags),
            warnings=tuple(remarks),
        )


def facts_of(file: tifffile.TiffFile, index: int) -> tuple[str, list[ScaleTag], bool, list[str]]:
    """What an open file says of one page beside its pixels; nothing is decoded.

    Returns
    -------
    file_format : str
    tags : list of ScaleTag
        Best first.
    brightness : bool
        Whether the file speaks of brightness, so that floating-point pixels are no heights.
    remarks : list of str
    """
    page: Any = file.pages[index]
    description = file.pages[0].description
    tags: list[ScaleTag] = []
    remarks: list[str] = []
    brightness = page.photometric == 0
    file_format = "BigTIFF" if file.is_bigtiff else "TIFF"
    if is_ome(description):
        file_format = "OME-TIFF"
        facts = read_ome(description, index)
        brightness |= facts.is_brightness
        remarks += facts.warnings
        if facts.scale_tag is not None:
            tags.append(facts.scale_tag)
    else:
        brightness |= speaks_of_brightness(page.description)
    resolution = _resolution(page)
    if resolution is not None:
        tags.append(resolution)
    return file_format, tags, brightness, remarks


@contextmanager
def _complaints() -> Iterator[list[str]]:
    """Collect what tifffile logs in this thread instead of letting it reach the screen."""
    messages: list[str] = []
    thread = get_ident()

    def keep(record: logging.LogRecord) -> bool:
        if record.thread != thread:
            return True
        if record.levelno >= logging.WARNING:
            messages.append(record.getMessage())
        return False

    logger = logging.getLogger("tifffile")
    logger.addFilter(keep)
    try:
        yield messages
    finally:
        logger.removeFilter(keep)


def _choose_page(
    path: Path, file: tifffile.TiffFile, asked: int | None, complaints: list[str]
) -> tuple[int, int | None]:
    """The page to read, and the number to report for it (None where the file holds one image).

    Reduced-resolution copies (pyramid levels, thumbnails) and transparency masks are never taken for pages.
    """
    earlier = len(complaints)
    count = len(file.pages)
    damage = complaints[earlier:]
    if count == 0:
        why = f" ({'; '.join(damage)})" if damage else ""
        raise InputError(path, f"the TIFF is damaged: no page can be found{why}", _REMEDY)
    if asked is not None:
        if asked >= count:
            raise InputError(path, f"there is no page {asked}: the last one is {count - 1}", _ASK_FOR_PAGE)
        if count > 1 and _is_secondary(file.pages[asked]):
            raise InputError(
                path,
                f"page {asked} is a reduced copy or a mask of another page",
                "Name the page at full size",
            )
        return asked, asked if count > 1 else None
    if damage:
        raise InputError(
            path,
            f"the list of pages is damaged after page {count - 1} ({'; '.join(damage)})",
            f"Copy the file again; {_ASK_FOR_PAGE[0].lower()}{_ASK_FOR_PAGE[1:]}, if that page is whole",
        )
    full = [i for i in range(count) if not _is_secondary(file.pages[i])] or list(range(count))
    if len(full) == 1:
        return full[0], None
    kinds = [_describe(file.pages[i]) for i in full]
    listed = "; ".join(f"page {i}: {kind}" for i, kind in zip(full[:_LISTED], kinds, strict=False))
    more = f"; and {len(full) - _LISTED} more" if len(full) > _LISTED else ""
    nature = "alike" if len(set(kinds)) == 1 else "unlike each other"
    raise InputError(
        path,
        f"the file holds {len(full)} pages {nature}, and surfscan does not guess which one to measure "
        f"({listed}{more})",
        _ASK_FOR_PAGE,
    )


def _is_secondary(page: Any) -> bool:
    return bool(page.subfiletype & (_REDUCED | _MASK))


def _describe(page: Any) -> str:
    colour = f", {page.samplesperpixel} channels" if page.samplesperpixel > 1 else ""
    return f"{page.imagelength} x {page.imagewidth} px, {page.dtype or 'unknown number type'}{colour}"


def _check_layout(path: Path, page: Any, file_size: int) -> None:
    """Refuse what cannot be decoded whole, before any memory is taken: limits, gaps, strips past the end."""
    if page.dtype is None:
        raise InputError(
            path,
            f"the number type is not read ({page.bitspersample} bits, sample format {page.sampleformat})",
            "Save it with 8, 16 or 32 bits",
        )
    pixel_bytes = page.samplesperpixel * page.dtype.itemsize
    check_size(path, page.imagelength, page.imagewidth, pixel_bytes)
    if page.is_tiled:
        check_size(path, page.tilelength, page.tilewidth, pixel_bytes)
    if page.is_contiguous and page.dataoffsets:
        segments = [(page.dataoffsets[0], page.nbytes)]
    else:
        segments = list(zip(page.dataoffsets, page.databytecounts, strict=False))
        needed = math.prod(page.chunked)
        if len(segments) < needed:
            raise InputError(
                path, f"the TIFF is damaged: {len(segments)} of {needed} strips or tiles are listed", _REMEDY
            )
    for number, (offset, length) in enumerate(segments):
        if offset <= 0 or length <= 0:
            raise InputError(
                path, f"the TIFF is incomplete: strip or tile {number} of {len(segments)} is missing", _REMEDY
            )
        if offset + length > file_size:
            raise InputError(
                path,
                f"the TIFF is truncated: strip or tile {number} of {len(segments)} reaches byte "
                f"{offset + length}, the file ends after {file_size}",
                _REMEDY,
            )


def _resolution(page: Any) -> ScaleTag | None:
    x, y = (_ratio(page.tags.valueof(code)) for code in (_X_RESOLUTION, _Y_RESOLUTION))
    if x is None and y is None:
        return None
    code = _whole_number(page, _RESOLUTION_UNIT, _INCH)
    unit = _UNIT.get(code, f"undefined unit {code}")
    return ScaleTag("TIFF resolution", "density", x, y, unit, unit)


def _ratio(value: Any) -> float | None:
    """A RATIONAL tag as a number; 0 where its denominator is 0, None where it is absent or malformed."""
    if isinstance(value, tuple) and len(value) == 2 and all(isinstance(v, int) for v in value):
        return value[0] / value[1] if value[1] else 0.0
    return float(value) if isinstance(value, (int, float)) else None


def _whole_number(page: Any, code: int, default: int) -> int:
    value = page.tags.valueof(code)
    return int(value) if isinstance(value, int) else default

"""What a loader is and what it hands over: raw pixels, raw scale tags, and what it noticed."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Literal, Protocol

import numpy as np

from surfscan.errors import InputError

Kind = Literal["micrograph", "heightmap"]

MAX_PIXELS = 2**30
"""Largest image opened, in pixels: 1.07 gigapixels (32 768 x 32 768), also what OpenCV decodes at most."""

MAX_DECODED_BYTES = 2**33
"""Largest image opened, in bytes once decoded: 8.6 GB."""


@dataclass(frozen=True)
class ScaleTag:
    """One statement about the scale, as it stands in the file and before anybody judged it.

    Attributes
    ----------
    name : str
        Where it stands, in plain words ("OME physical size", "PNG pHYs").
    kind : {"size", "density"}
        "size": length of one pixel, in the unit. "density": pixels per unit.
    x, y : float or None
        Values along a row and along a column; None where the file gives none.
    x_unit, y_unit : str
        Unit as written; empty where the file says that there is none.
    """

    name: str
    kind: Literal["size", "density"]
    x: float | None
    y: float | None
    x_unit: str
    y_unit: str

    def __str__(self) -> str:
        per = "px/" if self.kind == "density" else ""
        values = ["none" if v is None else f"{v:.6g}" for v in (self.x, self.y)]
        units = [f" {per}{u}" if u else "" for u in (self.x_unit, self.y_unit)]
        if units[0] == units[1]:
            return f"{self.name} {values[0]} x {values[1]}{units[0]}"
        return f"{self.name} {values[0]}{units[0]} x {values[1]}{units[1]}"


@dataclass(frozen=True)
class LoadedImage:
    """One image as a loader found it.

    Attributes
    ----------
    pixels : ndarray of shape (M, N) or (M, N, 3)
        In the file's own number type; colour is red, green, blue; bright is high.
    file_format : str
        Format found from the content ("TIFF", "PNG", ...).
    kind : {"micrograph", "heightmap"}
        What the pixels are, as far as the file tells.
    page : int or None
        Page taken, first page 0; None where the file holds one image.
    lossy : bool
        Whether compression may have changed pixel values.
    zero : float
        What a stored 0 has become: 0, or the brightest value where the file calls white zero.
    scale_tags : tuple of ScaleTag
        Best first.
    height_unit : str
        Unit of the heights as the file states it ("m", "µm"); empty where it states none. Height maps only.
    warnings : tuple of str
    """

    pixels: np.ndarray
    file_format: str
    kind: Kind = "micrograph"
    page: int | None = None
    lossy: bool = False
    zero: float = 0
    scale_tags: tuple[ScaleTag, ...] = ()
    height_unit: str = ""
    warnings: tuple[str, ...] = ()


class Loader(Protocol):
    """Reads one family of formats. Third parties register theirs in entry point group ``surfscan.loaders``.

    The entry point names a class that is built without arguments.
    """

    formats: str
    """Formats read, in plain words, for messages."""

    def recognises(self, head: bytes) -> bool:
        """Whether the first bytes of a file (up to 4096) are of this family; the suffix is not looked at."""
        ...

    def load(self, path: Path, page: int | None) -> LoadedImage:
        """Read one image.

        Raises
        ------
        InputError
            If the file is damaged, holds no image that can be measured, or several and `page` is None.
        """
        ...


def check_size(path: Path, rows: int, cols: int, bytes_per_pixel: int) -> None:
    """Refuse an empty image and one too large to open, before any memory is taken for it.

    Raises
    ------
    InputError
    """
    if rows <= 0 or cols <= 0:
        raise InputError(path, f"the image is empty: {rows} rows x {cols} columns", "Export the image again")
    if rows * cols > MAX_PIXELS:
        raise InputError(
            path,
            f"{rows} x {cols} px is {rows * cols / 1e9:.3g} gigapixels, above the limit of "
            f"{MAX_PIXELS / 1e9:.3g} gigapixels",
            "Cut it into smaller fields; if it should be smaller, the file is damaged",
        )
    if rows * cols * bytes_per_pixel > MAX_DECODED_BYTES:
        raise InputError(
            path,
            f"{rows} x {cols} px decode to {rows * cols * bytes_per_pixel / 1e9:.3g} GB, above the limit of "
            f"{MAX_DECODED_BYTES / 1e9:.3g} GB",
            "Cut it into smaller fields or save fewer bits or channels",
        )


def check_single_image(path: Path, page: int | None) -> None:
    """Refuse a page number other than 0 for a format that holds one image.

    Raises
    ------
    InputError
    """
    if page not in (None, 0):
        raise InputError(path, f"there is no page {page}: the file holds one image", "Leave the page out")

"""Opening images and masks: loaders and calibration put together."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Literal

import numpy as np

from surfscan.calibration import calibrate
from surfscan.errors import InputError
from surfscan.images import HeightMap, Micrograph, Source
from surfscan.loaders import load

SMALL_SIDE_PX = 16
"""An image narrower than this is opened with a warning (common practice, no source)."""

_FLOAT32_EXACT = 2**24


def open_image(
    path: str | Path,
    *,
    page: int | None = None,
    kind: Literal["micrograph", "heightmap"] | None = None,
    pixel_size_um: float | tuple[float, float] | None = None,
    pixel_size_relative_uncertainty: float | None = None,
) -> Micrograph | HeightMap:
    """Open one image by its content, whatever its suffix.

    Parameters
    ----------
    path : str or Path
        PNG, JPEG, BMP, TIFF, BigTIFF, OME-TIFF, or what a registered loader adds.
    page : int, optional
        Page of a file that holds several, first page 0. Pyramid levels and thumbnails are not pages.
    kind : {"micrograph", "heightmap"}, optional
        Overrides what the file says. By itself a single-channel floating-point TIFF is a height map in µm
        unless its metadata speak of brightness, and everything else is a micrograph.
    pixel_size_um : float or (float, float), optional
        Pixel size in µm, square or (x, y); overrides the file.
    pixel_size_relative_uncertainty : float, optional
        Relative standard uncertainty of the pixel size; a declared allowance of 1 % where not given.

    Returns
    -------
    Micrograph or HeightMap
        Micrograph pixels are uint8, uint16 or float32: bits become 0 and 255, other number types become
        float32 with their values kept, not rescaled. Colour whose channels are all alike becomes grey.
        Heights are float32, or float64 where the file has it.

    Raises
    ------
    InputError
        If the file is missing, damaged, of no known format, empty, too large, holds several pages and `page`
        is None, or an argument is impossible.
    """
    path = Path(path)
    if kind not in (None, "micrograph", "heightmap"):
        raise InputError(path, f"kind {kind!r} is unknown", "Use micrograph or heightmap")
    loaded = load(path, page)
    calibration, scale_warnings = calibrate(
        loaded.scale_tags, pixel_size_um, relative_uncertainty=pixel_size_relative_uncertainty, path=path
    )
    source = Source(str(path), _sha256(path), loaded.page, loaded.file_format)
    warnings = [*loaded.warnings, *scale_warnings]
    rows, cols = loaded.pixels.shape[:2]
    if min(rows, cols) < SMALL_SIDE_PX:
        warnings.append(f"The image is only {rows} x {cols} px: too small for a figure that can be defended.")
    if (kind or loaded.kind) == "heightmap":
        heights = _as_heights(path, loaded.pixels, warnings)
        return HeightMap(heights, calibration, source, tuple(warnings))
    pixels = _as_brightness(path, _grey_where_alike(loaded.pixels), warnings)
    if loaded.kind == "heightmap":
        warnings.append(
            "Floating-point pixels, by themselves heights in µm, are taken as brightness, as asked."
        )
    return Micrograph(pixels, calibration, source, tuple(warnings))


def open_mask(path: str | Path, shape: tuple[int, int]) -> np.ndarray:
    """Open a mask drawn on an image: any stored value but 0 is inside.

    The stored value counts, also in a TIFF that calls white zero: a bool array written to TIFF may be such.

    Parameters
    ----------
    path : str or Path
        Any format that is read without loss.
    shape : (int, int)
        Rows and columns of the image that it belongs to.

    Returns
    -------
    ndarray of shape `shape`, bool

    Raises
    ------
    InputError
        If it cannot be opened, is of another size, or is compressed with loss.
    """
    path = Path(path)
    loaded = load(path)
    if loaded.lossy:
        raise InputError(
            path,
            f"the mask is compressed with loss ({loaded.file_format}), which changes its values",
            "Save the mask as PNG or TIFF",
        )
    rows, cols = loaded.pixels.shape[:2]
    if (rows, cols) != tuple(shape):
        raise InputError(
            path,
            f"the mask is {rows} x {cols} px, the image is {shape[0]} x {shape[1]} px (rows x columns)",
            "Draw the mask on this image, at its full size",
        )
    inside = loaded.pixels != loaded.zero
    if loaded.pixels.dtype.kind == "f":
        inside &= ~np.isnan(loaded.pixels)
    return inside if inside.ndim == 2 else inside.any(axis=2)


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _grey_where_alike(pixels: np.ndarray) -> np.ndarray:
    """One channel of a colour image whose channels are all alike; any other image as it is."""
    if pixels.ndim == 3 and all(np.array_equal(pixels[..., 0], pixels[..., k]) for k in (1, 2)):
        return np.ascontiguousarray(pixels[..., 0])
    return pixels


def _as_brightness(path: Path, pixels: np.ndarray, warnings: list[str]) -> np.ndarray:
    if pixels.dtype in (np.uint8, np.uint16):
        return pixels
    if pixels.dtype == bool:
        return pixels.astype(np.uint8) * np.uint8(255)
    if pixels.dtype.kind in "iu":
        warnings.append(f"Pixels of type {pixels.dtype} are held as float32; their values are kept.")
        if pixels.dtype.itemsize > 2 and max(abs(int(pixels.min())), abs(int(pixels.max()))) > _FLOAT32_EXACT:
            warnings.append(f"Pixel values above {_FLOAT32_EXACT} are rounded to 7 digits.")
        return pixels.astype(np.float32)
    with np.errstate(over="ignore"):
        values = pixels.astype(np.float32, copy=False)
    return _without_infinities(path, values, warnings)


def _as_heights(path: Path, pixels: np.ndarray, warnings: list[str]) -> np.ndarray:
    if pixels.ndim != 2:
        raise InputError(path, "a colour image cannot be a height map", "Open it as a micrograph")
    if pixels.dtype.kind != "f":
        warnings.append(f"Whole numbers ({pixels.dtype}) are taken as heights in µm.")
        return pixels.astype(np.float32 if pixels.dtype.itemsize <= 2 else np.float64)
    values = pixels.astype(np.float32) if pixels.dtype.itemsize < 4 else pixels
    return _without_infinities(path, values, warnings)


def _without_infinities(path: Path, values: np.ndarray, warnings: list[str]) -> np.ndarray:
    """Not-a-number for infinite values; InputError where no pixel holds a number."""
    finite = np.isfinite(values)
    missing = int(values.size - np.count_nonzero(finite))
    if missing == values.size:
        raise InputError(path, "no pixel holds a number", "Export the image again")
    if missing:
        infinite = int(np.count_nonzero(np.isinf(values)))
        if infinite:
            values = np.where(finite, values, np.asarray(np.nan, values.dtype))
            warnings.append(f"{infinite} infinite values are treated as not recorded.")
        warnings.append(f"{missing} of {values.size} values are not recorded (not a number).")
    return values

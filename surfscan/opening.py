"""Opening images and masks: loaders and calibration put together."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Literal

import numpy as np

from surfscan.calibration import DEFAULT_HEIGHT_UNIT, HeightScale, calibrate, judge_heights, judge_relief
from surfscan.calibration.bar_scale import read_scale
from surfscan.errors import InputError
from surfscan.images import HeightMap, Micrograph, Source
from surfscan.loaders import LoadedImage, load

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
    height_unit: str | None = None,
    read_bar: bool = True,
) -> Micrograph | HeightMap:
    """Open one image by its content, whatever its suffix.

    Parameters
    ----------
    path : str or Path
        PNG, JPEG, BMP, TIFF, BigTIFF, OME-TIFF, X3P, or what a registered loader adds.
    page : int, optional
        Page, or layer of a height map, of a file that holds several, first page 0. Pyramid levels and
        thumbnails are not pages.
    kind : {"micrograph", "heightmap"}, optional
        Overrides what the file says. By itself a single-channel floating-point TIFF is a height map in µm
        unless its metadata speak of brightness, a format of heights is a height map, and everything else is
        a micrograph. A file that states the unit of its heights is never a micrograph.
    pixel_size_um : float or (float, float), optional
        Pixel size in µm, square or (x, y); overrides the file.
    pixel_size_relative_uncertainty : float, optional
        Relative standard uncertainty of the pixel size; a declared allowance of 1 % where not given.
    height_unit : str, optional
        Unit of the heights ("µm", "nm", "m"); overrides the file. By itself what the file states, judged by
        its pitch (`surfscan.calibration.judge_heights`), and µm where it states none.
    read_bar : bool
        Whether a scale bar drawn on a micrograph is looked for. Where neither the file nor `pixel_size_um`
        gives the scale, a bar whose reading is sure enough does (`surfscan.calibration.bar_scale`); a
        doubtful one is offered in a warning. Where they give one, a bar that says otherwise is reported.
        Either way bar and label are noted in `Micrograph.overlays`.

    Returns
    -------
    Micrograph or HeightMap
        Micrograph pixels are uint8, uint16 or float32: bits become 0 and 255, other number types become
        float32 with their values kept, not rescaled. Colour whose channels are all alike becomes grey.
        Heights are in µm, turned into them with float64 arithmetic: float32 where the file holds float32,
        float16 or whole numbers up to 16 bits, float64 otherwise.

    Raises
    ------
    InputError
        If the file is missing, damaged, of no known format, empty, too large, holds several pages and `page`
        is None, or an argument is impossible, or does not go with what the file holds.
    """
    path = Path(path)
    if kind not in (None, "micrograph", "heightmap"):
        raise InputError(path, f"kind {kind!r} is unknown", "Use micrograph or heightmap")
    loaded = load(path, page)
    is_height_map = (kind or loaded.kind) == "heightmap"
    if not is_height_map and (loaded.height_unit or height_unit is not None):
        raise _heights_and_brightness(path, loaded, height_unit)
    scale = HeightScale(1.0, loaded.scale_tags)
    if is_height_map:
        scale = judge_heights(loaded.height_unit, loaded.scale_tags, height_unit, path=path)
    calibration, scale_warnings = calibrate(
        scale.scale_tags, pixel_size_um, relative_uncertainty=pixel_size_relative_uncertainty, path=path
    )
    source = Source(str(path), _sha256(path), loaded.page, loaded.file_format)
    warnings = [*loaded.warnings, *scale.warnings, *scale_warnings]
    rows, cols = loaded.pixels.shape[:2]
    if min(rows, cols) < SMALL_SIDE_PX:
        warnings.append(f"The image is only {rows} x {cols} px: too small for a figure that can be defended.")
    if is_height_map:
        heights = _as_heights(path, loaded.pixels, scale.um_per_unit, height_unit, warnings)
        relief = float(np.fmax.reduce(heights, axis=None)) - float(np.fmin.reduce(heights, axis=None))
        field = None
        if calibration is not None:
            field = max(cols * calibration.pixel_size_x_um, rows * calibration.pixel_size_y_um)
        warnings += judge_relief(relief, field)
        return HeightMap(heights, calibration, source, tuple(warnings))
    pixels = _as_brightness(path, _grey_where_alike(loaded.pixels), warnings)
    if loaded.kind == "heightmap":
        warnings.append(
            "Floating-point pixels, by themselves heights in µm, are taken as brightness, as asked."
        )
    if not read_bar:
        return Micrograph(pixels, calibration, source, tuple(warnings))
    known_um = calibration.pixel_size_x_um if calibration else None
    reading = read_scale(pixels, metadata_um=known_um, only_contradiction=calibration is not None)
    if calibration is None and reading.calibration is not None:
        warnings = [warning for warning in warnings if warning not in scale_warnings]
    if calibration is None:
        calibration = reading.calibration
        warnings += reading.warnings
    else:
        warnings += [reading.contradiction] if reading.contradiction else []
    return Micrograph(pixels, calibration, source, tuple(warnings), reading.overlays)


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


def _as_heights(
    path: Path, pixels: np.ndarray, um_per_unit: float, stated_unit: str | None, warnings: list[str]
) -> np.ndarray:
    """Heights in µm; a view of the pixels where they are that already."""
    if pixels.ndim != 2:
        raise InputError(path, "a colour image cannot be a height map", "Open it as a micrograph")
    opened = np.float32 if pixels.dtype.itemsize <= (4 if pixels.dtype.kind == "f" else 2) else np.float64
    if pixels.dtype.kind != "f":
        unit = stated_unit or DEFAULT_HEIGHT_UNIT
        warnings.append(f"Whole numbers ({pixels.dtype}) are taken as heights in {unit}.")
    if um_per_unit == 1:
        heights = pixels.astype(opened, copy=False)
    else:
        heights = np.empty(pixels.shape, opened)
        with np.errstate(over="ignore"):
            np.multiply(pixels, um_per_unit, out=heights, dtype=np.float64, casting="same_kind")
    if pixels.dtype.kind != "f":
        return heights
    return _without_infinities(path, heights, warnings, warn_of_gaps=False)  # results give the fraction


def _heights_and_brightness(path: Path, loaded: LoadedImage, height_unit: str | None) -> InputError:
    if loaded.height_unit:
        return InputError(
            path,
            f"the {loaded.file_format} file states heights in {loaded.height_unit}: it is no micrograph",
            "Open it as a height map",
        )
    return InputError(
        path,
        f"a height unit ({height_unit!r}) is stated for what is taken as a micrograph",
        "Leave the unit out, or open the image as a height map",
    )


def _without_infinities(
    path: Path, values: np.ndarray, warnings: list[str], *, warn_of_gaps: bool = True
) -> np.ndarray:
    """Not-a-number for infinite values; InputError where no pixel holds a number.

    Every not-a-number becomes the plain quiet one: signalling ones, which some programs write for a missing
    value, spread through minima and maxima that are meant to pass over them.
    """
    finite = np.isfinite(values)
    missing = int(values.size - np.count_nonzero(finite))
    if missing == values.size:
        raise InputError(path, "no pixel holds a number", "Export the image again")
    if missing:
        infinite = int(np.count_nonzero(np.isinf(values)))
        values = np.where(finite, values, np.asarray(np.nan, values.dtype))
        if infinite:
            warnings.append(f"{infinite} infinite values are treated as not recorded.")
        if warn_of_gaps:
            warnings.append(f"{missing} of {values.size} values are not recorded (not a number).")
    return values

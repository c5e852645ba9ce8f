"""Pixel size from what a file says about itself, judged, or from what the user states.

A file's resolution tag is often a printer default and not the scale of a microscope. Such a tag, and one
that is impossible, is treated as unknown, with a warning that names the value. An unknown scale stays
unknown: it is never taken as 1 µm.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from numbers import Real
from pathlib import Path
from typing import Any

from surfscan.calibration.uncertainty import DECLARED_SCALE_ALLOWANCE
from surfscan.calibration.units import um_per_unit
from surfscan.errors import InputError
from surfscan.images import Calibration
from surfscan.loaders.base import ScaleTag

PRINTER_DPI = (72, 96, 100, 120, 150, 180, 200, 240, 300, 350, 400, 600, 1200)
"""Pixels per inch that screens, printers, cameras and flatbed scanners write (common practice, no source)."""

SMALLEST_PIXEL_UM, LARGEST_PIXEL_UM = 1e-4, 1e3
"""Pixel sizes outside 0.1 nm to 1 mm are taken as mistakes (common practice, no source)."""

DISAGREEMENT = 0.01
"""Two scales of one image that differ by more than this fraction are reported."""

REMEDY = "State the pixel size: --pixel-size-um on the command line, pixel_size_um in study.toml."

_UM_PER_INCH = 25400.0
_DPI_TOLERANCE = 0.005  # relative: 72 dpi comes back as 72.009 from 2835 px/m, 299.72 from 118 px/cm


def calibrate(
    tags: Sequence[ScaleTag],
    pixel_size_um: float | tuple[float, float] | None = None,
    *,
    relative_uncertainty: float | None = None,
    path: Path | None = None,
) -> tuple[Calibration | None, tuple[str, ...]]:
    """Decide on the pixel size of an image.

    Parameters
    ----------
    tags : sequence of ScaleTag
        What the file says, best first.
    pixel_size_um : float or (float, float), optional
        Stated pixel size, µm, square or (x, y); it wins over the file.
    relative_uncertainty : float, optional
        Relative standard uncertainty (k = 1) of the pixel size; `DECLARED_SCALE_ALLOWANCE` where not given.
    path : Path, optional
        The image, for error messages.

    Returns
    -------
    calibration : Calibration or None
        None where no scale can be defended.
    warnings : tuple of str

    Raises
    ------
    InputError
        If a stated value is not a possible pixel size or uncertainty.
    """
    uncertainty = _check_uncertainty(relative_uncertainty, path)
    judged = [(tag, *judge(tag)) for tag in tags]
    usable = [(tag, size) for tag, size, _ in judged if size is not None]
    warnings: list[str] = []
    if pixel_size_um is not None:
        x, y = _check_stated(pixel_size_um, path)
        if usable and _differ((x, y), usable[0][1]):
            warnings.append(
                f"The stated pixel size {_text((x, y))} is used; the file says {_text(usable[0][1])} "
                f"({usable[0][0]})."
            )
        return Calibration(x, y, uncertainty, "stated pixel size"), tuple(warnings)
    if not usable:
        reasons = [reason for _, _, reason in judged if reason] or ["The file gives none."]
        return None, (f"No usable scale: {' '.join(reasons)} {REMEDY}",)
    tag, (x, y) = usable[0]
    for other, _, reason in judged:
        if other is tag:
            break
        warnings.append(f"{reason} {tag} is used instead.")
    for other, size in usable[1:]:
        if _differ((x, y), size):
            warnings.append(f"{tag} is used ({_text((x, y))}); {other} would give {_text(size)}.")
    if tag.x is None or tag.y is None:
        warnings.append(f"{tag} gives one direction only; pixels are taken as square.")
    return Calibration(x, y, uncertainty, f"file metadata: {tag}"), tuple(warnings)


def judge(tag: ScaleTag) -> tuple[tuple[float, float] | None, str]:
    """Pixel size (x, y) that a tag gives, µm; or None and the reason why it is no microscope scale.

    A tag that gives one direction only is read as square pixels.
    """
    values = (tag.x if tag.x is not None else tag.y, tag.y if tag.y is not None else tag.x)
    units = (um_per_unit(tag.x_unit), um_per_unit(tag.y_unit))
    sizes = []
    for value, um, unit in zip(values, units, (tag.x_unit, tag.y_unit), strict=True):
        if not unit:
            return None, f"{tag} has no absolute unit."
        if value is None or not math.isfinite(value) or value <= 0:
            return None, f"{tag} is not a size above 0."
        if um is None:
            return None, f"{tag} is in no unit of length that is known."
        size = value * um if tag.kind == "size" else um / value
        dpi = _UM_PER_INCH / size
        if tag.kind == "density" and _is_printer_default(value, um, dpi):
            return None, f"{tag} is a printer or camera default ({dpi:.4g} dpi), not a microscope scale."
        if not SMALLEST_PIXEL_UM <= size <= LARGEST_PIXEL_UM:
            return None, f"{tag} gives pixels of {size:.4g} µm, outside 0.1 nm to 1 mm."
        sizes.append(size)
    return (sizes[0], sizes[1]), ""


def _is_printer_default(density: float, um_per_unit_length: float, dpi: float) -> bool:
    """Whether a density is one of `PRINTER_DPI`, also after rounding to whole pixels per cm or m."""
    for default in PRINTER_DPI:
        exact = default * um_per_unit_length / _UM_PER_INCH
        if abs(dpi - default) <= _DPI_TOLERANCE * default:
            return True
        if density in (math.floor(exact), round(exact)):
            return True
    return False


def _check_stated(pixel_size_um: Any, path: Path | None) -> tuple[float, float]:
    pair = pixel_size_um if isinstance(pixel_size_um, (tuple, list)) else (pixel_size_um, pixel_size_um)
    if len(pair) != 2 or not all(isinstance(v, Real) and not isinstance(v, bool) for v in pair):
        raise InputError(path, f"pixel size {pixel_size_um!r} is neither a number nor two", "State it in µm")
    x, y = float(pair[0]), float(pair[1])
    if not all(math.isfinite(v) and SMALLEST_PIXEL_UM <= v <= LARGEST_PIXEL_UM for v in (x, y)):
        raise InputError(
            path,
            f"pixel size {pixel_size_um!r} µm is outside {SMALLEST_PIXEL_UM:g} to {LARGEST_PIXEL_UM:g} µm",
            "State the size of one pixel in µm",
        )
    return x, y


def _check_uncertainty(value: Any, path: Path | None) -> float:
    if value is None:
        return DECLARED_SCALE_ALLOWANCE
    if isinstance(value, bool) or not isinstance(value, Real) or not 0 < float(value) < 1:
        raise InputError(
            path,
            f"relative uncertainty {value!r} of the pixel size is not between 0 and 1",
            "State a fraction such as 0.005",
        )
    return float(value)


def _differ(a: tuple[float, float], b: tuple[float, float]) -> bool:
    return any(abs(p - q) > DISAGREEMENT * max(p, q) for p, q in zip(a, b, strict=True))


def _text(size: tuple[float, float]) -> str:
    return f"{size[0]:.5g} x {size[1]:.5g} µm"

"""Unit of heights: from what a file says, judged by its pitch, or from what the user states.

A height that comes without a unit is read as µm: the declared convention for arrays, grids of text and
floating-point TIFF, OME-TIFF included (OME knows a unit for the spacing of a stack, none for pixel values).

Formats that state metres by definition are filled with other units by some writers. A pitch above 1 mm is
not a microscope's; what such a number can be instead decides (`judge_heights`).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from surfscan.calibration.metadata import LARGEST_PIXEL_UM, SMALLEST_PIXEL_UM
from surfscan.calibration.units import um_per_unit
from surfscan.errors import InputError
from surfscan.loaders.base import ScaleTag

DEFAULT_HEIGHT_UNIT = "µm"
"""Unit of heights where neither file nor user states one."""

SMALLEST_RELIEF_UM = 1e-5
"""Heights that vary by less than this, 0.01 nm, are warned about (common practice, no source)."""

LARGEST_RELIEF_TO_FIELD = 3.0
"""Heights that vary by more than this times the longer side of the field are warned about (common practice,
no source)."""

_UM_PER_METRE, _UM_PER_MM = 1e6, 1e3
_OVERRULE = (
    "Where that is wrong, state both: --pixel-size-um and --height-unit on the command line, pixel_size_um "
    "and height_unit in study.toml."
)
_SHARED = (
    "{0} is no pitch of a microscope. The unit stated for the heights, {1}, is taken for the pitch too. "
    "Where that is wrong, state the pixel size: --pixel-size-um on the command line, pixel_size_um in "
    "study.toml."
)
_STATE = "State it: --height-unit on the command line, height_unit in study.toml."


@dataclass(frozen=True)
class HeightScale:
    """How heights and pitch of a file are read.

    Attributes
    ----------
    um_per_unit : float
        Micrometres in one unit of the heights.
    scale_tags : tuple of ScaleTag
        The file's tags, in the unit that they are taken to be in.
    warnings : tuple of str
    """

    um_per_unit: float
    scale_tags: tuple[ScaleTag, ...]
    warnings: tuple[str, ...] = ()


def judge_heights(
    file_unit: str,
    scale_tags: Sequence[ScaleTag] = (),
    stated_unit: str | None = None,
    *,
    path: Path | None = None,
) -> HeightScale:
    """Decide on the unit of heights, and on the unit of a pitch that cannot be in metres.

    A pitch stated in metres and above 1 mm (in either direction) is not a microscope's. If the same numbers
    are possible pixels (0.1 nm to 1 mm) in µm and not in mm, pitch and heights are taken as µm. If they
    are possible in mm too, or in neither, the pitch stays unknown and heights are read as µm. Either comes
    with a warning. The limits are common practice, no source.

    Parameters
    ----------
    file_unit : str
        Unit of the heights as the file states it; empty where it states none.
    scale_tags : sequence of ScaleTag
        What the file says about the pitch.
    stated_unit : str, optional
        Unit that the user states; it wins over the file. Where heights and pitch of the file share a unit
        in which the pitch is impossible, it holds for the pitch too, with a warning.
    path : Path, optional
        The file, for error messages.

    Raises
    ------
    InputError
        If a unit is no unit of length that is known.
    """
    tags = tuple(scale_tags)
    absurd = next((tag for tag in tags if _is_absurd(tag)), None)
    one_unit = um_per_unit(file_unit) == _UM_PER_METRE if file_unit else False
    if stated_unit is not None:
        factor = _length(stated_unit, "stated", path)
        if absurd is None or not one_unit or not _is_possible(absurd, factor):
            return HeightScale(factor, tags)
        return HeightScale(factor, _reread(tags, stated_unit), (_SHARED.format(absurd, stated_unit),))
    factor = _length(file_unit or DEFAULT_HEIGHT_UNIT, "in the file", path)
    if absurd is None:
        return HeightScale(factor, tags)
    if _is_possible(absurd, 1.0) and not _is_possible(absurd, _UM_PER_MM):
        what = "Pitch and heights are" if one_unit else "The pitch is"
        warning = f"{absurd} is no pitch of a microscope. {what} taken as µm instead of m. {_OVERRULE}"
        return HeightScale(1.0 if one_unit else factor, _reread(tags, "µm"), (warning,))
    if not one_unit:
        return HeightScale(factor, tags)
    warning = (
        f"{absurd} is no pitch of a microscope, so that the unit of the heights, which the file calls m, is "
        f"unknown too. They are read as µm. {_STATE}"
    )
    return HeightScale(1.0, tags, (warning,))


def judge_relief(relief_um: float, field_um: float | None) -> tuple[str, ...]:
    """Warnings on heights whose unit is likely another than the one taken.

    Parameters
    ----------
    relief_um : float
        Highest less lowest height, µm.
    field_um : float or None
        Longer side of the field, µm; None where the pixel size is unknown.
    """
    if 0 < relief_um < SMALLEST_RELIEF_UM:
        return (f"Heights vary by {relief_um:.3g} µm only, less than an atom: check their unit. {_STATE}",)
    if field_um is not None and relief_um > LARGEST_RELIEF_TO_FIELD * field_um:
        span = f"{relief_um:.4g} µm over a field of {field_um:.4g} µm"
        return (f"Heights vary by {span}: check their unit. {_STATE}",)
    return ()


def _length(unit: str, where: str, path: Path | None) -> float:
    factor = um_per_unit(unit) if isinstance(unit, str) else None
    if factor is None:
        raise InputError(
            path,
            f"the height unit {where}, {unit!r}, is no unit of length that is known",
            "State one such as µm, nm, mm or m: --height-unit on the command line, height_unit in study.toml",
        )
    return factor


def _values(tag: ScaleTag) -> list[float]:
    return [v for v in (tag.x, tag.y) if v is not None]


def _is_absurd(tag: ScaleTag) -> bool:
    """Whether a pitch in metres is above 1 mm."""
    in_metres = tag.kind == "size" and all(um_per_unit(u) == _UM_PER_METRE for u in (tag.x_unit, tag.y_unit))
    return in_metres and any(
        math.isfinite(v) and v * _UM_PER_METRE > LARGEST_PIXEL_UM * (1 + 1e-9) for v in _values(tag)
    )


def _is_possible(tag: ScaleTag, factor: float) -> bool:
    return all(SMALLEST_PIXEL_UM <= v * factor <= LARGEST_PIXEL_UM for v in _values(tag))


def _reread(tags: tuple[ScaleTag, ...], unit: str) -> tuple[ScaleTag, ...]:
    """The tags with every impossible pitch in metres read in `unit`."""
    return tuple(
        replace(tag, name=f"{tag.name} read as {unit}", x_unit=unit, y_unit=unit) if _is_absurd(tag) else tag
        for tag in tags
    )

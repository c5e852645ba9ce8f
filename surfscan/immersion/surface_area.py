"""Wetted surface of plates, tubes and meshes from their dimensions, with uncertainty.

Two kinds of error are told apart: that of each dimension by itself, and that of the tool all were measured
with, which moves them together: a scale error in proportion, an offset (edge finding, anvil) by one length,
outward for outside dimensions and inward for holes and bores.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True)
class Dimension:
    """A measured length.

    Attributes
    ----------
    value_mm : float
    uncertainty_mm : float
        Standard uncertainty by itself, the tool's common error left out.
    """

    value_mm: float
    uncertainty_mm: float = 0.0


@dataclass(frozen=True)
class Tool:
    """Errors that all dimensions measured with one tool share.

    Attributes
    ----------
    scale_relative : float
        Relative standard uncertainty of its scale.
    offset_mm : float
        Standard uncertainty of an offset common to all dimensions, mm.
    """

    scale_relative: float = 0.0
    offset_mm: float = 0.0


@dataclass(frozen=True)
class SurfaceArea:
    """Wetted surface.

    Attributes
    ----------
    area_mm2 : float
    uncertainty_mm2 : float
        Standard uncertainty.
    parts_mm2 : mapping of str to float
        The faces it is made of; masked surface is negative.
    contributions_mm2 : mapping of str to float
        Standard uncertainty by cause.
    """

    area_mm2: float
    uncertainty_mm2: float
    parts_mm2: Mapping[str, float]
    contributions_mm2: Mapping[str, float]

    @property
    def area_cm2(self) -> float:
        """cm²."""
        return self.area_mm2 / 100

    @property
    def relative_uncertainty(self) -> float:
        """Relative standard uncertainty."""
        return self.uncertainty_mm2 / self.area_mm2

    def as_dict(self) -> dict[str, Any]:
        """Ready for JSON."""
        return {
            "area_cm2": self.area_cm2,
            "relative_uncertainty": self.relative_uncertainty,
            "parts_mm2": dict(self.parts_mm2),
            "contributions_mm2": dict(self.contributions_mm2),
        }


@dataclass(frozen=True)
class Masked:
    """Surface that does not meet the solution: lacquer, wire contact, the side a part lies on.

    Attributes
    ----------
    area_mm2 : float
    uncertainty_mm2 : float
        Standard uncertainty.
    """

    area_mm2: float = 0.0
    uncertainty_mm2: float = 0.0


_WHOLE = 1 + 1e-9  # struts as wide in sum as the grid, whatever the rounding of their sum

NOTHING_MASKED, EXACT_TOOL = Masked(), Tool()


def plate_area(
    length: Dimension,
    width: Dimension,
    thickness: Dimension,
    *,
    holes: Sequence[tuple[Dimension, int]] = (),
    is_bottom_wet: bool = True,
    masked: Masked = NOTHING_MASKED,
    tool: Tool = EXACT_TOOL,
) -> SurfaceArea:
    """A rectangular plate with round holes right through.

    Parameters
    ----------
    length, width, thickness : Dimension
    holes : sequence of (Dimension, int)
        Diameter and number of the holes of that diameter. They neither touch nor reach the edge.
    is_bottom_wet : bool, optional
        False where one large face lies on a support or is masked as a whole.
    masked : Masked, optional
    tool : Tool, optional

    Raises
    ------
    ValueError
        If a dimension is not above 0, holes do not fit, or more is masked than there is.
    """
    _refuse_counts(holes=min((count for _, count in holes), default=1))
    names = ("length", "width", "thickness", *(f"hole {k + 1}" for k in range(len(holes))))
    sizes = (length, width, thickness, *(diameter for diameter, _ in holes))
    counts = [count for _, count in holes]
    _refuse_sizes(names, sizes)
    discs = math.fsum(count * diameter.value_mm**2 for diameter, count in holes) * math.pi / 4
    least = min(length.value_mm, width.value_mm)
    if any(d.value_mm >= least for d, _ in holes) or discs >= length.value_mm * width.value_mm:
        raise ValueError("the holes do not fit into the plate")

    def faces(values: Sequence[float]) -> dict[str, float]:
        long, wide, thick, *diameters = values
        circles = math.fsum(n * math.pi / 4 * d**2 for d, n in zip(diameters, counts, strict=True))
        top = long * wide - circles
        out = {"top": top, "bottom": top} if is_bottom_wet else {"top": top}
        out |= {"sides": 2 * long * thick, "ends": 2 * wide * thick}
        walls = math.fsum(n * math.pi * d * thick for d, n in zip(diameters, counts, strict=True))
        return out | ({"hole walls": walls} if diameters else {})

    signs = (1, 1, 1, *(-1 for _ in holes))
    return _summed(faces, names, sizes, signs, masked, tool)


def tube_area(
    outer_diameter: Dimension,
    length: Dimension,
    *,
    inner_diameter: Dimension | None = None,
    is_bore_wet: bool = True,
    wet_ends: int = 2,
    masked: Masked = NOTHING_MASKED,
    tool: Tool = EXACT_TOOL,
) -> SurfaceArea:
    """A round tube, or a rod or wire where no inner diameter is given.

    Parameters
    ----------
    outer_diameter, length : Dimension
    inner_diameter : Dimension, optional
    is_bore_wet : bool, optional
    wet_ends : int, optional
        How many of the two end faces meet the solution.
    masked : Masked, optional
    tool : Tool, optional

    Raises
    ------
    ValueError
        If a dimension is not above 0, the bore is not within the tube, or more is masked than there is.
    """
    if wet_ends not in (0, 1, 2):
        raise ValueError(f"wet_ends must be 0, 1 or 2, got {wet_ends!r}")

    def faces(values: Sequence[float]) -> dict[str, float]:
        outer, long, *bore = values
        inner = bore[0] if bore else 0.0
        out = {"outside": math.pi * outer * long}
        if bore and is_bore_wet:
            out["bore"] = math.pi * inner * long
        return out | {"ends": wet_ends * math.pi / 4 * (outer**2 - inner**2)}

    names, sizes, signs = ["outer diameter", "length"], [outer_diameter, length], [1, 1]
    if inner_diameter is not None:
        names, sizes, signs = [*names, "inner diameter"], [*sizes, inner_diameter], [1, 1, -1]
    _refuse_sizes(names, sizes)
    if inner_diameter is not None and inner_diameter.value_mm >= outer_diameter.value_mm:
        raise ValueError("the inner diameter must be below the outer one")
    return _summed(faces, names, sizes, signs, masked, tool)


def mesh_area(
    length: Dimension,
    width: Dimension,
    thickness: Dimension,
    *,
    long_struts: int,
    cross_struts: int,
    long_strut_width: Dimension,
    cross_strut_width: Dimension,
    is_bottom_wet: bool = True,
    masked: Masked = NOTHING_MASKED,
    tool: Tool = EXACT_TOOL,
) -> SurfaceArea:
    """A flat grid of straight struts of rectangular section that cross at right angles; nodes count once.

    Parameters
    ----------
    length, width : Dimension
        Of the whole grid: every long strut is `length` long, every cross strut `width`.
    thickness : Dimension
    long_struts, cross_struts : int
        Number of struts that run along the length, and across it; each of one kind crosses all of the other.
    long_strut_width, cross_strut_width : Dimension
        Mean widths; their uncertainty is that of the mean, shared by all struts of the kind.
    is_bottom_wet : bool, optional
    masked : Masked, optional
    tool : Tool, optional

    Returns
    -------
    SurfaceArea
        Rounded edges and nodes of a real mesh are not known here: they take off a little.

    Raises
    ------
    ValueError
        If a dimension or number is not above 0, struts overlap, or more is masked than there is.
    """
    _refuse_counts(long_struts=long_struts, cross_struts=cross_struts)

    def faces(values: Sequence[float]) -> dict[str, float]:
        long, wide, thick, w_long, w_cross = values
        top = long_struts * w_long * long + cross_struts * w_cross * wide
        top -= long_struts * cross_struts * w_long * w_cross
        sides = 2 * long_struts * (long - cross_struts * w_cross)
        sides += 2 * cross_struts * (wide - long_struts * w_long)
        ends = 2 * (long_struts * w_long + cross_struts * w_cross)
        out = {"top": top, "bottom": top} if is_bottom_wet else {"top": top}
        return out | {"sides": sides * thick, "ends": ends * thick}

    names = ("length", "width", "thickness", "long strut width", "cross strut width")
    sizes = (length, width, thickness, long_strut_width, cross_strut_width)
    _refuse_sizes(names, sizes)
    across, along = long_struts * long_strut_width.value_mm, cross_struts * cross_strut_width.value_mm
    if across > width.value_mm * _WHOLE or along > length.value_mm * _WHOLE:
        raise ValueError("the struts are wider in sum than the grid")
    return _summed(faces, names, sizes, (1,) * 5, masked, tool)


def _refuse_counts(**counts: int) -> None:
    for name, count in counts.items():
        if count < 1:
            raise ValueError(f"{name} must be 1 or more, got {count!r}")


def _refuse_sizes(names: Sequence[str], sizes: Sequence[Dimension]) -> None:
    for name, size in zip(names, sizes, strict=True):
        if not 0 < size.value_mm < math.inf or not 0 <= size.uncertainty_mm < size.value_mm:
            raise ValueError(
                f"{name} must be above 0 with an uncertainty from 0 to below itself, got {size.value_mm!r} "
                f"and {size.uncertainty_mm!r}"
            )


def _summed(
    faces: Callable[[Sequence[float]], dict[str, float]],
    names: Sequence[str],
    sizes: Sequence[Dimension],
    signs: Sequence[int],
    masked: Masked,
    tool: Tool,
) -> SurfaceArea:
    """The faces added up less what is masked, and the law of propagation by central differences."""
    values = [size.value_mm for size in sizes]
    parts = faces(values)
    gross = math.fsum(parts.values())
    if not 0 <= masked.area_mm2 < gross or masked.uncertainty_mm2 < 0:
        raise ValueError(f"{masked.area_mm2:g} mm² are masked of {gross:g} mm²")
    slopes = [_slope(faces, values, k) for k in range(len(values))]
    causes = {
        name: abs(slope) * size.uncertainty_mm
        for name, slope, size in zip(names, slopes, sizes, strict=True)
        if size.uncertainty_mm
    }
    if tool.scale_relative:
        causes["tool's scale"] = 2 * gross * tool.scale_relative  # an area goes with the square of lengths
    if tool.offset_mm:
        moved = math.fsum(sign * slope for sign, slope in zip(signs, slopes, strict=True))
        causes["tool's offset"] = abs(moved) * tool.offset_mm
    if masked.uncertainty_mm2:
        causes["masked area"] = masked.uncertainty_mm2
    if masked.area_mm2:
        parts = parts | {"masked": -masked.area_mm2}
    combined = math.sqrt(math.fsum(cause**2 for cause in causes.values()))
    return SurfaceArea(gross - masked.area_mm2, combined, parts, causes)


def _slope(faces: Callable[[Sequence[float]], dict[str, float]], values: Sequence[float], k: int) -> float:
    """Change of the area with one dimension. Areas are of second degree, so central differences are exact."""
    step = 1e-4 * values[k]
    up, down = list(values), list(values)
    up[k] += step
    down[k] -= step
    return (math.fsum(faces(up).values()) - math.fsum(faces(down).values())) / (2 * step)

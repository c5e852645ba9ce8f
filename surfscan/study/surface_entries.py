"""Wetted surface of a specimen as its dimensions: a mesh, a plate or a tube."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, model_validator

from surfscan.immersion.surface_area import (
    Dimension,
    Masked,
    SurfaceArea,
    Tool,
    mesh_area,
    plate_area,
    tube_area,
)
from surfscan.study.entry_base import Finite, ManifestTable, NotNegative, Share, one_or_more, own_fault

Size = Annotated[tuple[Finite, ...], BeforeValidator(one_or_more), Field(min_length=1, max_length=2)]
"""A number, or [number, its standard uncertainty]."""

_SHAPES: dict[str, tuple[tuple[str, ...], tuple[str, ...]]] = {
    "mesh": (
        (
            "length_mm",
            "width_mm",
            "thickness_mm",
            "long_struts",
            "cross_struts",
            "long_strut_width_mm",
            "cross_strut_width_mm",
        ),
        ("is_bottom_wet",),
    ),
    "plate": (("length_mm", "width_mm", "thickness_mm"), ("holes_mm", "is_bottom_wet")),
    "tube": (("outer_diameter_mm", "length_mm"), ("inner_diameter_mm", "is_bore_wet", "wet_ends")),
}
"""Shape -> keys that it needs, and keys that it may have."""

_ALWAYS = ("shape", "masked_mm2", "tool_scale_relative", "tool_offset_mm")


class WettedSurface(ManifestTable):
    """Dimensions that a specimen's wetted surface is computed from; uncertainties are standard (k = 1)."""

    shape: Literal["mesh", "plate", "tube"] = Field(
        description="'mesh': a flat grid of straight struts; 'plate': a rectangle with round holes; 'tube': "
        "also a rod or wire, without inner_diameter_mm."
    )
    length_mm: Size | None = Field(None, description="Length, or [length, uncertainty], mm.")
    width_mm: Size | None = Field(None, description="Width of the whole plate or grid, mm.")
    thickness_mm: Size | None = Field(None, description="Thickness of plate or grid, mm.")
    long_struts: Annotated[int, Field(ge=1)] | None = Field(
        None, description="Mesh: struts that run along the length."
    )
    cross_struts: Annotated[int, Field(ge=1)] | None = Field(
        None, description="Mesh: struts that run across it."
    )
    long_strut_width_mm: Size | None = Field(None, description="Mesh: mean width of the long struts, mm.")
    cross_strut_width_mm: Size | None = Field(None, description="Mesh: mean width of the cross struts, mm.")
    holes_mm: Size | None = Field(None, description="Plate: diameter of its holes, mm.")
    hole_count: Annotated[int, Field(ge=1)] = Field(1, description="Plate: number of its holes.")
    outer_diameter_mm: Size | None = Field(None, description="Tube, rod or wire: outer diameter, mm.")
    inner_diameter_mm: Size | None = Field(None, description="Tube: inner diameter, mm.")
    is_bore_wet: bool = Field(True, description="Tube: whether the bore meets the solution.")
    wet_ends: Annotated[int, Field(ge=0, le=2)] = Field(
        2, description="Tube: end faces that meet the solution."
    )
    is_bottom_wet: bool = Field(
        True, description="Mesh and plate: False where one face lies on a support or is masked as a whole."
    )
    masked_mm2: Size = Field((0.0,), description="Surface that meets no solution, mm².")
    tool_scale_relative: Share = Field(
        0.0, description="Relative standard uncertainty of the scale of the tool that measured all of them."
    )
    tool_offset_mm: NotNegative = Field(0.0, description="Standard uncertainty of its offset, mm.")

    @model_validator(mode="after")
    def _is_a_shape(self) -> WettedSurface:
        needed, allowed = _SHAPES[self.shape]
        missing = [name for name in needed if getattr(self, name) is None]
        if missing:
            raise own_fault(
                f"the wetted surface of a {self.shape} lacks {', '.join(missing)}", "Add what is missing"
            )
        more = ("hole_count",) if self.holes_mm is not None else ()
        others = [n for n in self.model_fields_set if n not in (*needed, *allowed, *more, *_ALWAYS)]
        if others:
            raise own_fault(
                f"a {self.shape} has no {', '.join(sorted(others))}",
                f"Its keys are {', '.join((*needed, *allowed))}; take the others out",
            )
        try:
            self.area()
        except ValueError as fault:
            raise own_fault(f"the dimensions cannot be: {fault}", "Correct them; lengths are in mm") from None
        return self

    def area(self) -> SurfaceArea:
        """The wetted surface with its uncertainty and the faces that it is made of."""
        masked, tool = Masked(*self.masked_mm2), Tool(self.tool_scale_relative, self.tool_offset_mm)
        if self.shape == "tube":
            return tube_area(
                _size(self.outer_diameter_mm),
                _size(self.length_mm),
                inner_diameter=None if self.inner_diameter_mm is None else _size(self.inner_diameter_mm),
                is_bore_wet=self.is_bore_wet,
                wet_ends=self.wet_ends,
                masked=masked,
                tool=tool,
            )
        flat = (_size(self.length_mm), _size(self.width_mm), _size(self.thickness_mm))
        if self.shape == "plate":
            holes = () if self.holes_mm is None else ((_size(self.holes_mm), self.hole_count),)
            return plate_area(*flat, holes=holes, is_bottom_wet=self.is_bottom_wet, masked=masked, tool=tool)
        return mesh_area(
            *flat,
            long_struts=self.long_struts or 0,
            cross_struts=self.cross_struts or 0,
            long_strut_width=_size(self.long_strut_width_mm),
            cross_strut_width=_size(self.cross_strut_width_mm),
            is_bottom_wet=self.is_bottom_wet,
            masked=masked,
            tool=tool,
        )


def _size(stated: tuple[float, ...] | None) -> Dimension:
    if stated is None:
        raise ValueError("a dimension is missing")
    return Dimension(*stated)

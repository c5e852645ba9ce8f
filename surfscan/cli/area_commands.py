"""The command that computes a wetted surface from dimensions. Nothing heavy is imported before it runs."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from surfscan.cli.options import JsonOut
from surfscan.errors import InputError

if TYPE_CHECKING:
    from surfscan.immersion.surface_area import SurfaceArea

_NEEDED = {
    "plate": ("length", "width", "thickness"),
    "tube": ("outer_diameter", "length"),
    "mesh": ("length", "width", "thickness", "long_strut_width", "cross_strut_width"),
}
_ALLOWED = {
    "plate": (*_NEEDED["plate"], "holes", "dry_bottom"),
    "tube": (*_NEEDED["tube"], "inner_diameter", "dry_bore", "wet_ends"),
    "mesh": (*_NEEDED["mesh"], "long_struts", "cross_struts", "dry_bottom"),
}


def _hole(text: str) -> tuple[float, int]:
    """'3x4': four holes 3 mm across."""
    diameter, _, count = text.partition("x")
    try:
        return float(diameter), int(count or "1")
    except ValueError:
        raise typer.BadParameter(f"{text!r} is not a diameter in mm and a number such as 3.2x4") from None


def _refuse_odd_holes(texts: list[str] | None) -> list[str] | None:
    for text in texts or ():
        _hole(text)
    return texts


def area(
    shape: Annotated[
        Literal["plate", "tube", "mesh"],
        typer.Argument(help="plate; tube, or rod and wire without inner diameter; mesh of flat struts."),
    ],
    length_mm: Annotated[float, typer.Option(help="Length, mm.")],
    width_mm: Annotated[float | None, typer.Option(help="Width of a plate or mesh, mm.")] = None,
    thickness_mm: Annotated[float | None, typer.Option(help="Thickness of a plate or mesh, mm.")] = None,
    hole: Annotated[
        list[str] | None,
        typer.Option(
            metavar="D[xN]", callback=_refuse_odd_holes, help="N round holes D mm across; may be repeated."
        ),
    ] = None,
    outer_diameter_mm: Annotated[float | None, typer.Option(help="Outer diameter of a tube, mm.")] = None,
    inner_diameter_mm: Annotated[float | None, typer.Option(help="Inner diameter of a tube, mm.")] = None,
    long_struts: Annotated[int | None, typer.Option(help="Struts that run along the length.")] = None,
    cross_struts: Annotated[int | None, typer.Option(help="Struts that run across it.")] = None,
    long_strut_width_mm: Annotated[float | None, typer.Option(help="Their mean width, mm.")] = None,
    cross_strut_width_mm: Annotated[float | None, typer.Option(help="Their mean width, mm.")] = None,
    dry_bottom: Annotated[
        bool, typer.Option("--dry-bottom", help="One large face of a plate or mesh is not wetted.")
    ] = False,
    dry_bore: Annotated[bool, typer.Option("--dry-bore", help="The bore of a tube is not wetted.")] = False,
    wet_ends: Annotated[int | None, typer.Option(help="End faces of a tube that are wetted (2).")] = None,
    masked_mm2: Annotated[float, typer.Option(help="Masked surface, mm².")] = 0.0,
    masked_uncertainty_mm2: Annotated[float, typer.Option(help="Standard uncertainty of it, mm².")] = 0.0,
    uncertainty_mm: Annotated[
        float, typer.Option(help="Standard uncertainty of each dimension by itself, mm.")
    ] = 0.0,
    tool_offset_mm: Annotated[
        float, typer.Option(help="Standard uncertainty of an offset that all dimensions share, mm.")
    ] = 0.0,
    tool_scale_percent: Annotated[
        float, typer.Option(help="Relative standard uncertainty of the tool's scale, %.")
    ] = 0.0,
    json: JsonOut = None,
) -> None:
    """Compute a wetted surface from dimensions: tops, sides, ends, holes, less masking."""
    from surfscan.immersion.surface_area import Dimension, Masked, Tool, mesh_area, plate_area, tube_area

    lengths = {
        "length": length_mm,
        "width": width_mm,
        "thickness": thickness_mm,
        "outer_diameter": outer_diameter_mm,
        "inner_diameter": inner_diameter_mm,
        "long_strut_width": long_strut_width_mm,
        "cross_strut_width": cross_strut_width_mm,
    }
    others = {
        "holes": hole or None,
        "long_struts": long_struts,
        "cross_struts": cross_struts,
        "dry_bottom": dry_bottom or None,
        "dry_bore": dry_bore or None,
        "wet_ends": wet_ends,
    }
    _refuse_wrong_shape(shape, {**lengths, **others})
    sizes: dict[str, Any] = {
        name: Dimension(value, uncertainty_mm) for name, value in lengths.items() if value is not None
    }
    common: dict[str, Any] = {
        "masked": Masked(masked_mm2, masked_uncertainty_mm2),
        "tool": Tool(tool_scale_percent / 100, tool_offset_mm),
    }
    try:
        if shape == "plate":
            holes = [(Dimension(d, uncertainty_mm), n) for d, n in map(_hole, hole or ())]
            found = plate_area(**sizes, holes=holes, is_bottom_wet=not dry_bottom, **common)
        elif shape == "tube":
            ends = 2 if wet_ends is None else wet_ends
            found = tube_area(**sizes, is_bore_wet=not dry_bore, wet_ends=ends, **common)
        else:
            counts: dict[str, Any] = {"long_struts": long_struts, "cross_struts": cross_struts}
            found = mesh_area(**sizes, **counts, is_bottom_wet=not dry_bottom, **common)
    except ValueError as fault:
        raise InputError(None, str(fault), "See `surfscan area --help`") from fault
    _deliver(shape, found, json)


def _refuse_wrong_shape(shape: str, given: dict[str, Any]) -> None:
    """What a shape needs must be there, and nothing that it does not have."""
    missing = [name for name in _NEEDED[shape] if given[name] is None]
    if shape == "mesh":
        missing += [name for name in ("long_struts", "cross_struts") if given[name] is None]
    strange = [name for name, value in given.items() if value is not None and name not in _ALLOWED[shape]]
    for names, what, remedy in (
        (missing, "needs", "Give it"),
        (strange, "does not have", "Leave it out, or name another shape"),
    ):
        if names:
            raise InputError(None, f"a {shape} {what} {', '.join(map(_option, names))}", remedy)


def _option(name: str) -> str:
    if name == "holes":
        return "--hole"
    unit = "" if name in ("long_struts", "cross_struts", "dry_bottom", "dry_bore", "wet_ends") else "-mm"
    return f"--{name.replace('_', '-')}{unit}"


def _deliver(shape: str, found: SurfaceArea, json: Any) -> None:
    from surfscan._version import __version__
    from surfscan.cli.output import write_text
    from surfscan.cli.result_json import plain_json

    if json is not None:
        write_text(json, plain_json({"shape": shape, **found.as_dict(), "version": __version__}) + "\n")
        return
    print(f"{shape}: {found.area_cm2:.5g} cm², standard uncertainty {100 * found.relative_uncertainty:.2g} %")
    for label, faces in (("faces", found.parts_mm2), ("uncertainty", found.contributions_mm2)):
        if faces:
            print(f"  {label}, mm²: " + ", ".join(f"{name} {value:.5g}" for name, value in faces.items()))

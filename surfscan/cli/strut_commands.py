"""The command that measures struts. Nothing heavy is imported before it runs."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

from surfscan.cli.options import (
    HeightUnit,
    JsonOut,
    Kind,
    Page,
    PixelSize,
    Region,
    SettingsFile,
    deliver,
    open_heights,
    open_micrograph,
    open_region,
)


def struts(
    image: Annotated[
        Path,
        typer.Argument(
            metavar="IMAGE", help="Micrograph of one strut or a mesh, backlit or reflected light."
        ),
    ],
    json: JsonOut = None,
    mask: Annotated[
        Path | None, typer.Option(help="Write the struts as a TIFF: 0 background, k strut number k.")
    ] = None,
    before: Annotated[
        Path | None,
        typer.Option(help="The same part before exposure, or its drawing as a picture."),
    ] = None,
    before_pixel_size_um: Annotated[
        float | None,
        typer.Option(help="Pixel size of the picture before, µm; as --pixel-size-um where not given."),
    ] = None,
    drawn_width_um: Annotated[float | None, typer.Option(help="Drawn width of the struts, µm.")] = None,
    drawn_thickness_um: Annotated[
        float | None, typer.Option(help="Drawn thickness, µm: sections from it are upper bounds.")
    ] = None,
    thickness_um: Annotated[
        float | None, typer.Option(help="Thickness measured after exposure (height map, side view), µm.")
    ] = None,
    side_view: Annotated[
        Path | None,
        typer.Option(help="The struts seen from the side: their width there is the measured thickness."),
    ] = None,
    height_map: Annotated[
        Path | None,
        typer.Option(
            help="Height map of a strut lying flat on a stage: its height above the stage is the measured "
            "thickness."
        ),
    ] = None,
    height_unit: HeightUnit = None,
    shape: Annotated[
        Literal["rectangle", "ellipse", "trapezoid"] | None, typer.Option(help="Drawn shape of the section.")
    ] = None,
    top_width_um: Annotated[
        float | None, typer.Option(help="Trapezoid: width of the narrower face, µm.")
    ] = None,
    polarity: Annotated[
        Literal["auto", "dark", "light"] | None,
        typer.Option(help="Struts darker or lighter than their background."),
    ] = None,
    region: Region = None,
    pixel_size_um: PixelSize = None,
    settings: SettingsFile = None,
    page: Page = None,
    kind: Kind = None,
) -> None:
    """Measure widths along every strut and the remaining cross-section."""
    from surfscan.cli.settings_file import read_settings, with_stated
    from surfscan.procedures import measure_struts
    from surfscan.procedures.settings import StrutSettings

    chosen = with_stated(
        read_settings(settings, "struts", StrutSettings),
        "struts",
        image,
        options=_OPTIONS,
        drawn_width_um=drawn_width_um,
        drawn_thickness_um=drawn_thickness_um,
        thickness_um=thickness_um,
        drawn_shape=shape,
        drawn_top_width_um=top_width_um,
        polarity=polarity,
    )
    picture = open_micrograph(
        "struts", image, pixel_size_um=pixel_size_um, page=page, kind=kind, outputs=(mask, json)
    )
    earlier = None
    if before is not None:
        size = pixel_size_um if before_pixel_size_um is None else str(before_pixel_size_um)
        earlier = open_micrograph("struts", before, pixel_size_um=size)
    result = measure_struts(
        picture,
        chosen,
        region=open_region(region, picture),
        before=earlier,
        side_view=None
        if side_view is None
        else open_micrograph("struts", side_view, pixel_size_um=pixel_size_um),
        thickness_map=None
        if height_map is None
        else open_heights("struts --height-map", height_map, height_unit=height_unit),
    )
    deliver(result, "struts", mask, json)


_OPTIONS = {"drawn_shape": "shape", "drawn_top_width_um": "top-width-um"}

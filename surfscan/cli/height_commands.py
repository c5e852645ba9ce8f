"""Commands that measure only height maps. Nothing heavy is imported before one runs."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

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
    open_region,
)

Heights = Annotated[
    Path,
    typer.Argument(metavar="HEIGHTMAP", help="Height map: SDF, X3P, float TIFF or OME-TIFF, NPY, text grid."),
]


def texture(
    heightmap: Heights,
    json: JsonOut = None,
    region: Region = None,
    pixel_size_um: PixelSize = None,
    settings: SettingsFile = None,
    page: Page = None,
    kind: Kind = None,
    height_unit: HeightUnit = None,
) -> None:
    """Measure the areal texture of a height map (ISO 25178-2)."""
    from surfscan.cli.settings_file import read_settings
    from surfscan.procedures import measure_texture
    from surfscan.procedures.settings import TextureSettings

    chosen = read_settings(settings, "texture", TextureSettings)
    heights = open_heights(
        "texture",
        heightmap,
        pixel_size_um=pixel_size_um,
        height_unit=height_unit,
        page=page,
        kind=kind,
        outputs=(json,),
    )
    result = measure_texture(heights, chosen, region=open_region(region, heights))
    deliver(result, "region", None, json)

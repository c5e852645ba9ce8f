"""Commands that measure one image. Nothing heavy is imported before one runs."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

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
    open_input,
    open_micrograph,
    open_region,
)
from surfscan.errors import InputError

if TYPE_CHECKING:
    from surfscan.images import HeightMap
    from surfscan.procedures.result import Result

Image = Annotated[Path, typer.Argument(metavar="IMAGE", help="Micrograph: PNG, JPEG, BMP, TIFF or OME-TIFF.")]
Surface = Annotated[
    Path,
    typer.Argument(
        metavar="IMAGE",
        help="Micrograph (PNG, JPEG, BMP, TIFF, OME-TIFF) or height map (X3P, SDF, float TIFF, NPY, text).",
    ),
]


def pits(
    image: Surface,
    json: JsonOut = None,
    labels: Annotated[
        Path | None, typer.Option(help="Write the numbered pits as a TIFF label image.")
    ] = None,
    region: Region = None,
    datum: Annotated[
        Path | None,
        typer.Option(help="Height maps: mask of surface that was covered and never corroded."),
    ] = None,
    unexposed: Annotated[
        Path | None,
        typer.Option(help="Height maps: the same field before exposure, registered to this one."),
    ] = None,
    pixel_size_um: PixelSize = None,
    height_unit: HeightUnit = None,
    settings: SettingsFile = None,
    page: Page = None,
    kind: Kind = None,
) -> None:
    """Find, outline and count pits: dark ones on a micrograph, deep ones on a height map."""
    from surfscan.cli.settings_file import read_settings
    from surfscan.images import Micrograph
    from surfscan.procedures import measure_pits
    from surfscan.procedures.settings import HeightPitSettings, PitSettings

    surface = open_input(
        image,
        pixel_size_um=pixel_size_um,
        height_unit=height_unit,
        page=page,
        kind=kind,
        outputs=(labels, json),
    )
    where = open_region(region, surface)
    result: Result
    if isinstance(surface, Micrograph):
        _refuse_on_picture(image, {"--datum": datum, "--unexposed": unexposed, "--height-unit": height_unit})
        result = measure_pits(surface, read_settings(settings, "pits", PitSettings), region=where)
    else:
        result = measure_pits(
            surface,
            read_settings(settings, "height_pits", HeightPitSettings),
            region=where,
            datum=open_region(datum, surface),
            unexposed=_before(unexposed, pixel_size_um, height_unit),
        )
    deliver(result, "pits", labels, json)


def degraded(
    image: Image,
    json: JsonOut = None,
    mask: Annotated[
        Path | None,
        typer.Option(help="Write the classes as a TIFF: 0 metal, 1 tarnished (of 3 classes), 2 degraded."),
    ] = None,
    region: Region = None,
    pixel_size_um: PixelSize = None,
    settings: SettingsFile = None,
    page: Page = None,
    kind: Kind = None,
) -> None:
    """Measure how much of a surface is corroded or covered."""
    from surfscan.cli.settings_file import read_settings
    from surfscan.procedures import measure_degraded
    from surfscan.procedures.settings import DegradedSettings

    chosen = read_settings(settings, "degraded", DegradedSettings)
    picture = open_micrograph(
        "degraded", image, pixel_size_um=pixel_size_um, page=page, kind=kind, outputs=(mask, json)
    )
    result = measure_degraded(picture, chosen, region=open_region(region, picture))
    deliver(result, "degraded", mask, json)


def _before(path: Path | None, pixel_size_um: str | None, height_unit: str | None) -> HeightMap | None:
    if path is None:
        return None
    return open_heights("--unexposed", path, pixel_size_um=pixel_size_um, height_unit=height_unit)


def _refuse_on_picture(image: Path, options: dict[str, object]) -> None:
    """Options that only a height map can honour are refused on a picture, not passed over."""
    given = [name for name, value in options.items() if value is not None]
    if given:
        raise InputError(
            image,
            f"is a picture, and {' and '.join(given)} can be used on a height map only",
            f"Leave {' and '.join(given)} out; if its numbers are heights in µm, say --kind heightmap",
        )

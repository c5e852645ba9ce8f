"""Commands that measure one image. Nothing heavy is imported before one runs."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from surfscan.errors import InputError

if TYPE_CHECKING:
    import numpy as np

    from surfscan.images import Micrograph
    from surfscan.procedures.result import Result


def _pixel_size(text: str) -> float | tuple[float, float]:
    """'0.5' or '0.5,0.6' (x, y) as µm."""
    try:
        sizes = [float(part) for part in text.split(",")]
    except ValueError:
        sizes = []
    if len(sizes) not in (1, 2):
        raise typer.BadParameter(f"{text!r} is neither one number nor two as X,Y, in µm")
    return sizes[0] if len(sizes) == 1 else (sizes[0], sizes[1])


def _refuse_odd_pixel_size(text: str | None) -> str | None:
    if text is not None:
        _pixel_size(text)
    return text


Image = Annotated[Path, typer.Argument(metavar="IMAGE", help="Micrograph: PNG, JPEG, BMP, TIFF or OME-TIFF.")]
JsonOut = Annotated[
    Path | None, typer.Option("--json", help="Write the result as JSON here; '-' for standard output.")
]
PixelSize = Annotated[
    str | None,
    typer.Option(
        help="Pixel size in µm, or X,Y where they differ; overrides the file.",
        metavar="X[,Y]",
        callback=_refuse_odd_pixel_size,
    ),
]
SettingsFile = Annotated[
    Path | None,
    typer.Option("--settings", help="TOML file with [pits] and [degraded] tables, or a study.toml."),
]
Page = Annotated[int | None, typer.Option(min=0, help="Page of a multi-page file; the first is 0.")]
Kind = Annotated[
    Literal["micrograph", "heightmap"] | None,
    typer.Option(help="What a single-channel float TIFF is; without this a height map in µm."),
]
Region = Annotated[
    Path | None, typer.Option(help="Mask image of the same size: what is not 0 is the specimen.")
]


def pits(
    image: Image,
    json: JsonOut = None,
    labels: Annotated[
        Path | None, typer.Option(help="Write the numbered pits as a TIFF label image.")
    ] = None,
    region: Region = None,
    pixel_size_um: PixelSize = None,
    settings: SettingsFile = None,
    page: Page = None,
    kind: Kind = None,
) -> None:
    """Find, outline and count the dark pits of a micrograph."""
    from surfscan.cli.settings_file import read_settings
    from surfscan.procedures import measure_pits
    from surfscan.procedures.settings import PitSettings

    chosen = read_settings(settings, "pits", PitSettings)
    picture = _open("pits", image, pixel_size_um, page, kind, outputs=(labels, json))
    result = measure_pits(picture, chosen, region=_region(region, picture))
    _deliver(result, "pits", labels, json)


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
    picture = _open("degraded", image, pixel_size_um, page, kind, outputs=(mask, json))
    result = measure_degraded(picture, chosen, region=_region(region, picture))
    _deliver(result, "degraded", mask, json)


def _open(
    command: str,
    image: Path,
    pixel_size_um: str | None,
    page: int | None,
    kind: Literal["micrograph", "heightmap"] | None,
    outputs: Sequence[Path | None],
) -> Micrograph:
    """The micrograph to measure, refused before any work where an output would replace it."""
    from surfscan.cli.memory import keep_freed_memory
    from surfscan.cli.output import refuse_unwritable
    from surfscan.images import Micrograph
    from surfscan.opening import open_image

    keep_freed_memory()
    size = None if pixel_size_um is None else _pixel_size(pixel_size_um)
    refuse_unwritable(image, outputs)
    opened = open_image(image, page=page, kind=kind, pixel_size_um=size)
    if not isinstance(opened, Micrograph):
        raise InputError(
            image,
            f"is a height map, and `{command}` measures only micrographs in this version",
            "If it is a picture, say --kind micrograph",
        )
    return opened


def _region(path: Path | None, picture: Micrograph) -> np.ndarray | None:
    from surfscan.opening import open_mask

    return None if path is None else open_mask(path, picture.shape)


def _deliver(result: Result, mask: str, mask_path: Path | None, json: Path | None) -> None:
    """Write what was asked for; the summary goes to the terminal where no JSON was asked for."""
    from surfscan.cli.output import write_labels, write_text
    from surfscan.cli.result_json import result_json
    from surfscan.cli.terminal import result_text

    if mask_path is not None:
        write_labels(mask_path, result.masks[mask])
    if json is None:
        print(result_text(result))
    else:
        write_text(json, result_json(result))
        for warning in result.warnings:
            print(f"warning: {warning}", file=sys.stderr)

"""Arguments that several commands share, opening what they name, and handing over what came of it.

Nothing heavy is imported before a command runs.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from surfscan.errors import InputError

if TYPE_CHECKING:
    import numpy as np

    from surfscan.images import HeightMap, Micrograph
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
HeightUnit = Annotated[
    str | None,
    typer.Option(help="Unit of the heights (nm, um, mm, m); overrides the file. Height maps only."),
]
SettingsFile = Annotated[
    Path | None,
    typer.Option("--settings", help="TOML file with a table for each procedure, or a study.toml."),
]
Page = Annotated[int | None, typer.Option(min=0, help="Page or layer of a file of several; the first is 0.")]
Kind = Annotated[
    Literal["micrograph", "heightmap"] | None,
    typer.Option(help="What a single-channel float TIFF is; without this a height map in µm."),
]
Region = Annotated[
    Path | None, typer.Option(help="Mask image of the same size: what is not 0 is the specimen.")
]


def open_input(
    image: Path,
    *,
    pixel_size_um: str | None = None,
    height_unit: str | None = None,
    page: int | None = None,
    kind: Literal["micrograph", "heightmap"] | None = None,
    outputs: Sequence[Path | None] = (),
    read_bar: bool = True,
) -> Micrograph | HeightMap:
    """What a command measures, refused before any work where an output would replace it.

    Raises
    ------
    InputError
        If it cannot be opened, or an output cannot be written.
    """
    from surfscan.cli.memory import keep_freed_memory
    from surfscan.cli.output import refuse_unwritable
    from surfscan.opening import open_image

    keep_freed_memory()
    size = None if pixel_size_um is None else _pixel_size(pixel_size_um)
    refuse_unwritable(image, outputs)
    return open_image(
        image, page=page, kind=kind, pixel_size_um=size, height_unit=height_unit, read_bar=read_bar
    )


def open_micrograph(command: str, image: Path, **how: object) -> Micrograph:
    """As `open_input`, refusing a height map.

    Raises
    ------
    InputError
    """
    from surfscan.images import Micrograph

    opened = open_input(image, **how)  # type: ignore[arg-type]
    if not isinstance(opened, Micrograph):
        raise InputError(
            image,
            f"is a height map, and `{command}` measures pictures",
            "Use `pits` or `texture`; if its numbers are brightness, say --kind micrograph",
        )
    return opened


def open_heights(command: str, image: Path, **how: object) -> HeightMap:
    """As `open_input`, refusing a picture.

    Raises
    ------
    InputError
    """
    from surfscan.images import HeightMap

    opened = open_input(image, **how)  # type: ignore[arg-type]
    if not isinstance(opened, HeightMap):
        raise InputError(
            image,
            f"is a picture, and `{command}` measures height maps",
            "Give a height map; if its numbers are heights in µm, say --kind heightmap",
        )
    return opened


def open_region(path: Path | None, image: Micrograph | HeightMap) -> np.ndarray | None:
    """A mask drawn on the image, or None where none is named.

    Raises
    ------
    InputError
    """
    from surfscan.opening import open_mask

    return None if path is None else open_mask(path, image.shape)


def deliver(result: Result, mask: str, mask_path: Path | None, json: Path | None) -> None:
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

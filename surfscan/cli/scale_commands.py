"""The command that finds the scale of one picture. Nothing heavy is imported before it runs."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from surfscan.cli.options import JsonOut, Page, PixelSize, SettingsFile, deliver, open_input, open_micrograph

if TYPE_CHECKING:
    import numpy as np

Image = Annotated[
    Path,
    typer.Argument(metavar="IMAGE", help="Micrograph with a scale bar, or of a stage micrometer."),
]


def write_png(path: Path, pixels: np.ndarray) -> None:
    """Write grey or red, green and blue pixels, uint8, as PNG: whole or not at all."""
    import cv2

    from surfscan.cli.output import whole_file

    turned = pixels if pixels.ndim == 2 else cv2.cvtColor(pixels, cv2.COLOR_RGB2BGR)
    _, encoded = cv2.imencode(".png", turned)
    with whole_file(path) as draft:
        draft.write_bytes(encoded.tobytes())


def _refuse_beside_divisions(others: dict[str, object]) -> None:
    """Refuse options that only a scale bar, or no measurement of the scale, has a use for."""
    from surfscan.errors import InputError

    reasons = {
        "--label": "a stage micrometer has divisions, a scale bar has a label",
        "--crop": "a stage micrometer has no bar to cut out",
        "--pixel-size-um": "the divisions give the pixel size",
    }
    for option, given in others.items():
        if given is not None:
            raise InputError(
                option,
                f"does not go with --division-um: {reasons[option]}",
                f"Leave {option} or --division-um out",
            )


def scale(
    image: Image,
    json: JsonOut = None,
    label: Annotated[
        str | None, typer.Option(help='What the scale bar is long, such as "50 µm"; without it, it is read.')
    ] = None,
    division_um: Annotated[
        float | None,
        typer.Option(help="The picture shows a stage micrometer with lines so far apart, µm.", metavar="D"),
    ] = None,
    against: Annotated[
        Path | None, typer.Option(help="Another calibrated image to compare the pixel size with.")
    ] = None,
    crop: Annotated[
        Path | None,
        typer.Option(help="Write the bar with its label, cut out and enlarged, as PNG: look, then accept."),
    ] = None,
    certificate_relative_uncertainty: Annotated[
        float | None,
        typer.Option(
            help="Relative standard uncertainty (k = 1) of the instrument or micrometer, such as 0.002.",
            metavar="U",
        ),
    ] = None,
    pixel_size_um: PixelSize = None,
    settings: SettingsFile = None,
    page: Page = None,
) -> None:
    """Find and read the scale bar of a picture, or fit a stage micrometer."""
    from surfscan.cli.settings_file import read_settings
    from surfscan.errors import InputError
    from surfscan.procedures.scale import bar_crop, measure_scale
    from surfscan.procedures.settings import ScaleSettings

    if division_um is not None:
        _refuse_beside_divisions({"--label": label, "--crop": crop, "--pixel-size-um": pixel_size_um})
    chosen = read_settings(settings, "scale", ScaleSettings)
    if certificate_relative_uncertainty is not None:
        if not 0 < certificate_relative_uncertainty < 1:
            raise InputError(
                "--certificate-relative-uncertainty",
                f"{certificate_relative_uncertainty:g} is not between 0 and 1",
                "Give a fraction such as 0.002, for one standard uncertainty",
            )
        chosen = chosen.model_copy(
            update={"certificate_relative_uncertainty": certificate_relative_uncertainty}
        )
    picture = open_micrograph(
        "scale",
        image,
        pixel_size_um=pixel_size_um,
        page=page,
        kind="micrograph",
        outputs=(json, crop),
        read_bar=False,
    )
    other = None if against is None else open_input(against)
    result = measure_scale(picture, chosen, label=label, division_um=division_um, against=other)
    part = None if crop is None else bar_crop(picture, result)
    if crop is not None and part is not None:
        write_png(crop, part)
    deliver(result, "", None, json)
    if crop is not None and part is None:
        raise InputError(image, "shows no scale bar, so nothing was cut out", "Leave --crop out")

"""The command that measures polished cross-sections. Nothing heavy is imported before it runs."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from surfscan.cli.options import (
    JsonOut,
    Kind,
    Page,
    PixelSize,
    Region,
    SettingsFile,
    deliver,
    open_micrograph,
    open_region,
)

if TYPE_CHECKING:
    from surfscan.images import Micrograph


def section(
    image: Annotated[
        Path,
        typer.Argument(metavar="IMAGE", help="Micrograph of a polished cross-section, optical or electron."),
    ],
    json: JsonOut = None,
    mask: Annotated[
        Path | None,
        typer.Option(help="Write the classes as a TIFF: 0 medium, 1 metal, 2 product, 3 crack or pore."),
    ] = None,
    before: Annotated[
        Path | None,
        typer.Option(help="The same sections before exposure; registered where it does not lie right."),
    ] = None,
    twin: Annotated[Path | None, typer.Option(help="An unexposed section of the same lot.")] = None,
    drawn_width_um: Annotated[
        float | None, typer.Option(help="Drawn width of the section, µm; of a round wire its diameter.")
    ] = None,
    drawn_thickness_um: Annotated[
        float | None, typer.Option(help="Drawn thickness, µm; as the width where not given.")
    ] = None,
    original_area_um2: Annotated[
        float | None,
        typer.Option(
            help="Original area of the section, µm², where it is known; a drawn size gives its outline."
        ),
    ] = None,
    shape: Annotated[
        Literal["rectangle", "ellipse", "trapezoid"] | None, typer.Option(help="Drawn shape of the section.")
    ] = None,
    cut_angle_deg: Annotated[
        float | None, typer.Option(help="Angle by which the cut is off square to the strut, degrees.")
    ] = None,
    region: Region = None,
    pixel_size_um: PixelSize = None,
    settings: SettingsFile = None,
    page: Page = None,
    kind: Kind = None,
) -> None:
    """Measure the remaining metal of polished cross-sections and its loss."""
    from surfscan.cli.settings_file import read_settings, with_stated
    from surfscan.procedures import measure_section
    from surfscan.procedures.settings import SectionSettings

    chosen = with_stated(
        read_settings(settings, "section", SectionSettings),
        "section",
        image,
        options={"drawn_shape": "shape"},
        drawn_width_um=drawn_width_um,
        drawn_thickness_um=drawn_thickness_um,
        drawn_shape=shape,
        original_area_um2=original_area_um2,
        cut_angle_deg=cut_angle_deg,
    )
    picture = open_micrograph(
        "section", image, pixel_size_um=pixel_size_um, page=page, kind=kind, outputs=(mask, json)
    )
    result = measure_section(
        picture,
        chosen,
        region=open_region(region, picture),
        before=_other(before, pixel_size_um),
        twin=_other(twin, pixel_size_um),
    )
    deliver(result, "section", mask, json)


def _other(path: Path | None, pixel_size_um: str | None) -> Micrograph | None:
    """A second picture; it has the pixel size stated on the command line where one is."""
    if path is None:
        return None
    return open_micrograph("section", path, pixel_size_um=pixel_size_um)

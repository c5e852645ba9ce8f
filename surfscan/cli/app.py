"""The program: its commands, and what becomes of errors."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import Annotated

import typer

from surfscan._version import __version__
from surfscan.cli import (
    area_commands,
    exposure_commands,
    height_commands,
    image_commands,
    immersion_commands,
    material_commands,
    review_command,
    scale_commands,
    section_commands,
    strut_commands,
    study_commands,
    sweep_commands,
    table_commands,
)
from surfscan.errors import InputError
from surfscan.study.threads import prefer_one_thread

app = typer.Typer(
    name="surfscan",
    help="Measure corroded metal surfaces from micrographs and height maps: pits and their depth, degraded "
    "area and areal texture, with intervals.",
    epilog="Results are laboratory measurements, not clinical or release decisions.",
    no_args_is_help=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
)
for command in (
    study_commands.demo,
    study_commands.start,
    study_commands.check,
    study_commands.measure,
    study_commands.report,
    study_commands.summary,
    review_command.review,
    image_commands.pits,
    image_commands.degraded,
    height_commands.texture,
    strut_commands.struts,
    section_commands.section,
    scale_commands.scale,
    table_commands.extremes,
    sweep_commands.sweep,
    exposure_commands.exposure,
    immersion_commands.mass_loss,
    immersion_commands.gas,
    immersion_commands.acid,
    area_commands.area,
    material_commands.material,
):
    app.command()(command)


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command.

    Parameters
    ----------
    argv : sequence of str, optional
        Arguments without the program name; those of the process by default.

    Returns
    -------
    int
        0 done; 1 part of a batch failed; 2 something handed in cannot be used; 130 stopped by hand.
    """
    prefer_one_thread()
    try:
        app(args=None if argv is None else list(argv), prog_name="surfscan")
    except InputError as fault:
        print(f"surfscan: {fault}", file=sys.stderr)
        return 2
    except MemoryError:
        print("surfscan: not enough memory. Cut the image into smaller fields.", file=sys.stderr)
        return 2
    except SystemExit as stop:
        return stop.code if isinstance(stop.code, int) else int(stop.code is not None)
    return 0


def _show_version(wanted: bool) -> None:
    if wanted:
        print(f"surfscan {__version__}")
        raise typer.Exit


@app.callback()
def _options(
    version: Annotated[
        bool, typer.Option("--version", callback=_show_version, is_eager=True, help="Print the version.")
    ] = False,
) -> None:
    pass

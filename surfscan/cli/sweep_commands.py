"""The command that analyses a potential sweep. Nothing heavy is imported before it runs."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Annotated

import typer

from surfscan.cli.options import JsonOut, SettingsFile


def sweep(
    file: Annotated[
        Path, typer.Argument(metavar="FILE", help="Delimited text with potential and current, any header.")
    ],
    area_cm2: Annotated[float | None, typer.Option(help="Wetted area of the specimen, cm².")] = None,
    area_relative_uncertainty: Annotated[
        float | None,
        typer.Option(help="Relative standard uncertainty (k = 1) of the area, such as 0.02.", metavar="U"),
    ] = None,
    material: Annotated[
        str | None, typer.Option(metavar="NAME", help="Metal, for the rate; see `surfscan material`.")
    ] = None,
    reference: Annotated[
        str | None,
        typer.Option(
            metavar="NAME", help="Reference electrode of the file, such as SCE; overrules its header."
        ),
    ] = None,
    to_reference: Annotated[
        str | None, typer.Option(metavar="NAME", help="Reference electrode to give all potentials against.")
    ] = None,
    temperature_degc: Annotated[
        float, typer.Option("--temperature-degC", help="Temperature of cell and reference electrode, °C.")
    ] = 25.0,
    solution_resistance_ohm: Annotated[
        float | None,
        typer.Option(help="Resistance of the solution, ohm; taken off the potentials.", metavar="R"),
    ] = None,
    rest_potential_v: Annotated[
        float | None,
        typer.Option(
            "--rest-potential-V", help="Rest potential before the sweep, V, against the file's electrode."
        ),
    ] = None,
    column: Annotated[
        list[str] | None,
        typer.Option(
            metavar="ROLE=NAME",
            help="Heading or number of a column, such as potential=2; roles: potential, current, current "
            "density, "
            "time, scan. May be repeated.",
        ),
    ] = None,
    unit: Annotated[
        list[str] | None,
        typer.Option(metavar="ROLE=UNIT", help="Unit of a column, such as current=mA. May be repeated."),
    ] = None,
    decimal: Annotated[str | None, typer.Option(metavar="MARK", help="Decimal mark, '.' or ','.")] = None,
    settings: SettingsFile = None,
    json: JsonOut = None,
) -> None:
    """Corrosion current, rate and passivity from a potential sweep."""
    from surfscan.cli.output import refuse_unwritable, write_text
    from surfscan.cli.result_json import result_json
    from surfscan.cli.settings_file import read_settings
    from surfscan.cli.sweep_text import sweep_text
    from surfscan.electrochemistry.analysis import measure_sweep
    from surfscan.electrochemistry.reading import read_sweep
    from surfscan.electrochemistry.settings import SweepSettings
    from surfscan.electrochemistry.sweep_summary import beside_summary
    from surfscan.materials.catalogue import find_material

    refuse_unwritable(file, (json,))
    chosen = read_settings(settings, "sweep", SweepSettings)
    metal = None if material is None else find_material(material)
    result = measure_sweep(
        read_sweep(
            file,
            reference=reference,
            columns={
                role: int(name) if name.isdecimal() else name for role, name in _pairs("column", column)
            },
            units=dict(_pairs("unit", unit)),
            decimal=decimal,
        ),
        chosen,
        area_cm2=area_cm2,
        area_relative_uncertainty=area_relative_uncertainty,
        material=metal,
        temperature_degC=temperature_degc,
        solution_resistance_ohm=solution_resistance_ohm,
        rest_potential_V=rest_potential_v,
        to_reference=to_reference,
    )
    if json is None:
        print(sweep_text(result))
        return
    write_text(json, result_json(result, beside_summary(result.summary)))
    for warning in result.warnings:
        print(f"warning: {warning}", file=sys.stderr)


def _pairs(option: str, stated: list[str] | None) -> list[tuple[str, str]]:
    """ROLE=TEXT as pairs."""
    pairs = []
    for text in stated or ():
        role, mark, value = text.partition("=")
        if not mark or not value.strip():
            raise typer.BadParameter(f"--{option} {text!r} is not ROLE=VALUE, such as potential=2")
        pairs.append((role.strip(), value.strip()))
    return pairs

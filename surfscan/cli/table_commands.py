"""Commands that analyse a table. Nothing heavy is imported before one runs."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

if TYPE_CHECKING:
    from surfscan.procedures.extremes import ExtremesResult


def extremes(
    table: Annotated[
        Path,
        typer.Argument(metavar="TABLE", help="Delimited text with a header: one row a block of equal area."),
    ],
    value: Annotated[str, typer.Option(metavar="COLUMN", help="Column with the deepest pit of each block.")],
    block_area_mm2: Annotated[float, typer.Option(help="Area in which each maximum was sought, mm².")],
    part_area_mm2: Annotated[float, typer.Option(help="Area of the whole part, mm².")],
    censored: Annotated[
        str | None,
        typer.Option(metavar="COLUMN", help="Column that marks lower bounds (pit floor not measured)."),
    ] = None,
    below: Annotated[
        str | None,
        typer.Option(metavar="COLUMN", help="Column that marks upper bounds (no pit as deep was found)."),
    ] = None,
    detection_limit: Annotated[
        float | None,
        typer.Option(help="Depth above which every pit was found: smaller values, and 0, count as below it."),
    ] = None,
    model: Annotated[
        Literal["auto", "gumbel", "gev"],
        typer.Option(help="Distribution; 'auto' takes Gumbel unless a test at 5 % rejects it."),
    ] = "auto",
    method: Annotated[
        Literal["likelihood", "lmoments"], typer.Option(help="How it is fitted.")
    ] = "likelihood",
    json: Annotated[
        Path | None, typer.Option("--json", help="Write the result as JSON here; '-' for standard output.")
    ] = None,
) -> None:
    """Extrapolate the deepest pits of equal areas to a whole part."""
    from dataclasses import replace

    from surfscan.cli.output import refuse_unwritable, write_text
    from surfscan.cli.result_json import plain_json
    from surfscan.procedures.extremes import analyse_maxima
    from surfscan.procedures.maxima_table import read_maxima

    refuse_unwritable(table, (json,))
    read = read_maxima(table, value, censored, below)
    result = analyse_maxima(
        read.values,
        censored=read.censored,
        below=read.below,
        detection_limit=detection_limit,
        block_area_mm2=block_area_mm2,
        part_area_mm2=part_area_mm2,
        model=model,
        method=method,
        unit=read.unit,
        source=read.source,
    )
    named = {"value": value, "censored": censored, "below": below}
    result = replace(
        result, settings={**named, **result.settings}, warnings=(*read.warnings, *result.warnings)
    )
    if json is None:
        print(extremes_text(result))
        return
    write_text(
        json, "{\n" + ",\n".join(f'"{k}": {plain_json(v)}' for k, v in result.as_dict().items()) + "\n}\n"
    )
    for warning in result.warnings:
        print(f"warning: {warning}", file=sys.stderr)


def extremes_text(result: ExtremesResult) -> str:
    """A short plain-text summary of an extreme-value analysis.

    Parameters
    ----------
    result : ExtremesResult

    Returns
    -------
    str
        Lines of text, the last without a line break.
    """
    from surfscan.estimates.gumbel import return_variate
    from surfscan.procedures.extremes import TEST_LEVEL
    from surfscan.report.rounding import round_to_interval, significant

    level = round_to_interval(result.return_level, *result.return_level_ci95)
    unit = f" {result.unit}" if result.unit else ""
    fit, period = result.fit, significant(result.return_period)
    gev = result.gumbel.gev
    free_level = float(gev.level(return_variate(result.return_period)))
    free = round_to_interval(free_level, *(result.free_shape_ci95 or (None, None)))
    name = "Gumbel" if fit.model == "gumbel" else "GEV"
    how = "maximum likelihood" if fit.method == "likelihood" else "L-moments"
    enough = "not rejected" if result.gumbel.p_value >= TEST_LEVEL else "rejected"
    kinds = ((result.lower_bounds, "lower bound"), (result.upper_bounds, "upper bound"))
    bounds = [f"{number} {kind}{'s' * (number > 1)}" for number, kind in kinds if number]
    parameters = f"location {fit.location:.4g}, scale {fit.scale:.4g}"
    parameters += f", shape {fit.shape:.3g}" if fit.model == "gev" else ""
    rows = {
        "blocks": ", ".join([f"{result.blocks}", *bounds]),
        "return period": f"{period} blocks make the part",
        "distribution": f"{name} by {how}: {parameters}",
        "Gumbel": f"{enough} (likelihood-ratio test, p = {result.gumbel.p_value:.2g})",
        "shape left free": f"{free.value}{unit} (95 % interval {free.interval}; shape {gev.shape:.2f})"
        if free.has_interval and (fit.model, fit.method) != ("gev", "likelihood")
        else "",
        "meaning": f"one block in {period} has a deeper pit, "
        f"and {100 * result.part_exceeds_fraction:.0f} % of such parts have one somewhere",
    }
    where = result.source.path if result.source else "maxima"
    lines = [f"{where}: return level {level.value}{unit} (95 % interval {level.interval})"]
    width = max(map(len, rows))
    lines += [f"  {label:<{width}}  {text}" for label, text in rows.items() if text]
    lines += [f"  warning: {warning}" for warning in result.warnings]
    return "\n".join(lines)

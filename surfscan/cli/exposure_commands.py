"""The command that measures a rig log. Nothing heavy is imported before it runs."""

from __future__ import annotations

import sys
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from surfscan.cli.options import JsonOut, SettingsFile
from surfscan.errors import InputError

if TYPE_CHECKING:
    from surfscan.procedures.result import Result

_BESIDE = (
    "verdict",
    "verdict_reasons",
    "start",
    "stop",
    "immersed_h",
    "in_range_h",
    "in_range_fraction",
    "hydraulic_resistance",
    "acid_balance",
    "checks",
)
"""Figures of the summary that stand at the top of the JSON too."""


def exposure(
    log: Annotated[
        Path, typer.Argument(metavar="LOG", help="CSV with time, and channels headed by name and unit.")
    ],
    material: Annotated[
        str | None,
        typer.Option(metavar="NAME", help="Metal, for the rate from acid; see `surfscan material`."),
    ] = None,
    area_cm2: Annotated[
        float | None, typer.Option(help="Wetted surface of all specimens in the bath, cm².")
    ] = None,
    area_relative_uncertainty: Annotated[
        float | None,
        typer.Option(help="Relative standard uncertainty (k = 1) of the area, such as 0.02.", metavar="U"),
    ] = None,
    acid_mol_per_l: Annotated[
        float | None, typer.Option("--acid-mol-per-l", help="Concentration of the acid dosed, mol/L.")
    ] = None,
    start: Annotated[
        str | None,
        typer.Option(
            metavar="TIME",
            help="When specimens went in: a time as in the log, or hours since its first reading.",
        ),
    ] = None,
    stop: Annotated[
        str | None, typer.Option(metavar="TIME", help="When they came out; in the same way.")
    ] = None,
    settings: SettingsFile = None,
    json: JsonOut = None,
) -> None:
    """Time in range, excursions, drift, clogging and acid of a rig log, and a verdict."""
    from surfscan.cli.memory import keep_freed_memory
    from surfscan.cli.output import refuse_unwritable, write_text
    from surfscan.cli.result_json import result_json
    from surfscan.cli.settings_file import read_settings, with_stated
    from surfscan.immersion.exposure import measure_exposure
    from surfscan.immersion.exposure_settings import ExposureSettings
    from surfscan.materials.catalogue import find_material

    keep_freed_memory()
    refuse_unwritable(log, (json,))
    chosen = with_stated(
        read_settings(settings, "exposure", ExposureSettings),
        "exposure",
        log,
        options={"acid_mol_per_L": "acid-mol-per-l"},
        acid_mol_per_L=acid_mol_per_l,
    )
    try:
        result = measure_exposure(
            log,
            chosen,
            material=None if material is None else find_material(material),
            area_cm2=area_cm2,
            area_relative_uncertainty=area_relative_uncertainty,
            start=start,
            stop=stop,
        )
    except ValueError as fault:
        raise InputError(log, str(fault), "See `surfscan exposure --help`") from fault
    if json is None:
        print(exposure_text(result))
        return
    write_text(json, result_json(result, {name: result.summary[name] for name in _BESIDE}))
    for warning in result.warnings:
        print(f"warning: {warning}", file=sys.stderr)


def exposure_text(result: Result) -> str:
    """A short plain-text summary of a rig log.

    Parameters
    ----------
    result : Result

    Returns
    -------
    str
        Lines of text, the last without a line break.
    """
    summary = result.summary
    rows = {
        "immersed": f"{summary['immersed_h']:.5g} h" + _dates(summary),
        "in range": ""
        if summary["in_range_h"] is None
        else f"{summary['in_range_h']:.5g} h ({100 * summary['in_range_fraction']:.3g} %), all set points",
        **_channel_rows(result),
        "resistance": _resistance(summary["hydraulic_resistance"]),
        "acid": _acid(summary["acid_balance"]),
    }
    rows = {label: text for label, text in rows.items() if text}
    width = max(map(len, rows))
    lines = [f"{result.source.path}: {summary['verdict']}"]
    lines += [f"  {reason['severity']}: {reason['text']}" for reason in summary["verdict_reasons"]]
    lines += [f"  {label:<{width}}  {text}" for label, text in rows.items()]
    return "\n".join([*lines, *(f"  warning: {warning}" for warning in result.warnings)])


def _dates(summary: Mapping[str, Any]) -> str:
    if summary["start"] is None:
        return f", {summary['readings']} readings"
    return f", {summary['start']} to {summary['stop']}, {summary['readings']} readings"


def _channel_rows(result: Result) -> dict[str, str]:
    from surfscan.report.rounding import round_to_interval

    table = result.tables["channels"]
    rows = {}
    for k, name in enumerate(table["channel"].tolist()):
        if name == "acid" or not table["readings"][k]:
            continue
        unit = "" if name == "pH" else f" {table['unit'][k]}"
        parts = [
            f"mean {table['mean'][k]:.4g}{unit}",
            f"{table['least'][k]:.4g} to {table['greatest'][k]:.4g}",
        ]
        if table["set_point"][k] == table["set_point"][k]:
            count = int(table["excursions"][k])
            parts.append(
                f"in {table['set_point'][k]:g} ± {table['tolerance'][k]:g} for "
                f"{100 * table['in_range_fraction'][k]:.3g} %"
            )
            if count:
                longest = table["longest_excursion_h"][k]
                parts.append(f"{count} excursion{'s' * (count > 1)}, the longest {longest:.3g} h")
        drift, low, high = (table[f"drift_per_day{end}"][k] for end in ("", "_ci95_low", "_ci95_high"))
        if low == low:
            rounded = round_to_interval(drift, low, high)
            parts.append(f"drift {rounded.value}{unit} a day (95 % interval {rounded.interval})")
        rows[name] = ", ".join(parts)
    return rows


def _resistance(found: Mapping[str, Any] | None) -> str:
    if found is None:
        return ""
    if found["start_kPa_min_per_mL"] is None:
        return f"none: {found['refused']}"
    text = f"{found['start_kPa_min_per_mL']:.3g} to {found['end_kPa_min_per_mL']:.3g} kPa min/mL"
    if found["rise_fraction_ci95"] is None:
        return f"{text}; {found['refused']}"
    low, high = (100 * limit for limit in found["rise_fraction_ci95"])
    return f"{text}, {100 * found['rise_fraction']:+.3g} % (95 % interval {low:.3g} to {high:.3g})"


def _acid(balance: Mapping[str, Any]) -> str:
    from surfscan.report.rounding import round_to_interval

    if balance["acid_mL"] is None:
        return ""
    text = f"{balance['acid_mL']:.4g} mL"
    if balance["metal_mg"] is not None:
        text += f", {balance['metal_mg']:.4g} mg of metal"
    rate = balance["rate"]
    if balance["refused"] or rate is None:
        return f"{text}; {balance['refused']}"
    name, unit = (
        ("rate_mm_per_y", "mm/y") if rate["rate_mm_per_y"] is not None else ("rate_g_per_m2_d", "g/(m² d)")
    )
    rounded = round_to_interval(rate[name], *rate[f"{name}_ci95"])
    bias = f", {rate['bias']}" if rate["bias"] else ""
    return f"{text}, {rounded.value} {unit} (95 % interval {rounded.interval}){bias}"

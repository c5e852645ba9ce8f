"""Commands that give one rate from the bath without a study. Nothing heavy is imported before one runs."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from surfscan.cli.options import JsonOut
from surfscan.errors import InputError

if TYPE_CHECKING:
    from surfscan.immersion.estimates import RateEstimate
    from surfscan.immersion.settings import ImmersionSettings
    from surfscan.materials.material import Material


def _refuse_odd_numbers(text: str | None) -> str | None:
    if text is not None:
        _numbers(text)
    return text


def _numbers(text: str) -> list[float]:
    """'1.5,2' as numbers."""
    try:
        return [float(part) for part in text.split(",")]
    except ValueError:
        raise typer.BadParameter(
            f"{text!r} is not a list of numbers such as 24,48.5 (decimal points, commas between)"
        ) from None


def _list_option(text: str) -> Any:
    return typer.Option(metavar="N[,N...]", callback=_refuse_odd_numbers, help=text)


MaterialName = Annotated[
    str, typer.Option("--material", metavar="NAME", help="Name of the metal; see `surfscan material`.")
]
Density = Annotated[
    float | None,
    typer.Option("--density-g-per-cm3", help="Density, g/cm³, in place of that of the catalogue."),
]
Area = Annotated[float, typer.Option("--area-cm2", help="Wetted surface, cm².")]
AreaUncertainty = Annotated[
    float | None,
    typer.Option("--area-uncertainty-percent", help="Relative standard uncertainty (k = 1) of it, %."),
]
SolutionVolume = Annotated[
    float | None, typer.Option("--solution-ml", help="Volume of the solution, mL; checked against practice.")
]
Hours = Annotated[str, _list_option("Hours since immersion of each reading.")]


def mass_loss(
    before_g: Annotated[float, typer.Option(help="Mass before exposure, g.")],
    cleaned_g: Annotated[str, _list_option("Mass after each cleaning cycle, g.")],
    hours: Annotated[float, typer.Option(help="Immersed time, h.")],
    area_cm2: Area,
    material: MaterialName,
    blank_g: Annotated[
        str | None,
        _list_option("Mass of an uncorroded blank before the first cleaning and after each, g."),
    ] = None,
    blank_area_cm2: Annotated[
        float | None, typer.Option(help="Surface of the blank, cm²; as the specimen's where not given.")
    ] = None,
    balance_uncertainty_mg: Annotated[
        float | None, typer.Option(help="Standard uncertainty of one weighing, mg (default 0.1).")
    ] = None,
    area_uncertainty_percent: AreaUncertainty = None,
    density_g_per_cm3: Density = None,
    solution_ml: SolutionVolume = None,
    json: JsonOut = None,
) -> None:
    """Rate from mass lost, cleaned in several cycles or with a blank."""
    from surfscan.immersion.cleaning import cautions, cleaning_solutions
    from surfscan.immersion.mass_loss import mass_loss_rate_of_cycles
    from surfscan.immersion.solution import exposure_warning

    metal = _material(material, density_g_per_cm3)
    chosen = _settings("mass-loss", balance_uncertainty_mg=balance_uncertainty_mg)
    with _named_faults("mass-loss"):
        found = mass_loss_rate_of_cycles(
            before_g,
            _numbers(cleaned_g),
            area_cm2=area_cm2,
            hours=hours,
            density=metal.density_g_per_cm3,
            area_relative_uncertainty=_share(area_uncertainty_percent),
            blank_g=_numbers(blank_g) if blank_g else (),
            blank_area_cm2=blank_area_cm2,
            settings=chosen,
        )
    details = found.as_dict()
    details |= {
        "cleaning_cautions": cautions(metal),
        "cleaning_solutions": [each.as_dict() for each in cleaning_solutions(metal)],
    }
    short = exposure_warning(hours, found.estimate.rate_mm_per_y)
    _deliver(
        details,
        found.estimate,
        metal,
        chosen,
        area_cm2,
        solution_ml,
        json,
        rows=_mass_rows(found),
        inputs={
            "before_g": before_g,
            "cleaned_g": _numbers(cleaned_g),
            "hours": hours,
            "blank_g": _numbers(blank_g) if blank_g else [],
            "blank_area_cm2": blank_area_cm2,
        },
        more_warnings=(short,) if short else (),
        closing=f"  cleaning: {cautions(metal)[0]} Cautions: --json, or `surfscan material`.",
    )


def gas(
    hours: Hours,
    volume_ml: Annotated[str, _list_option("Hydrogen collected up to each reading, mL.")],
    temperature_degc: Annotated[str, _list_option("Temperature of the gas, °C: one for all, or each.")],
    area_cm2: Area,
    material: MaterialName,
    pressure_kpa: Annotated[
        str, _list_option("Pressure of the air in the room, kPa: one for all, or each.")
    ] = "101.325",
    dry: Annotated[bool, typer.Option("--dry", help="The gas holds no water vapour.")] = False,
    column_cm: Annotated[
        str, _list_option("Height of the solution in the burette above that outside, cm.")
    ] = "0",
    blank_ml: Annotated[
        str, _list_option("Reading of a cell without specimen, mL: the last, or each.")
    ] = "0",
    hydrogen_only: Annotated[
        bool, typer.Option("--hydrogen-only", help="State that hydrogen is the only cathodic reaction.")
    ] = False,
    volume_uncertainty_ml: Annotated[
        float | None, typer.Option(help="Standard uncertainty of one reading, mL (default 0.1).")
    ] = None,
    area_uncertainty_percent: AreaUncertainty = None,
    density_g_per_cm3: Density = None,
    solution_ml: SolutionVolume = None,
    json: JsonOut = None,
) -> None:
    """Rate from hydrogen evolved, with temperature, pressure and water vapour."""
    from surfscan.immersion.gas import gas_rates

    metal = _material(material, density_g_per_cm3)
    chosen = _settings(
        "gas", gas_is_wet=False if dry else None, gas_volume_uncertainty_mL=volume_uncertainty_ml
    )
    inputs: dict[str, Any] = {
        "temperature_degC": _numbers(temperature_degc),
        "pressure_kPa": _numbers(pressure_kpa),
        "column_cm": _numbers(column_cm),
        "blank_mL": _numbers(blank_ml),
        "is_hydrogen_only": hydrogen_only,
    }
    with _named_faults("gas"):
        found = gas_rates(
            _numbers(hours),
            _numbers(volume_ml),
            material=metal,
            area_cm2=area_cm2,
            area_relative_uncertainty=_share(area_uncertainty_percent),
            solution_mL=solution_ml,
            settings=chosen,
            **inputs,
        )
    _deliver(
        found.as_dict(),
        found.estimate,
        metal,
        chosen,
        area_cm2,
        solution_ml,
        json,
        rows=_series_rows(found, "gas"),
        inputs={"hours": _numbers(hours), "volume_mL": _numbers(volume_ml), **inputs},
    )


def acid(
    hours: Hours,
    volume_ml: Annotated[str, _list_option("Acid dosed up to each reading, mL.")],
    mol_per_l: Annotated[float, typer.Option(help="Concentration of the acid, mol/L.")],
    area_cm2: Area,
    material: MaterialName,
    protons: Annotated[int, typer.Option(help="H+ that one molecule of the acid gives up.")] = 1,
    blank_ml: Annotated[
        str, _list_option("Acid that the same bath without specimen took, mL: the last, or each.")
    ] = "0",
    no_precipitate: Annotated[
        bool, typer.Option("--no-precipitate", help="State that nothing precipitates.")
    ] = False,
    takes_up_co2: Annotated[
        bool, typer.Option("--takes-up-co2", help="Carbon dioxide is taken up or used to hold the pH.")
    ] = False,
    bicarbonate: Annotated[
        bool, typer.Option("--bicarbonate", help="The medium holds bicarbonate and is open to the air.")
    ] = False,
    area_uncertainty_percent: AreaUncertainty = None,
    density_g_per_cm3: Density = None,
    solution_ml: SolutionVolume = None,
    json: JsonOut = None,
) -> None:
    """Rate from the acid dosed to hold the pH as the metal dissolved."""
    from surfscan.immersion.acid import acid_rates

    metal = _material(material, density_g_per_cm3)
    chosen = _settings("acid")
    inputs: dict[str, Any] = {
        "concentration_mol_per_L": mol_per_l,
        "protons": protons,
        "blank_mL": _numbers(blank_ml),
        "has_precipitate": not no_precipitate,
        "takes_up_carbon_dioxide": takes_up_co2,
        "has_bicarbonate": bicarbonate,
    }
    with _named_faults("acid"):
        found = acid_rates(
            _numbers(hours),
            _numbers(volume_ml),
            material=metal,
            area_cm2=area_cm2,
            area_relative_uncertainty=_share(area_uncertainty_percent),
            settings=chosen,
            **inputs,
        )
    _deliver(
        found.as_dict(),
        found.estimate,
        metal,
        chosen,
        area_cm2,
        solution_ml,
        json,
        rows=_series_rows(found, "acid"),
        inputs={"hours": _numbers(hours), "volume_mL": _numbers(volume_ml), **inputs},
    )


def _material(name: str, density_g_per_cm3: float | None) -> Material:
    from surfscan.materials.catalogue import StatedMaterial, find_material

    stated = StatedMaterial(name, density_g_per_cm3, source="--density-g-per-cm3")
    return find_material(name, () if density_g_per_cm3 is None else (stated,))


def _share(percent: float | None) -> float | None:
    if percent is not None and not 0 <= percent < 100:
        raise InputError(None, f"--area-uncertainty-percent is {percent:g}", "Give 0 to 100, as k = 1")
    return None if percent is None else percent / 100


def _settings(command: str, **stated: object) -> ImmersionSettings:
    from pydantic import ValidationError

    from surfscan.immersion.settings import ImmersionSettings

    try:
        return ImmersionSettings.model_validate({k: v for k, v in stated.items() if v is not None})
    except ValidationError as fault:
        first = fault.errors()[0]
        raise InputError(
            None, f"{first['loc'][0]}: {first['msg']}", f"See `surfscan {command} --help`"
        ) from fault


@contextmanager
def _named_faults(command: str) -> Iterator[None]:
    """What a calculation refuses as nonsense, as a fault of what was handed in."""
    try:
        yield
    except ValueError as fault:
        raise InputError(None, str(fault), f"See `surfscan {command} --help`") from fault


def _deliver(
    details: Mapping[str, Any],
    estimate: RateEstimate,
    material: Material,
    settings: ImmersionSettings,
    area_cm2: float,
    solution_ml: float | None,
    json: Path | None,
    *,
    rows: Mapping[str, str],
    inputs: Mapping[str, Any],
    more_warnings: tuple[str, ...] = (),
    closing: str = "",
) -> None:
    """Write the JSON, or print the summary."""
    from json import dumps

    from surfscan._version import __version__
    from surfscan.cli.output import write_text
    from surfscan.cli.result_json import plain_json
    from surfscan.immersion.solution import solution_ratio
    from surfscan.materials.rates import YEAR_D

    with _named_faults(estimate.method.replace(" ", "-")):
        ratio = None if solution_ml is None else solution_ratio(solution_ml, area_cm2)
    warnings = (*estimate.warnings, *more_warnings, *(ratio.warnings if ratio else ()))
    if json is None:
        print(rate_text(estimate, material, rows, warnings))
        if closing:
            print(closing)
        return
    summary = {key: value for key, value in estimate.as_dict().items() if key != "warnings"}
    whole = {
        "material": material.as_dict(),
        "settings": settings.model_dump(),
        "year_d": YEAR_D,
        "warnings": warnings,
        "summary": summary,
        "details": {key: value for key, value in details.items() if key != "estimate"},
        "solution": ratio.as_dict() if ratio else None,
        "version": __version__,
    }
    as_given = dumps({"area_cm2": area_cm2, **inputs}, ensure_ascii=False)  # masses keep all their digits
    parts = [f'"procedure": {plain_json(estimate.method)}', f'"inputs": {as_given}']
    parts += [f'"{key}": {plain_json(value)}' for key, value in whole.items()]
    write_text(json, "{\n" + ",\n".join(parts) + "\n}\n")
    for warning in warnings:
        print(f"warning: {warning}", file=sys.stderr)


def rate_text(
    estimate: RateEstimate, material: Material, rows: Mapping[str, str], warnings: tuple[str, ...]
) -> str:
    """A short plain-text summary of one rate.

    Parameters
    ----------
    estimate : RateEstimate
    material : Material
    rows : mapping of str to str
        What the method has to say of itself.
    warnings : tuple of str

    Returns
    -------
    str
        Lines of text, the last without a line break.
    """
    from surfscan.report.rounding import round_to_interval

    def shown(rate: float | None, ci95: tuple[float, float] | None, unit: str) -> str:
        if rate is None or ci95 is None:
            return ""
        rounded = round_to_interval(rate, *ci95)
        return f"{rounded.value} {unit} (95 % interval {rounded.interval})"

    mass = shown(estimate.rate_g_per_m2_d, estimate.rate_g_per_m2_d_ci95, "g/(m² d)")
    depth = shown(estimate.rate_mm_per_y, estimate.rate_mm_per_y_ci95, "mm/y")
    density, weight = material.density_g_per_cm3, material.equivalent_weight
    told = {
        "as mass": mass if depth else "",
        "over": f"{estimate.starts_h:g} h to {estimate.ends_h:g} h",
        "density": f"{density.value:g} g/cm³ ({density.source}; {density.status})" if density else "",
        "equivalent weight": f"{weight.value:.5g} g/mol ({weight.source}; {weight.status})"
        if weight and estimate.method != "mass loss"
        else "",
        **rows,
        "uncertainty": ", ".join(
            f"{cause} {share:.2g} %" for cause, share in estimate.contributions_percent.items() if share
        ),
        estimate.bias: "; ".join(estimate.reasons),
    }
    told = {label: text for label, text in told.items() if text}
    width = max(map(len, told))
    lines = [f"{estimate.method} of {material.name}: {depth or mass or 'no rate'}"]
    lines += [f"  {label or 'may err':<{width}}  {text}" for label, text in told.items()]
    lines += [f"  refused: {estimate.refused}"] if estimate.refused else []
    return "\n".join([*lines, *(f"  warning: {warning}" for warning in warnings)])


def _mass_rows(found: Any) -> dict[str, str]:
    """What a mass loss says of its cleaning."""
    rows = {}
    if found.loss_mg is not None:
        rows["metal lost"] = f"{found.loss_mg:.4g} mg, {found.how}"
    if found.line is not None:
        line = found.line
        rows["cleaning"] = (
            f"cycles {line.first_cycle} to {line.last_cycle} on the line, {line.slope_mg_per_cycle:.3g} mg "
            f"of metal each; {line.first_cycle - 1} before still removed product"
        )
    if found.blank_mg_per_cycle is not None:
        rows["blank"] = f"{found.blank_mg_per_cycle:.3g} mg a cycle for this area"
    return rows


def _series_rows(found: Any, what: str) -> dict[str, str]:
    """What readings over time say of themselves."""
    rows = {}
    if found.metal_mg_per_mL is not None:
        rows["1 mL stands for"] = f"{found.metal_mg_per_mL:.4g} mg of metal ({what} at the first reading)"
    for part in found.intervals:
        rate = part.rate_mm_per_y if part.rate_mm_per_y is not None else part.rate_g_per_m2_d
        unit = "mm/y" if part.rate_mm_per_y is not None else "g/(m² d)"
        said = part.refused if rate is None else f"{rate:.3g} {unit}"
        rows[f"{part.starts_h:g} to {part.ends_h:g} h"] = said
    return rows

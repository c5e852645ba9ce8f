"""Measuring one sweep, weighing, gas or log as the study states it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

from surfscan.errors import InputError
from surfscan.images import Source
from surfscan.immersion.exposure_settings import ExposureSettings
from surfscan.immersion.settings import ImmersionSettings
from surfscan.procedures.result import Result
from surfscan.study.gas_file import read_gas
from surfscan.study.rate_entries import GasEntry, LogEntry, SweepEntry, WeighingEntry
from surfscan.study.rate_results import plain, rate_result, told
from surfscan.study.rate_tasks import RateTask

_STATED = "stated in study.toml"


def measure_sweep_entry(task: RateTask) -> Result:
    """Analyse a sweep with what the study states of it.

    Parameters
    ----------
    task : RateTask
        Of a `SweepEntry`.

    Returns
    -------
    Result
        Procedure "sweep"; its summary also says whose it is.

    Raises
    ------
    InputError
        If the file is no sweep, or what is stated cannot be.
    """
    from surfscan.electrochemistry.analysis import measure_sweep
    from surfscan.electrochemistry.reading import read_sweep
    from surfscan.electrochemistry.references import TABLE_TEMPERATURE_DEGC

    entry, settings = task.entry, task.jobs[0].settings
    assert isinstance(entry, SweepEntry)
    sweep = read_sweep(
        task.folder / entry.file,
        reference=entry.reference,
        columns=entry.columns or None,
        units=entry.units or None,
        decimal=entry.decimal,
    )
    _require_unchanged(task, sweep.source.sha256)
    sweep = replace(sweep, source=replace(sweep.source, path=entry.file))
    temperature = entry.temperature_degC
    conditions = task.conditions
    result = measure_sweep(
        sweep,
        settings,  # type: ignore[arg-type]
        area_cm2=conditions.area_cm2,
        area_relative_uncertainty=conditions.area_relative_uncertainty,
        material=conditions.material,
        temperature_degC=TABLE_TEMPERATURE_DEGC if temperature is None else temperature,
        solution_resistance_ohm=entry.solution_resistance_ohm,
        rest_potential_V=entry.rest_potential_V,
        to_reference=entry.to_reference,
    )
    return _with(result, task)


def measure_weighing(task: RateTask) -> Result:
    """Rate from the masses that a study states.

    Parameters
    ----------
    task : RateTask
        Of a `WeighingEntry`.

    Returns
    -------
    Result
        Procedure "mass_loss", table "immersion_rates".

    Raises
    ------
    InputError
        If area or hours are not known, or masses cannot be.
    """
    from surfscan.immersion.cleaning import cautions
    from surfscan.immersion.mass_loss import mass_loss_rate_of_cycles
    from surfscan.immersion.solution import exposure_warning

    entry, settings, conditions = task.entry, task.jobs[0].settings, task.conditions
    assert isinstance(entry, WeighingEntry) and isinstance(settings, ImmersionSettings)
    hours, area = conditions.known_hours(), conditions.known_area_cm2()
    metal = conditions.material
    balance = math.hypot(settings.balance_uncertainty_mg, conditions.balance_drift_mg)
    used = settings.model_copy(update={"balance_uncertainty_mg": balance})
    with _named_faults():
        found = mass_loss_rate_of_cycles(
            entry.before_g,
            entry.cleaned_g,
            area_cm2=area,
            hours=hours,
            density=None if metal is None else metal.density_g_per_cm3,
            area_relative_uncertainty=conditions.area_relative_uncertainty,
            blank_g=entry.blank_masses_g,
            blank_area_cm2=entry.blank_area_cm2,
            settings=used,
        )
    details = {k: v for k, v in found.as_dict().items() if k != "estimate"} | {
        "hours": hours,
        "hours_from": conditions.hours_from,
        "before_g": entry.before_g,
        "cleaned_g": entry.cleaned_g,
        "blank_g": entry.blank_masses_g,
        "balance_drift_mg": conditions.balance_drift_mg,
        "cleaning": entry.cleaning,
        "cleaning_cautions": [] if metal is None else cautions(metal),
    }
    short = exposure_warning(hours, found.estimate.rate_mm_per_y)
    warnings = [short] if short else []
    if not entry.cleaning:
        warnings.append("How the specimen was cleaned is not stated.")
    source = Source(task.entry_id, task.sha256, file_format=_STATED)
    return rate_result("mass_loss", source, used, conditions, [found.estimate], details, warnings)


def measure_gas(task: RateTask) -> Result:
    """Rate from hydrogen collected.

    Parameters
    ----------
    task : RateTask
        Of a `GasEntry`.

    Returns
    -------
    Result
        Procedure "gas", table "immersion_rates".

    Raises
    ------
    InputError
        If area or material are not known, or readings cannot be.
    """
    from surfscan.immersion.gas import gas_rates
    from surfscan.immersion.solution import solution_ratio

    entry, settings, conditions = task.entry, task.jobs[0].settings, task.conditions
    assert isinstance(entry, GasEntry) and isinstance(settings, ImmersionSettings)
    area, metal = conditions.known_area_cm2(), conditions.known_material()
    columns: dict[str, str] = {}
    if entry.file is not None:
        readings = read_gas(task.folder / entry.file, entry.columns)
        _require_unchanged(task, readings.sha256)
        hours, volume = tuple(readings.hours.tolist()), tuple(readings.volume_mL.tolist())
        columns = dict(readings.columns)
        source = Source(entry.file, task.sha256, file_format="delimited text")
    else:
        hours, volume = entry.hours or (), entry.volume_mL or ()
        source = Source(task.entry_id, task.sha256, file_format=_STATED)
    with _named_faults():
        found = gas_rates(
            hours,
            volume,
            material=metal,
            area_cm2=area,
            temperature_degC=_one_or_each(entry.temperature_degC),
            pressure_kPa=_one_or_each(entry.pressure_kPa),
            column_cm=_one_or_each(entry.column_cm),
            blank_mL=_one_or_each(entry.blank_mL),
            area_relative_uncertainty=conditions.area_relative_uncertainty,
            is_hydrogen_only=entry.hydrogen_only,
            solution_mL=entry.solution_mL,
            settings=settings,
        )
        ratio = None if entry.solution_mL is None else solution_ratio(entry.solution_mL, area)
    details = {k: v for k, v in found.as_dict().items() if k not in ("estimate", "intervals")} | {
        "hours": hours,
        "volume_mL": volume,
        "columns_read": columns,
        "temperature_degC": entry.temperature_degC,
        "pressure_kPa": entry.pressure_kPa,
        "solution": None if ratio is None else ratio.as_dict(),
    }
    estimates = [found.estimate, *found.intervals]
    warnings = ratio.warnings if ratio else ()
    return rate_result("gas", source, settings, conditions, estimates, details, warnings)


def measure_log(task: RateTask) -> Result:
    """Measure a rig log, and the rate from its acid over the surface of all its specimens.

    Parameters
    ----------
    task : RateTask
        Of a `LogEntry`.

    Returns
    -------
    Result
        Procedure "exposure".

    Raises
    ------
    InputError
        If the file is no log, or what is stated cannot be.
    """
    from surfscan.immersion.exposure import measure_exposure

    entry, settings, conditions = task.entry, task.jobs[0].settings, task.conditions
    assert isinstance(entry, LogEntry) and isinstance(settings, ExposureSettings)
    result = measure_exposure(
        task.folder / entry.file,
        settings,
        material=conditions.material,
        area_cm2=conditions.area_cm2,
        area_relative_uncertainty=conditions.area_relative_uncertainty,
        start=entry.start,
        stop=entry.stop,
        checks=conditions.checks,
        immersion_settings=task.immersion,
    )
    _require_unchanged(task, result.source.sha256)
    result = replace(result, source=replace(result.source, path=entry.file))
    return _with(result, task)


def _with(result: Result, task: RateTask) -> Result:
    """The result with what the study says of whose it is."""
    added = {k: v for k, v in told(task.conditions).items() if k != "material"}
    return replace(
        result,
        summary=plain({**result.summary, **added}),
        warnings=tuple(dict.fromkeys((*task.conditions.warnings, *result.warnings))),
    )


def _one_or_each(numbers: tuple[float, ...]) -> float | tuple[float, ...]:
    return numbers[0] if len(numbers) == 1 else numbers


def _require_unchanged(task: RateTask, sha256: str) -> None:
    if sha256 and sha256 != task.sha256:
        raise InputError(None, "the file changed while it was being measured", "Run 'surfscan measure' again")


@contextmanager
def _named_faults() -> Iterator[None]:
    """What a calculation refuses as nonsense, as a fault of what the study states."""
    try:
        yield
    except ValueError as fault:
        raise InputError(None, str(fault), "Correct it in study.toml") from fault

"""A potential sweep from points to potentials, corrosion current and rate: for command, batch and page."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from surfscan.electrochemistry.cyclic import (
    CyclicRules,
    CyclicSweep,
    analyse_cyclic,
    oxygen_equilibrium_V_SHE,
)
from surfscan.electrochemistry.methods import RunAnalysis, analyse_run, refuse_run
from surfscan.electrochemistry.plausibility import check_area, check_density, impossible_density
from surfscan.electrochemistry.references import TABLE_TEMPERATURE_DEGC, convert_potential
from surfscan.electrochemistry.resistance import correct_sweep
from surfscan.electrochemistry.settings import SweepSettings
from surfscan.electrochemistry.sweep import Scan, Sweep
from surfscan.electrochemistry.sweep_summary import Conditions, summarise
from surfscan.electrochemistry.sweep_tables import methods_table, points_table, runs_table, windows_table
from surfscan.electrochemistry.zero_current import drift_warnings
from surfscan.errors import InputError
from surfscan.materials.material import Material
from surfscan.procedures.result import Result

_UNIT_AREA_CM2 = 1.0
_LARGEST_PH = 14.0
_AT_VERTEX_V = 0.02


@dataclass(frozen=True)
class _Prepared:
    """A sweep whose potentials are as they are analysed."""

    sweep: Sweep
    rest_V: float | None
    reference_uncertainty_V: float
    is_corrected: bool
    warnings: tuple[str, ...]


def measure_sweep(
    sweep: Sweep,
    settings: SweepSettings | None = None,
    *,
    area_cm2: float | None = None,
    area_relative_uncertainty: float | None = None,
    material: Material | None = None,
    temperature_degC: float = TABLE_TEMPERATURE_DEGC,
    solution_resistance_ohm: float | None = None,
    rest_potential_V: float | None = None,
    to_reference: str | None = None,
) -> Result:
    """Analyse a potential sweep.

    The potentials are freed of the drop in the solution where its resistance is stated, and converted where
    another reference electrode is asked for. One run is analysed (setting `scan`); every run goes into the
    tables with its own potential and corrosion current. Passivity is looked for on the first run that
    rises, from the analysed one on, and the run back from its vertex.

    Parameters
    ----------
    sweep : Sweep
    settings : SweepSettings, optional
    area_cm2 : float, optional
        Wetted area. Without it a sweep of currents gives potentials, slopes and a corrosion current in µA,
        but no density, resistance times area, or rate.
    area_relative_uncertainty : float, optional
        Relative standard uncertainty of the area; None is left out of the intervals, with a warning.
    material : Material, optional
        For the rate.
    temperature_degC : float, optional
        Of cell and reference electrode.
    solution_resistance_ohm : float, optional
        Between reference electrode and specimen.
    rest_potential_V : float, optional
        Against the reference electrode of the sweep.
    to_reference : str, optional
        Electrode that all potentials are converted to.

    Returns
    -------
    Result
        Procedure "sweep"; tables "sweep", "sweep_runs", "sweep_methods", "sweep_windows".

    Raises
    ------
    InputError
        If the area is not above 0, a run is asked for that there is not, the uncertainty of the area is no
        fraction, or an electrode is not known.
    """
    settings = settings or SweepSettings()
    path = sweep.source.path
    is_density = sweep.density_A_per_cm2 is not None
    warnings = list(sweep.warnings)
    if area_cm2 is not None:
        warnings += check_area(area_cm2, path)
        warnings += check_density(sweep, area_cm2)
    elif is_density:
        warnings += check_density(sweep)
    has_area = is_density or area_cm2 is not None
    _check_uncertainty(area_relative_uncertainty, path)
    ready = _prepare(
        sweep, area_cm2, solution_resistance_ohm, rest_potential_V, to_reference, temperature_degC
    )
    warnings += ready.warnings
    potential = ready.sweep.potential_V
    density = ready.sweep.density_uA_per_cm2(area_cm2 if has_area else _UNIT_AREA_CM2)
    scans = sweep.scans
    if settings.scan is not None and settings.scan > len(scans):
        raise InputError(
            path, f"there is no run {settings.scan}: the sweep has {len(scans)}", "Leave out the setting scan"
        )
    runs = [
        analyse_run(
            potential[scan.points],
            density[scan.points],
            settings,
            rest_potential_V=ready.rest_V,
            scan_rate_V_per_s=sweep.scan_rate_V_per_s,
            is_corrected=ready.is_corrected,
        )
        for scan in scans
    ]
    if has_area:
        runs = [_possible(run, density[scan.points]) for run, scan in zip(runs, scans, strict=True)]
    analysed = choose_run(scans, runs, settings.scan)
    run = runs[analysed]
    cyclic = _cyclic(
        ready, density, runs, analysed, settings, has_area=has_area, temperature_degC=temperature_degC
    )
    warnings += run.warnings
    if run.zero.Ecorr_V is not None:
        others = tuple(
            r.zero.Ecorr_V for k, r in enumerate(runs) if k != analysed and r.zero.Ecorr_V is not None
        )
        warnings += drift_warnings(run.zero.Ecorr_V, others, ready.rest_V, settings.largest_drift_V)
    warnings += cyclic.warnings if cyclic is not None else ()
    conditions = Conditions(
        sweep=ready.sweep,
        area_cm2=area_cm2,
        area_relative_uncertainty=area_relative_uncertainty,
        has_area=has_area,
        is_density=is_density,
        material=material,
        temperature_degC=temperature_degC,
        solution_resistance_ohm=solution_resistance_ohm,
        rest_potential_V=ready.rest_V,
        read_reference=sweep.reference,
        reference_uncertainty_V=ready.reference_uncertainty_V,
    )
    summary, said = summarise(conditions, scans, runs, analysed, cyclic)
    warnings += said
    return Result(
        procedure="sweep",
        source=sweep.source,
        calibration=None,
        settings=settings.model_dump(mode="json"),
        summary=summary,
        tables={
            "sweep": points_table(potential, density, scans, analysed, run, has_area=has_area),
            "sweep_runs": runs_table(potential, scans, runs, analysed, has_area=has_area),
            "sweep_methods": methods_table(runs, has_area=has_area),
            "sweep_windows": windows_table(runs, analysed, cyclic, has_area=has_area),
        },
        warnings=tuple(dict.fromkeys(warnings)),
    )


def choose_run(scans: Sequence[Scan], runs: Sequence[RunAnalysis], stated: int | None) -> int:
    """Place of the run that is analysed.

    The stated one, else the first rising run that passes zero current, else the first that passes it, else
    the first.

    Parameters
    ----------
    scans : sequence of Scan
    runs : sequence of RunAnalysis
    stated : int or None
        Its number, the first 1.
    """
    if stated is not None:
        return stated - 1
    passes = [k for k, run in enumerate(runs) if run.zero.Ecorr_V is not None]
    rises = [k for k in passes if scans[k].direction > 0]
    return next(iter([*rises, *passes, 0]))


def _possible(run: RunAnalysis, density_uA_per_cm2: np.ndarray) -> RunAnalysis:
    """The run, or its refusal where its corrosion current is beyond what a wall can carry."""
    icorr = None if run.headline is None else run.headline.icorr_uA_per_cm2
    reason = "" if icorr is None else impossible_density(density_uA_per_cm2, icorr)
    return refuse_run(run, reason) if reason else run


def _check_uncertainty(share: float | None, path: str) -> None:
    if share is not None and not 0 <= share < 1:
        raise InputError(
            path,
            f"a relative uncertainty of the area of {share:g} is no fraction",
            "Give one standard uncertainty over the area, such as 0.02",
        )


def _prepare(
    sweep: Sweep,
    area_cm2: float | None,
    resistance_ohm: float | None,
    rest_V: float | None,
    to_reference: str | None,
    temperature_degC: float,
) -> _Prepared:
    """Potentials less the drop in the solution, against the electrode asked for."""
    path, warnings, uncertainty = sweep.source.path, list[str](), 0.0
    if resistance_ohm is not None:
        try:
            corrected = correct_sweep(sweep, resistance_ohm=resistance_ohm, area_cm2=area_cm2)
        except ValueError as fault:
            raise InputError(path, str(fault), "State the resistance in ohm, and the area in cm²") from fault
        warnings += corrected.warnings[len(sweep.warnings) :]
        sweep = corrected
    if to_reference is not None:
        if sweep.reference is None:
            raise InputError(
                path,
                f"the potentials cannot be converted to {to_reference}: the file does not name their "
                "reference",
                "State the reference electrode of the sweep",
            )
        try:
            shift = convert_potential(0.0, sweep.reference, to_reference, temperature_degC)
        except ValueError as fault:
            raise InputError(path, str(fault), "State the temperature in °C") from fault
        warnings += shift.warnings
        uncertainty = shift.standard_uncertainty_V
        by = float(shift.potential_V)
        sweep = replace(sweep, potential_V=sweep.potential_V + by, reference=to_reference)
        rest_V = None if rest_V is None else rest_V + by
    return _Prepared(sweep, rest_V, uncertainty, resistance_ohm is not None, tuple(warnings))


def _cyclic(
    ready: _Prepared,
    density: np.ndarray,
    runs: Sequence[RunAnalysis],
    analysed: int,
    settings: SweepSettings,
    *,
    has_area: bool,
    temperature_degC: float,
) -> CyclicSweep | None:
    """Passivity on the first rising run from the analysed one on, with the run back from its vertex."""
    scans, potential = ready.sweep.scans, ready.sweep.potential_V
    order = [*range(analysed, len(scans)), *range(analysed)]
    forward = next((k for k in order if scans[k].direction > 0), None)
    if forward is None:
        return None
    zero = runs[forward].zero.Ecorr_V
    points = scans[forward].points
    start = float(potential[scans[forward].start]) if zero is None else zero
    back = next((k for k in range(forward + 1, len(scans)) if scans[k].direction < 0), None)
    if back is not None:
        gap = abs(float(potential[scans[back].start] - potential[scans[forward].stop - 1]))
        back = back if gap <= _AT_VERTEX_V else None
    oxygen, lowest = _oxygen_V(ready.sweep.reference, settings.pH, temperature_degC)
    return analyse_cyclic(
        potential[points],
        density[points],
        start,
        None if back is None else potential[scans[back].points],
        None if back is None else density[scans[back].points],
        rules=CyclicRules(
            settings.passive_least_span_V,
            settings.passive_least_slope_V_per_decade,
            CyclicRules.passive_largest_uA_per_cm2 if has_area else None,
            settings.breakdown_factor,
            settings.breakdown_density_uA_per_cm2 if has_area else None,
            settings.hysteresis_least_decades,
        ),
        oxygen_V=oxygen,
        lowest_oxygen_V=lowest,
    )


def _oxygen_V(
    reference: str | None, pH: float | None, temperature_degC: float
) -> tuple[float | None, float | None]:
    """Equilibrium of oxygen and water at the pH, and at pH 14, against the electrode of the sweep."""
    if reference is None:
        return None, None
    try:
        by = float(convert_potential(0.0, "SHE", reference, temperature_degC).potential_V)
    except InputError:  # an electrode that is not in the table: named, but of no known potential
        return None, None
    at = None if pH is None else oxygen_equilibrium_V_SHE(pH, temperature_degC) + by
    lowest = oxygen_equilibrium_V_SHE(_LARGEST_PH, temperature_degC) + by
    return at, lowest if math.isfinite(lowest) else None

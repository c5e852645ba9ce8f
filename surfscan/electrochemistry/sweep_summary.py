"""Summary of an analysed sweep: flat figures, each with its interval or the reason why there is none."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from surfscan.electrochemistry.cyclic import CyclicSweep
from surfscan.electrochemistry.methods import ASSUMED, FIT, STERN_GEARY, TAFEL, MethodResult, RunAnalysis
from surfscan.electrochemistry.rates import SweepRate, rate_of_current, widen
from surfscan.electrochemistry.stern_geary import NORMAL_95
from surfscan.electrochemistry.sweep import Scan, Sweep
from surfscan.electrochemistry.sweep_tables import why_none
from surfscan.errors import InputError
from surfscan.materials.material import Material

Interval = tuple[float, float]

_KNOWN_WITHIN = 10.0
"""A limiting current whose interval spans more is not given: the points do not hold it."""

_KEYS = {FIT: "fit", TAFEL: "tafel", STERN_GEARY: "stern_geary", ASSUMED: "stern_geary"}


@dataclass(frozen=True)
class Conditions:
    """What an analysis was told, and the sweep as analysed.

    Attributes
    ----------
    sweep : Sweep
    area_cm2, area_relative_uncertainty : float or None
    has_area : bool
        Whether densities are densities; else they are µA.
    is_density : bool
        Whether the file holds densities, so that the area enters nothing.
    material : Material or None
    temperature_degC : float
    solution_resistance_ohm : float or None
    rest_potential_V : float or None
        Against the electrode of the result.
    read_reference : str or None
        Electrode of the file, or stated for it.
    reference_uncertainty_V : float
        Standard uncertainty of a conversion.
    """

    sweep: Sweep
    area_cm2: float | None
    area_relative_uncertainty: float | None
    has_area: bool
    is_density: bool
    material: Material | None
    temperature_degC: float
    solution_resistance_ohm: float | None
    rest_potential_V: float | None
    read_reference: str | None
    reference_uncertainty_V: float

    @property
    def area_doubt(self) -> float:
        """Relative standard uncertainty by which a density is wider than a current."""
        return 0.0 if self.is_density else self.area_relative_uncertainty or 0.0


def summarise(
    conditions: Conditions,
    scans: Sequence[Scan],
    runs: Sequence[RunAnalysis],
    analysed: int,
    cyclic: CyclicSweep | None,
) -> tuple[dict[str, Any], tuple[str, ...]]:
    """Figures by name, ready for JSON, and warnings.

    Parameters
    ----------
    conditions : Conditions
    scans : sequence of Scan
    runs : sequence of RunAnalysis
    analysed : int
        Place of the run whose figures are the result.
    cyclic : CyclicSweep or None

    Returns
    -------
    dict, tuple of str
    """
    run = runs[analysed]
    headline = run.headline
    summary: dict[str, Any] = {
        "scan_count": len(scans),
        "scan": analysed + 1,
        "direction": "up" if scans[analysed].direction > 0 else "down",
        "scan_rate_V_per_s": conditions.sweep.scan_rate_V_per_s,
        "reference": conditions.sweep.reference,
        "read_reference": conditions.read_reference,
        "temperature_degC": conditions.temperature_degC,
        "area_cm2": conditions.area_cm2,
        "area_relative_uncertainty": conditions.area_relative_uncertainty,
        "solution_resistance_ohm": conditions.solution_resistance_ohm,
        "rest_potential_V": conditions.rest_potential_V,
        "sign": conditions.sweep.sign,
        "columns_read": [
            f"column {c.column} ({c.name or 'no heading'}) as {c.role} in {c.unit}, by {c.how}"
            for c in conditions.sweep.columns
        ],
    }
    summary |= _potentials(conditions, runs, analysed)
    warnings: list[str] = []
    if headline is None:
        warnings.append(f"No corrosion current: {why_none(run.methods)}.")
    summary |= _headline(conditions, run, headline)
    summary |= _methods(conditions, run)
    rate, said = _rate(conditions, headline)
    warnings += said
    summary |= rate
    summary |= _passivity(conditions, cyclic, summary["Ecorr_V"])
    if not conditions.has_area:
        warnings.append(
            "The area is not stated: the corrosion current is given in µA, and no density, rate or "
            "resistance of an "
            "area. State the wetted area in cm²."
        )
    elif headline is not None and not conditions.is_density and conditions.area_relative_uncertainty is None:
        warnings.append("The uncertainty of the area is not stated: the intervals leave it out.")
    return summary, tuple(warnings)


def _potentials(conditions: Conditions, runs: Sequence[RunAnalysis], analysed: int) -> dict[str, Any]:
    zero = runs[analysed].zero
    interval = None
    if zero.Ecorr_V is not None and zero.ci95 is not None:
        half = math.hypot((zero.ci95[1] - zero.ci95[0]) / 2, NORMAL_95 * conditions.reference_uncertainty_V)
        interval = [zero.Ecorr_V - half, zero.Ecorr_V + half]
    others = [
        r.zero.Ecorr_V - zero.Ecorr_V
        for k, r in enumerate(runs)
        if k != analysed and r.zero.Ecorr_V is not None and zero.Ecorr_V is not None
    ]
    rest = conditions.rest_potential_V
    return {
        "Ecorr_V": zero.Ecorr_V,
        "Ecorr_V_ci95": interval,
        "other_zero_current_V": list(zero.others_V),
        "drift_between_scans_V": max(others, key=abs, default=None),
        "drift_from_rest_V": None if rest is None or zero.Ecorr_V is None else zero.Ecorr_V - rest,
    }


def _headline(conditions: Conditions, run: RunAnalysis, headline: MethodResult | None) -> dict[str, Any]:
    """Corrosion current by the method that counts, and the polarization resistance."""
    value, interval = _density(conditions, headline)
    current = headline.icorr_uA_per_cm2 if headline and not conditions.has_area else None
    fit = run.fit if headline is not None and headline.method == FIT else None
    resistance, resistance_ci95, resistance_ohm = None, None, None
    if run.resistance is not None and run.resistance.ohm_cm2 is not None and run.resistance.ci95 is not None:
        if conditions.has_area:
            resistance = run.resistance.ohm_cm2
            resistance_ci95 = list(widen(resistance, run.resistance.ci95, conditions.area_doubt))
        else:
            resistance_ohm = run.resistance.ohm_cm2
    limit = fit.limiting_current_uA_per_cm2 if fit and conditions.has_area else None
    limit_ci95 = fit.limiting_current_uA_per_cm2_ci95 if fit else None
    if limit_ci95 is None or limit_ci95[1] > _KNOWN_WITHIN * limit_ci95[0]:
        limit, limit_ci95 = None, None
    return {
        "icorr_uA_per_cm2": value,
        "icorr_uA_per_cm2_ci95": interval,
        "corrosion_current_uA": current,
        "corrosion_current_uA_ci95": list(headline.ci95) if current and headline and headline.ci95 else None,
        "method": headline.method if headline else None,
        "method_note": headline.note if headline else None,
        "window_V": list(headline.window_V) if headline and headline.window_V else None,
        "anodic_slope_mV_per_decade": headline.anodic_slope_mV_per_decade if headline else None,
        "anodic_slope_mV_per_decade_ci95": _listed(headline.anodic_slope_ci95 if headline else None),
        "cathodic_slope_mV_per_decade": headline.cathodic_slope_mV_per_decade if headline else None,
        "cathodic_slope_mV_per_decade_ci95": _listed(headline.cathodic_slope_ci95 if headline else None),
        "limiting_current_uA_per_cm2": limit,
        "limiting_current_uA_per_cm2_ci95": _listed(
            widen(limit, limit_ci95, conditions.area_doubt) if limit and limit_ci95 else None
        ),
        "series_resistance_ohm_cm2": fit.series_resistance_ohm_cm2 if fit and conditions.has_area else None,
        "polarization_resistance_ohm_cm2": resistance,
        "polarization_resistance_ohm_cm2_ci95": resistance_ci95,
        "polarization_resistance_ohm": resistance_ohm,
        "polarization_window_V": list(run.resistance.window_V) if run.resistance else None,
        "polarization_slope_change_fraction": run.resistance.slope_change if run.resistance else None,
        "polarization_refused": run.resistance.refused if run.resistance else run.zero.refused,
        "stern_geary_B_V": run.constant.B_V if run.constant else None,
        "stern_geary_B_relative_uncertainty": run.constant.relative_standard_uncertainty
        if run.constant
        else None,
        "stern_geary_B_origin": run.constant.origin if run.constant else None,
    }


def _listed(interval: Interval | None) -> list[float] | None:
    return None if interval is None else list(interval)


def _density(conditions: Conditions, method: MethodResult | None) -> tuple[float | None, list[float] | None]:
    """Corrosion current density with the uncertainty of the area in its interval."""
    if method is None or method.icorr_uA_per_cm2 is None or method.ci95 is None or not conditions.has_area:
        return None, None
    return method.icorr_uA_per_cm2, list(widen(method.icorr_uA_per_cm2, method.ci95, conditions.area_doubt))


def _methods(conditions: Conditions, run: RunAnalysis) -> dict[str, Any]:
    """Every method under its own names."""
    out: dict[str, Any] = {}
    for each in run.methods:
        key = _KEYS[each.method]
        value, interval = _density(conditions, each)
        out[f"{key}_icorr_uA_per_cm2"] = value
        out[f"{key}_icorr_uA_per_cm2_ci95"] = interval
        out[f"{key}_note"] = each.note
        out[f"{key}_refused"] = each.refused
    return out


def _rate(conditions: Conditions, headline: MethodResult | None) -> tuple[dict[str, Any], tuple[str, ...]]:
    names = ("rate_mm_per_y", "rate_g_per_m2_d")
    blank: dict[str, Any] = {}
    for name in names:
        blank |= {name: None, f"{name}_ci95": None, f"{name}_valence_range": None}
    material = conditions.material
    blank |= {"material": None, "valence_range_note": None}
    value, interval = _density(conditions, headline)
    if material is None:
        said = "No material is stated: no rate in mm/y or g/(m² d)." if value is not None else ""
        return blank, (said,) if said else ()
    blank["material"] = material.as_dict()
    if value is None or interval is None:
        return blank, ()
    try:
        rate: SweepRate = rate_of_current(value, (interval[0], interval[1]), material)
    except InputError as fault:
        return blank, (f"No rate: {fault}",)
    warnings = () if rate.rate_mm_per_y is not None else ("The density of the metal is not known: no mm/y.",)
    return blank | {
        "rate_mm_per_y": rate.rate_mm_per_y,
        "rate_mm_per_y_ci95": _listed(rate.rate_mm_per_y_ci95),
        "rate_mm_per_y_valence_range": _listed(rate.mm_per_y_range),
        "rate_g_per_m2_d": rate.rate_g_per_m2_d,
        "rate_g_per_m2_d_ci95": _listed(rate.rate_g_per_m2_d_ci95),
        "rate_g_per_m2_d_valence_range": _listed(rate.g_per_m2_d_range),
        "valence_range_note": rate.range_reason or None,
    }, warnings


def _passivity(conditions: Conditions, cyclic: CyclicSweep | None, Ecorr_V: float | None) -> dict[str, Any]:
    """Figures of a cyclic sweep; all None where it has none."""
    passive = cyclic.passive if cyclic else None
    given = passive if conditions.has_area else None
    rest = Ecorr_V if conditions.rest_potential_V is None else conditions.rest_potential_V
    from_rest = "rest potential" if conditions.rest_potential_V is not None else "zero-current potential"

    def margin(value: float | None) -> float | None:
        return None if value is None or rest is None else value - rest

    breakdown = cyclic.breakdown_V if cyclic else None
    protection = cyclic.protection_V if cyclic else None
    return {
        "passive_current_density_uA_per_cm2": given.density_uA_per_cm2 if given else None,
        "passive_current_density_uA_per_cm2_ci95": list(
            widen(given.density_uA_per_cm2, given.ci95, conditions.area_doubt)
        )
        if given
        else None,
        "passive_window_V": list(passive.window_V) if passive else None,
        "passivity_refused": cyclic.refused if cyclic else "no run rises in potential",
        "vertex_V": cyclic.vertex_V if cyclic else None,
        "rise_V": cyclic.rise.rise_V if cyclic else None,
        "rise_is": cyclic.kind if cyclic and passive else None,
        "breakdown_V": breakdown,
        "breakdown_range_V": _listed(cyclic.breakdown_range_V if cyclic else None),
        "breakdown_at_least_V": cyclic.breakdown_at_least_V if cyclic else None,
        "breakdown_at_fixed_density_V": cyclic.breakdown_at_fixed_density_V if cyclic else None,
        "protection_V": protection,
        "protection_range_V": _listed(cyclic.protection_range_V if cyclic else None),
        "protection_at_most_V": cyclic.protection_at_most_V if cyclic else None,
        "hysteresis_decades": cyclic.hysteresis_decades if cyclic else None,
        "hysteresis_uA_V_per_cm2": cyclic.hysteresis_uA_V_per_cm2 if cyclic and conditions.has_area else None,
        "breakdown_margin_V": margin(breakdown),
        "breakdown_margin_at_least_V": margin(cyclic.breakdown_at_least_V if cyclic else None),
        "protection_margin_V": margin(protection),
        "margin_from": from_rest if breakdown is not None or (passive and rest is not None) else None,
        "metastable_rises": cyclic.transients.count if cyclic and passive else None,
    }


_FIT_NAMES = ("Ecorr_V", "icorr_uA_per_cm2", "anodic_slope_mV_per_decade", "cathodic_slope_mV_per_decade")
_CYCLIC_NAMES = (
    "passive_current_density_uA_per_cm2",
    "passive_current_density_uA_per_cm2_ci95",
    "breakdown_V",
    "breakdown_range_V",
    "breakdown_at_least_V",
    "breakdown_at_fixed_density_V",
    "protection_V",
    "protection_range_V",
    "protection_at_most_V",
    "breakdown_margin_V",
    "protection_margin_V",
    "hysteresis_decades",
    "hysteresis_uA_V_per_cm2",
    "rise_V",
    "rise_is",
    "vertex_V",
)
_BESIDE_NAMES = (
    "polarization_resistance_ohm_cm2",
    "polarization_resistance_ohm_cm2_ci95",
    "rate_mm_per_y",
    "rate_mm_per_y_ci95",
)


def beside_summary(summary: Mapping[str, Any]) -> dict[str, Any]:
    """The figures that most readers want, in groups: "fit", "cyclic" (None without passivity), and rates.

    Parameters
    ----------
    summary : mapping
        Of an analysed sweep; it holds the same figures under the same names.
    """
    fit = {key: summary[key] for name in _FIT_NAMES for key in (name, f"{name}_ci95")}
    cyclic = None
    if summary["passive_window_V"] is not None:
        cyclic = {name: summary[name] for name in _CYCLIC_NAMES}
    return {
        "fit": fit | {"method": summary["method"]},
        **{name: summary[name] for name in _BESIDE_NAMES},
        "cyclic": cyclic,
    }

"""Tables of rates: a row a rate, a group and method, a sweep, a log, a value of a material."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from surfscan.columns import Table, columns, conform, empty_table
from surfscan.report.rate_materials import material_rows
from surfscan.report.rate_records import RateRecord, of_procedure
from surfscan.report.rates import GroupRates, Rate, over_time
from surfscan.report.tables import table_of

_SWEEP_NUMBERS = (
    "scan_count",
    "scan",
    "scan_rate_V_per_s",
    "temperature_degC",
    "area_cm2",
    "area_relative_uncertainty",
    "solution_resistance_ohm",
    "series_resistance_ohm_cm2",
    "stern_geary_B_V",
    "breakdown_V",
    "breakdown_at_least_V",
    "breakdown_at_fixed_density_V",
    "protection_V",
    "protection_at_most_V",
    "vertex_V",
    "hysteresis_decades",
    "hysteresis_uA_V_per_cm2",
    "breakdown_margin_V",
    "breakdown_margin_at_least_V",
    "protection_margin_V",
    "metastable_rises",
)
_SWEEP_ESTIMATES = (
    "Ecorr_V",
    "icorr_uA_per_cm2",
    "anodic_slope_mV_per_decade",
    "cathodic_slope_mV_per_decade",
    "limiting_current_uA_per_cm2",
    "polarization_resistance_ohm_cm2",
    "rate_mm_per_y",
    "rate_g_per_m2_d",
    "passive_current_density_uA_per_cm2",
)
_SWEEP_TEXTS = (
    "direction",
    "reference",
    "area_from",
    "method",
    "method_note",
    "stern_geary_B_origin",
    "polarization_refused",
    "passivity_refused",
    "rise_is",
    "margin_from",
)
_LOG_NUMBERS = (
    "immersed_h",
    "in_range_h",
    "in_range_fraction",
    "readings",
    "sampling_interval_s",
    "gap_count",
    "gap_h",
    "excursion_count",
    "longest_excursion_h",
)


def rate_tables(
    records: Sequence[RateRecord], rates: Sequence[Rate], groups: Sequence[GroupRates]
) -> dict[str, Table]:
    """Every table of the study about rates, by its name in the column registry."""
    sweeps, logs = of_procedure(records, "sweep"), of_procedure(records, "exposure")
    return {
        "study_rates": table_of("study_rates", [_rate_row(r) for r in rates]),
        "study_rate_groups": table_of("study_rate_groups", [_group_row(g) for g in groups]),
        "study_rates_over_time": _over_time_table(records),
        "study_sweeps": table_of("study_sweeps", [_sweep_row(r) for r in sweeps]),
        "study_sweep_runs": stacked("study_sweep_runs", sweeps, "sweep_runs"),
        "study_sweep_methods": stacked("study_sweep_methods", sweeps, "sweep_methods"),
        "study_sweep_windows": stacked("study_sweep_windows", sweeps, "sweep_windows"),
        "study_exposures": table_of("study_exposures", [_exposure_row(r) for r in logs]),
        "study_channels": stacked("study_channels", logs, "channels"),
        "study_excursions": stacked("study_excursions", logs, "excursions"),
        "study_acid": stacked("study_acid", logs, "acid_over_time"),
        "study_materials": table_of("study_materials", material_rows(records)),
    }


def stacked(name: str, records: Sequence[RateRecord], stored: str) -> Table:
    """All rows of one stored table as table `name` of the report, each with whose it is."""
    parts = [_with_owner(name, record, record.table(stored)) for record in records]
    return _joined(name, parts)


def checks_text(record: RateRecord) -> str:
    """What checks of instruments before and after found."""
    said = []
    for check in record.value("checks") or ():
        name = " ".join(filter(None, (check["instrument"], check["name"])))
        unit = f" {check['unit']}" if check["unit"] else ""
        text = (
            f"{name}: off by {check['error_before']:.3g}{unit} before, {check['error_after']:.3g}{unit} after"
        )
        said.append(text + (f" ({check['reason']})" if check["reason"] else ""))
    return "; ".join(said)


def _with_owner(name: str, record: RateRecord, table: Mapping[str, np.ndarray]) -> Table | None:
    length = len(next(iter(table.values())))
    if not length:
        return None
    owner = {
        "sweep": record.entry_id,
        "log": record.entry_id,
        "entry": record.entry_id,
        "specimen": record.specimen_names,
        "specimens": record.specimen_names,
        "group": record.group,
    }
    whole = {**{key: np.full(length, text) for key, text in owner.items()}, **table}
    return conform(name, {c.name: whole[c.name] for c in columns(name)})


def _joined(name: str, parts: Sequence[Table | None]) -> Table:
    there = [part for part in parts if part is not None]
    if not there:
        return empty_table(name)
    return {c.name: np.concatenate([part[c.name] for part in there]) for c in columns(name)}


def _over_time_table(records: Sequence[RateRecord]) -> Table:
    parts = []
    for record, method, table in over_time(records):
        n = len(table["starts_h"])
        parts.append(_with_owner("study_rates_over_time", record, {**table, "method": np.full(n, method)}))
    return _joined("study_rates_over_time", parts)


def _estimate(name: str, value: float, limits: tuple[float, float]) -> dict[str, float]:
    return {name: value, f"{name}_ci95_low": limits[0], f"{name}_ci95_high": limits[1]}


def _material(record: RateRecord) -> str:
    """The material as used: in some summaries its name, in others all that is known of it."""
    return record.text("material", "name") or record.text("material")


def _rate_row(rate: Rate) -> dict[str, Any]:
    record = rate.record
    low, high = rate.valence_range_mm_per_y
    return {
        "specimen": record.specimen_names,
        "group": record.group,
        "entry": record.entry_id,
        "method": rate.method,
        "how": rate.how,
        "speaks_for": "instant" if rate.is_instant else "average",
        "starts_h": rate.starts_h,
        "ends_h": rate.ends_h,
        "exposure_h": record.exposure_h if rate.is_instant else math.nan,
        "hours_from": record.text("hours_from"),
        "twin_of": record.twin_of,
        "n_specimens": len(record.specimens),
        "area_cm2": record.figure("area_cm2"),
        "area_relative_uncertainty": record.figure("area_relative_uncertainty"),
        "area_from": record.text("area_from"),
        "material": _material(record),
        **_estimate("rate_mm_per_y", rate.mm_per_y, rate.mm_per_y_ci95),
        **_estimate("rate_g_per_m2_d", rate.g_per_m2_d, rate.g_per_m2_d_ci95),
        "valence_low_rate_mm_per_y": low,
        "valence_high_rate_mm_per_y": high,
        "bias": rate.bias,
        "reasons": " | ".join(rate.reasons),
        "refused": rate.refused,
        "enters_means": rate.enters_means,
    }


def _group_row(group: GroupRates) -> dict[str, Any]:
    row: dict[str, Any] = {
        "group": group.group,
        "method": group.method,
        "n_specimens": group.means["rate_g_per_m2_d"].n,
        "n_refused": group.refused_count,
        "starts_h": group.starts_h,
        "ends_h": group.ends_h,
        "bias": group.bias,
        "interval_refused": group.means["rate_g_per_m2_d"].refused,
    }
    for name, mean in group.means.items():
        row |= _estimate(f"mean_{name}", mean.value, mean.ci95 or (math.nan, math.nan))
        row[f"sd_{name}"] = mean.sd
    return row


def _sweep_row(record: RateRecord) -> dict[str, Any]:
    row: dict[str, Any] = {
        "sweep": record.entry_id,
        "specimen": record.specimen_names,
        "group": record.group,
        "twin_of": record.twin_of,
        "exposure_h": record.exposure_h,
        "material": _material(record) or record.specimens[0].material or "",
        "status": record.status,
        "message": record.message,
        "sha256": record.sha256,
        "warnings": " | ".join(record.warnings),
        "refused": no_current(record),
        "is_breakdown_censored": record.value("breakdown_at_least_V") is not None,
    }
    row |= {name: record.figure(name) for name in _SWEEP_NUMBERS}
    row |= {name: record.text(name) for name in _SWEEP_TEXTS}
    for name in _SWEEP_ESTIMATES:
        row |= _estimate(name, record.figure(name), record.interval(name))
    window = record.value("passive_window_V") or (math.nan, math.nan)
    row["passive_low_V"], row["passive_high_V"] = window
    return row


def no_current(record: RateRecord) -> str:
    """Why the analysed run of a sweep gives no corrosion current; empty where it does."""
    if record.done is None:
        return record.message
    runs = record.table("sweep_runs")
    return str(runs["refused"][runs["analysed"]][0])


def _exposure_row(record: RateRecord) -> dict[str, Any]:
    resistance, acid = "hydraulic_resistance", "acid_balance"
    clogging = record.value(resistance, "is_clogging")
    row: dict[str, Any] = {
        "log": record.entry_id,
        "specimens": record.specimen_names,
        "group": record.group,
        "status": record.status,
        "message": record.message,
        "start": record.text("start"),
        "stop": record.text("stop"),
        "verdict": record.text("verdict"),
        "verdict_reasons": " | ".join(r["text"] for r in record.value("verdict_reasons") or ()),
        "resistance_start_kPa_min_per_mL": record.figure(resistance, "start_kPa_min_per_mL"),
        "resistance_end_kPa_min_per_mL": record.figure(resistance, "end_kPa_min_per_mL"),
        **_estimate(
            "resistance_rise_fraction",
            record.figure(resistance, "rise_fraction"),
            record.interval(resistance, "rise_fraction"),
        ),
        "is_clogging": "" if clogging is None else "yes" if clogging else "no",
        "acid_mL": record.figure(acid, "acid_mL"),
        "acid_blank_mL": record.figure(acid, "blank_mL"),
        "acid_mmol": record.figure(acid, "acid_mmol"),
        "acid_metal_mg": record.figure(acid, "metal_mg"),
        "acid_refused": record.text(acid, "refused"),
        "checks": checks_text(record),
        "sha256": record.sha256,
        "warnings": " | ".join(record.warnings),
    }
    return row | {name: record.figure(name) for name in _LOG_NUMBERS}

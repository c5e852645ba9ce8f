"""What a study says of its rates and exposures in a terminal."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from surfscan.report.rounding import round_to_interval

if TYPE_CHECKING:
    from surfscan.store.results import StoredResult
    from surfscan.study.entries import Study
    from surfscan.study.rate_entries import RateEntry

_UNITS = {"rate_mm_per_y": "mm/y", "rate_g_per_m2_d": "g/(m² d)"}


def rates_text(study: Study, stored: Mapping[tuple[str, str], StoredResult]) -> list[str]:
    """Lines on sweeps, weighings, gas and logs: rates, one line each, then exposures.

    Parameters
    ----------
    study : Study
    stored : mapping of (str, str) to StoredResult
        By name of the entry and procedure.

    Returns
    -------
    list of str
        None where the study names no such entry.
    """
    from surfscan.study.rate_entries import PROCEDURE_OF

    rates: list[tuple[str, str, str]] = []
    exposures: list[str] = []
    entries: tuple[RateEntry, ...] = (*study.sweeps, *study.weighings, *study.gas, *study.logs)
    for entry in entries:
        procedure = PROCEDURE_OF[type(entry)]
        result = stored.get((entry.entry_id, procedure))
        whose = _whose(study, entry)
        if result is None or result.status == "failed":
            said = "not measured yet" if result is None else f"failed: {result.message}"
            if procedure == "exposure":
                exposures.append(f"  {entry.entry_id}  {said}")
            else:
                rates.append((whose, _METHODS[procedure], said))
        elif procedure == "exposure":
            exposures.append(f"  {entry.entry_id}  {whose}: {_exposure(result.summary)}")
            acid = result.summary["acid_balance"]
            if acid["rate"] is not None:
                rates.append((whose, "acid", rate_of(acid["rate"])))
        else:
            more = _of_sweep(result.summary) if procedure == "sweep" else ""
            rates.append((whose, _METHODS[procedure], rate_of(result.summary) + more))
    lines = []
    if rates:
        first, second = (max(len(row[k]) for row in rates) for k in (0, 1))
        lines += ["", "Rates", *(f"  {w:<{first}}  {m:<{second}}  {r}" for w, m, r in rates)]
    return lines + (["", "Exposures", *exposures] if exposures else [])


_METHODS = {"sweep": "sweep", "mass_loss": "mass loss", "gas": "gas"}


def rate_of(summary: Mapping[str, Any]) -> str:
    """A rate with its interval and the way it is known to err; why there is none.

    Parameters
    ----------
    summary : mapping
        Of a result, or of an estimate.
    """
    for name, unit in _UNITS.items():
        if summary.get(name) is not None:
            low, high = summary.get(f"{name}_ci95") or (None, None)
            rounded = round_to_interval(summary[name], low, high)
            bias = f", {summary['bias']}" if summary.get("bias") else ""
            interval = f" ({rounded.interval})" if rounded.has_interval else ""
            return f"{rounded.value} {unit}{interval}{bias}"
    refused = summary.get("refused")
    return f"no rate: {refused}" if refused else "no rate"


def _whose(study: Study, entry: RateEntry) -> str:
    from surfscan.study.rate_entries import LogEntry, SweepEntry

    if isinstance(entry, LogEntry):
        return ", ".join(study.specimens_of(entry))
    if isinstance(entry, SweepEntry) and entry.twin_of:
        return f"{entry.specimen} for {entry.twin_of}"
    return entry.specimen


def _of_sweep(summary: Mapping[str, Any]) -> str:
    said = ""
    for name, label, unit in (("Ecorr_V", "Ecorr", "V"), ("icorr_uA_per_cm2", "icorr", "µA/cm²")):
        if summary.get(name) is not None:
            rounded = round_to_interval(summary[name], *(summary.get(f"{name}_ci95") or (None, None)))
            said += f"; {label} {rounded.value} {unit}"
            if name == "Ecorr_V" and summary.get("reference"):
                said += f" vs {summary['reference']}"
    return said


def _exposure(summary: Mapping[str, Any]) -> str:
    inside = summary["in_range_h"]
    said = f"{summary['immersed_h']:.4g} h immersed"
    if inside is not None:
        said += f", {inside:.4g} h in range"
    return f"{said}; {summary['verdict']}"

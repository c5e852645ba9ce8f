"""What the terminal says of a sweep: what, how sure, from which window and method, and what was refused."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from surfscan.procedures.result import Result
from surfscan.report.rounding import round_to_interval

_METHODS = (
    ("fit", "fit of both branches"),
    ("tafel", "Tafel extrapolation"),
    ("stern_geary", "Stern-Geary"),
)
_KINDS = {"oxygen evolution": "oxygen evolution", "uniform reaction": "a uniform reaction"}


def sweep_text(result: Result) -> str:
    """A short plain-text summary of one sweep.

    Parameters
    ----------
    result : Result
        Of `measure_sweep`.

    Returns
    -------
    str
        Lines of text, the last without a line break.
    """
    summary = result.summary
    rows = {
        "read": "; ".join(summary["columns_read"]),
        "run": _run(summary),
        "zero-current potential": _potential(summary, "Ecorr_V"),
        "  from rest": _millivolts(summary["drift_from_rest_V"]),
        "  to other runs": _millivolts(summary["drift_between_scans_V"]),
        "rate": _figure(summary, "rate_mm_per_y", "mm/y"),
        "  as mass": _figure(summary, "rate_g_per_m2_d", "g/(m² d)"),
        "  other valences": _range(summary["rate_mm_per_y_valence_range"], "mm/y"),
        "method": _method(summary),
        "anodic slope": _figure(summary, "anodic_slope_mV_per_decade", "mV/decade"),
        "cathodic slope": _figure(summary, "cathodic_slope_mV_per_decade", "mV/decade"),
        "limiting current": _figure(summary, "limiting_current_uA_per_cm2", "µA/cm²"),
        "polarization resistance": _resistance(summary),
    }
    rows |= _others(summary) | _passivity(summary)
    rows = {label: text for label, text in rows.items() if text}
    width = max(map(len, rows))
    lines = [f"{result.source.path}: {_headline(summary)}"]
    lines += [f"  {label:<{width}}  {text}" for label, text in rows.items()]
    return "\n".join([*lines, *(f"  warning: {warning}" for warning in result.warnings)])


def _headline(summary: Mapping[str, Any]) -> str:
    density = _figure(summary, "icorr_uA_per_cm2", "µA/cm²") or _figure(summary, "corrosion_current_uA", "µA")
    return f"corrosion current {density}" if density else "no corrosion current"


def _run(summary: Mapping[str, Any]) -> str:
    way = "rising" if summary["direction"] == "up" else "falling"
    rate = summary["scan_rate_V_per_s"]
    speed = f", {1000 * rate:.3g} mV/s" if rate else ""
    return f"{summary['scan']} of {summary['scan_count']}, {way}{speed}"


def _against(summary: Mapping[str, Any]) -> str:
    return f"V vs {summary['reference']}" if summary["reference"] else "V (reference electrode not stated)"


def _potential(summary: Mapping[str, Any], name: str) -> str:
    value = summary[name]
    if value is None:
        return ""
    low, high = summary.get(f"{name}_ci95") or (None, None)
    wide = low is not None and high is not None and high - low > 2e-3
    rounded = round_to_interval(value, low if wide else None, high if wide else None)
    sure = f" (95 % interval {rounded.interval})" if wide else ""
    return f"{rounded.value if wide else f'{value:.3f}'} {_against(summary)}{sure}"


def _millivolts(value: float | None) -> str:
    return "" if value is None else f"{1000 * value:+.0f} mV"


def _range(limits: list[float] | None, unit: str) -> str:
    return "" if limits is None else f"{limits[0]:.3g} to {limits[1]:.3g} {unit}"


def _window(limits: list[float] | None) -> str:
    return "" if limits is None else f"{limits[0]:.3f} to {limits[1]:.3f} V"


def _figure(summary: Mapping[str, Any], name: str, unit: str) -> str:
    value = summary[name]
    if value is None:
        return ""
    low, high = summary.get(f"{name}_ci95") or (None, None)
    rounded = round_to_interval(value, low, high)
    sure = f" (95 % interval {rounded.interval})" if rounded.has_interval else ""
    return f"{rounded.value} {unit}{sure}"


def _method(summary: Mapping[str, Any]) -> str:
    if summary["method"] is None:
        return ""
    note = f" ({summary['method_note']})" if summary["method_note"] else ""
    window = _window(summary["window_V"])
    return f"{summary['method']}{note}" + (f", from {window}" if window else "")


def _resistance(summary: Mapping[str, Any]) -> str:
    figure = _figure(summary, "polarization_resistance_ohm_cm2", "ohm cm²")
    if not figure and summary["polarization_resistance_ohm"] is not None:
        figure = f"{round_to_interval(summary['polarization_resistance_ohm']).value} ohm"
    if not figure:
        return f"none: {summary['polarization_refused']}" if summary["polarization_refused"] else ""
    change = summary["polarization_slope_change_fraction"]
    window = _window(summary["polarization_window_V"])
    return f"{figure}, from {window}, slope changes by {100 * change:.0f} %"


def _others(summary: Mapping[str, Any]) -> dict[str, str]:
    """The methods that are not the headline, with their value or why they have none."""
    rows = {}
    for key, name in _METHODS:
        reason = summary[f"{key}_refused"]
        value = _figure(summary, f"{key}_icorr_uA_per_cm2", "µA/cm²")
        note = summary[f"{key}_note"]
        if reason:
            rows[f"by {name}"] = f"none: {reason}"
        elif value and not (summary["method"] or "").startswith(name):
            rows[f"by {name}"] = value + (f", {note}" if note else "")
    shared = {text for text in rows.values() if text.startswith("none: ")}
    if len(shared) == 1 and len(rows) == len(_METHODS):
        return {"by any method": shared.pop()}
    return rows


def _passivity(summary: Mapping[str, Any]) -> dict[str, str]:
    if summary["passive_window_V"] is None:
        return {}
    rows = {
        "passive current": _figure(summary, "passive_current_density_uA_per_cm2", "µA/cm²")
        or "density not known without the area",
        "  from": _window(summary["passive_window_V"]),
        "breakdown potential": _breakdown(summary),
        "  from rest": _margin(summary, "breakdown"),
        "protection potential": _protection(summary),
        "  of protection from rest": _margin(summary, "protection"),
    }
    if summary["breakdown_at_fixed_density_V"] is not None:
        rows["  at fixed density"] = f"{summary['breakdown_at_fixed_density_V']:.3f} V"
    if summary["hysteresis_decades"] is not None:
        rows["hysteresis"] = f"{summary['hysteresis_decades']:+.2f} decades, reverse over forward current"
    return rows


def _breakdown(summary: Mapping[str, Any]) -> str:
    if summary["breakdown_V"] is not None:
        return f"{summary['breakdown_V']:.3f} {_against(summary)}{_between(summary['breakdown_range_V'])}"
    if summary["breakdown_at_least_V"] is not None:
        rise = summary["rise_is"]
        why = "" if rise == "none" else f"; the rise at {summary['rise_V']:.3f} V is {_KINDS[rise]}"
        return f"none up to the vertex: {summary['breakdown_at_least_V']:.3f} V or more{why}"
    return "not told" + ("" if summary["rise_V"] is None else f": rise at {summary['rise_V']:.3f} V")


def _between(limits: list[float] | None) -> str:
    """The bracket that the points set; nothing is said of one that does not show."""
    return (
        ""
        if limits is None or limits[1] - limits[0] < 2e-3
        else f" (between {limits[0]:.3f} and {limits[1]:.3f} V)"
    )


def _margin(summary: Mapping[str, Any], name: str) -> str:
    value = summary[f"{name}_margin_V"]
    return "" if value is None else f"{1000 * value:+.0f} mV from the {summary['margin_from']}"


def _protection(summary: Mapping[str, Any]) -> str:
    if summary["protection_V"] is not None:
        return f"{summary['protection_V']:.3f} {_against(summary)}{_between(summary['protection_range_V'])}"
    low = summary["protection_at_most_V"]
    return "" if low is None else f"none down to {low:.3f} V"

"""What a command says in a terminal: what, how sure, and what to beware of."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from surfscan.cli.scale_text import scale_headline, scale_rows
from surfscan.columns import TEXTURE_PARAMETERS
from surfscan.procedures.result import Result
from surfscan.report.rounding import round_to_interval


def result_text(result: Result) -> str:
    """A short plain-text summary of one result.

    Parameters
    ----------
    result : Result

    Returns
    -------
    str
        Lines of text, the last without a line break.
    """
    lines = [f"{result.source.path}: {_headline(result)}", f"  scale: {_scale(result)}"]
    rows = scale_rows(result.summary) if result.procedure == "scale" else {}
    for name, label, unit in _ROWS.get(result.procedure, ()):
        rows[label] = rows.get(label) or _figure(result.summary, name, unit)
    if rows.get(_ON_STRUT):
        rows[_ON_STRUT] += f" ({result.summary['min_width_condition']})"
    warnings = _told_by_rows(rows, result) if result.procedure == "pits" else list(result.warnings)
    width = max((len(label) for label, figure in rows.items() if figure), default=0)
    lines += [f"  {label:<{width}}  {figure}" for label, figure in rows.items() if figure]
    lines += [f"  warning: {warning}" for warning in warnings]
    return "\n".join(lines)


_NO_FACTOR = "No pitting factor: "
_PRESENT = "Depths and volumes are those below the present surface."
_NO_SCALE = "No scale: sizes and the density are given in px only."


def _told_by_rows(rows: dict[str, str], result: Result) -> list[str]:
    """Put into the rows what they can say in fewer words, and hand back the warnings that are left.

    Warnings are known by how they begin; JSON, store and page have them in full.
    """
    factor, level = "pitting factor", "original level"
    left = []
    for warning in result.warnings:
        if warning.startswith(_NO_FACTOR):
            rows[factor] = f"none: {warning.removeprefix(_NO_FACTOR).removesuffix('.')}"
        elif warning.startswith(_PRESENT):
            rows[level] = "not known: depths are from the present surface, uniform recession is not seen"
        elif not (warning.startswith(_NO_SCALE) and any("No usable scale" in w for w in result.warnings)):
            left.append(warning)
    if result.summary.get("pitting_factor") is not None:
        over = result.summary["pitting_factor_denominator"]
        known = over.startswith("mean penetration")
        rows[factor] += " (greatest over mean penetration)" if known else " (depth over volume per area)"
    if not result.summary["pit_count"]:
        rows[factor] = rows[level] = ""
    return left


_ON_STRUT = "  on strut"
_TEXTURE_UNITS = {"1": "", "deg": "°"}
_AS_PERCENT = ("Sdr", "Smr1", "Smr2")

# Where two figures carry one label, the first that the summary has is said: px only where there is no µm.
_ROWS = {
    "struts": (
        ("mean_width_um", "mean width", "µm"),
        ("mean_width_px", "mean width", "px"),
        ("min_width_um", "least width", "µm"),
        ("min_width_px", "least width", "px"),
        ("min_width_strut", _ON_STRUT, ""),
        ("min_width_s_um", "  from its start", "µm"),
        ("min_width_s_px", "  from its start", "px"),
        ("loss_fraction", "loss of width", "%"),
        ("loss_against", "  against", ""),
        ("least_section_fraction", "least section left", "%"),
        ("least_section_equal_loss_fraction", "  with equal loss all round", "%"),
        ("section_basis", "  from", ""),
        ("least_section_strut", "  of least section: strut", ""),
        ("mean_section_fraction", "mean section left", "%"),
        ("mean_section_equal_loss_fraction", "  mean with equal loss all round", "%"),
        ("lost_length_fraction", "length without metal", "%"),
        ("lost_metal_from", "  known from", ""),
        ("mean_width_with_lost_um", "mean width, lost metal as 0", "µm"),
        ("mean_width_with_lost_px", "mean width, lost metal as 0", "px"),
        ("loss_with_lost_fraction", "loss, lost metal as 0", "%"),
        ("loss_of_survivors_fraction", "loss of what survives", "%"),
        ("total_length_um", "length of struts", "µm"),
        ("total_length_px", "length of struts", "px"),
    ),
    "pits": (
        ("pit_density_per_mm2", "pit density", "per mm²"),
        ("pit_density_per_mpx", "pit density", "per million pixels"),
        ("pitted_area_fraction", "pitted area", "%"),
        ("total_pit_area_um2", "total pit area", "µm²"),
        ("total_pit_area_px", "total pit area", "px"),
        ("median_equivalent_diameter_um", "median equivalent diameter", "µm"),
        ("median_equivalent_diameter_px", "median equivalent diameter", "px"),
        ("mean_area_um2", "mean pit area", "µm²"),
        ("mean_area_px", "mean pit area", "px"),
        ("g46_density_class", "ASTM G46 density class", ""),
        ("g46_size_class", "ASTM G46 size class", ""),
        ("smallest_diameter_um", "smallest diameter counted", "µm"),
        ("smallest_diameter_px", "smallest diameter counted", "px"),
        ("field_area_mm2", "field", "mm²"),
        ("field_area_px", "field", "px"),
        ("max_depth_um", "greatest depth", "µm"),
        ("mean_depth_10_deepest_um", "mean of the ten deepest", "µm"),
        ("median_depth_um", "median depth", "µm"),
        ("total_volume_um3", "total pit volume", "µm³"),
        ("volume_per_area_um", "pit volume per area", "µm"),
        ("mean_penetration_um", "mean penetration", "µm"),
        ("pitting_factor", "pitting factor", ""),
        ("original_level", "original level", ""),
        ("g46_depth_class", "ASTM G46 depth class", ""),
        ("roughness_sq_um", "roughness Sq outside pits", "µm"),
        ("form_text", "form removed", ""),
        ("measured_fraction", "measured", "%"),
        ("spike_count", "spikes taken out", ""),
    ),
    "degraded": (
        ("tarnished_area_fraction", "tarnished area", "%"),
        ("region_area_mm2", "specimen region", "mm²"),
        ("region_area_px", "specimen region", "px"),
    ),
    "section": (
        ("original_outline", "original outline", ""),
        ("metal_area_um2", "remaining metal", "µm²"),
        ("metal_area_px", "remaining metal", "px"),
        ("original_area_um2", "original area", "µm²"),
        ("original_area_px", "original area", "px"),
        ("remaining_thickness_fraction", "remaining thickness", "%"),
        ("mean_thickness_um", "mean thickness", "µm"),
        ("mean_thickness_px", "mean thickness", "px"),
        ("mean_penetration_um", "mean penetration", "µm"),
        ("mean_penetration_px", "mean penetration", "px"),
        ("max_penetration_um", "greatest penetration", "µm"),
        ("max_penetration_px", "greatest penetration", "px"),
        ("local_pitting_factor", "local pitting factor", ""),
        ("least_ligament_um", "least ligament", "µm"),
        ("least_ligament_px", "least ligament", "px"),
        ("profile_count", "sections", ""),
        ("grey_order_found", "light to dark", ""),
    ),
    "texture": (
        *(
            (
                c.name,
                c.name.removesuffix("_um").removesuffix("_deg"),
                "%" if c.name in _AS_PERCENT else _TEXTURE_UNITS.get(c.unit, c.unit),
            )
            for c in TEXTURE_PARAMETERS
        ),
        ("form_text", "form removed", ""),
        ("s_cutoff_um", "S-filter", "µm"),
        ("l_cutoff_um", "L-filter", "µm"),
        ("region_area_mm2", "specimen region", "mm²"),
        ("region_area_px", "specimen region", "px"),
        ("measured_fraction", "measured", "%"),
        ("spike_count", "spikes taken out", ""),
    ),
}


def _headline(result: Result) -> str:
    if result.procedure == "degraded":
        share = _figure(result.summary, "degraded_area_fraction", "%")
        return f"degraded area {share}" if share else "degraded area not determined"
    if result.procedure == "texture":
        return f"areal texture of the {result.summary['surface']} surface"
    if result.procedure == "scale":
        return scale_headline(result.summary)
    if result.procedure == "struts":
        return _strut_headline(result.summary)
    if result.procedure == "section":
        return _section_headline(result.summary)
    count = result.summary["pit_count"]
    text = f"{count} pit" if count == 1 else f"{count} pits"
    near, review = result.summary.get("near_limit_count"), result.summary.get("for_review_count")
    asides = [f"{near} near a limit"] if near else []
    asides += [f"{review} more for review"] if review else []
    return f"{text} ({', '.join(asides)})" if asides else text


def _section_headline(summary: Mapping[str, Any]) -> str:
    if not summary["profile_count"]:
        return "no section found"
    share = _figure(summary, "remaining_fraction", "%")
    return f"remaining section {share}" if share else "remaining section not determined"


def _strut_headline(summary: Mapping[str, Any]) -> str:
    """How many struts, and what is broken."""
    count = summary["strut_count"]
    if not count and not summary["missing_count"]:
        return "no strut measured"
    text = f"{count} strut" if count == 1 else f"{count} struts"
    asides = [
        f"{number} {word}"
        for number, word in (
            (summary["broken_count"], "broken"),
            (summary["missing_count"], "missing"),
            (summary["through_pitted_count"], "pitted through"),
            (summary["fragment_count"], "in loose fragments"),
        )
        if number
    ]
    return f"{text} ({', '.join(asides)})" if asides else text


def _scale(result: Result) -> str:
    scale = result.calibration
    if scale is None:
        return "unknown"
    x, y = scale.pixel_size_x_um, scale.pixel_size_y_um
    size = f"{x:.4g} µm per pixel" if scale.is_square else f"{x:.4g} µm per pixel across, {y:.4g} µm down"
    return f"{size} ({scale.origin})"


def _figure(summary: Mapping[str, Any], name: str, unit: str) -> str:
    """One figure with its interval and unit; empty where the summary has none."""
    value = summary.get(name)
    if value is None:
        return ""
    if isinstance(value, str):
        return value
    if isinstance(value, int):
        return f"{value} {unit}".rstrip()
    if summary.get(f"{name.removesuffix('_um')}_is_lower_bound"):
        return f"at least {round_to_interval(value, None, None).value} {unit}"
    low, high = summary.get(f"{name}_ci95") or (None, None)
    figure = round_to_interval(value, low, high, scale=100 if unit == "%" else 1)
    sure = f" (95 % interval {figure.interval})" if figure.has_interval else ""
    return f"{figure.value} {unit}".rstrip() + sure

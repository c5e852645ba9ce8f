"""Remaining metal of polished cross-sections: area, loss against the original outline, penetration."""

from __future__ import annotations

from typing import Any

import numpy as np

from surfscan.columns import Table, conform, empty_table
from surfscan.images import Micrograph
from surfscan.procedures.result import Result
from surfscan.procedures.section_field import SectionField, section_field
from surfscan.procedures.section_original import Fresh, fresh_sections
from surfscan.procedures.section_profiles import Profile, measure_profile
from surfscan.procedures.settings import SectionSettings

_NONE_FOUND = (
    "No section stands apart from a mounting medium in this field: nothing is measured. Take the whole "
    "section with medium around it, check the exposure, or state grey_order."
)


def measure_section(
    image: Micrograph,
    settings: SectionSettings | None = None,
    *,
    region: np.ndarray | None = None,
    before: Micrograph | None = None,
    twin: Micrograph | None = None,
) -> Result:
    """Measure the remaining metal of every polished cross-section in one field.

    Parameters
    ----------
    image : Micrograph
        Optical or backscatter picture of one or several sections in a mounting medium.
    settings : SectionSettings, optional
        Defaults where None.
    region : ndarray of shape (M, N), optional
        Non-zero where sections are to be looked for.
    before : Micrograph, optional
        The same sections before exposure, registered to `image` (same field, same size).
    twin : Micrograph, optional
        An unexposed section of the same lot, at any place and direction.

    Returns
    -------
    Result
        Tables "profiles" (a row a section), "outline" (local penetration along the original outline) and
        "thickness" (of sections that cross the field). Masks: "section" (uint8: 0 medium, 1 metal, 2 product,
        3 crack or pore) and "region". Summary, over all sections that lie whole in the field:
        `metal_area_um2`(+`_ci95`), `original_area_um2`, `remaining_fraction`(+`_ci95`),
        `mean_penetration_um`, `max_penetration_um`, `local_pitting_factor`, `least_ligament_um`,
        `original_outline` and how many sections there are; px twins of all lengths and areas; None where
        there is no scale or no figure that can be defended. A section that crosses the field has
        `mean_thickness_um` and `remaining_thickness_fraction` in place of areas.

    Notes
    -----
    The original outline is, in this order, that of `before`, of `twin`, the drawn size, or the outer edge of
    the product, which says little: product takes up more room than metal and spalls. The interval of an area
    holds the choice of level (0.4 to 0.6 of the step between metal and surroundings) and the scale.

    Raises
    ------
    InputError
        If a picture is too small or the region mask does not fit.
    """
    settings = settings or SectionSettings()
    field = section_field(image, settings, region=region)
    warnings = list(field.warnings)
    fresh = [
        _fresh(field, other, settings, name, warnings) for other, name in ((before, "before"), (twin, "twin"))
    ]
    profiles: list[Profile] = []
    if field.found is None:
        warnings.append(_NONE_FOUND)
    else:
        for k in range(1, field.count + 1):
            profile = measure_profile(k, field, settings, fresh[0], fresh[1])
            if profile is not None:
                profiles.append(profile)
            else:
                warnings.append(
                    f"Section {k} holds fewer than {settings.min_profile_px} px of metal and is left out: "
                    "take it at a higher magnification."
                )
        warnings += _distinct(profiles)
    if image.calibration is None:
        warnings.append("No scale: lengths and areas are given in px only; fractions do not need one.")
        if settings.drawn_width_um is not None:
            warnings.append("A drawn size in µm cannot be used without a scale; state the pixel size.")
    return Result(
        procedure="section",
        source=image.source,
        calibration=image.calibration,
        settings=settings.model_dump(mode="json"),
        summary=_summary(profiles, field, settings),
        tables=_tables(profiles),
        masks={"section": field.classes(), "region": field.region},
        warnings=tuple(warnings),
    )


def _fresh(
    field: SectionField, other: Micrograph | None, settings: SectionSettings, name: str, warnings: list[str]
) -> list[Fresh]:
    """Sections of an unexposed picture, in px of `field`."""
    if other is None:
        return []
    its = section_field(other, settings, order=_without_product(settings.grey_order))
    scale = 1.0
    if its.um_per_px is not None and field.um_per_px is not None:
        scale = its.um_per_px / field.um_per_px
    elif (its.um_per_px is None) != (field.um_per_px is None):
        warnings.append(
            f"Only one of picture and {name} has a scale: both are taken to have the same pixel size."
        )
    found = fresh_sections(its, scale)
    if not found:
        warnings.append(f"No section lies whole within the picture given as {name}: it is not used.")
    return found


def _without_product(order: str) -> str:
    """The grey order of an unexposed section."""
    return order if order == "auto" else "_".join(part for part in order.split("_") if part != "product")


def _distinct(profiles: list[Profile]) -> list[str]:
    """Warnings of the sections, each said once with the sections it holds for."""
    said: dict[str, list[int]] = {}
    for profile in profiles:
        for text in profile.warnings:
            said.setdefault(text, []).append(profile.number)
    several = len(profiles) > 1
    return [
        f"Section{'s' * (len(numbers) > 1)} {', '.join(map(str, numbers))}: {text}" if several else text
        for text, numbers in said.items()
    ]


def _tables(profiles: list[Profile]) -> dict[str, Table]:
    tables = {}
    for name in ("profiles", "outline", "thickness"):
        rows = [p.tables[name] for p in profiles if name in p.tables]
        if not rows:
            tables[name] = empty_table(name)
            continue
        tables[name] = conform(
            name, {c: np.concatenate([np.atleast_1d(r[c]) for r in rows]) for c in rows[0]}
        )
    return tables


def _summary(profiles: list[Profile], field: SectionField, settings: SectionSettings) -> dict[str, Any]:
    """Figures of the field: sums of areas, weighted means of penetrations, extremes over all sections."""
    closed = [p for p in profiles if p.kind != "crossing" and np.isfinite(p.metal_px)]
    known = [p for p in closed if np.isfinite(p.fraction)]
    crossing = [p for p in profiles if p.kind == "crossing"]
    sources = list(dict.fromkeys(p.source for p in known or crossing))
    figures: dict[str, float | None] = dict.fromkeys(
        ("mean_penetration_px", "max_penetration_px", "least_ligament_px", "mean_thickness_px")
    )
    areas: dict[str, float | None] = {"metal_area_px": None, "original_area_px": None}
    limits: dict[str, list[float] | None] = {"metal_area_px": None, "remaining_fraction": None}
    fraction = factor = thickness_fraction = None
    if closed:
        areas["metal_area_px"] = sum(p.metal_px for p in closed)
        limits["metal_area_px"] = [sum(p.metal_limits_px[i] for p in closed) for i in (0, 1)]
        figures["least_ligament_px"] = _least(p.ligament_px for p in closed)
    if known:
        original = sum(p.original_px for p in known)
        areas["original_area_px"] = original
        fraction = sum(p.metal_px for p in known) / original
        limits["remaining_fraction"] = [
            sum(p.fraction_limits[i] * p.original_px for p in known) / original for i in (0, 1)
        ]
        weight = sum(p.perimeter_px for p in known)
        mean = sum(p.mean_penetration_px * p.perimeter_px for p in known) / weight
        figures["mean_penetration_px"] = mean
        figures["max_penetration_px"] = max(p.max_penetration_px for p in known)
        factors = [p.factor for p in known if np.isfinite(p.factor)]
        factor = max(factors) if factors else None
    elif crossing and not closed:
        figures["mean_thickness_px"] = float(np.mean([p.thickness_px for p in crossing]))
        figures["least_ligament_px"] = _least(p.ligament_px for p in crossing)
        shares = [p.fraction for p in crossing if np.isfinite(p.fraction)]
        if shares:
            thickness_fraction = float(np.mean(shares))
            figures["mean_penetration_px"] = float(np.mean([p.mean_penetration_px for p in crossing]))
    unit = field.um_per_px
    found = field.found
    summary: dict[str, Any] = {
        "profile_count": len(profiles),
        "measured_profile_count": len(known),
        "remaining_fraction": fraction,
        "remaining_fraction_ci95": limits["remaining_fraction"],
        "original_outline": ", ".join(sources) if sources else None,
        "metal_area_um2": _times(areas["metal_area_px"], unit, 2),
        "metal_area_um2_ci95": _scaled_limits(limits["metal_area_px"], areas["metal_area_px"], field),
        "original_area_um2": _times(areas["original_area_px"], unit, 2),
        "local_pitting_factor": factor,
        "remaining_thickness_fraction": thickness_fraction,
        "cut_angle_deg": settings.cut_angle_deg,
        "grey_order_found": None if found is None else found.levels.order,
        "separation": None if found is None else found.levels.separation,
        "island_count": sum(int(p.tables["profiles"]["island_count"]) for p in profiles),
    }
    for name, value in figures.items():
        summary[name.replace("_px", "_um")] = _times(value, unit, 1)
    return summary | areas | {"metal_area_px_ci95": limits["metal_area_px"]} | figures


def _least(values: Any) -> float | None:
    finite = [v for v in values if np.isfinite(v)]
    return min(finite) if finite else None


def _times(value: float | None, um_per_px: float | None, power: int) -> float | None:
    return None if value is None or um_per_px is None else value * um_per_px**power


def _scaled_limits(
    limits: list[float] | None, value: float | None, field: SectionField
) -> list[float] | None:
    """Limits of an area in µm², the scale's uncertainty added."""
    if limits is None or value is None or field.um_per_px is None or value <= 0:
        return None
    scale = 1.96 * 2 * field.relative_uncertainty * value
    low, high = (np.hypot(value - limits[0], scale), np.hypot(limits[1] - value, scale))
    return [float(max(value - low, 0.0)) * field.um_per_px**2, float(value + high) * field.um_per_px**2]

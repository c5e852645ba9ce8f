"""Remaining metal of polished cross-sections: area, loss against the original outline, penetration."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import numpy as np

from surfscan.columns import Table, conform, empty_table
from surfscan.images import Calibration, Micrograph
from surfscan.procedures.result import Result
from surfscan.procedures.section_before import Before, lay_before
from surfscan.procedures.section_field import SectionField, section_field
from surfscan.procedures.section_original import Fresh, fresh_sections, with_scale
from surfscan.procedures.section_profiles import Profile, measure_profile
from surfscan.procedures.settings import SectionSettings

_ONE_SCALE = 1e-6

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
    corrected: np.ndarray | None = None,
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
        The same sections before exposure; registered to `image` where it does not lie right as it is.
    twin : Micrograph, optional
        An unexposed section of the same lot, at any place and direction.
    corrected : ndarray of shape (M, N), int, optional
        Class image as a person painted it, classes as in mask "section". Where it is as found, the metal's
        edge stays where it was found, to a fraction of a pixel; where it was painted, it runs between pixels.
        The summary then says `corrected_by_hand`.

    Returns
    -------
    Result
        Tables "profiles" (a row a section), "outline" (local penetration along the original outline) and
        "thickness" (of sections that cross the field). Masks: "section" (uint8: 0 medium, 1 metal, 2 product,
        3 crack or pore) and "region". Summary, over all sections that lie whole in the field:
        `metal_area_um2`(+`_ci95`), `original_area_um2`, `remaining_fraction`(+`_ci95`),
        `mean_penetration_um`(+`_ci95`), `max_penetration_um`(+`_ci95`), `local_pitting_factor`,
        `least_ligament_um`, `original_outline`, `original_relative_uncertainty`, how a picture before was
        laid on this one (`before_registered`, `before_rotation_deg`, `before_shift_px` (row, col),
        `before_scale`, `before_uncertainty_px`) and how many sections there are; px twins of all lengths and
        areas; None where there is no scale or no figure that can be defended. A section that crosses the
        field has `mean_thickness_um` and `remaining_thickness_fraction` in place of areas.

    Notes
    -----
    The original outline is, in this order, that of `before`, of `twin`, the drawn size (after a stated area,
    which has none of its own), or the outer edge of the product, which says little: product takes up more
    room than metal and spalls, so no interval stands beside it. The interval of an area holds the choice of
    level (0.4 to 0.6 of the step between metal and surroundings, 0.25 to 0.75 under a layer of product too
    thin to show its grey) and the scale.

    Raises
    ------
    InputError
        If a picture is too small or the region or corrected mask does not fit.
    """
    settings = settings or SectionSettings()
    field = section_field(image, settings, region=region)
    if corrected is not None:
        field = field.corrected(corrected, image.source.path)
    warnings = list(field.warnings)
    fresh: dict[str, tuple[Fresh, ...]] = {"before": (), "twin": ()}
    laid: Before | None = None
    if field.found is not None:
        for name, other in (("before", before), ("twin", twin)):
            if other is not None:
                fresh[name], place = _fresh(field, image, other, settings, name, warnings)
                laid = place or laid
    profiles: list[Profile] = []
    if field.found is None:
        warnings.append(_NONE_FOUND)
    else:
        for k in range(1, field.count + 1):
            profile = measure_profile(k, field, settings, fresh["before"], fresh["twin"])
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
        if settings.drawn_width_um is not None or settings.original_area_um2 is not None:
            warnings.append("A size stated in µm cannot be used without a scale; state the pixel size.")
    by_hand = {} if corrected is None else {"corrected_by_hand": True}
    return Result(
        procedure="section",
        source=image.source,
        calibration=image.calibration,
        settings=settings.model_dump(mode="json"),
        summary=_summary(profiles, field, settings) | _laid(laid) | by_hand,
        tables=_tables(profiles),
        masks={"section": field.classes(), "region": field.region},
        warnings=tuple(warnings),
    )


def _fresh(
    field: SectionField, image: Micrograph, other: Micrograph, settings: SectionSettings, name: str,
    warnings: list[str],
) -> tuple[tuple[Fresh, ...], Before | None]:  # fmt: skip
    """Sections of an unexposed picture, in px of `field`, and how those before exposure were laid on it."""
    its = section_field(other, settings, order=_without_product(settings.grey_order))
    ratio = uncertainty = 0.0
    known = image.calibration is not None and other.calibration is not None
    if known:
        assert its.um_per_px is not None and field.um_per_px is not None
        ratio = its.um_per_px / field.um_per_px
        if not _one_scale(image.calibration, other.calibration):
            uncertainty = float(np.hypot(its.relative_uncertainty, field.relative_uncertainty))
    else:
        ratio = 1.0
        which = "Neither" if image.calibration is other.calibration else "Only one"
        warnings.append(
            f"{which} of picture and {name} has a scale: both are taken to have the same pixel size."
        )
    found = fresh_sections(its, ratio)
    if not found:
        warnings.append(f"No section lies whole within the picture given as {name}: it is not used.")
        return (), None
    if name == "twin":
        return with_scale(found, uncertainty), None
    laid, said = lay_before(
        field, its, found, settings, ratio=ratio, scale_known=known, scale_uncertainty=uncertainty
    )
    warnings += [text[0].upper() + text[1:] for text in said]
    return (() if laid is None else laid.sections), laid


def _one_scale(one: Calibration | None, other: Calibration | None) -> bool:
    """Whether two pictures share one calibration, so that its error cancels between them."""
    return (
        one is not None
        and other is not None
        and one.origin == other.origin
        and abs(one.pixel_size_x_um / other.pixel_size_x_um - 1) < _ONE_SCALE
        and abs(one.pixel_size_y_um / other.pixel_size_y_um - 1) < _ONE_SCALE
    )


def _laid(laid: Before | None) -> dict[str, Any]:
    """How the picture before exposure was laid on this one."""
    if laid is None:
        names = ("registered", "rotation_deg", "shift_px", "scale", "uncertainty_px")
        return {f"before_{name}": None for name in names}
    return {
        "before_registered": laid.registered,
        "before_rotation_deg": laid.rotation_deg,
        "before_shift_px": list(laid.shift_px),
        "before_scale": laid.scale,
        "before_uncertainty_px": laid.uncertainty_px if np.isfinite(laid.uncertainty_px) else None,
    }


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
    limits: dict[str, list[float] | None] = dict.fromkeys(
        ("metal_area_px", "remaining_fraction", "mean_penetration_px", "max_penetration_px")
    )
    relative = fraction = factor = thickness_fraction = None
    if closed:
        areas["metal_area_px"] = sum(p.metal_px for p in closed)
        limits["metal_area_px"] = [sum(p.metal_limits_px[i] for p in closed) for i in (0, 1)]
        figures["least_ligament_px"] = _least(p.ligament_px for p in closed)
    if known:
        original = sum(p.original_px for p in known)
        areas["original_area_px"] = original
        fraction = sum(p.metal_px for p in known) / original
        limits["remaining_fraction"] = _finite(
            sum(p.fraction_limits[i] * p.original_px for p in known) / original for i in (0, 1)
        )
        relative = sum(p.original_relative_uncertainty * p.original_px for p in known) / original
        if np.isfinite([p.perimeter_px for p in known]).all():
            weight = sum(p.perimeter_px for p in known)
            figures["mean_penetration_px"] = (
                sum(p.mean_penetration_px * p.perimeter_px for p in known) / weight
            )
            limits["mean_penetration_px"] = _finite(
                sum(p.mean_penetration_limits_px[i] * p.perimeter_px for p in known) / weight for i in (0, 1)
            )
            deepest = max(known, key=lambda p: p.max_penetration_px)
            figures["max_penetration_px"] = deepest.max_penetration_px
            limits["max_penetration_px"] = _finite(deepest.max_penetration_limits_px)
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
        "original_relative_uncertainty": None if relative is None or np.isnan(relative) else relative,
        "local_pitting_factor": factor,
        "remaining_thickness_fraction": thickness_fraction,
        "cut_angle_deg": settings.cut_angle_deg,
        "grey_order_found": None if found is None else found.levels.order,
        "separation": None if found is None else found.levels.separation,
        "island_count": sum(int(p.tables["profiles"]["island_count"]) for p in profiles),
    }
    for name, value in figures.items():
        summary[name.replace("_px", "_um")] = _times(value, unit, 1)
    for name in ("mean_penetration", "max_penetration"):
        pair = limits[f"{name}_px"]
        summary[f"{name}_um_ci95"] = None if pair is None or unit is None else [v * unit for v in pair]
    in_px = {f"{name}_ci95": pair for name, pair in limits.items() if name.endswith("_px")}
    return summary | areas | in_px | figures


def _finite(pair: Iterable[float]) -> list[float] | None:
    """Two limits, or None where they are not known."""
    low, high = pair
    return [float(low), float(high)] if np.isfinite(low) and np.isfinite(high) else None


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

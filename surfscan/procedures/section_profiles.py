"""One section of a field: its areas, its loss, and its rows in the tables."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

from surfscan.measurement.section_loss import least_ligament, perimeter
from surfscan.measurement.section_outline import area_above, largest_outline, penetration_map
from surfscan.measurement.section_thickness import thickness_profile
from surfscan.procedures.section_field import SectionField
from surfscan.procedures.section_original import (
    EDGE_SHARE,
    THIN_EDGE_SHARE,
    Fresh,
    Original,
    mean_penetration,
    original_of,
)
from surfscan.procedures.settings import SectionSettings
from surfscan.segmentation.section import PRODUCT, VOID, excess_of

_ISLAND = 0.1  # pieces below this share of the largest do not stop the way from the outline to the metal
_MARGIN_PX = 8
_SMOOTH_STATIONS = 5  # least thickness of a foil: median of so many stations, so that one speck is none
_OUTSIDE_PX = 1.5
_LEAST_MEAN_PX = 0.5  # a mean penetration below this is no denominator
_NAN2 = (np.nan, np.nan)


@dataclass(frozen=True)
class Profile:
    """One section as measured; px of the field; not-a-number where no figure can be defended."""

    number: int
    kind: str
    source: str
    tables: Mapping[str, Mapping[str, Any]]
    metal_px: float = np.nan
    metal_limits_px: tuple[float, float] = _NAN2
    original_px: float = np.nan
    fraction: float = np.nan
    fraction_limits: tuple[float, float] = _NAN2
    perimeter_px: float = np.nan
    original_relative_uncertainty: float = np.nan
    mean_penetration_px: float = np.nan
    mean_penetration_limits_px: tuple[float, float] = _NAN2
    max_penetration_px: float = np.nan
    max_penetration_limits_px: tuple[float, float] = _NAN2
    factor: float = np.nan
    ligament_px: float = np.nan
    thickness_px: float = np.nan
    warnings: tuple[str, ...] = ()


def measure_profile(
    k: int, field: SectionField, settings: SectionSettings, before: Sequence[Fresh], twin: Sequence[Fresh]
) -> Profile | None:
    """Measure section `k`; None where it holds too little metal."""
    assert field.found is not None  # only called on what was found
    count = field.count
    cut, sides = _cut((field.found.bodies == k) & (field.found.classes != VOID))
    field = field.around(k)
    assert field.found is not None
    own = field.found.bodies == k
    excess = excess_of(field.found.excess, own)
    if np.count_nonzero(excess > 0) < settings.min_profile_px:
        return None
    pieces = _Pieces(excess)
    base = _base(k, field, excess, own, pieces) | {"cut_fraction": cut}
    if sides in ({"top", "bottom"}, {"left", "right"}):
        return _crossing(k, field, settings, pieces, sides, base, before or twin)
    whole = cut <= settings.max_cut_fraction
    kind = "closed" if cut == 0 else "cut"
    if not whole:
        text = (
            f"the frame cuts the section on {100 * cut:.1f} % of its outline, more than "
            f"{100 * settings.max_cut_fraction:.3g} %: no area and no loss is given. Take a field that holds "
            "the whole section."
        )
        row = _row(base, field, kind=kind, original_outline="none")
        return Profile(k, kind, "none", {"profiles": row}, warnings=(text,))
    warnings = []
    if cut:
        warnings.append(
            f"the frame cuts the section on {100 * cut:.1f} % of its outline: its areas are lower bounds."
        )
    cosine = float(np.cos(np.deg2rad(settings.cut_angle_deg or 0.0)))
    metal = area_above(excess) * cosine
    share = THIN_EDGE_SHARE if field.found.levels.thin_layer else EDGE_SHARE
    spread = np.array([area_above(excess, share), area_above(excess, -share)]) * cosine
    original = original_of(k, field, settings, before, twin, count)
    warnings += original.warnings
    original_px = original.area_px * cosine
    fraction = metal / original_px
    limits = _fraction_limits(fraction, metal, spread, original, field)
    if original.source == "outer edge of product":
        warnings.append(
            "the original outline is taken from the outer edge of the product, which swells and spalls: "
            "the fraction is too low where it swelled and too high where it spalled, by how much nobody can "
            "say, so no interval is given. Give a picture before exposure, an unexposed twin or the drawn "
            "size."
        )
    if fraction > 1:
        warnings.append(_more_than_original(fraction, limits[0], original.source))
    refuted = limits[0] > 1
    if refuted:
        fraction, limits = np.nan, _NAN2
    mean, *mean_limits = mean_penetration(
        original, settings, field.um_per_px, np.array([fraction, limits[1], limits[0]])
    ).tolist()
    view = _straight(original, settings, cosine)
    ligament, _ = least_ligament(view.points(pieces.outline()))
    if cosine < 1 and original.turn_rad is None:
        warnings.append(
            "areas are corrected for the oblique cut; lengths are not, for its direction in the picture is "
            f"not known: they are up to {100 * (1 / cosine - 1):.0f} % too large."
        )
    relative = original.relative_uncertainty
    if not original.in_um:
        relative = float(np.hypot(relative, 2 * field.relative_uncertainty))
    tables: dict[str, Mapping[str, Any]] = {}
    greatest = Greatest()
    if original.outline is not None and not refuted:
        if original.misfit_px > _OUTSIDE_PX:
            warnings.append(
                f"metal lies outside the original outline ({original.source}) by {original.misfit_px:.1f} px "
                "in the root mean square: the local penetration is not to be relied on."
            )
        edge_px = float(spread[1] - spread[0]) / (2 * 1.96 * perimeter(original.outline) * cosine)
        tables["outline"], greatest = _along(k, field, settings, original, pieces, view, edge_px)
    factor = greatest.px / mean if mean > _LEAST_MEAN_PX else np.nan
    metal_limits = (float(spread[0]), float(spread[1]))
    row = _row(
        base, field, kind=kind, original_outline=original.source, metal_area=metal,
        metal_limits=metal_limits, original_area=original_px, original_relative_uncertainty=relative,
        fraction=fraction, fraction_limits=limits, mean_penetration=mean,
        mean_limits=(mean_limits[0], mean_limits[1]), greatest=greatest, local_pitting_factor=factor,
        least_ligament=ligament, misfit=original.misfit_px,
    )  # fmt: skip
    return Profile(
        k, kind, original.source, tables | {"profiles": row}, metal, metal_limits, original_px, fraction,
        limits, np.nan if original.outline is None else perimeter(original.outline), relative, mean,
        (mean_limits[0], mean_limits[1]), greatest.px, greatest.limits_px, factor, ligament,
        warnings=tuple(warnings),
    )  # fmt: skip


@dataclass(frozen=True)
class Greatest:
    """Greatest local penetration: how deep, its 95 % limits, and where in the picture."""

    px: float = np.nan
    limits_px: tuple[float, float] = _NAN2
    row_px: float = np.nan
    col_px: float = np.nan


def _more_than_original(fraction: float, low: float, source: str) -> str:
    """What to say of a fraction above 1 whose lower limit is `low`."""
    text = f"there is more metal than originally ({100 * fraction:.1f} %)"
    if not low > 1:
        return f"{text}, within what both are sure to: no loss can be told."
    return f"{text}: no fraction and no penetration is given. Check scale and {source}."


def _along(
    k: int, field: SectionField, settings: SectionSettings, original: Original, pieces: _Pieces, view: _View,
    edge_px: float,
) -> tuple[dict[str, Any], Greatest]:  # fmt: skip
    """Stations along the original outline, and the greatest penetration.

    `edge_px` is the standard uncertainty of the metal's edge.
    """
    assert original.outline is not None  # only called with one
    outline = view.points(original.outline)
    away = penetration_map(outline, view.field(pieces.solid()), settings.outline_pitch_px)
    on_picture = view.back(away.points)
    size_px = original.relative_uncertainty * original.area_px / perimeter(original.outline)
    place_px = original.doubt.along(on_picture, away.inward)
    doubt = np.sqrt(
        edge_px**2 + size_px**2 + place_px**2 + (field.relative_uncertainty * away.deepest_px) ** 2
    )
    rows, cols = field.in_picture(on_picture)
    foot = field.in_picture(view.back(away.points + away.penetration_px[:, None] * away.inward))
    unit = np.nan if field.um_per_px is None else field.um_per_px
    stations = {
        "profile": np.full(len(rows), k), "s_um": away.s_px * unit, "row_px": rows, "col_px": cols,
        "penetration_um": away.penetration_px * unit, "penetration_px": away.penetration_px,
        "deepest_um": away.deepest_px * unit, "deepest_px": away.deepest_px, "s_px": away.s_px,
        "uncertainty_um": doubt * unit, "uncertainty_px": doubt,
        "reaches_metal": away.reaches_metal, "metal_row_px": foot[0], "metal_col_px": foot[1],
    }  # fmt: skip
    deepest = int(np.argmax(away.deepest_px))
    most, half = float(away.deepest_px[deepest]), 1.96 * float(doubt[deepest])
    low = max(most - half, 0.0) if np.isfinite(half) else np.nan
    return stations, Greatest(most, (low, most + half), float(rows[deepest]), float(cols[deepest]))


class _Pieces:
    """The pieces of metal of one section."""

    def __init__(self, excess: np.ndarray) -> None:
        rows, cols = np.nonzero(excess > 0)
        self.corner = (max(rows.min() - _MARGIN_PX, 0), max(cols.min() - _MARGIN_PX, 0))
        self.excess = excess
        self.window = (
            slice(self.corner[0], rows.max() + _MARGIN_PX + 1),
            slice(self.corner[1], cols.max() + _MARGIN_PX + 1),
        )
        count, self.parts, stats, _ = cv2.connectedComponentsWithStats(
            (excess > 0).astype(np.uint8), connectivity=8
        )
        self.area = stats[:, cv2.CC_STAT_AREA].astype(float)
        self.area[0] = 0.0
        self.largest = int(np.argmax(self.area))
        self.count = count - 1

    def _only(self, kept: np.ndarray) -> np.ndarray:
        return np.where((self.excess > 0) & ~kept[self.parts], np.float32(-0.5), self.excess)

    def without_islands(self) -> np.ndarray:
        """The field with small pieces taken out."""
        return self._only(self.area >= _ISLAND * self.area[self.largest])

    def solid(self) -> np.ndarray:
        """The field with small pieces taken out and closed pores filled."""
        field = self.without_islands()
        count, gaps = cv2.connectedComponents((field <= 0).astype(np.uint8), connectivity=4)
        edge = np.concatenate([gaps[0], gaps[-1], gaps[:, 0], gaps[:, -1]])
        closed = np.ones(count, bool)
        closed[np.append(edge, 0)] = False
        return np.where(closed[gaps], np.float32(0.5), field)

    def outline(self) -> np.ndarray:
        """Outline of the largest piece."""
        kept = np.arange(len(self.area)) == self.largest
        inner = self._only(kept)[self.window]
        return largest_outline(inner) + np.array([self.corner[1], self.corner[0]])


def _cut(own: np.ndarray) -> tuple[float, set[str]]:
    """Share of a section's outline that lies on the frame, and which sides it lies on."""
    sides = {"top": own[0], "bottom": own[-1], "left": own[:, 0], "right": own[:, -1]}
    touching = {name: int(np.count_nonzero(line)) for name, line in sides.items()}
    found, _ = cv2.findContours(own.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outline = sum(cv2.arcLength(c, True) for c in found)
    return sum(touching.values()) / max(outline, 1.0), {name for name, n in touching.items() if n}


def _fraction_limits(
    fraction: float, metal: float, spread: np.ndarray, original: Original, field: SectionField
) -> tuple[float, float]:
    """95 % limits of the remaining fraction; not-a-number where the original area's doubt is not known."""
    shared = 2 * field.relative_uncertainty if original.in_um else 0.0
    other = 1.96 * fraction * float(np.hypot(original.relative_uncertainty, shared))
    low = np.hypot(fraction * (1 - spread[0] / metal), other)
    high = np.hypot(fraction * (spread[1] / metal - 1), other)
    return float(np.maximum(fraction - low, 0.0)), float(fraction + high)


@dataclass(frozen=True)
class _View:
    """A section as it would show cut square to the strut.

    Attributes
    ----------
    matrix : ndarray of shape (2, 2)
        From the picture, about `centre`.
    centre : ndarray of shape (2,)
    """

    matrix: np.ndarray
    centre: np.ndarray

    def points(self, points: np.ndarray) -> np.ndarray:
        """Points (n, 2) of the picture in this view."""
        return np.asarray((points - self.centre) @ self.matrix.T + self.centre)

    def back(self, points: np.ndarray) -> np.ndarray:
        """Points of this view in the picture."""
        return np.asarray((points - self.centre) @ np.linalg.inv(self.matrix).T + self.centre)

    def field(self, field: np.ndarray) -> np.ndarray:
        """A field of the picture in this view."""
        if np.array_equal(self.matrix, np.eye(2)):
            return field
        shift = self.centre - self.matrix @ self.centre
        affine = np.column_stack([self.matrix, shift])
        return np.asarray(
            cv2.warpAffine(field, affine, field.shape[::-1], borderMode=cv2.BORDER_CONSTANT, borderValue=-0.5)
        )


def _straight(original: Original, settings: SectionSettings, cosine: float) -> _View:
    """The view square to the strut, where cut angle and direction are known; else the picture as it is."""
    if cosine == 1 or original.turn_rad is None or original.outline is None:
        return _View(np.eye(2), np.zeros(2))
    centre = original.outline.mean(axis=0)
    c, s = np.cos(original.turn_rad), np.sin(original.turn_rad)
    axes = np.array([[c, s], [-s, c]])
    scale = [1.0, cosine] if settings.cut_stretches == "thickness" else [cosine, 1.0]
    return _View(axes.T @ np.diag(scale) @ axes, centre)


def _base(
    k: int, field: SectionField, excess: np.ndarray, own: np.ndarray, pieces: _Pieces
) -> dict[str, Any]:
    """What every row of the profiles holds."""
    assert field.found is not None
    rows, cols = np.nonzero(excess > 0)
    row, col = field.in_picture(np.array([cols.mean(), rows.mean()]))
    classes = field.found.classes[own]
    return {
        "profile": k,
        "row_px": float(row),
        "col_px": float(col),
        "island_count": pieces.count - 1,
        "island_area_px": float(pieces.area.sum() - pieces.area[pieces.largest]),
        "product_area_px": float(np.count_nonzero(classes == PRODUCT)),
        "void_area_px": float(np.count_nonzero(classes == VOID)),
    }


def _row(
    base: dict[str, Any],
    field: SectionField,
    *,
    kind: str,
    original_outline: str,
    metal_area: float = np.nan,
    metal_limits: tuple[float, float] = _NAN2,
    original_area: float = np.nan,
    original_relative_uncertainty: float = np.nan,
    fraction: float = np.nan,
    fraction_limits: tuple[float, float] = _NAN2,
    mean_penetration: float = np.nan,
    mean_limits: tuple[float, float] = _NAN2,
    greatest: Greatest | None = None,
    local_pitting_factor: float = np.nan,
    least_ligament: float = np.nan,
    mean_thickness: float = np.nan,
    misfit: float = np.nan,
) -> dict[str, Any]:
    """One row of the profiles from figures in px of the field."""
    greatest = greatest or Greatest()
    unit = np.nan if field.um_per_px is None else field.um_per_px
    scale = 1.96 * 2 * field.relative_uncertainty * metal_area
    low = metal_area - np.hypot(metal_area - metal_limits[0], scale)
    high = metal_area + np.hypot(metal_limits[1] - metal_area, scale)
    lengths = {
        "mean_penetration": mean_penetration, "max_penetration": greatest.px,
        "least_ligament": least_ligament, "mean_thickness": mean_thickness, "misfit": misfit,
    }  # fmt: skip
    areas = {"metal_area": metal_area, "original_area": original_area} | {
        name: base[f"{name}_px"] for name in ("island_area", "product_area", "void_area")
    }
    return (
        base
        | {"kind": kind, "original_outline": original_outline, "local_pitting_factor": local_pitting_factor}
        | {"metal_area_um2_ci95_low": low * unit**2, "metal_area_um2_ci95_high": high * unit**2}
        | {
            "remaining_fraction": fraction,
            "remaining_fraction_ci95_low": fraction_limits[0],
            "remaining_fraction_ci95_high": fraction_limits[1],
            "original_relative_uncertainty": original_relative_uncertainty,
            "mean_penetration_um_ci95_low": mean_limits[0] * unit,
            "mean_penetration_um_ci95_high": mean_limits[1] * unit,
            "max_penetration_um_ci95_low": greatest.limits_px[0] * unit,
            "max_penetration_um_ci95_high": greatest.limits_px[1] * unit,
            "max_row_px": greatest.row_px,
            "max_col_px": greatest.col_px,
        }
        | {f"{name}_px": value for name, value in (lengths | areas).items()}
        | {f"{name}_um": value * unit for name, value in lengths.items()}
        | {f"{name}_um2": value * unit**2 for name, value in areas.items()}
    )


def _crossing(
    k: int, field: SectionField, settings: SectionSettings, pieces: _Pieces, sides: set[str],
    base: dict[str, Any], fresh: Sequence[Fresh],
) -> Profile:  # fmt: skip
    """A section that crosses the field: thickness in place of area."""
    warnings = [
        "the section crosses the field from side to side, so it has no closed outline: no area and no loss "
        "of area is given, but its thickness along the field."
    ]
    if fresh:
        warnings.append(
            "a picture before exposure or of a twin is not used on a section that crosses the field."
        )
    only = pieces.without_islands()
    profile = thickness_profile(only, along_rows={"left", "right"} <= sides)
    cosine = float(np.cos(np.deg2rad(settings.cut_angle_deg or 0.0)))
    thickness = profile.thickness_px * cosine
    known = np.isfinite(thickness)
    mean = float(thickness[known].mean())
    least = _least_thickness(np.where(known, thickness, 0.0))
    original = fraction = penetration = np.nan
    source = "none"
    if settings.drawn_thickness_um is not None and field.um_per_px is not None:
        original, source = settings.drawn_thickness_um / field.um_per_px, "drawn size"
        fraction = mean / original
        doubt = 1.96 * float(np.hypot(settings.drawn_relative_uncertainty, field.relative_uncertainty))
        if fraction > 1:
            warnings.append(_more_than_original(fraction, fraction * (1 - doubt), source))
        if fraction * (1 - doubt) > 1:
            fraction = np.nan
        penetration = max(0.5 * original * (1 - fraction), 0.0) if np.isfinite(fraction) else np.nan
        warnings.append("the mean penetration of a crossing section is half the loss of thickness, a face.")
    pitch = max(1, int(settings.outline_pitch_px))
    at = np.flatnonzero(known)[::pitch]
    rows, cols = field.in_picture(profile.middle[at])
    unit = np.nan if field.um_per_px is None else field.um_per_px
    table = {
        "profile": np.full(len(at), k), "s_um": profile.s_px[at] * unit, "row_px": rows, "col_px": cols,
        "thickness_um": thickness[at] * unit, "s_px": profile.s_px[at], "thickness_px": thickness[at],
    }  # fmt: skip
    row = _row(
        base, field, kind="crossing", original_outline=source, mean_penetration=penetration,
        least_ligament=least, mean_thickness=mean,
    )  # fmt: skip
    return Profile(
        k, "crossing", source, {"profiles": row, "thickness": table}, fraction=fraction,
        mean_penetration_px=penetration, ligament_px=least, thickness_px=mean, warnings=tuple(warnings),
    )  # fmt: skip


def _least_thickness(thickness: np.ndarray) -> float:
    """Least running median of a few stations."""
    if len(thickness) < _SMOOTH_STATIONS:
        return float(thickness.min())
    windows = np.lib.stride_tricks.sliding_window_view(thickness, _SMOOTH_STATIONS)
    return float(np.median(windows, axis=1).min())

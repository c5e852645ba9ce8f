"""Where a section's original outline comes from, in order of trust, and what it says of the loss."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from surfscan.measurement.section_loss import (
    inward_offsets,
    polygon_area,
    rectangle_penetration,
    round_penetration,
)
from surfscan.measurement.section_outline import area_above, largest_outline, sample, signed_distance
from surfscan.measurement.section_placing import SURE, Doubt, place_outline
from surfscan.procedures.section_field import SectionField
from surfscan.procedures.settings import SectionSettings
from surfscan.segmentation.section import excess_of

EDGE_SHARE = 0.1
"""Limits of an area: the outline set at 0.4 and 0.6 of the step from surroundings to metal."""

THIN_EDGE_SHARE = 0.25
"""The same under a layer of product too thin to show its grey: at 0.25 and 0.75."""

_HELD = 0.5  # an outline before exposure that holds less of the metal than this is another section's
_ROUND = 1e-3
_ELLIPSE_POINTS = 720


@dataclass(frozen=True)
class Original:
    """The original outline of one section.

    Attributes
    ----------
    source : str
        "before", "twin", "stated area", "drawn size", "outer edge of product".
    outline : ndarray of shape (n, 2), or None
        In place, px of the field, as it shows (stretched where the cut is oblique). None where only an area
        is known.
    area_px : float
        Area inside it, as it shows.
    relative_uncertainty : float
        Standard, of the area, without that of this picture's scale; not-a-number where nobody can say.
    in_um : bool
        True where its size is known in µm whatever this picture's scale: then the scale's uncertainty enters
        the remaining fraction.
    turn_rad : float or None
        Direction of the drawn width in the picture; None where nothing was drawn.
    misfit_px : float
    doubt : Doubt
        Of the outline's place.
    warnings : tuple of str
    """

    source: str
    outline: np.ndarray | None
    area_px: float
    relative_uncertainty: float
    in_um: bool = False
    turn_rad: float | None = None
    misfit_px: float = 0.0
    doubt: Doubt = SURE
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class Fresh:
    """One section before exposure, or of an unexposed twin, in px of the field that it is compared with."""

    outline: np.ndarray
    area_px: float
    relative_uncertainty: float
    doubt: Doubt = SURE


def fresh_sections(field: SectionField, scale: float) -> list[Fresh]:
    """Sections of an unexposed picture that lie whole within it, lengths times `scale`."""
    found = field.found
    if found is None:
        return []
    out = []
    for k in range(1, field.count + 1):
        own = found.bodies == k
        if own[0].any() or own[-1].any() or own[:, 0].any() or own[:, -1].any():
            continue
        excess = excess_of(found.excess, own)
        area = area_above(excess)
        spread = 0.5 * (area_above(excess, -EDGE_SHARE) - area_above(excess, EDGE_SHARE))
        outline = (largest_outline(excess) + 0.5) * scale - 0.5
        out.append(Fresh(outline, area * scale**2, spread / 1.96 / area))
    return out


def with_scale(fresh: Sequence[Fresh], relative_uncertainty: float) -> tuple[Fresh, ...]:
    """Sections whose areas carry the doubt of the scale between both pictures (k = 1, of a length)."""
    return tuple(
        replace(f, relative_uncertainty=float(np.hypot(f.relative_uncertainty, 2 * relative_uncertainty)))
        for f in fresh
    )


def drawn_outline(settings: SectionSettings, um_per_px: float, *, stretched: bool) -> np.ndarray | None:
    """The drawn outline about its middle, (n, 2) px, width along x; None where no size is given."""
    if settings.drawn_width_um is None:
        return None
    width = settings.drawn_width_um / um_per_px
    height = (settings.drawn_thickness_um or settings.drawn_width_um) / um_per_px
    top = width if settings.drawn_top_width_um is None else settings.drawn_top_width_um / um_per_px
    if stretched and settings.cut_angle_deg:
        longer = 1.0 / float(np.cos(np.deg2rad(settings.cut_angle_deg)))
        if settings.cut_stretches == "thickness":
            height *= longer
        else:
            width, top = width * longer, top * longer
    if settings.drawn_shape == "ellipse":
        t = np.arange(_ELLIPSE_POINTS) * 2 * np.pi / _ELLIPSE_POINTS
        points = np.stack([0.5 * width * np.cos(t), 0.5 * height * np.sin(t)], axis=1)
        # Chords cut off a little area: 1 part in 80 000 at 720 points, given back.
        return np.asarray(points * np.sqrt(0.25 * np.pi * width * height / polygon_area(points)))
    if settings.drawn_shape == "rectangle":
        top = width
    half = 0.5 * height
    return np.array([[-width / 2, half], [width / 2, half], [top / 2, -half], [-top / 2, -half]])


def original_of(
    k: int,
    field: SectionField,
    settings: SectionSettings,
    before: Sequence[Fresh],
    twin: Sequence[Fresh],
    count: int = 1,
) -> Original:
    """The original outline of section `k`, from the first source that has one.

    In this order: before, twin, stated area, drawn size, outer edge of product.

    Parameters
    ----------
    k : int
    field : SectionField
        The field, or the part of it round section `k`.
    settings : SectionSettings
    before, twin : sequence of Fresh
        In px of the whole field; those before where they belong.
    count : int
        Sections in the whole field.

    Returns
    -------
    Original
        In px of `field`.
    """
    assert field.found is not None  # only called on what was found
    body = field.found.bodies == k
    metal = body & (field.found.excess > 0)
    notes: tuple[str, ...] = ()
    if before:
        own = _from_before(metal, before, field.origin)
        if own is not None:
            return own
        notes = (
            "no whole section of the picture before exposure lies here: the next source of the original "
            "outline takes its place.",
        )
    if twin:
        found = _from_twin(k, metal, body, twin, settings, count)
    elif field.um_per_px is not None and settings.original_area_um2 is not None:
        found = _from_area(metal, body, settings, settings.original_area_um2, field.um_per_px)
    elif field.um_per_px is not None and settings.drawn_width_um is not None:
        found = _from_drawing(metal, body, settings, field.um_per_px)
    else:
        edge = cv2.GaussianBlur(body.astype(np.float32), (0, 0), 1.0, borderType=cv2.BORDER_REPLICATE) - 0.5
        outline = largest_outline(edge)
        found = Original("outer edge of product", outline, polygon_area(outline), np.nan)
    return replace(found, warnings=(*notes, *found.warnings))


def _from_before(metal: np.ndarray, before: Sequence[Fresh], origin: tuple[int, int]) -> Original | None:
    """The outline before exposure that holds most of this metal."""
    corner = np.array(origin[::-1], float)
    best, most = None, 0.0
    for fresh in before:
        inside = np.zeros(metal.shape, np.uint8)
        cv2.fillPoly(inside, [np.round((fresh.outline - corner) * 256).astype(np.int32)], 1, shift=8)
        held = float(np.mean(inside[metal]))
        if held > max(most, _HELD):
            best, most = fresh, held
    if best is None:
        return None
    outline = best.outline - corner
    gap = np.minimum(sample(-signed_distance(metal), outline), 0)
    return Original(
        "before", outline, best.area_px, best.relative_uncertainty,
        misfit_px=float(np.sqrt(np.mean(gap**2))), doubt=best.doubt.moved(-corner),
    )  # fmt: skip


def _from_twin(
    k: int, metal: np.ndarray, body: np.ndarray, twin: Sequence[Fresh], settings: SectionSettings, count: int
) -> Original:
    """The twin's outline, placed by fitting; the twin's sections are matched in order."""
    single = twin[min(k, len(twin)) - 1]
    placed = place_outline(single.outline, metal, body)
    notes: tuple[str, ...] = ()
    if 1 < len(twin) != count:
        notes = (f"the twin shows {len(twin)} sections, this picture another number: matched in order.",)
    relative = float(np.hypot(single.relative_uncertainty, settings.twin_relative_uncertainty))
    return Original(
        "twin", placed.outline, single.area_px, relative, misfit_px=placed.misfit_px, doubt=placed.doubt,
        warnings=notes,
    )  # fmt: skip


def _from_drawing(
    metal: np.ndarray, body: np.ndarray, settings: SectionSettings, um_per_px: float
) -> Original:
    """The drawn outline, placed by fitting."""
    template = drawn_outline(settings, um_per_px, stretched=True)
    assert template is not None  # a width is given
    placed = place_outline(template, metal, body)
    sides = 2.0 if settings.drawn_thickness_um is None else float(np.sqrt(2.0))
    return Original(
        "drawn size", placed.outline, polygon_area(placed.outline),
        settings.drawn_relative_uncertainty * sides, True, placed.turn_rad, placed.misfit_px, placed.doubt,
    )  # fmt: skip


def _from_area(
    metal: np.ndarray, body: np.ndarray, settings: SectionSettings, area_um2: float, um_per_px: float
) -> Original:
    """A stated area; a drawn size gives it its outline."""
    area = area_um2 / um_per_px**2 / float(np.cos(np.deg2rad(settings.cut_angle_deg or 0.0)))
    relative = settings.original_area_relative_uncertainty
    template = drawn_outline(settings, um_per_px, stretched=True)
    if template is None:
        note = (
            "the original area is stated, without an outline: no penetration is given. State the drawn size, "
            "or give a picture before exposure or of an unexposed twin."
        )
        return Original("stated area", None, area, relative, True, warnings=(note,))
    template *= np.sqrt(area / polygon_area(template))
    placed = place_outline(template, metal, body)
    return Original(
        "stated area", placed.outline, area, relative, True, placed.turn_rad, placed.misfit_px, placed.doubt,
        ("the outline of the stated area is the drawn one, brought to that area.",),
    )  # fmt: skip


def mean_penetration(
    original: Original, settings: SectionSettings, um_per_px: float | None, fractions: np.ndarray
) -> np.ndarray:
    """Mean penetration by the exact form of the shape, (n,) px of the field, for remaining fractions (n,).

    Fractions above 1 count as 1; not-a-number where there is no outline.
    """
    if original.outline is None:
        return np.full(len(fractions), np.nan)
    kept = np.clip(fractions, 0.0, 1.0)
    known = np.isfinite(kept)
    if not known.all():
        out = np.full(len(kept), np.nan)
        out[known] = mean_penetration(original, settings, um_per_px, kept[known])
        return out
    drawn = original.source in ("drawn size", "stated area")
    if not drawn or um_per_px is None or settings.drawn_width_um is None:
        return inward_offsets(original.outline, kept)
    outline = drawn_outline(settings, um_per_px, stretched=False)
    assert outline is not None  # a width is given
    width = settings.drawn_width_um / um_per_px
    height = (settings.drawn_thickness_um or settings.drawn_width_um) / um_per_px
    grown = 1.0
    if original.source == "stated area":
        assert settings.original_area_um2 is not None  # it was stated
        grown = float(np.sqrt(settings.original_area_um2 / um_per_px**2 / polygon_area(outline)))
    if settings.drawn_shape == "rectangle":
        return np.array([rectangle_penetration(grown * width, grown * height, f) for f in kept.tolist()])
    if settings.drawn_shape == "ellipse" and abs(width / height - 1) < _ROUND:
        return np.array([round_penetration(0.5 * grown * width, f) for f in kept.tolist()])
    return inward_offsets(grown * outline, kept)

"""Where a section's original outline comes from, in order of trust, and what it says of the loss."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from surfscan.measurement.section_loss import (
    inward_offset,
    polygon_area,
    rectangle_penetration,
    round_penetration,
)
from surfscan.measurement.section_outline import area_above, largest_outline, place_outline
from surfscan.procedures.section_field import SectionField
from surfscan.procedures.settings import SectionSettings
from surfscan.segmentation.section import excess_of

EDGE_SHARE = 0.1
"""Limits of an area: the outline set at 0.4 and 0.6 of the step from surroundings to metal."""

_OUTSIDE = 0.01  # a registered outline that leaves out more of the metal than this does not lie right
_ROUND = 1e-3
_ELLIPSE_POINTS = 720


@dataclass(frozen=True)
class Original:
    """The original outline of one section.

    Attributes
    ----------
    source : str
        "before", "twin", "drawn size", "outer edge of product".
    outline : ndarray of shape (n, 2)
        In place, px of the field, as it shows (stretched where the cut is oblique).
    area_px : float
        Area inside it, as it shows.
    relative_uncertainty : float
        Standard, of the area, without that of the scale.
    in_um : bool
        True where its size is known in µm whatever this picture's scale: then the scale's uncertainty enters
        the remaining fraction.
    turn_rad : float or None
        Direction of the drawn width in the picture; None where nothing was drawn.
    misfit_px : float
    warnings : tuple of str
    """

    source: str
    outline: np.ndarray
    area_px: float
    relative_uncertainty: float
    in_um: bool = False
    turn_rad: float | None = None
    misfit_px: float = 0.0
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class Fresh:
    """One section before exposure, or of an unexposed twin, in px of the field that it is compared with."""

    outline: np.ndarray
    area_px: float
    relative_uncertainty: float


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
    before: list[Fresh],
    twin: list[Fresh],
    count: int = 1,
) -> Original:
    """The original outline of section `k`: before, twin, drawn size, outer edge of product, in that order.

    Parameters
    ----------
    k : int
    field : SectionField
        The field, or the part of it round section `k`.
    settings : SectionSettings
    before, twin : list of Fresh
        In px of the whole field.
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
    if before:
        return _from_before(metal, body, before, field.origin)
    if twin:
        single = twin[0] if len(twin) == 1 else twin[min(k, len(twin)) - 1]
        placed = place_outline(single.outline, metal, body)
        note: tuple[str, ...] = ()
        if 1 < len(twin) != count:
            note = (f"The twin shows {len(twin)} sections, this picture another number: matched in order.",)
        return Original(
            "twin", placed.outline, single.area_px, single.relative_uncertainty,
            field.um_per_px is not None, None, placed.misfit_px, note,
        )  # fmt: skip
    if field.um_per_px is not None:
        template = drawn_outline(settings, field.um_per_px, stretched=True)
        if template is not None:
            placed = place_outline(template, metal, body)
            sides = 1 if settings.drawn_thickness_um is None else 2
            relative = settings.drawn_relative_uncertainty * (2.0 if sides == 1 else np.sqrt(2.0))
            return Original(
                "drawn size", placed.outline, polygon_area(placed.outline), float(relative), True,
                placed.turn_rad, placed.misfit_px,
            )  # fmt: skip
    edge = cv2.GaussianBlur(body.astype(np.float32), (0, 0), 1.0, borderType=cv2.BORDER_REPLICATE) - 0.5
    outline = largest_outline(edge)
    return Original("outer edge of product", outline, polygon_area(outline), 0.0)


def _from_before(
    metal: np.ndarray, body: np.ndarray, before: list[Fresh], origin: tuple[int, int]
) -> Original:
    """The outline before exposure that holds most of this metal; placed anew where it does not lie right."""
    held: list[float] = []
    shifted = [fresh.outline - np.array(origin[::-1]) for fresh in before]
    for outline in shifted:
        inside = np.zeros(metal.shape, np.uint8)
        cv2.fillPoly(inside, [np.round(outline * 256).astype(np.int32)], 1, shift=8)
        held.append(float(np.mean(inside[metal])))
    best = int(np.argmax(held))
    fresh = before[best]
    if held[best] >= 1 - _OUTSIDE:
        return Original("before", shifted[best], fresh.area_px, fresh.relative_uncertainty)
    placed = place_outline(shifted[best], metal, body)
    note = (
        f"{100 * (1 - held[best]):.1f} % of the metal lies outside the outline before exposure as it lies "
        "there: the outline was placed anew by fitting. Register the two pictures for a map to rely on."
    )
    return Original(
        "before", placed.outline, fresh.area_px, fresh.relative_uncertainty, misfit_px=placed.misfit_px,
        warnings=(note,),
    )  # fmt: skip


def mean_penetration(
    original: Original, settings: SectionSettings, um_per_px: float | None, fraction: float
) -> float:
    """Mean penetration in px of the field, by the exact form of the shape."""
    fraction = float(np.clip(fraction, 0.0, 1.0))
    if original.source != "drawn size" or um_per_px is None or settings.drawn_width_um is None:
        return inward_offset(original.outline, fraction)
    width = settings.drawn_width_um / um_per_px
    height = (settings.drawn_thickness_um or settings.drawn_width_um) / um_per_px
    if settings.drawn_shape == "rectangle":
        return rectangle_penetration(width, height, fraction)
    if settings.drawn_shape == "ellipse" and abs(width / height - 1) < _ROUND:
        return round_penetration(0.5 * width, fraction)
    outline = drawn_outline(settings, um_per_px, stretched=False)
    assert outline is not None  # a width is given
    return inward_offset(outline, fraction)

"""A picture of the same sections before exposure, laid on the picture after."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import cv2
import numpy as np

from surfscan.measurement.section_loss import polygon_area, resampled
from surfscan.measurement.section_placing import Settled, settle_outlines, unevenness
from surfscan.preparation.registration import register
from surfscan.procedures.section_field import SectionField
from surfscan.procedures.section_original import Fresh, with_scale
from surfscan.procedures.settings import SectionSettings

_LEAST_CORRELATION = 0.3  # a section that lost most of its metal correlates so little with itself
_HELD = 0.95  # share of the metal that its outline before must hold once laid over it (common practice)
_AS_IT_LIES = 0.99  # and where nothing is moved
_SAME_PX, _SAME_SHARE = 2.0, 0.015  # outlines this near each other are one
_STILL_PX = 2.0  # loss uneven by so much looks like a move: what lies right to that is left as it lies
_MOST_SCALE = 0.15
_THERE = 0.1  # of its area that is section after, for a section before to be in the picture after
_SURE_SCALE = 3.0  # a change of scale counts from so many standard uncertainties on
_POINTS = 120
_RIVAL_COST = 1.3  # squares left by a place that is nearly as good as the best (common practice, no source)
_STAYS = (0.0, 0.0)


@dataclass(frozen=True)
class Before:
    """Sections before exposure where they belong on the picture after.

    Attributes
    ----------
    sections : tuple of Fresh
        In px of the field after.
    registered : bool
        False where they lie right as they are.
    rotation_deg : float
        Turn from before to after, counter-clockwise to the eye.
    scale : float
        Magnification after over before, beyond what the pixel sizes say; 1 where it was held.
    scale_uncertainty : float
        Relative standard uncertainty of a length before against one after.
    shift_px : (float, float)
        Shift of the middle of the sections before, (row, col), px of the picture after.
    uncertainty_px : float
        Largest standard uncertainty of a point of the outlines; not-a-number where the place was taken as
        given.
    """

    sections: tuple[Fresh, ...]
    registered: bool
    rotation_deg: float
    scale: float
    scale_uncertainty: float
    shift_px: tuple[float, float]
    uncertainty_px: float


def lay_before(
    field: SectionField,
    its: SectionField,
    fresh: list[Fresh],
    settings: SectionSettings,
    *,
    ratio: float,
    scale_known: bool,
    scale_uncertainty: float,
) -> tuple[Before | None, list[str]]:
    """Find how sections before exposure lie on the picture after.

    Silhouettes of the sections, product included, are registered over rotation and shift. Then all outlines
    together are moved so that the metal lies inside them, the gap as even as can be. The scale is what the
    pixel sizes say, for loss all round looks like a smaller magnification; where they say nothing, it comes
    from the distances between sections, if there are two or more.

    Parameters
    ----------
    field, its : SectionField
        After and before.
    fresh : list of Fresh
        Whole sections before, lengths in px after, from the outer corner of the field.
    settings : SectionSettings
    ratio : float
        Pixel size before over after.
    scale_known : bool
        Whether both pictures have a scale.
    scale_uncertainty : float
        Relative standard uncertainty of `ratio`.

    Returns
    -------
    before : Before or None
        None where the place is ambiguous or not found.
    warnings : list of str
    """
    assert field.found is not None and its.found is not None  # only called where both show sections
    if settings.before_position == "as_it_lies":
        return Before(
            with_scale(fresh, scale_uncertainty), False, 0.0, 1.0, scale_uncertainty, _STAYS, math.nan
        ), []
    try:
        place = register(
            its.found.bodies > 0,
            field.found.bodies > 0,
            pixel_sizes_um=((ratio, ratio), (1.0, 1.0)),
            max_rotation_deg=settings.before_max_rotation_deg,
            max_shift_fraction=settings.before_max_shift_fraction,
            least_correlation=_LEAST_CORRELATION,
        )
    except ValueError as fault:
        return None, [_not_used(str(fault))]
    if place.fault and not place.rivals:
        return None, [_not_used(place.fault)]
    metal = (field.found.bodies > 0) & (field.found.excess > 0)
    body = field.found.bodies > 0
    poses = []
    for matrix in (place.matrix, *place.rivals):
        mapped = [_mapped(f.outline, matrix, ratio) for f in fresh]
        there = [k for k, outline in enumerate(mapped) if _filled(outline, body) >= _THERE]
        if there:
            kept = [mapped[k] for k in there]
            poses.append(_Pose(matrix, there, kept, settle_outlines(kept, metal, body)))
    if not poses:
        return None, [_not_used("none of its sections comes to lie on one of this picture")]
    best = max(poses, key=lambda p: (len(p.there), -p.settled.cost))
    if any(_rivals(pose, best) for pose in poses):
        return None, [_not_used(place.fault)]
    fresh, laid, settled = [fresh[k] for k in best.there], best.laid, best.settled
    scale, u_scale, warnings = _scale(laid, field, scale_known, scale_uncertainty)
    if scale != 1.0:
        laid = [settled.centre + scale * (outline - settled.centre) for outline in laid]
        settled = settle_outlines(laid, metal, body)
    placed = [settled.points(outline) for outline in laid]
    uncertainty = settled.doubt.at(np.concatenate(placed))
    held = _held(placed, metal)
    if held < _HELD:
        out = 100 * (1 - held)
        return None, [
            _not_used(f"{out:.1f} % of the metal lies outside the sections before as they fit best")
        ]
    still = max(_apart(a, f.outline) for a, f in zip(placed, fresh, strict=True))
    given = [f.outline for f in fresh]
    if (
        scale == 1.0
        and still <= _STILL_PX + uncertainty
        and _held(given, metal) >= _AS_IT_LIES
        and unevenness(given, metal, body) < _RIVAL_COST * settled.cost + _STILL_PX**2 * len(given)
    ):
        own = [replace(f, doubt=settled.doubt) for f in fresh]
        return Before(with_scale(own, u_scale), False, 0.0, 1.0, u_scale, _STAYS, uncertainty), warnings
    grown = [
        replace(f, outline=outline, area_px=f.area_px * scale**2, doubt=settled.doubt)
        for f, outline in zip(fresh, placed, strict=True)
    ]
    moved = np.mean([a.mean(axis=0) - f.outline.mean(axis=0) for a, f in zip(placed, fresh, strict=True)], 0)
    shift = (float(moved[1] / field.stretch[0]), float(moved[0] / field.stretch[1]))
    turn = -math.degrees(math.atan2(best.matrix[1, 0], best.matrix[0, 0]) + settled.turn_rad)
    turn = (turn + 180) % 360 - 180
    before = Before(with_scale(grown, u_scale), True, turn, scale, u_scale, shift, uncertainty)
    return before, [*warnings, _moved_text(before)]


@dataclass(frozen=True)
class _Pose:
    """One way to lay the picture before on that after: matrix, sections there, and how they settle."""

    matrix: np.ndarray
    there: list[int]
    laid: list[np.ndarray]
    settled: Settled

    def placed(self) -> list[np.ndarray]:
        return [self.settled.points(outline) for outline in self.laid]


def _rivals(pose: _Pose, best: _Pose) -> bool:
    """Whether a pose fits nearly as well as the best and puts the outlines elsewhere."""
    near = len(pose.there) == len(best.there) and pose.settled.cost < _RIVAL_COST * best.settled.cost
    return near and pose is not best and not _same(best.placed(), pose.placed())


def _not_used(fault: str) -> str:
    return (
        f"the picture before exposure is not used: {fault}. The next source of the original outline takes "
        "its place. Set before_max_rotation_deg and before_max_shift_fraction, check that both show the same "
        "sections, or register them and set before_position to as_it_lies."
    )


def _moved_text(before: Before) -> str:
    scale = "" if before.scale == 1.0 else f", magnified {before.scale:.4f} times"
    rows, cols = before.shift_px
    return (
        f"the picture before exposure was registered: turned by {before.rotation_deg:.2f} degrees, moved by "
        f"{rows:.1f} rows and {cols:.1f} columns{scale}; its place is uncertain by "
        f"{before.uncertainty_px:.1f} px (standard), which the local penetration carries."
    )


def _mapped(outline: np.ndarray, matrix: np.ndarray, ratio: float) -> np.ndarray:
    """An outline in px after from the corner, moved by a matrix that starts from px before."""
    own = (outline + 0.5) / ratio - 0.5
    return np.asarray(own @ matrix[:, :2].T + matrix[:, 2])


def _apart(one: np.ndarray, other: np.ndarray) -> float:
    """Mean distance of the points of one outline from another."""
    contour = np.ascontiguousarray(other, np.float32)
    points = resampled(one, _POINTS)
    return float(np.mean([abs(cv2.pointPolygonTest(contour, (x, y), True)) for x, y in points.tolist()]))


def _same(one: list[np.ndarray], other: list[np.ndarray]) -> bool:
    """Whether each outline of one set lies on one of the other: a round section looks the same turned."""
    for outline in one:
        near = max(_SAME_PX, _SAME_SHARE * float(np.ptp(outline, axis=0).max()))
        if min(_apart(outline, candidate) for candidate in other) > near:
            return False
    return True


def _filled(outline: np.ndarray, body: np.ndarray) -> float:
    """Share of the area inside an outline that is section."""
    inside = np.zeros(body.shape, np.uint8)
    cv2.fillPoly(inside, [np.round(outline * 256).astype(np.int32)], 1, shift=8)
    return float(np.count_nonzero(body & inside.view(bool))) / max(polygon_area(outline), 1.0)


def _held(outlines: list[np.ndarray], metal: np.ndarray) -> float:
    """Share of the metal inside the outlines."""
    inside = np.zeros(metal.shape, np.uint8)
    for outline in outlines:
        cv2.fillPoly(inside, [np.round(outline * 256).astype(np.int32)], 1, shift=8)
    return float(np.mean(inside[metal]))


def _scale(
    laid: list[np.ndarray], field: SectionField, known: bool, uncertainty: float
) -> tuple[float, float, list[str]]:
    """Change of magnification, its standard uncertainty, and warnings."""
    assert field.found is not None
    if known:
        return 1.0, uncertainty, []
    if len(laid) < 2:
        return (
            1.0,
            uncertainty,
            [
                "the picture before exposure is taken at the same magnification as this one: without scales "
                "nothing but two or more sections tells it. State the pixel sizes."
            ],
        )
    metal = (field.found.bodies > 0) & (field.found.excess > 0)
    body = field.found.bodies > 0
    own: list[Settled] = [settle_outlines([outline], metal, body) for outline in laid]
    start = np.array([s.centre for s in own])
    end = start + np.array([s.shift for s in own])
    a, b = start - start.mean(axis=0), end - end.mean(axis=0)
    square = float(np.sum(a**2))
    turn = math.atan2(float(np.sum(a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])), float(np.sum(a * b)))
    c, s = math.cos(turn), math.sin(turn)
    turned = a @ np.array([[c, s], [-s, c]])
    scale = float(np.sum(turned * b)) / square
    spread = float(np.mean([np.trace(s.doubt.covariance[:2, :2]) / 2 for s in own]))
    freedom = 2 * len(own) - 4
    if freedom > 0:
        spread = max(spread, float(np.sum((b - scale * turned) ** 2)) / freedom)
    u_scale = math.sqrt(spread / square)
    if abs(scale - 1) > _MOST_SCALE:
        return (
            1.0,
            u_scale,
            [
                f"distances between sections say that picture and before differ {scale:.2f} times in "
                "magnification, too much to go by: both are taken at the same. State the pixel sizes."
            ],
        )
    if abs(scale - 1) <= _SURE_SCALE * u_scale:
        return 1.0, u_scale, []
    return scale, u_scale, []

"""Loss of a cross-section: mean penetration by exact forms, and the least ligament of what is left."""

from __future__ import annotations

import cv2
import numpy as np

from surfscan.segmentation.grouped import distance_inside

SMALL_LOSS = 0.10
"""Loss of area up to which (original - remaining area) / original perimeter may stand for the penetration."""

LIGAMENT_SHARE = 0.25
"""A cut across the metal leaves at least this share of its area on either side to count as a ligament."""

_FINE_PX = 1400
_CUT_POINTS = 400


def round_penetration(radius: float, fraction: float) -> float:
    """Mean penetration of a round wire: radius (1 - sqrt(fraction)).

    Parameters
    ----------
    radius : float
        Original radius.
    fraction : float
        Remaining over original area, 0 to 1.

    Raises
    ------
    ValueError
        If the radius is not above 0 or the fraction not within 0 to 1.
    """
    _check(fraction, radius)
    return radius * (1.0 - float(np.sqrt(fraction)))


def rectangle_penetration(width: float, thickness: float, fraction: float) -> float:
    """Mean penetration d of a rectangle attacked on all sides: (w - 2 d)(t - 2 d) = fraction w t.

    Raises
    ------
    ValueError
        If a side is not above 0 or the fraction not within 0 to 1.
    """
    _check(fraction, width, thickness)
    total = width + thickness
    return 0.25 * (total - float(np.sqrt(total**2 - 4.0 * width * thickness * (1.0 - fraction))))


def small_loss_penetration(original_area: float, area: float, perimeter: float) -> float:
    """(original area - area) / original perimeter, for losses of up to 10 % of the area.

    Raises
    ------
    ValueError
        If the loss is above `SMALL_LOSS`, where this form is too low on any closed outline.
    """
    fraction = area / original_area
    _check(fraction, original_area, perimeter)
    if 1.0 - fraction > SMALL_LOSS:
        raise ValueError(f"a loss of {100 * (1 - fraction):.0f} % is too large for area over perimeter")
    return (original_area - area) / perimeter


def inward_offset(outline: np.ndarray, fraction: float) -> float:
    """Distance by which an outline of any shape moves inwards to enclose `fraction` of its area.

    The area further than d from the outline, counted on a fine grid, equals `fraction` of the whole at the d
    returned; corners are kept, as on an evenly dissolving body.

    Parameters
    ----------
    outline : ndarray of shape (n, 2)
        Closed polygon, (x, y).
    fraction : float
        0 to 1.

    Returns
    -------
    float
        In the unit of `outline`, good to about 1/3000 of its longer side.
    """
    return float(inward_offsets(outline, np.array([fraction]))[0])


def inward_offsets(outline: np.ndarray, fractions: np.ndarray) -> np.ndarray:
    """`inward_offset` of several fractions, (n,)."""
    for fraction in fractions.tolist():
        _check(fraction, 1.0)
    if (fractions >= 1.0).all():
        return np.zeros(len(fractions))
    low = outline.min(axis=0)
    scale = _FINE_PX / float(np.ptp(outline, axis=0).max())
    points = (outline - low) * scale + 2.0
    side = np.ceil(points.max(axis=0)).astype(int) + 3
    mask = np.zeros((side[1], side[0]), np.uint8)
    cv2.fillPoly(mask, [np.round(points * 256).astype(np.int32)], 1, shift=8)
    away = distance_inside(mask.view(bool))
    depth = np.sort(away[mask > 0] - 0.5)
    place = (1.0 - fractions) * (len(depth) - 1)
    offset = np.maximum(np.interp(place, np.arange(len(depth)), depth), 0.0) / scale
    return np.where(fractions >= 1.0, 0.0, offset)


def _check(fraction: float, *sizes: float) -> None:
    if not 0.0 <= fraction <= 1.0:
        raise ValueError(f"a remaining fraction lies within 0 and 1, got {fraction!r}")
    if not all(size > 0 for size in sizes):
        raise ValueError(f"sizes must be above 0, got {sizes!r}")


def polygon_area(points: np.ndarray) -> float:
    """Area of a closed polygon (n, 2)."""
    x, y = points[:, 0], points[:, 1]
    return 0.5 * abs(float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)))


def perimeter(points: np.ndarray) -> float:
    """Length of a closed polygon (n, 2)."""
    return float(np.sum(np.hypot(*(np.roll(points, -1, axis=0) - points).T)))


def resampled(points: np.ndarray, count: int) -> np.ndarray:
    """`count` points evenly spaced along a closed polygon (n, 2), from its first on."""
    closed = np.vstack([points, points[:1]])
    along = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(closed, axis=0).T))])
    where = np.arange(count) * along[-1] / count
    return np.stack([np.interp(where, along, closed[:, k]) for k in (0, 1)], axis=1)


def least_ligament(outline: np.ndarray) -> tuple[float, np.ndarray]:
    """Shortest straight cut through a body that leaves a quarter of its area or more on either side.

    For a bar of any length it is its least thickness over the middle half, for a square its side, for a
    dumb-bell its neck; for a disc it is 0.915 of the diameter.

    Parameters
    ----------
    outline : ndarray of shape (n, 2)
        Closed polygon, (x, y); holes are not looked at.

    Returns
    -------
    length : float
    ends : ndarray of shape (2, 2)
    """
    p = resampled(outline, _CUT_POINTS)
    q = np.roll(p, -1, axis=0)
    cross = p[:, 0] * q[:, 1] - q[:, 0] * p[:, 1]
    total = float(cross.sum())
    sums = np.concatenate([[0.0], np.cumsum(cross)[:-1]])
    i, j = np.triu_indices(_CUT_POINTS, 2)
    part = (sums[j] - sums[i] + p[j, 0] * p[i, 1] - p[i, 0] * p[j, 1]) / total
    length = np.hypot(*(p[j] - p[i]).T)
    fair = np.flatnonzero((part >= LIGAMENT_SHARE) & (part <= 1 - LIGAMENT_SHARE))
    contour = np.ascontiguousarray(p, np.float32)
    shares = np.linspace(0, 1, 26)[1:-1]
    for k in fair[np.argsort(length[fair], kind="stable")]:
        a, b = p[i[k]], p[j[k]]
        steps = a + shares[:, None] * (b - a)
        if all(cv2.pointPolygonTest(contour, (float(x), float(y)), True) >= -0.5 for x, y in steps):
            return float(length[k]), np.stack([a, b])
    return 0.0, np.stack([p[0], p[0]])

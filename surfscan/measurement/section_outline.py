"""Outlines of a section: the metal's edge, the original outline put in its place, and the way between them.

Points are (x, y) in px, the centre of the first pixel at 0, 0; pixels are square.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from surfscan.measurement.section_loss import perimeter, resampled
from surfscan.segmentation.grouped import distance_inside

_FINE_SIDE = 2400  # fields are read between pixels, up to a picture of this many points a side
_FINEST = 4
_BEFORE_PX = 4.0  # metal is looked for from this far outside the outline on
_STEP_PX = 0.5
_ROUND_PX = 12  # so far round the outline the picture is looked at


def area_above(field: np.ndarray, level: float = 0.0) -> float:
    """Area in px where a field, read linearly between pixels, lies above `level`."""
    fine, k = _refined(field)
    return float(np.count_nonzero(fine > level)) / k**2


def largest_outline(field: np.ndarray) -> np.ndarray:
    """Outer outline of the largest piece where `field` is above 0, (n, 2), to a fraction of a pixel.

    Raises
    ------
    ValueError
        If the field is nowhere above 0.
    """
    fine, k = _refined(cv2.copyMakeBorder(field, 1, 1, 1, 1, cv2.BORDER_CONSTANT, value=-0.5))
    found, _ = cv2.findContours((fine > 0).astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    if not found:
        raise ValueError("nothing lies above 0")
    chain = max(found, key=cv2.contourArea)[:, 0].astype(np.float32)
    slope_x, slope_y = (
        cv2.Sobel(fine, cv2.CV_32F, 1, 0, scale=0.125),
        cv2.Sobel(fine, cv2.CV_32F, 0, 1, scale=0.125),
    )
    value, gx, gy = (sample(f, chain) for f in (fine, slope_x, slope_y))
    step = value / np.maximum(gx**2 + gy**2, 1e-8)
    length = np.abs(step) * np.hypot(gx, gy)
    step *= np.minimum(1.0, 1.0 / np.maximum(length, 1e-6))
    points = chain - np.stack([step * gx, step * gy], axis=1)
    return np.asarray((points + 0.5) / k - 1.5, float)


def _refined(field: np.ndarray) -> tuple[np.ndarray, int]:
    k = int(np.clip(_FINE_SIDE // max(field.shape), 1, _FINEST))
    field = np.ascontiguousarray(field, np.float32)
    return (field if k == 1 else cv2.resize(field, None, fx=k, fy=k, interpolation=cv2.INTER_LINEAR)), k


def sample(field: np.ndarray, points: np.ndarray) -> np.ndarray:
    """`field` at points (..., 2), linear between pixels, held at its edge beyond it, float32."""
    flat = np.asarray(points, np.float32).reshape(-1, 2)
    out = np.empty(len(flat), np.float32)
    for first in range(0, len(flat), 30_000):
        part = flat[first : first + 30_000]
        out[first : first + len(part)] = cv2.remap(
            field, part[:, 0], part[:, 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        ).ravel()
    return out.reshape(points.shape[:-1])


def signed_distance(mask: np.ndarray) -> np.ndarray:
    """Distance to the edge of `mask`, px, above 0 inside."""
    inner = np.ascontiguousarray(mask, bool)
    inside, outside = distance_inside(inner), distance_inside(~inner)
    return np.asarray(np.where(inner, inside - 0.5, 0.5 - outside), np.float32)


@dataclass(frozen=True)
class PenetrationMap:
    """How deep the metal has gone along the original outline.

    Attributes
    ----------
    points : ndarray of shape (n, 2)
        Stations evenly spaced along the outline.
    s_px : ndarray of shape (n,)
        Arc length from the first station.
    penetration_px : ndarray of shape (n,)
        Distance along the inward normal to the metal; where the normal meets none before it comes nearer to
        another part of the outline (a corner), the distance to there. Below 0 where metal lies outside.
    deepest_px : ndarray of shape (n,)
        Distance along the inward normal to the last point, this side of the ridge, where metal has gone:
        attack that undercuts metal is counted.
    inward : ndarray of shape (n, 2)
        Unit normals.
    reaches_metal : ndarray of shape (n,), bool
    """

    points: np.ndarray
    s_px: np.ndarray
    penetration_px: np.ndarray
    deepest_px: np.ndarray
    inward: np.ndarray
    reaches_metal: np.ndarray


def penetration_map(outline: np.ndarray, excess: np.ndarray, pitch_px: float) -> PenetrationMap:
    """Local penetration at stations along the original outline.

    Parameters
    ----------
    outline : ndarray of shape (n, 2)
        Original outline.
    excess : ndarray of shape (M, N), float32
        Above 0 in metal, closed pores in it as well.
    pitch_px : float
        Distance between stations, at most.

    Returns
    -------
    PenetrationMap

    Notes
    -----
    Up to the ridge of the outline's distance map every point has one nearest outline point, and lies on that
    point's normal: so depth along the normal is distance from the original outline, and corners do not
    count twice.
    """
    length = perimeter(outline)
    count = max(16, int(np.ceil(length / pitch_px)))
    points = resampled(outline, count)
    ahead, behind = np.roll(points, -1, axis=0), np.roll(points, 1, axis=0)
    tangent = ahead - behind
    tangent /= np.maximum(np.hypot(*tangent.T), 1e-9)[:, None]
    inward = np.stack([-tangent[:, 1], tangent[:, 0]], axis=1)
    x, y = points[:, 0], points[:, 1]
    if np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y) < 0:
        inward = -inward
    size = np.array(excess.shape[::-1])
    low = np.clip(np.floor(outline.min(axis=0)).astype(int) - _ROUND_PX, 0, size - 1)
    high = np.clip(np.ceil(outline.max(axis=0)).astype(int) + _ROUND_PX, low + 1, size)
    near = excess[low[1] : high[1], low[0] : high[0]]
    inside = np.zeros(near.shape, np.uint8)
    cv2.fillPoly(inside, [np.round((outline - low) * 256).astype(np.int32)], 1, shift=8)
    depth = signed_distance(inside)
    way = np.arange(-_BEFORE_PX, float(depth.max()) + 2.0, _STEP_PX)
    at = points[:, None, :] + way[:, None] * inward[:, None, :]
    metal, below = sample(near, at - low), sample(depth, at - low)
    over = below < way - (1.0 + 0.03 * np.maximum(way, 0))
    end = np.where(over.any(axis=1), over.argmax(axis=1), len(way) - 1)
    hit = (metal > 0) & (np.arange(len(way)) < end[:, None])
    met = np.asarray(hit.any(axis=1))
    first = np.where(met, hit.argmax(axis=1), end)
    n = np.arange(count)
    before = np.maximum(first - 1, 0)
    a, b = metal[n, before], metal[n, first]
    part = np.where(first > 0, np.clip(-a / np.where(b - a > 1e-6, b - a, 1.0), 0, 1), 1.0)
    alive = np.arange(len(way)) <= end[:, None]
    ridge = np.where(alive, below, -np.inf).max(axis=1)
    found = np.where(met, way[before] + part * (way[first] - way[before]), np.maximum(ridge, 0.0))
    before_end = np.arange(len(way)) < end[:, None]
    gone = (metal <= 0) & before_end
    last = np.where(gone.any(axis=1), len(way) - 1 - gone[:, ::-1].argmax(axis=1), 0)
    beyond = np.minimum(last + 1, len(way) - 1)
    a, b = metal[n, last], metal[n, beyond]
    part = np.where(beyond < end, np.clip(-a / np.where(b - a > 1e-6, b - a, 1.0), 0, 1), 0.0)
    deepest = np.where(met, np.maximum(way[last] + part * _STEP_PX, found), found)
    return PenetrationMap(points, n * length / count, found, deepest, inward, met)

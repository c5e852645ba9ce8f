"""Outlines of a section: the metal's edge, the original outline put in its place, and the way between them.

Points are (x, y) in px, the centre of the first pixel at 0, 0; pixels are square.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from surfscan.measurement.section_loss import perimeter, resampled

_FINE_SIDE = 2400  # fields are read between pixels, up to a picture of this many points a side
_FINEST = 4
_BEFORE_PX = 4.0  # metal is looked for from this far outside the outline on
_STEP_PX = 0.5
_FIT_POINTS = 240
_OUT_WEIGHT = 4.0  # metal outside the outline weighs so much more than an uneven gap
_PRODUCT_WEIGHT = 0.3
_ROUNDS = 40


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
    inner = mask.astype(np.uint8)
    inside = cv2.distanceTransform(inner, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    outside = cv2.distanceTransform(1 - inner, cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    return np.asarray(np.where(inner, inside - 0.5, 0.5 - outside), np.float32)


@dataclass(frozen=True)
class Placement:
    """An outline put where it belongs.

    Attributes
    ----------
    outline : ndarray of shape (n, 2)
    turn_rad : float
        Angle by which it was turned.
    misfit_px : float
        Root mean square distance of metal that lies outside it, over the outline.
    """

    outline: np.ndarray
    turn_rad: float
    misfit_px: float


def place_outline(template: np.ndarray, metal: np.ndarray, body: np.ndarray) -> Placement:
    """Turn and shift an outline so that the metal lies inside it, at the most even distance.

    Least squares over the outline: metal outside it counts most; then how much the gap to the metal varies,
    and with less weight how much the distance to the outer edge of the product does, both so that pits and
    spalled parts do not pull (Huber). It is tried from the directions of the least boxes round metal and
    body.

    Parameters
    ----------
    template : ndarray of shape (n, 2)
        Outline of the right size, anywhere.
    metal, body : ndarray of shape (M, N), bool
        Remaining metal, and metal with product.

    Returns
    -------
    Placement
    """
    gap, rim = -signed_distance(metal), signed_distance(body)
    middle = _centroid(template)
    points = resampled(template - middle, _FIT_POINTS)
    rows, cols = np.nonzero(body)
    centre = np.array([cols.mean(), rows.mean()])
    own = _box_angle(points)
    starts = {round(_box_angle(_rim(mask)) - own, 6) for mask in (metal, body)}
    best: tuple[float, np.ndarray] | None = None
    for base in sorted(starts):
        for quarter in range(4):
            pose = np.array([*centre, base + quarter * np.pi / 2])
            cost, pose = _fit(points, pose, gap, rim)
            if best is None or cost < best[0] - 1e-9:
                best = (cost, pose)
    assert best is not None  # four starts at least
    pose = best[1]
    placed = _moved(template - middle, pose)
    out = np.minimum(sample(gap, _moved(points, pose)), 0)
    return Placement(placed, float(pose[2]), float(np.sqrt(np.mean(out**2))))


def _centroid(points: np.ndarray) -> np.ndarray:
    x, y = points[:, 0], points[:, 1]
    nx, ny = np.roll(x, -1), np.roll(y, -1)
    cross = x * ny - nx * y
    return np.array([((x + nx) * cross).sum(), ((y + ny) * cross).sum()]) / (3.0 * cross.sum())


def _rim(mask: np.ndarray) -> np.ndarray:
    """Outermost pixels of a mask, (n, 2)."""
    found, _ = cv2.findContours(mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    return np.concatenate(found)[:, 0].astype(float)


def _box_angle(points: np.ndarray) -> float:
    """Direction of the longer side of the least box round points, rad."""
    corners = cv2.boxPoints(cv2.minAreaRect(np.ascontiguousarray(points, np.float32)))
    sides = corners[1:3] - corners[0:2]
    longer = sides[int(np.argmax(np.hypot(*sides.T)))]
    return float(np.arctan2(longer[1], longer[0]))


def _moved(points: np.ndarray, pose: np.ndarray) -> np.ndarray:
    c, s = np.cos(pose[2]), np.sin(pose[2])
    return np.asarray(points @ np.array([[c, s], [-s, c]]) + pose[:2])


def _residuals(points: np.ndarray, pose: np.ndarray, gap: np.ndarray, rim: np.ndarray) -> np.ndarray:
    at = _moved(points, pose)
    inward, outward = sample(gap, at).astype(float), sample(rim, at).astype(float)
    return np.concatenate(
        [_OUT_WEIGHT * np.minimum(inward, 0), _evened(inward), _PRODUCT_WEIGHT * _evened(outward)]
    )


def _evened(values: np.ndarray) -> np.ndarray:
    """Distance from the median, its square growing only linearly beyond the usual spread (Huber)."""
    away = values - np.median(values)
    limit = 1.0 + 1.5 * float(np.median(np.abs(away)))
    size = np.abs(away)
    bent = np.sign(away) * np.sqrt(limit * np.maximum(2 * size - limit, 0))
    return np.asarray(np.where(size > limit, bent, away))


def _fit(points: np.ndarray, pose: np.ndarray, gap: np.ndarray, rim: np.ndarray) -> tuple[float, np.ndarray]:
    """Levenberg-Marquardt on shift and turn."""
    reach = float(np.hypot(*points.T).max())
    scale = np.array([1.0, 1.0, 1.0 / reach])
    r = _residuals(points, pose, gap, rim)
    cost, damping = float(r @ r), 1.0
    for _ in range(_ROUNDS):
        jac = np.stack(
            [
                (_residuals(points, pose + h, gap, rim) - _residuals(points, pose - h, gap, rim))
                for h in np.diag(0.5 * scale)
            ],
            axis=1,
        )
        normal, slope = jac.T @ jac, jac.T @ r
        step = -np.linalg.solve(normal + damping * np.diag(np.diag(normal) + 1e-9), slope) * scale
        tried = _residuals(points, pose + step, gap, rim)
        if float(tried @ tried) < cost:
            pose, r, cost, damping = pose + step, tried, float(tried @ tried), damping * 0.3
            if np.max(np.abs(step / scale)) < 0.01:
                break
        else:
            damping *= 4
            if damping > 1e6:
                break
    return cost, pose


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
    inside = np.zeros(excess.shape, np.uint8)
    cv2.fillPoly(inside, [np.round(outline * 256).astype(np.int32)], 1, shift=8)
    depth = signed_distance(inside)
    way = np.arange(-_BEFORE_PX, float(depth.max()) + 2.0, _STEP_PX)
    at = points[:, None, :] + way[:, None] * inward[:, None, :]
    metal, below = sample(excess, at), sample(depth, at)
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

"""Original outlines put where they belong on a picture, and how far that place is in doubt.

Points are (x, y) in px, the centre of the first pixel at 0, 0; pixels are square.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from surfscan.measurement.section_loss import resampled
from surfscan.measurement.section_outline import sample, signed_distance

_FIT_POINTS = 240
_OUT_WEIGHT = 4.0  # metal outside the outline weighs so much more than an uneven gap
_PRODUCT_WEIGHT = 0.3
_ROUNDS = 40
_BLOCKS = 12  # parts of an outline whose disagreement makes the uncertainty
_HIDDEN = 2.0  # times so much: uneven loss that looks like a shift or turn leaves no disagreement behind
_FIRM = 1e-3  # a turn that hardly changes any gap (a round section) is held at its start


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
    doubt : Doubt
    """

    outline: np.ndarray
    turn_rad: float
    misfit_px: float
    doubt: Doubt


@dataclass(frozen=True)
class Doubt:
    """Standard uncertainty of a place.

    Attributes
    ----------
    centre : ndarray of shape (2,)
        Point that was turned about.
    covariance : ndarray of shape (3, 3)
        Of the shift in x and y (px) and the turn (rad).
    """

    centre: np.ndarray
    covariance: np.ndarray

    def moved(self, by: np.ndarray) -> Doubt:
        """The same with the origin moved by `by`, (x, y)."""
        return Doubt(self.centre + by, self.covariance)

    def along(self, points: np.ndarray, directions: np.ndarray) -> np.ndarray:
        """Standard uncertainty (n,) of points (n, 2) along unit vectors (n, 2), px."""
        x, y = (points - self.centre).T
        effect = np.stack([directions[:, 0], directions[:, 1], x * directions[:, 1] - y * directions[:, 0]])
        return np.sqrt(np.maximum(np.einsum("in,ij,jn->n", effect, self.covariance, effect), 0.0))

    def at(self, points: np.ndarray) -> float:
        """Greatest standard uncertainty of the place of points (n, 2), both directions together, px."""
        across, down = (self.along(points, np.tile(axis, (len(points), 1))) for axis in np.eye(2))
        return float(np.hypot(across, down).max())


SURE = Doubt(np.zeros(2), np.zeros((3, 3)))
"""Of a place that nothing speaks against."""


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
    points = [resampled(template - middle, _FIT_POINTS)]
    rows, cols = np.nonzero(body)
    centre = np.array([cols.mean(), rows.mean()])
    own = _box_angle(points[0])
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
    return Placement(
        _moved(template - middle, pose), float(pose[2]), _misfit(points, pose, gap),
        _doubt(points, pose, gap, rim),
    )  # fmt: skip


@dataclass(frozen=True)
class Settled:
    """Several outlines, fixed to each other, put where they belong.

    Attributes
    ----------
    centre : ndarray of shape (2,)
        Middle of the outlines before.
    shift : ndarray of shape (2,)
        Of the middle, px.
    turn_rad : float
        From x towards y, about the middle.
    cost : float
        Squares left, px²: mean over an outline's points, sum over outlines.
    doubt : Doubt
    """

    centre: np.ndarray
    shift: np.ndarray
    turn_rad: float
    cost: float
    doubt: Doubt

    def points(self, points: np.ndarray) -> np.ndarray:
        """Points (n, 2) moved along."""
        return _moved(points - self.centre, np.array([*(self.centre + self.shift), self.turn_rad]))


def settle_outlines(outlines: Sequence[np.ndarray], metal: np.ndarray, body: np.ndarray) -> Settled:
    """Turn and shift outlines that lie about right, all together, as `place_outline` does one.

    Parameters
    ----------
    outlines : sequence of ndarray of shape (n, 2)
        About where they belong.
    metal, body : ndarray of shape (M, N), bool
        Remaining metal, and metal with product.

    Returns
    -------
    Settled

    Raises
    ------
    ValueError
        If there is no outline.
    """
    if not outlines:
        raise ValueError("no outline is given")
    gap, rim = -signed_distance(metal), signed_distance(body)
    centre = np.mean([_centroid(outline) for outline in outlines], axis=0)
    points = [resampled(outline - centre, _FIT_POINTS) for outline in outlines]
    cost, pose = _fit(points, np.array([*centre, 0.0]), gap, rim)
    return Settled(
        centre, pose[:2] - centre, float(pose[2]), cost / _FIT_POINTS, _doubt(points, pose, gap, rim)
    )


def unevenness(outlines: Sequence[np.ndarray], metal: np.ndarray, body: np.ndarray) -> float:
    """What `settle_outlines` makes least, px², where the outlines lie (its `cost` once settled)."""
    gap, rim = -signed_distance(metal), signed_distance(body)
    r = _residuals([resampled(outline, _FIT_POINTS) for outline in outlines], np.zeros(3), gap, rim)
    return float(r @ r) / _FIT_POINTS


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


def _misfit(points: Sequence[np.ndarray], pose: np.ndarray, gap: np.ndarray) -> float:
    out = np.concatenate([np.minimum(sample(gap, _moved(part, pose)), 0) for part in points])
    return float(np.sqrt(np.mean(out**2)))


def _residuals(
    points: Sequence[np.ndarray], pose: np.ndarray, gap: np.ndarray, rim: np.ndarray
) -> np.ndarray:
    every = []
    for part in points:
        at = _moved(part, pose)
        within = np.clip(at, 0.0, np.array(gap.shape[::-1]) - 1.0)
        beyond = np.hypot(*(at - within).T)  # off the picture distances go on growing
        inward, outward = sample(gap, at) + beyond, sample(rim, at) - beyond
        every += [_OUT_WEIGHT * np.minimum(inward, 0), _evened(inward), _PRODUCT_WEIGHT * _evened(outward)]
    return np.concatenate(every)


def _evened(values: np.ndarray) -> np.ndarray:
    """Distance from the median, its square growing only linearly beyond the usual spread (Huber)."""
    away = values - np.median(values)
    limit = 1.0 + 1.5 * float(np.median(np.abs(away)))
    size = np.abs(away)
    bent = np.sign(away) * np.sqrt(limit * np.maximum(2 * size - limit, 0))
    return np.asarray(np.where(size > limit, bent, away))


def _scale(points: Sequence[np.ndarray]) -> np.ndarray:
    """Steps of shift and turn that move the outlines by about a pixel."""
    reach = max(float(np.hypot(*part.T).max()) for part in points)
    return np.array([1.0, 1.0, 1.0 / reach])


def _slopes(
    points: Sequence[np.ndarray], pose: np.ndarray, gap: np.ndarray, rim: np.ndarray, scale: np.ndarray
) -> np.ndarray:
    """Change of the residuals for one step of `scale`, (n, 3)."""
    return np.stack(
        [
            _residuals(points, pose + h, gap, rim) - _residuals(points, pose - h, gap, rim)
            for h in np.diag(0.5 * scale)
        ],
        axis=1,
    )


def _fit(
    points: Sequence[np.ndarray], pose: np.ndarray, gap: np.ndarray, rim: np.ndarray
) -> tuple[float, np.ndarray]:
    """Levenberg-Marquardt on shift and turn."""
    scale = _scale(points)
    r = _residuals(points, pose, gap, rim)
    cost, damping = float(r @ r), 1.0
    for _ in range(_ROUNDS):
        jac = _slopes(points, pose, gap, rim, scale)
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


def _doubt(points: Sequence[np.ndarray], pose: np.ndarray, gap: np.ndarray, rim: np.ndarray) -> Doubt:
    """Covariance of shift and turn from how far parts of the outlines pull different ways (sandwich form).

    `_HIDDEN` makes up for uneven loss that the fit follows: found on drawn sections with known outline (those
    of benchmarks/synthetic_sections.py, 5 to 60 % lost). A turn that changes no gap, as of a round section,
    is no doubt: the outline stays where it is.
    """
    scale = _scale(points)
    jac = _slopes(points, pose, gap, rim, scale)
    r = _residuals(points, pose, gap, rim)
    index = np.arange(len(r))
    outline, place = index // (3 * _FIT_POINTS), index % _FIT_POINTS
    block = outline * _BLOCKS + place * _BLOCKS // _FIT_POINTS
    count = len(points) * _BLOCKS
    pull = np.stack([np.bincount(block, jac[:, k] * r, count) for k in range(3)], axis=1)
    normal = jac.T @ jac
    free = np.flatnonzero(np.diag(normal) > _FIRM * np.diag(normal).max())
    inverse = np.linalg.inv(normal[np.ix_(free, free)])
    inner = inverse @ (pull[:, free].T @ pull[:, free]) @ inverse * count / (count - 1)
    covariance = np.zeros((3, 3))
    covariance[np.ix_(free, free)] = _HIDDEN**2 * inner * np.outer(scale[free], scale[free])
    return Doubt(pose[:2].copy(), covariance)

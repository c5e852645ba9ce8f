"""Turn, scale and shift fitted to a small part of a pixel, with their covariance."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

_BLUR = 1.2  # cells
_MOST_STEPS = 40
_STILL = 2e-3  # cells: a step this small ends the fit
_BLOCKS = 6  # blocks a side whose disagreement makes the uncertainty
_LEAST_CELLS = 50


@dataclass(frozen=True)
class Level:
    """A picture on a grid of square cells.

    Attributes
    ----------
    picture : ndarray of shape (M, N), float32
        Smoothed; 0 where not recorded.
    field : ndarray of shape (M, N), float32
        1 where recorded, else 0.
    step : float
        Side of a cell, in lengths.
    """

    picture: np.ndarray
    field: np.ndarray
    step: float


def level_of(picture: np.ndarray, field: np.ndarray | None, size: tuple[float, float], step: float) -> Level:
    """A picture brought to cells of side `step`.

    Parameters
    ----------
    picture : ndarray of shape (M, N)
    field : ndarray of shape (M, N), bool, or None
        What was recorded.
    size : (float, float)
        Pixel size in x and y, in lengths; at most about `step`.
    step : float

    Returns
    -------
    Level
        Cell 0, 0 begins at the picture's outer corner, as pixel 0, 0 does.
    """
    import cv2

    values = np.ascontiguousarray(picture, dtype=np.float32)
    seen = np.isfinite(values) if field is None else np.isfinite(values) & (np.asarray(field) != 0)
    values = np.where(seen, values, np.float32(0))
    weight = seen.astype(np.float32)
    whole = tuple(max(1, int(step / s)) for s in size)
    rows, cols = values.shape[0] // whole[1], values.shape[1] // whole[0]
    if whole != (1, 1):
        inside = (slice(0, rows * whole[1]), slice(0, cols * whole[0]))
        values = cv2.resize(values[inside], (cols, rows), interpolation=cv2.INTER_AREA)
        weight = cv2.resize(weight[inside], (cols, rows), interpolation=cv2.INTER_AREA)
    fx, fy = size[0] * whole[0] / step, size[1] * whole[1] / step
    sharp = (max(0.05, _BLUR / fx), max(0.05, _BLUR / fy))
    values = cv2.GaussianBlur(values, (0, 0), sharp[0], sigmaY=sharp[1], borderType=cv2.BORDER_REFLECT)
    smooth = cv2.GaussianBlur(weight, (0, 0), sharp[0], sigmaY=sharp[1], borderType=cv2.BORDER_REFLECT)
    values = values / np.maximum(smooth, 1e-3)
    matrix = np.array([[fx, 0, (fx - 1) / 2], [0, fy, (fy - 1) / 2]])
    shape = (max(1, math.floor(cols * fx)), max(1, math.floor(rows * fy)))
    grid = cv2.warpAffine(values, matrix, shape, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    known = cv2.warpAffine(weight, matrix, shape, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    recorded = (known > 0.99).astype(np.float32)
    return Level(np.asarray(grid * recorded), recorded, step)


@dataclass(frozen=True)
class Start:
    """A position: after = scale * turn(before) + (x, y), in cells of a grid.

    Attributes
    ----------
    turn : float
        Radians, from x towards y (clockwise to the eye, rows running down).
    scale : float
    x, y : float
        Cells.
    correlation : float
        Of the two pictures over their overlap, -1 to 1.
    """

    turn: float
    scale: float
    x: float
    y: float
    correlation: float


@dataclass(frozen=True)
class Fit:
    """A fitted position: after = scale * turn(before) + (x, y), in cells.

    Attributes
    ----------
    turn, scale, x, y : float
        As in `Start`.
    correlation : float
    overlap : float
        Share of the smaller field.
    uncertainties : (float, float, float, float)
        Standard uncertainties: turn (radians), scale (relative), a point in the middle of the overlap and
        the worst corner of the field before (cells).
    """

    turn: float
    scale: float
    x: float
    y: float
    correlation: float
    overlap: float
    uncertainties: tuple[float, float, float, float]

    def as_start(self) -> Start:
        """The position alone."""
        return Start(self.turn, self.scale, self.x, self.y, self.correlation)


def refine(before: Level, after: Level, *, start: Start, held: bool) -> Fit | None:
    """Fit a position by least squares of grey, gain and offset free (Gauss-Newton).

    Parameters
    ----------
    before, after : Level
        Of one step.
    start : Start
        In cells of these levels.
    held : bool
        Whether the scale stays as it is.

    Returns
    -------
    Fit or None
        None where the overlap holds too little to fit.

    Notes
    -----
    The covariance is that of clustered residuals (sandwich form) over 6 x 6 blocks of the field: what the
    blocks pull in different directions, because loss differs from place to place, is the uncertainty.
    """
    state = np.array([start.turn, math.log(start.scale), start.x, start.y])
    free = [0, 2, 3] if held else [0, 1, 2, 3]
    centre = np.array([(before.picture.shape[1] - 1) / 2, (before.picture.shape[0] - 1) / 2])
    reach = max(before.picture.shape) / 2
    last: tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray] | None = None
    for _ in range(_MOST_STEPS):
        last = _equations(before, after, state, centre, free)
        if last is None:
            return None
        jacobian, residual, _, _ = last
        normal = _products(jacobian, jacobian)
        step = np.zeros(4)
        damped = normal + 1e-6 * np.diag(np.maximum(np.diag(normal), 1e-9 * normal.max()))
        step[free] = np.linalg.solve(damped, _products(jacobian, residual[:, None])[:, 0])
        length = max(abs(step[0]), abs(step[1])) * reach + float(np.hypot(step[2], step[3]))
        step *= min(1.0, 2.0 / max(length, 1e-12))
        state = _followed(state, step, centre)
        if length < _STILL:
            break
    last = _equations(before, after, state, centre, free)
    if last is None:
        return None
    return _finished(before, after, state, centre, free, last)


def _matrix(state: np.ndarray) -> np.ndarray:
    scale = math.exp(state[1])
    c, s = scale * math.cos(state[0]), scale * math.sin(state[0])
    return np.array([[c, -s, state[2]], [s, c, state[3]]])


def _followed(state: np.ndarray, step: np.ndarray, centre: np.ndarray) -> np.ndarray:
    """The position after a small turn, stretch and shift of the picture before about its centre."""
    matrix = _matrix(state)
    turn, stretch = step[0], math.exp(step[1])
    c, s = stretch * math.cos(turn), stretch * math.sin(turn)
    moved = centre + step[2:] - np.array([[c, -s], [s, c]]) @ centre
    offset = matrix[:, :2] @ moved + matrix[:, 2]
    return np.array([state[0] + turn, state[1] + step[1], offset[0], offset[1]])


def _equations(
    before: Level, after: Level, state: np.ndarray, centre: np.ndarray, free: list[int]
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray] | None:
    """Jacobian (n, free), residual (n,), cells used (n,) and both pictures there (2, n)."""
    import cv2

    rows, cols = before.picture.shape
    matrix = _matrix(state)
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    moved = cv2.warpAffine(after.picture, matrix, (cols, rows), flags=flags)
    seen = cv2.warpAffine(after.field, matrix, (cols, rows), flags=flags)
    used = (seen > 0.99) & (before.field > 0)
    used = cv2.erode(used.astype(np.uint8), np.ones((3, 3), np.uint8), borderValue=0) > 0
    at = np.flatnonzero(used)
    if at.size < _LEAST_CELLS:
        return None
    grad_x = cv2.Scharr(moved, cv2.CV_32F, 1, 0, scale=1 / 32).reshape(-1)[at].astype(float)
    grad_y = cv2.Scharr(moved, cv2.CV_32F, 0, 1, scale=1 / 32).reshape(-1)[at].astype(float)
    now, then = moved.reshape(-1)[at].astype(float), before.picture.reshape(-1)[at].astype(float)
    spread = float(np.var(then))
    if spread <= 0 or float(np.var(now)) <= 0:
        return None
    gain = float(np.mean((then - then.mean()) * (now - now.mean()))) / spread
    residual = gain * (then - then.mean()) - (now - now.mean())
    y, x = np.divmod(at, cols)
    x, y = x - centre[0], y - centre[1]
    every = np.stack([grad_y * x - grad_x * y, grad_x * x + grad_y * y, grad_x, grad_y], axis=1)
    return np.asfortranarray(every[:, free]), residual, at, np.stack([now, then])


def _finished(
    before: Level,
    after: Level,
    state: np.ndarray,
    centre: np.ndarray,
    free: list[int],
    equations: tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray],
) -> Fit | None:
    jacobian, residual, at, both = equations
    rows, cols = before.picture.shape
    y, x = np.divmod(at, cols)
    block = (y * _BLOCKS // rows) * _BLOCKS + x * _BLOCKS // cols
    pull = np.stack(
        [np.bincount(block, jacobian[:, k] * residual, _BLOCKS * _BLOCKS) for k in range(len(free))], axis=1
    )
    normal = _products(jacobian, jacobian)
    if not np.linalg.cond(normal) < 1e14:
        return None
    inverse = np.linalg.inv(normal)
    blocks = max(2, len(np.unique(block)))
    covariance = inverse @ (pull.T @ pull) @ inverse * blocks / (blocks - 1)
    full = np.zeros((4, 4))
    full[np.ix_(free, free)] = covariance
    scale = math.exp(state[1])
    middle = np.array([x.mean(), y.mean()]) - centre
    corners = [np.array([cx, cy]) - centre for cx in (0, cols - 1) for cy in (0, rows - 1)]
    correlation = float(np.corrcoef(both)[0, 1])
    scaled = float(np.count_nonzero(before.field)) * scale**2
    overlap = at.size * scale**2 / max(1.0, min(scaled, float(np.count_nonzero(after.field))))
    return Fit(
        turn=float(state[0]),
        scale=scale,
        x=float(state[2]),
        y=float(state[3]),
        correlation=correlation,
        overlap=min(1.0, overlap),
        uncertainties=(
            math.sqrt(full[0, 0]),
            math.sqrt(full[1, 1]),
            _point_uncertainty(full, middle) * scale,
            max(_point_uncertainty(full, corner) for corner in corners) * scale,
        ),
    )


def _products(one: np.ndarray, other: np.ndarray) -> np.ndarray:
    """one.T @ other for tall arrays, in an order of summation that no number of threads changes."""
    return np.array([[float(np.sum(a * b)) for b in other.T] for a in one.T])


def _point_uncertainty(covariance: np.ndarray, point: np.ndarray) -> float:
    """Standard uncertainty of the place of one point, root of the sum over x and y."""
    x, y = point
    effect = np.array([[-y, x, 1, 0], [x, y, 0, 1]])
    return math.sqrt(max(0.0, float(np.trace(effect @ covariance @ effect.T))))

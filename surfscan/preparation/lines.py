"""Machining, rolling and polishing lines: texture that runs one way over the whole surface.

The metal level is followed along the lines, over a length many times that of a pit, so that lines, bands and
sharp changes of light across them go with the level and what is short along them stays.
"""

from __future__ import annotations

import cv2
import numpy as np

from surfscan.preparation.noise import bands, spread_map

COHERENCE_LIMIT = 0.2
"""Share of the gradients' doubled-angle sum above which texture counts as running one way (own choice, from
trials: random scratches and grains stay below 0.15, machined and rolled metal above 0.25)."""

_REDUCTION = 8
_ROUNDS = 3
_START_SAMPLES = 11
_START_QUANTILE = 0.65
_LONGEST = 4
_PIECE_PX = 2048


def line_direction(contrast: np.ndarray, valid: np.ndarray | None = None) -> tuple[float, float]:
    """Direction across the lines, and how strongly texture keeps to it.

    The structure tensor of the whole field, each gradient's length limited to twice the median so that a few
    strong edges do not decide.

    Parameters
    ----------
    contrast : ndarray of shape (M, N), float32
        Smoothed contrast.
    valid : ndarray of shape (M, N), bool, optional

    Returns
    -------
    across_deg : float
        Angle from the row direction to the direction across the lines, degrees, rows counted downwards.
    coherence : float
        0 where no direction is preferred, 1 where all gradients share one.
    """
    inner = (slice(2, -2, 2), slice(2, -2, 2))
    parts = []
    for band in bands(*contrast.shape):
        across = cv2.Scharr(contrast[band], cv2.CV_32F, 1, 0)[inner]
        along = cv2.Scharr(contrast[band], cv2.CV_32F, 0, 1)[inner]
        used = slice(None) if valid is None else valid[band][inner]
        parts.append((across[used].ravel(), along[used].ravel()))
    gx, gy = (np.concatenate(column) for column in zip(*parts, strict=True))
    if gx.size == 0:
        return 0.0, 0.0
    length = np.hypot(gx, gy) + np.float32(1e-12)
    weight = np.minimum(length, 2 * np.median(length))
    weight_per_square = weight / length**2
    cos2 = float(np.sum(weight_per_square * (gx * gx - gy * gy), dtype=np.float64))
    sin2 = float(np.sum(weight_per_square * 2 * gx * gy, dtype=np.float64))
    total = float(np.sum(weight, dtype=np.float64))
    return float(0.5 * np.degrees(np.arctan2(sin2, cos2))), float(np.hypot(cos2, sin2) / total)


def follow_lines(
    contrast: np.ndarray, across_deg: float, *, length_px: float, valid: np.ndarray | None = None
) -> np.ndarray:
    """Contrast against a metal level that follows the lines.

    Parameters
    ----------
    contrast : ndarray of shape (M, N), float32
        1 minus grey over metal level.
    across_deg : float
        From `line_direction`.
    length_px : float
        Standard deviation of the mean along the lines, px.
    valid : ndarray of shape (M, N), bool, optional

    Returns
    -------
    ndarray of shape (M, N), float32
        1 minus grey over the new level. Pixels darker than the level by more than twice the local spread
        (pits), or brighter by more than three times, take no part in it.

    Notes
    -----
    A picture longer than four times its shorter side, and than 2048 px, is
    worked in overlapping pieces: turned as a whole it would take as many pixels as its length squared.
    """
    rows, cols = contrast.shape
    piece = max(_LONGEST * min(rows, cols), _PIECE_PX)
    if max(rows, cols) <= piece:
        return _follow(contrast, across_deg, length_px, valid)
    out = np.empty_like(contrast)
    overlap = int(3 * length_px)
    for start in range(0, max(rows, cols), piece):
        first = max(start - overlap, 0)
        wide, own = slice(first, start + piece + overlap), slice(start - first, start - first + piece)
        part, keep, to = (
            (np.s_[wide, :], np.s_[own, :], np.s_[start : start + piece, :])
            if rows > cols
            else (np.s_[:, wide], np.s_[:, own], np.s_[:, start : start + piece])
        )
        followed = _follow(
            np.ascontiguousarray(contrast[part]),
            across_deg,
            length_px,
            None if valid is None else valid[part],
        )
        out[to] = followed[keep]
    return out


def _follow(
    contrast: np.ndarray, across_deg: float, length_px: float, valid: np.ndarray | None
) -> np.ndarray:
    """`follow_lines` on one piece."""
    inside = np.ones(contrast.shape, np.float32) if valid is None else valid.astype(np.float32)
    upright = _Upright(contrast.shape, across_deg)
    level = upright.back(_start_along(upright, contrast, inside, length_px))
    for _ in range(_ROUNDS):
        rest = cv2.GaussianBlur(contrast - level, (0, 0), 1.5)
        spread = spread_map(rest, valid).full()
        keep = inside * ((rest < 2 * spread) & (rest > -3 * spread))
        level = upright.back(_mean_along(upright, contrast, keep, length_px))
    level = np.minimum(level, np.float32(0.9))
    return np.asarray((contrast - level) / (1 - level))


class _Upright:
    """The picture turned so that its lines stand upright, and thinned along them."""

    def __init__(self, shape: tuple[int, int], across_deg: float) -> None:
        rows, cols = shape
        cos, sin = abs(np.cos(np.radians(across_deg))), abs(np.sin(np.radians(across_deg)))
        self.width, height = int(rows * sin + cols * cos) + 2, int(rows * cos + cols * sin) + 2
        self.step = min(_REDUCTION, max(1, height // 32))
        self.rows = -(-height // self.step)
        self.shape = shape
        self.turn = cv2.getRotationMatrix2D((cols / 2, rows / 2), across_deg, 1.0)
        self.turn[:, 2] += (self.width / 2 - cols / 2, height / 2 - rows / 2)

    def __call__(self, a: np.ndarray) -> np.ndarray:
        """Means over `step` pixels along the lines; 0 beyond the picture."""
        turned = cv2.warpAffine(a, self.turn, (self.width, self.rows * self.step))
        return np.asarray(cv2.resize(turned, (self.width, self.rows), interpolation=cv2.INTER_AREA))

    def back(self, a: np.ndarray) -> np.ndarray:
        """Turned back to the picture and its full size."""
        full = cv2.resize(a, (self.width, self.rows * self.step), interpolation=cv2.INTER_LINEAR)
        return np.asarray(
            cv2.warpAffine(
                full,
                self.turn,
                self.shape[::-1],
                flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
                borderMode=cv2.BORDER_REPLICATE,
            )
        )


def _start_along(upright: _Upright, contrast: np.ndarray, inside: np.ndarray, length_px: float) -> np.ndarray:
    """The 65 % point along the lines over twice `length_px` either way.

    Product and glare that cover up to 65 % of a line do not move it, nor do pits that cover up to 35 %.
    """
    weight = upright(inside)
    mean = np.where(weight > 0.05, upright(contrast * inside) / np.maximum(weight, 1e-9), np.nan)
    reach = 2 * length_px / upright.step
    shifts = np.rint(np.linspace(-reach, reach, _START_SAMPLES)).astype(int)
    padded = np.pad(mean, ((int(reach) + 1,) * 2, (0, 0)), constant_values=np.nan)
    start = int(reach) + 1
    samples = np.stack([padded[start + s : start + s + upright.rows] for s in shifts])
    samples.sort(axis=0)
    count = np.isfinite(samples).sum(axis=0)
    at = np.rint(_START_QUANTILE * np.maximum(count - 1, 0)).astype(int)
    return np.nan_to_num(np.take_along_axis(samples, at[None], axis=0)[0]).astype(np.float32)


def _mean_along(upright: _Upright, contrast: np.ndarray, keep: np.ndarray, length_px: float) -> np.ndarray:
    """Weighted Gaussian mean along the lines; wide gaps are bridged by a wider one."""
    weighted, weight = upright(contrast * keep), upright(keep)
    level = np.zeros_like(weighted)
    for stretch in (4.0, 1.0):
        sigma = stretch * length_px / upright.step

        def along(a: np.ndarray, sigma: float = sigma) -> np.ndarray:
            return np.asarray(
                cv2.GaussianBlur(a, (0, 0), sigmaX=1.0, sigmaY=sigma, borderType=cv2.BORDER_CONSTANT)
            )

        mass = along(weight)
        trust = np.clip(mass / 0.05, 0, 1)
        level = trust * along(weighted) / np.maximum(mass, 1e-9) + (1 - trust) * level
    return level

"""Two pictures of the same part laid over each other: rotation, shift and, where unknown, scale.

Works on silhouettes (or grey pictures of one kind of light) by correlation, so that loss which takes the two
edges of a strut back alike does not pull it. Directions first, in whole turns and shifts; the best few are
then fitted to a small part of a pixel; a rival that fits nearly as well makes the answer doubtful.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from surfscan.preparation.registration_fit import Fit, Level, Start, level_of, refine
from surfscan.preparation.registration_search import find_starts

LEAST_CORRELATION = 0.6
"""Correlation over the overlap below which two pictures are not taken for the same part (common practice)."""

RIVAL_MISFIT = 1.6
"""A clearly different position makes the best one ambiguous unless its misfit, 1 - correlation, is this many
times larger (common practice, no source)."""

_LEAST_MISFIT = 0.01  # what resampling alone may cost
_LEAST_OVERLAP = 0.3  # of the smaller field
_COARSE, _MIDDLE, _FINE = 80, 224, 640  # cells along the longer side
_STARTS = 8


@dataclass(frozen=True)
class Registration:
    """How a picture taken before lies on one taken after.

    Attributes
    ----------
    matrix : ndarray of shape (2, 3), float
        (col_px, row_px) after = matrix @ (col_px, row_px, 1) before.
    rotation_deg : float
        Turn of the part from before to after, counter-clockwise to the eye, -180 to 180.
    scale : float
        Magnification after over before, beyond what the pixel sizes say; 1 where it was held.
    shift_px : (float, float)
        Shift of the centre of the field before, (row, col), px of the picture after.
    correlation : float
        Correlation of the two pictures over the overlap, -1 to 1.
    rival_correlation : float
        The same at the best clearly different position; -1 where there is none.
    overlap_fraction : float
        Overlap as a share of the smaller field.
    uncertainty_px : float
        Standard uncertainty (k = 1) of a mapped point in the middle of the overlap, px of the picture after,
        from how far parts of the field disagree.
    worst_uncertainty_px : float
        The same at the corners of the field.
    rotation_uncertainty_deg, scale_uncertainty : float
        Standard uncertainties (k = 1); 0 for a scale that was held.
    fault : str
        Why it is not to be relied on; empty where it is.
    rivals : tuple of ndarray of shape (2, 3)
        Matrices of the clearly different positions that fit nearly as well and make it ambiguous. A part that
        looks the same from there may still be served by it.
    """

    matrix: np.ndarray
    rotation_deg: float
    scale: float
    shift_px: tuple[float, float]
    correlation: float
    rival_correlation: float
    overlap_fraction: float
    uncertainty_px: float
    worst_uncertainty_px: float
    rotation_uncertainty_deg: float
    scale_uncertainty: float
    fault: str = ""
    rivals: tuple[np.ndarray, ...] = ()

    @property
    def accepted(self) -> bool:
        """Whether nothing speaks against it."""
        return not self.fault

    def to_after(self, row_px: np.ndarray, col_px: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Where points of the picture before lie on the picture after: rows, columns."""
        m = self.matrix
        row, col = np.asarray(row_px, float), np.asarray(col_px, float)
        return m[1, 0] * col + m[1, 1] * row + m[1, 2], m[0, 0] * col + m[0, 1] * row + m[0, 2]

    def to_before(self, row_px: np.ndarray, col_px: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Where points of the picture after lie on the picture before: rows, columns."""
        row, col = np.asarray(row_px, float), np.asarray(col_px, float)
        points = np.stack([col - self.matrix[0, 2], row - self.matrix[1, 2]])
        back = np.tensordot(np.linalg.inv(self.matrix[:, :2]), points, 1)
        return back[1], back[0]

    def onto_after(self, picture: np.ndarray, shape: tuple[int, int], outside: float = 0.0) -> np.ndarray:
        """A picture or mask before, resampled onto the grid of the picture after.

        Parameters
        ----------
        picture : ndarray of shape (M, N)
            Masks (bool) are cut at one half of the interpolated value.
        shape : (int, int)
            Rows and columns after.
        outside : float
            Value where the picture before does not reach.

        Returns
        -------
        ndarray of shape `shape`
            bool for a mask, otherwise float32.
        """
        import cv2

        moved = cv2.warpAffine(
            np.ascontiguousarray(picture, dtype=np.float32),
            self.matrix,
            (shape[1], shape[0]),
            flags=cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_CONSTANT,
            borderValue=float(outside),
        )
        return moved >= 0.5 if picture.dtype == np.bool_ else np.asarray(moved)


def register(
    before: np.ndarray,
    after: np.ndarray,
    *,
    pixel_sizes_um: tuple[tuple[float, float], tuple[float, float]] | None = None,
    max_rotation_deg: float = 180.0,
    max_shift_fraction: float = 0.7,
    before_field: np.ndarray | None = None,
    after_field: np.ndarray | None = None,
    least_correlation: float = LEAST_CORRELATION,
) -> Registration:
    """Find how `before` lies on `after`.

    Parameters
    ----------
    before, after : ndarray of shape (M, N) and (K, L)
        Silhouettes (True on metal) or grey pictures taken in the same light.
    pixel_sizes_um : ((x, y), (x, y)), optional
        Pixel sizes before and after. Where given, the scale is held at what they say: loss at the edges then
        cannot pass for a change of magnification. Where not, pixels are taken as square and the scale is
        fitted, between one half and two.
    max_rotation_deg : float
        Furthest turn looked for, either way, above 0 to 180.
    max_shift_fraction : float
        Furthest shift of the centre of the field looked for, as a share of the longer side of the field
        after.
    before_field, after_field : ndarray of bool, optional
        What was recorded of the specimen; everything where None.
    least_correlation : float
        Correlation below which the pictures are not taken for the same part.

    Returns
    -------
    Registration
        With a `fault` where the correlation is below `least_correlation`, where the pictures overlap on less
        than 30 % of the smaller field, or where a clearly different position (the middle of the field more
        than 3 % of its longer side away, or a turn of more than 5 degrees) fits nearly as well
        (`RIVAL_MISFIT`): then it is ambiguous, as on a regular mesh that fills the field, and narrower limits
        decide.

    Raises
    ------
    ValueError
        If a picture is not two-dimensional, smaller than 16 px or holds a single value, or a limit is
        out of range.
    """
    _check(before, after, max_rotation_deg, max_shift_fraction)
    held = pixel_sizes_um is not None
    sizes = pixel_sizes_um or ((1.0, 1.0), (1.0, 1.0))
    pictures = ((before, before_field, sizes[0]), (after, after_field, sizes[1]))
    longest = max(max(p.shape[0] * s[1], p.shape[1] * s[0]) for p, _, s in pictures)
    shortest_step = max(max(s) for _, _, s in pictures)

    def levels(cells: int) -> tuple[Level, Level]:
        step = max(longest / cells, shortest_step)
        return tuple(level_of(p, f, s, step) for p, f, s in pictures)  # type: ignore[return-value]

    coarse = levels(_COARSE)
    limit = max_shift_fraction * max(after.shape[0] * sizes[1][1], after.shape[1] * sizes[1][0])
    starts = find_starts(
        *coarse, scale_held=held, max_rotation_deg=max_rotation_deg, max_shift=limit / coarse[0].step
    )[:_STARTS]
    middle = levels(_MIDDLE)
    centre = _centre(before.shape, sizes[0])
    fits = [refine(*middle, start=_rescaled(s, coarse[0].step / middle[0].step), held=held) for s in starts]
    allowed = [f for f in fits if f is not None and _within(f, middle[0], centre, max_rotation_deg, limit)]
    if not allowed:
        return _nothing_found()
    allowed.sort(key=lambda f: -f.correlation * math.sqrt(f.overlap))
    best = allowed[0]
    others = [f for f in allowed[1:] if _differs(f, best, middle[0], centre, longest)]
    rivals = tuple(_pixels(f, middle[0].step, sizes) for f in others if _rivals(f.correlation, best))
    rival = max((f.correlation for f in others), default=-1.0)
    fine = levels(_FINE)
    finer = refine(*fine, start=_rescaled(best.as_start(), middle[0].step / fine[0].step), held=held)
    if finer is None or finer.correlation < best.correlation - 0.2:
        finer, fine = best, middle
    fault = _fault(finer, best, rival, least_correlation)
    return _registration(finer, fine[0].step, sizes, before.shape, rival, held, fault, rivals)


def _check(before: np.ndarray, after: np.ndarray, turn: float, shift: float) -> None:
    for name, picture in (("before", before), ("after", after)):
        if picture.ndim != 2 or min(picture.shape) < 16:
            raise ValueError(f"{name} must be a picture of at least 16 x 16 px, got shape {picture.shape}")
        if picture.min() == picture.max():
            raise ValueError(f"{name} holds a single value: there is nothing to lay over")
    if not 0 < turn <= 180:
        raise ValueError(f"max_rotation_deg must lie above 0 and up to 180, got {turn!r}")
    if not 0 < shift <= 1:
        raise ValueError(f"max_shift_fraction must lie above 0 and up to 1, got {shift!r}")


def _centre(shape: tuple[int, ...], size: tuple[float, float]) -> np.ndarray:
    """Middle of a field in lengths from its outer corner, (x, y)."""
    return np.array([shape[1] * size[0] / 2, shape[0] * size[1] / 2])


def _rescaled(start: Start, factor: float) -> Start:
    """The same position on a grid that is `factor` times finer; cell centres lie half a cell inside."""
    c, s = start.scale * math.cos(start.turn), start.scale * math.sin(start.turn)
    half = np.array([0.5, 0.5])
    corner = np.array([start.x, start.y]) + half - np.array([[c, -s], [s, c]]) @ half
    moved = factor * corner - half + np.array([[c, -s], [s, c]]) @ half
    return Start(start.turn, start.scale, float(moved[0]), float(moved[1]), start.correlation)


def _lengths(fit: Fit, step: float) -> tuple[np.ndarray, np.ndarray]:
    """Linear part and offset between lengths from the outer corners."""
    linear = fit.scale * np.array(
        [[math.cos(fit.turn), -math.sin(fit.turn)], [math.sin(fit.turn), math.cos(fit.turn)]]
    )
    half = np.array([0.5, 0.5])
    return linear, step * (np.array([fit.x, fit.y]) + half - linear @ half)


def _place(fit: Fit, level: Level, centre: np.ndarray) -> np.ndarray:
    linear, offset = _lengths(fit, level.step)
    return np.asarray(linear @ centre + offset)


def _turned(turn: float) -> float:
    """Angle in degrees between -180 and 180."""
    return (math.degrees(turn) + 180) % 360 - 180


def _within(fit: Fit, level: Level, centre: np.ndarray, turn: float, shift: float) -> bool:
    moved = float(np.hypot(*(_place(fit, level, centre) - centre)))
    return abs(_turned(fit.turn)) <= turn + 1 and moved <= 1.05 * shift and fit.overlap >= _LEAST_OVERLAP


def _differs(one: Fit, other: Fit, level: Level, centre: np.ndarray, longest: float) -> bool:
    apart = float(np.hypot(*(_place(one, level, centre) - _place(other, level, centre))))
    return apart > 0.03 * longest or abs(_turned(one.turn - other.turn)) > 5


def _nothing_found() -> Registration:
    return Registration(
        matrix=np.array([[1.0, 0, 0], [0, 1, 0]]),
        rotation_deg=0.0,
        scale=1.0,
        shift_px=(0.0, 0.0),
        correlation=-1.0,
        rival_correlation=-1.0,
        overlap_fraction=0.0,
        uncertainty_px=math.inf,
        worst_uncertainty_px=math.inf,
        rotation_uncertainty_deg=math.inf,
        scale_uncertainty=math.inf,
        fault="no position within the limits brings the two pictures over each other",
    )


def _pixels(fit: Fit, step: float, sizes: tuple[tuple[float, float], tuple[float, float]]) -> np.ndarray:
    """Matrix (2, 3) from px before to px after."""
    linear, offset = _lengths(fit, step)
    into, out_of = np.array(sizes[0]), np.array(sizes[1])
    matrix = np.empty((2, 3))
    matrix[:, :2] = linear * into[None, :] / out_of[:, None]
    matrix[:, 2] = (linear @ (into / 2) + offset) / out_of - 0.5
    return matrix


def _rivals(correlation: float, best: Fit) -> bool:
    """Whether a position of this correlation fits nearly as well as the best."""
    return 1 - correlation < RIVAL_MISFIT * max(1 - best.correlation, _LEAST_MISFIT)


def _fault(fit: Fit, compared: Fit, rival: float, least: float) -> str:
    """Why a fit is not to be relied on, or nothing; `compared` is the fit that `rival` was found beside."""
    if fit.correlation < least:
        return (
            f"the two pictures agree too little (correlation {fit.correlation:.2f}, at least {least} is "
            "asked)"
        )
    if _rivals(rival, compared):
        return (
            f"another position fits as well (correlation {rival:.2f} against {compared.correlation:.2f}): "
            "limit how far the part may have turned and moved"
        )
    return ""


def _registration(
    fit: Fit,
    step: float,
    sizes: tuple[tuple[float, float], tuple[float, float]],
    shape: tuple[int, ...],
    rival: float,
    held: bool,
    fault: str,
    rivals: tuple[np.ndarray, ...],
) -> Registration:
    matrix = _pixels(fit, step, sizes)
    centre_px = np.array([(shape[1] - 1) / 2, (shape[0] - 1) / 2])
    moved = matrix[:, :2] @ centre_px + matrix[:, 2] - centre_px
    u_turn, u_scale, u_middle, u_worst = fit.uncertainties
    to_px = step / math.sqrt(sizes[1][0] * sizes[1][1])
    return Registration(
        matrix=matrix,
        rotation_deg=-_turned(fit.turn),
        scale=fit.scale,
        shift_px=(float(moved[1]), float(moved[0])),
        correlation=fit.correlation,
        rival_correlation=rival,
        overlap_fraction=fit.overlap,
        uncertainty_px=u_middle * to_px,
        worst_uncertainty_px=u_worst * to_px,
        rotation_uncertainty_deg=math.degrees(u_turn),
        scale_uncertainty=0.0 if held else u_scale,
        fault=fault,
        rivals=rivals,
    )

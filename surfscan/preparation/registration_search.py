"""First guesses of how one picture lies on another: every turn and shift on a coarse grid.

Where the scale is held, turns are tried one by one and all shifts at once. Where it is not, the likely turns
come from the amplitude spectra, which do not know of shifts: on log-polar axes a turn is a shift itself
(Reddy and Chatterji, IEEE Trans Image Process 5 (1996) 1266, from memory). Thick struts leave the scale
undecided there, so scales are tried one by one.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from surfscan.preparation.registration_fit import Level, Start

_STEP_DEG = 5.0
_LEAST_OVERLAP = 0.25  # of the smaller field
_PEAKS = 3  # shifts kept of each turn
_APART = 4  # cells between two peaks of one turn
_LOG_POLAR = (180, 128)  # angles over half a turn, radii
_SPECTRUM_TURNS = 3
_SCALE_STEP, _SCALE_STEPS = 0.05, 14  # of the logarithm: one half to two


def find_starts(
    before: Level, after: Level, *, scale_held: bool, max_rotation_deg: float, max_shift: float
) -> list[Start]:
    """Positions worth fitting, best first, no two of them close together.

    Parameters
    ----------
    before, after : Level
        Both pictures on grids of one coarse step.
    scale_held : bool
    max_rotation_deg : float
    max_shift : float
        Furthest move of the middle of the field, cells.

    Returns
    -------
    list of Start
    """
    found: list[Start] = []
    target = _Target(after, _largest(before, 1.0 if scale_held else 2.05))
    for turn, scale in _turns(before, after, scale_held, max_rotation_deg):
        found += _shifts(before, target, turn, scale, max_shift)
    found.sort(key=lambda s: (-s.correlation, s.turn, s.x, s.y))
    kept: list[Start] = []
    for start in found:
        if all(_far(start, other, before) for other in kept):
            kept.append(start)
    return kept


def _turns(before: Level, after: Level, held: bool, most_deg: float) -> Iterator[tuple[float, float]]:
    if held:
        steps = math.floor(min(most_deg, 180 - _STEP_DEG / 2) / _STEP_DEG)
        for k in range(-steps, steps + 1):
            yield math.radians(k * _STEP_DEG), 1.0
        if most_deg >= 180:
            yield math.pi, 1.0
        return
    for turn in _from_spectra(before, after):
        for half in (0.0, math.pi):
            angle = (turn + half + math.pi) % (2 * math.pi) - math.pi
            if abs(math.degrees(angle)) <= most_deg + _STEP_DEG:
                for k in range(-_SCALE_STEPS, _SCALE_STEPS + 1):
                    yield angle, math.exp(k * _SCALE_STEP)


def _largest(before: Level, scale: float) -> int:
    return math.ceil(math.hypot(*before.picture.shape) * scale) + 3


class _Target:
    """Spectra of the picture after, worked out once for all turns.

    `largest` is the most rows or columns that a turned picture before can have.
    """

    def __init__(self, after: Level, largest: int) -> None:
        import cv2

        self.field = float(after.field.sum())
        self.mean = float((after.picture * after.field).sum()) / max(self.field, 1.0)
        self.shape = after.picture.shape
        self.size = tuple(cv2.getOptimalDFTSize(n + largest - 1) for n in self.shape)
        values = (after.picture - np.float32(self.mean)) * after.field
        self.spectra = tuple(self.spectrum(part) for part in (values, values * values, after.field))

    def spectrum(self, values: np.ndarray) -> np.ndarray:
        import cv2

        padded = np.zeros(self.size, np.float32)
        padded[: values.shape[0], : values.shape[1]] = values
        return np.asarray(cv2.dft(padded, nonzeroRows=values.shape[0]))

    def back(self, one: np.ndarray, other: np.ndarray, shape: tuple[int, int]) -> np.ndarray:
        import cv2

        product = cv2.mulSpectrums(one, other, 0)
        return np.asarray(cv2.idft(product, flags=cv2.DFT_SCALE | cv2.DFT_REAL_OUTPUT))[
            : shape[0], : shape[1]
        ]


def _shifts(before: Level, target: _Target, turn: float, scale: float, max_shift: float) -> list[Start]:
    """The best shifts of one turn, by correlation over the overlap at every whole-cell shift."""
    import cv2

    rows, cols = before.picture.shape
    c, s = scale * math.cos(turn), scale * math.sin(turn)
    corners = np.array([[c, -s], [s, c]]) @ np.array([[0, cols - 1, 0, cols - 1], [0, 0, rows - 1, rows - 1]])
    low = np.floor(corners.min(axis=1))
    width, height = (np.ceil(corners.max(axis=1)) - low + 1).astype(int)
    matrix = np.array([[c, -s, -low[0]], [s, c, -low[1]]])
    turned = cv2.warpAffine(before.picture, matrix, (int(width), int(height)))
    seen = cv2.warpAffine(before.field, matrix, (int(width), int(height)))
    field = (seen > 0.99).astype(np.float32)
    correlation = _correlation_map(turned, field, target)
    # Entry (i, j) is the shift (i - height + 1, j - width + 1) of the turned picture.
    y = np.arange(correlation.shape[0])[:, None] - (height - 1) - low[1]
    x = np.arange(correlation.shape[1])[None, :] - (width - 1) - low[0]
    mid_x, mid_y = (cols - 1) / 2, (rows - 1) / 2
    move_x = x + c * mid_x - s * mid_y - mid_x
    move_y = y + s * mid_x + c * mid_y - mid_y
    correlation = np.where(np.hypot(move_x, move_y) <= max_shift, correlation, -1.0)
    found = []
    for _ in range(_PEAKS):
        at = np.unravel_index(int(np.argmax(correlation)), correlation.shape)
        best = float(correlation[at])
        if best <= 0:
            break
        found.append(Start(turn, scale, float(x[0, at[1]]), float(y[at[0], 0]), best))
        rows_near = slice(max(0, int(at[0]) - _APART), int(at[0]) + _APART + 1)
        cols_near = slice(max(0, int(at[1]) - _APART), int(at[1]) + _APART + 1)
        correlation[rows_near, cols_near] = -1.0
    return found


def _correlation_map(f: np.ndarray, f_field: np.ndarray, target: _Target) -> np.ndarray:
    """Correlation coefficient of f laid over the target at every shift, over the overlap of their fields.

    Padfield, IEEE Trans Image Process 21 (2012) 2706 (from memory); -1 where they overlap too little.
    """
    cells = float(f_field.sum())
    f = (f - np.float32((f * f_field).sum() / max(cells, 1.0))) * f_field
    f, f_field = f[::-1, ::-1], f_field[::-1, ::-1]
    of, of2, mf = (target.spectrum(part) for part in (f, f * f, f_field))
    og, og2, mg = target.spectra
    shape = (f.shape[0] + target.shape[0] - 1, f.shape[1] + target.shape[1] - 1)
    n = np.maximum(np.round(target.back(mf, mg, shape)), 1.0)
    sum_f, sum_g = target.back(of, mg, shape), target.back(mf, og, shape)
    covariance = target.back(of, og, shape) - sum_f * sum_g / n
    spread_f = np.maximum(target.back(of2, mg, shape) - sum_f**2 / n, 0)
    spread_g = np.maximum(target.back(mf, og2, shape) - sum_g**2 / n, 0)
    enough = n >= _LEAST_OVERLAP * min(cells, target.field)
    sure = enough & (spread_f > 1e-3 * spread_f.max()) & (spread_g > 1e-3 * spread_g.max())
    return np.where(sure, covariance / np.sqrt(np.where(sure, spread_f * spread_g, 1.0)), -1.0)


def _from_spectra(before: Level, after: Level) -> list[float]:
    """Likely turns (0 to half a turn), best first, from the amplitude spectra on log-polar axes."""
    import cv2

    angles, radii = _LOG_POLAR
    side = max(*before.picture.shape, *after.picture.shape)
    size = 2 * cv2.getOptimalDFTSize(side)
    pair = []
    for level in (before, after):
        rows, cols = level.picture.shape
        window = np.outer(np.hanning(rows + 2)[1:-1], np.hanning(cols + 2)[1:-1]) * level.field
        mean = float(np.sum(window * level.picture) / max(float(np.sum(window)), 1e-12))
        amplitude = np.abs(np.fft.fftshift(np.fft.fft2(window * (level.picture - mean), (size, size))))
        polar = cv2.warpPolar(
            np.log1p(amplitude / amplitude.mean()).astype(np.float32),
            (radii, 2 * angles),
            (size / 2, size / 2),
            size / 2,
            cv2.WARP_POLAR_LOG | cv2.INTER_LINEAR,
        )[:angles]
        polar = polar * np.linspace(0, 1, radii, dtype=np.float32)[None, :]  # the first radii hold nothing
        pair.append(polar - polar.mean())
    per_radius = math.log(size / 2) / radii
    surface = np.fft.irfft2(
        np.conj(np.fft.rfft2(pair[0], (angles, 2 * radii))) * np.fft.rfft2(pair[1], (angles, 2 * radii)),
        (angles, 2 * radii),
    )
    lags = np.fft.fftfreq(2 * radii, 1 / (2 * radii))
    surface[:, np.abs(lags * per_radius) > math.log(2) + per_radius] = -np.inf
    height = surface.max(axis=1)
    turns = []
    for _ in range(_SPECTRUM_TURNS):
        row = int(np.argmax(height))
        turns.append(math.pi * row / angles)
        height[np.arange(row - 6, row + 7) % angles] = -np.inf
    return turns


def _far(one: Start, other: Start, before: Level) -> bool:
    """Whether two positions put some corner of the field more than five cells apart."""
    rows, cols = before.picture.shape
    x, y = np.array([0, cols, 0, cols]), np.array([0, 0, rows, rows])
    places = []
    for start in (one, other):
        c, s = start.scale * math.cos(start.turn), start.scale * math.sin(start.turn)
        places.append((c * x - s * y + start.x, s * x + c * y + start.y))
    apart = np.hypot(places[0][0] - places[1][0], places[0][1] - places[1][1])
    return bool(apart.max() > max(5.0, 0.08 * max(rows, cols)))

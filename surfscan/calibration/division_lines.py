"""Parallel lines at one pitch, as a stage micrometer shows them: found, numbered and located to sub-pixel."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

FEWEST_LINES = 5
"""Fewer lines than this give no pitch (common practice, no source)."""

_CROSSED_PX = 15  # a gap so wide in the rows that show lines is a line of another set that crosses them
_BANDS = 8  # sub-bands across the lines' length in which each line is located
_PROMINENCE = 0.3  # a line stands out by this share of what the clear lines do
_OFF_LATTICE = 0.25  # a line further than this share of the pitch from its place is none
_ALIKE = 0.6  # correlation of the profiles of both halves of the band
_ON_LATTICE = 0.7  # share of the lines that lie on the lattice ...
_TRUE = 0.1  # ... and their scatter about it, as a share of the pitch
_OUTLIER = 4.0  # robust standard deviations
_STARTS = 5  # lines near the middle from which a lattice is grown: one may be a mark
_OCCUPIED = 0.5  # at least this share of the places between first and last line carries one
_LINE = 0.3  # a column further from the ground than this share of what the lines are belongs to a line
_GROUND = 0.2  # share of the columns from which the slow course is that of the ground alone
_STRIP_PX = 128  # rows on which the angle is sharpened first; then on twice as many, and so on
_DOUBT_DEG = 0.7  # and no further from the angle that was given
_SHEAR_PX = 0.7  # the angle is tried in steps that shear a strip by so much from its first to its last row


@dataclass(frozen=True)
class LineFit:
    """Least-squares fit of the positions of parallel lines, numbered along their normal.

    Attributes
    ----------
    pitch_px : float
        Distance from line to line along their normal.
    pitch_uncertainty_px : float
        Standard uncertainty of the pitch from the scatter of the lines.
    angle_deg : float
        Direction of the normal, from the axis (row direction for x, column direction for y) towards the
        other, -45 to 45.
    line_count, missing_count : int
        Lines used, and places between first and last without one.
    rms_px : float
        Scatter of the lines about the fit.
    distortion_px : float
        Largest departure of a smooth (cubic) course of the lines from the even one: distortion of the
        picture along this axis; 0 with fewer than ten lines, which do not show it.
    pitch_variation : float
        Largest departure of the local pitch on that course, as a fraction of the pitch.
    span_px : float
        From the first line to the last.
    """

    pitch_px: float
    pitch_uncertainty_px: float
    angle_deg: float
    line_count: int
    missing_count: int
    rms_px: float
    distortion_px: float
    pitch_variation: float
    span_px: float


def line_strength(grey: np.ndarray, angle_deg: float) -> float:
    """How much the mean of the rows varies once the picture is turned by an angle, sharpened, levels².

    Parameters
    ----------
    grey : ndarray of shape (M, N), float32
    angle_deg : float
        As for `fit_lines`.
    """
    angle_deg = _sharpened(grey, angle_deg)
    band = _band(_turned(grey, angle_deg))
    return 0.0 if band is None else _variation(grey, angle_deg, *band)


def fit_lines(grey: np.ndarray, angle_deg: float) -> LineFit | None:
    """Fit lines that run roughly down the picture.

    Parameters
    ----------
    grey : ndarray of shape (M, N), float32
        Picture whose lines run from top to bottom, with their normal `angle_deg` from the row direction.
    angle_deg : float
        Direction of the normal as far as it is known, within half a degree.

    Returns
    -------
    LineFit or None
        None where no `FEWEST_LINES` lines at one pitch are found. Lines may be missing, bold or longer than
        others; marks off the lattice are passed over.

    Notes
    -----
    The picture is turned so that the lines stand upright: by the angle at which the mean profile of some rows
    varies most, then that of twice as many, up to all. Rows where most lines are seen form a band; the band's
    mean profile gives a first lattice, and eight sub-bands locate each line again by the centroid of
    what stands out above half of its height. All positions p are fitted at once,
    p = a + d n + t y, with the line's number n and the sub-band's row y, by least squares with outliers
    beyond four robust standard deviations left out; the slope t turns the picture once more.
    """
    angle_deg = _sharpened(grey, angle_deg)
    for _ in range(3):
        turned = _turned(grey, angle_deg)
        band = _band(turned)
        if band is None:
            return None
        row0, row1 = band
        profile, recorded = _profile(turned, row0, row1)
        if not _alike(turned, row0, row1):
            return None
        sign = _polarity(profile, recorded)
        found = _lines(sign * profile, recorded)
        lattice = _lattice(found) if found is not None else None
        if lattice is None:
            return None
        start, pitch = lattice
        edges = np.linspace(row0, row1, _BANDS + 1).round().astype(int)
        numbers, rows, places = [], [], []
        for top, bottom in pairwise(edges):
            if bottom - top < 1:
                continue
            part, seen = _profile(turned, top, bottom)
            lines = _lines(sign * part, seen)
            if lines is None:
                continue
            number = np.rint((lines - start) / pitch)
            near = np.abs(lines - start - number * pitch) <= _OFF_LATTICE * pitch
            numbers.append(number[near])
            places.append(lines[near])
            rows.append(np.full(np.count_nonzero(near), 0.5 * (top + bottom - 1)))
        if not places:
            return None
        fitted = _fit(np.concatenate(numbers), np.concatenate(rows), np.concatenate(places))
        if fitted is None:
            return None
        fit, slope = fitted
        turn = float(np.degrees(np.arctan(slope)))
        angle_deg -= turn
        if abs(turn) < 1e-3:
            break
    return replace(fit, angle_deg=angle_deg)


def _sharpened(grey: np.ndarray, angle_deg: float) -> float:
    """The angle at which lines stand upright: there the mean of many rows varies most.

    A pitch of a few pixels is smeared away over a whole picture by a fraction of a degree, though not over a
    few rows: these are turned first, and twice as many each time that the angle is better known.
    """
    start_deg = angle_deg
    band = _band(_turned(grey, angle_deg))
    if band is None:
        return angle_deg
    whole, middle = band[1] - band[0], (band[0] + band[1]) // 2
    height = min(_STRIP_PX, whole)
    while True:
        row0 = middle - height // 2
        step = float(np.degrees(_SHEAR_PX / height))
        steps = [angle_deg + k * step for k in (0, -1, 1, -2, 2)]
        tried = [angle for angle in steps if abs(angle - start_deg) <= _DOUBT_DEG]
        angle_deg = max(tried, key=lambda angle: _variation(grey, angle, row0, row0 + height))
        if height == whole:
            return angle_deg
        height = min(2 * height, whole)


def _variation(grey: np.ndarray, angle_deg: float, row0: int, row1: int) -> float:
    """Variance of the mean of rows `row0:row1` of the turned picture, without its slow course."""
    profile, recorded = _profile(_turned(grey, angle_deg, row0, row1), 0, row1 - row0)
    return float(np.var(profile[recorded])) if recorded.any() else 0.0


def _turned(grey: np.ndarray, angle_deg: float, row0: int = 0, row1: int | None = None) -> np.ndarray:
    """Rows `row0:row1` of the picture with the lines' normal along them; not-a-number beyond its edges."""
    import cv2

    rows, cols = grey.shape
    row1 = rows if row1 is None else row1
    if abs(angle_deg) < 1e-6:
        return grey[row0:row1]
    centre = ((cols - 1) / 2, (rows - 1) / 2)
    turn = cv2.getRotationMatrix2D(centre, angle_deg, 1.0)
    turn[1, 2] -= row0
    beyond = float("nan")
    return np.asarray(
        cv2.warpAffine(
            grey,
            turn,
            (cols, row1 - row0),
            flags=cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_CONSTANT,
            borderValue=beyond,
        )
    )


def _band(turned: np.ndarray) -> tuple[int, int] | None:
    """Longest run of rows in which the most lines are seen."""
    import cv2

    steps = np.abs(np.diff(cv2.blur(turned, (3, 5)), axis=1))
    steps[~np.isfinite(steps)] = 0
    recorded = np.count_nonzero(np.isfinite(turned), axis=1)
    energy = steps.sum(axis=1)
    energy[recorded < 0.3 * turned.shape[1]] = 0
    smooth = np.convolve(energy, np.ones(9) / 9, mode="same")
    high = (smooth >= 0.75 * np.percentile(smooth, 98)).astype(np.uint8)
    high = cv2.morphologyEx(high[None], cv2.MORPH_CLOSE, np.ones((1, _CROSSED_PX), np.uint8))[0] > 0
    padded = np.concatenate([[False], high, [False]])
    change = np.flatnonzero(padded[1:] != padded[:-1])
    starts, stops = change[::2], change[1::2]
    if len(starts) == 0:
        return None
    k = int(np.argmax(stops - starts))
    margin = min(4, int(stops[k] - starts[k]) // 8)
    row0, row1 = int(starts[k]) + margin, int(stops[k]) - margin
    return (row0, row1) if row1 - row0 >= 4 else None


def _profile(turned: np.ndarray, row0: int, row1: int) -> tuple[np.ndarray, np.ndarray]:
    """Mean of the rows less its slow course, and where it is recorded."""
    import cv2

    part = turned[row0:row1]
    seen = np.isfinite(part)
    count = seen.sum(axis=0)
    recorded = count >= max(1, 0.5 * (row1 - row0))
    mean = np.where(seen, part, 0).sum(axis=0, dtype=np.float64) / np.maximum(count, 1)
    if not recorded.any():
        return mean, recorded
    mean[~recorded] = np.median(mean[recorded])
    width = max(31, (mean.size // 12) | 1)
    level = mean - _course(mean, recorded, width)
    away = np.abs(level - np.median(level[recorded]))
    lines = (away > _LINE * np.percentile(away[recorded], 99)).astype(np.uint8)
    ground = recorded & (cv2.dilate(lines[None], np.ones((1, 5), np.uint8))[0] == 0)
    # Near the end of what is recorded a course that takes in lines would shift those beside them.
    if np.count_nonzero(ground) > _GROUND * np.count_nonzero(recorded):
        level = mean - _course(mean, ground, width)
    return np.where(recorded, level, 0.0), recorded


def _course(values: np.ndarray, counted: np.ndarray, width: int) -> np.ndarray:
    """Running mean of the values that count; further off from any, that of all."""
    import cv2

    weight = cv2.blur(counted.astype(np.float64)[None], (width, 1))[0]
    total = cv2.blur((values * counted)[None], (width, 1))[0]
    return np.where(weight > 0.5 / width, total / np.maximum(weight, 1e-9), np.mean(values[counted]))


def _alike(turned: np.ndarray, row0: int, row1: int) -> bool:
    """Whether both halves of the band show the same profile: lines do, noise does not."""
    middle = (row0 + row1) // 2
    upper, seen = _profile(turned, row0, middle)
    lower, also = _profile(turned, middle, row1)
    both = seen & also
    if np.count_nonzero(both) < 16 or upper[both].std() == 0 or lower[both].std() == 0:
        return False
    return bool(np.corrcoef(upper[both], lower[both])[0, 1] >= _ALIKE)


def _polarity(profile: np.ndarray, recorded: np.ndarray) -> float:
    """1 where lines are lighter than the ground, -1 where darker: they are the lesser part of the profile."""
    values = profile[recorded] - np.median(profile[recorded])
    return 1.0 if float(np.sum(values**3)) > 0 else -1.0


def _lines(profile: np.ndarray, recorded: np.ndarray) -> np.ndarray | None:
    """Centres of the lines (high in `profile`), px; None where nothing stands out."""
    if np.count_nonzero(recorded) < 16:
        return None
    values = profile[recorded]
    ground = float(np.median(values))
    inner = (profile[1:-1] >= profile[:-2]) & (profile[1:-1] > profile[2:])
    tops = np.flatnonzero(inner) + 1
    heights = profile[tops] - ground
    if tops.size == 0:
        return None
    clear = float(np.median(heights[heights >= _PROMINENCE * heights.max()]))
    if clear <= 0:
        return None
    half = ground + 0.5 * _PROMINENCE * clear
    above = (profile > half) & recorded
    padded = np.concatenate([[False], above, [False]])
    change = np.flatnonzero(padded[1:] != padded[:-1])
    centres = []
    for start, stop in zip(change[::2], change[1::2], strict=True):
        run = profile[start:stop]
        if run.max() - ground < _PROMINENCE * clear or start == 0 or stop == profile.size:
            continue
        if not (recorded[start - 1] and recorded[stop]):
            continue
        centres.append(_centroid(profile, start, stop, ground + 0.5 * float(run.max() - ground)))
    return np.array(centres) if centres else None


def _centroid(profile: np.ndarray, start: int, stop: int, level: float) -> float:
    """Middle between the two places where a line crosses the level, interpolated: its flanks weigh alike."""
    top = start + int(np.argmax(profile[start:stop]))
    left = top
    while left > 0 and profile[left - 1] > level:
        left -= 1
    right = top
    while right < profile.size - 1 and profile[right + 1] > level:
        right += 1
    lower, upper = profile[max(left - 1, 0)], profile[left]
    first = left - (upper - level) / (upper - lower) if upper > lower else float(left)
    lower, upper = profile[min(right + 1, profile.size - 1)], profile[right]
    last = right + (upper - level) / (upper - lower) if upper > lower else float(right)
    return 0.5 * (first + last)


def _lattice(lines: np.ndarray) -> tuple[float, float] | None:
    """First place and pitch of a lattice that the lines lie on; None where there is none."""
    if lines.size < FEWEST_LINES:
        return None
    gaps = np.diff(lines)
    best: tuple[float, float, float] | None = None
    middle = np.argsort(np.abs(lines - np.median(lines)), kind="stable")[:_STARTS]
    for guess in sorted(float(np.percentile(gaps, q)) for q in (20, 35, 50, 65)):
        for start in lines[middle]:
            fitted = _grown(lines, float(start), guess)
            if fitted is not None and (best is None or fitted[2] > best[2] + 1e-9):
                best = fitted
    return None if best is None or best[2] < _OCCUPIED else best[:2]


def _grown(lines: np.ndarray, start: float, guess: float) -> tuple[float, float, float] | None:
    """Lattice grown outwards from a line near the middle, so that a small error of the guess does not add up.

    Returns the place of number 0, the pitch, and the smaller of the shares of lines on the lattice and of
    places that carry a line.
    """
    pitch = guess
    reach = 3.0
    while True:
        number = np.rint((lines - start) / pitch)
        inside = np.abs(number) <= reach
        near = inside & (np.abs(lines - start - number * pitch) <= _OFF_LATTICE * pitch)
        if np.count_nonzero(near) < 3:
            return None
        pitch, start = (float(v) for v in np.polyfit(number[near], lines[near], 1))
        if pitch <= 2:
            return None
        if inside.all():
            break
        reach *= 1.6
    number = np.rint((lines - start) / pitch)
    away = lines - start - number * pitch
    on = np.abs(away) <= _OFF_LATTICE * pitch
    if np.mean(on) < _ON_LATTICE or np.sqrt(np.mean(away[on] ** 2)) > _TRUE * pitch:
        return None
    places = float(np.ptp(number[on])) + 1
    return start, pitch, min(float(np.mean(on)), len(np.unique(number[on])) / places)


def _fit(numbers: np.ndarray, rows: np.ndarray, places: np.ndarray) -> tuple[LineFit, float] | None:
    """The fit p = a + d n + t y, on a picture that is turned already, and the slope t."""
    kept = np.ones(places.size, bool)
    centre = float(np.mean(rows))
    design = np.column_stack([np.ones(places.size), numbers, rows - centre])
    if np.ptp(rows) == 0:
        design = design[:, :2]
    for _ in range(5):
        if np.unique(numbers[kept]).size < FEWEST_LINES:
            return None
        solution, *_ = np.linalg.lstsq(design[kept], places[kept], rcond=None)
        residual = places - design @ solution
        away = np.abs(residual - np.median(residual[kept]))
        scale = 1.4826 * float(np.median(away[kept]))
        now = away <= max(_OUTLIER * scale, 0.05)
        if (now == kept).all():
            break
        kept = now
    number, where = np.unique(numbers[kept], return_inverse=True)
    weight = np.bincount(where)
    mean = np.bincount(where, residual[kept]) / weight
    slope = float(solution[2]) if design.shape[1] == 3 else 0.0
    pitch = float(solution[1]) * float(np.cos(np.arctan(slope)))
    freedom = max(number.size - 2, 1)
    rms = float(np.sqrt(np.sum(mean**2) / freedom))
    spread = float(np.sum((number - number.mean()) ** 2))
    scaled = (number - number.mean()) / max(float(np.ptp(number)), 1.0)
    course = variation = 0.0
    if number.size >= 2 * FEWEST_LINES:
        cubic = np.polyfit(scaled, mean, 3)
        course = float(np.abs(np.polyval(cubic, scaled)).max())
        variation = float(np.abs(np.polyval(np.polyder(cubic), scaled)).max()) / (
            pitch * float(np.ptp(number))
        )
    fit = LineFit(
        pitch_px=pitch,
        pitch_uncertainty_px=rms / float(np.sqrt(spread)),
        angle_deg=0.0,
        line_count=int(number.size),
        missing_count=int(np.ptp(number)) + 1 - int(number.size),
        rms_px=rms,
        distortion_px=course,
        pitch_variation=variation,
        span_px=pitch * float(np.ptp(number)),
    )
    return fit, slope

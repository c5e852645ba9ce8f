"""What speaks for a flat layer being a scale bar: how it ends, what hangs on it, how it stands out.

A candidate is looked at in full resolution. Its core rows give a level; the columns are followed to both
ends; above and below each column the ink that hangs on is counted, which shows end ticks, letters (a stem),
rulers (many ticks) and frames (ticks that close again). The evidence is a product of factors from 0 to 1,
each said where it is computed. Their limits are common practice, no source; set on drawn bars.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from surfscan.calibration.bar_candidates import Candidate, Plane, shortest_px, thickest_px
from surfscan.calibration.bar_ends import edge_of
from surfscan.calibration.bar_hanging import Hanging, look_around
from surfscan.calibration.uncertainty import two_ends_px

_CLEAN = 0.95  # every other factor at least so high: flawless, as drawn things are
_FLAWLESS, _FLAWED = 0.62, 0.45  # what a bar of middling level over texture gets
_THIN, _BLURRED = 3, 1.1  # px of thickness and of its edges: colour kept at half resolution
_SOFTER_COLOUR = 1.7  # by so much JPEG may blur colour more than luminance
_CLEAR = 35  # grey levels of 255 from which a coloured bar is measured on luminance
_FLAT_GROUND = 0.06  # spread of the ground, as a share of the step, up to which it is a strip or a box
_LONGEST = 0.8  # of the picture's width
_PIECE, _PIECE_PX = (
    0.25,
    8,
)  # of its length, and px: a shorter flat piece on its line is a stroke of its label
_NO_LETTER = 0.08  # of the picture's width: no stroke of a letter is so long
_LOOSE_ENDS = (0.03, 0.0125)  # standard uncertainty of the length that is too much, and that is well enough
_OUTSTANDING = 2.0  # a faint line stands so many times further out than one in five of the rows around it


@dataclass(frozen=True)
class Found:
    """A measured bar, before duplicates are taken out."""

    plane: str
    light: bool
    top_px: float
    bottom_px: float
    start_px: float
    end_px: float
    end_uncertainty_px: float
    tick_width_px: float
    box: tuple[int, int, int, int]
    level: float
    evidence: float
    factors: dict[str, float]
    edge_px: float
    under_text: bool


@dataclass(frozen=True)
class _Core:
    """Rows that lie wholly inside the bar, its level and that of the ground above and below."""

    row0: int
    row1: int
    level: float
    above: float
    below: float

    @property
    def ground(self) -> float:
        """Whichever of the two grounds is nearer to the bar's level."""
        return min((self.above, self.below), key=lambda g: abs(g - self.level))

    @property
    def alike(self) -> bool:
        """Whether above and below are one ground."""
        return abs(self.above - self.below) <= 0.1 * abs(self.level - self.ground)


def judge(planes: list[Plane], candidate: Candidate, *, least_evidence: float = 0.0) -> Found | None:
    """Measure one candidate; None where it cannot be a scale bar at all, or soon shows less evidence."""
    plane = planes[candidate.plane]
    core = _core_on(plane.levels, candidate.row0, candidate.row1, candidate.col0, candidate.col1)
    if core is None:
        return None
    coloured = plane.kind == "saturation"
    least = 0.0 if coloured else least_evidence  # luminance may show more than saturation
    found = _measure(plane.levels, core, candidate, coloured=coloured, on_saturation=coloured, least=least)
    if found is None or not coloured:
        return found
    grey = planes[0].levels
    if (found.bottom_px - found.top_px) < _THIN and found.edge_px > _BLURRED:
        # Colour kept at half resolution: where a line so thin ends, it does not tell to a pixel.
        found = replace(
            found, evidence=0.6 * found.evidence, end_uncertainty_px=max(1.0, found.end_uncertainty_px)
        )
    core = _core_on(grey, candidate.row0, candidate.row1, candidate.col0, candidate.col1)
    if (
        core is None
        or abs(core.level - core.ground) < _CLEAR
        or _ground_spread(grey, core, candidate) > _FLAT_GROUND
    ):
        return found
    # Luminance keeps the full resolution where JPEG halves that of colour.
    finer = _measure(grey, core, candidate, coloured=True)
    return found if finer is None else replace(finer, evidence=max(found.evidence, finer.evidence))


def _core_on(levels: np.ndarray, row0: int, row1: int, col0: int, col1: int) -> _Core | None:
    """The rows among `row0:row1` at the bar's full level, and the levels around them."""
    rows = levels.shape[0]
    per_row = np.median(levels[max(0, row0 - 6) : row1 + 6, col0:col1], axis=1)
    offset = max(0, row0 - 6)
    inside = per_row[row0 - offset : row1 - offset]
    above, below = per_row[: max(0, row0 - offset - 2)], per_row[row1 - offset + 2 :]
    if row0 < 3 or row1 > rows - 3 or len(above) == 0 or len(below) == 0:
        return None
    up, down = float(np.median(above)), float(np.median(below))
    middle = (up + down) / 2
    level = float(inside[int(np.argmax(np.abs(inside - middle)))])
    contrast = min(abs(level - up), abs(level - down))
    if contrast < 12 or (level - up) * (level - down) <= 0:
        return None
    full = np.flatnonzero(np.abs(inside - level) <= 0.15 * contrast)
    return _Core(row0 + int(full[0]), row0 + int(full[-1]) + 1, level, up, down)


def _ground_spread(levels: np.ndarray, core: _Core, c: Candidate) -> float:
    """Spread of the ground close to the bar, as a share of the step (the larger of above and below)."""
    contrast = abs(core.level - core.ground)
    above = levels[max(0, core.row0 - 5) : core.row0 - 2, c.col0 : c.col1]
    below = levels[core.row1 + 2 : core.row1 + 5, c.col0 : c.col1]
    return max(_spread(part) / contrast for part in (above, below))


def _spread(values: np.ndarray) -> float:
    """Half the width of the middle 80 % of the values, in units of a Gaussian's standard deviation."""
    low, high = np.percentile(values, (10, 90))
    return float(high - low) / 2.56


def _measure(
    levels: np.ndarray,
    core: _Core,
    c: Candidate,
    *,
    coloured: bool,
    on_saturation: bool = False,
    least: float = 0.0,
) -> Found | None:
    rows, cols = levels.shape
    profile = levels[core.row0 : core.row1].mean(axis=0, dtype=np.float64)
    share = (profile - core.ground) / (core.level - core.ground)
    inside = share[c.col0 : c.col1]
    # A fibre near the bar's own level is no part of it: how near depends on how even the bar is.
    unevenness = _spread(inside)
    near = np.clip(5 * unevenness, 0.15, 0.45)
    like = (share >= np.median(inside) - near) & (share <= np.median(inside) + max(near, 0.3))
    first, last = _run(like, c.col0 + int(np.argmin(np.abs(inside - np.median(inside)))))
    if first is None or last is None or first < 2 or last > cols - 3:
        return None  # it reaches the picture's border: a frame or the edge of a strip
    length = last - first + 1
    if length < shortest_px(cols):
        return None
    spread = _ground_spread(levels, core, c)
    flat = spread <= _FLAT_GROUND
    factors = {
        "contrast": _ramp(abs(core.level - core.ground), 12, 30),
        "even colour": _ramp(
            _spread(profile[first + 2 : last - 1]) / abs(core.level - core.ground), 0.25, 0.06
        ),
        "free ends": _free_factor(like, first, last)
        * (_colour_ends(share, first, last) if coloured else 1.0),
        "not short": _ramp(length / cols, 0.025, 0.045),
        "not the whole width": _ramp(length / cols, 1.0, _LONGEST),
    }
    # Most that is looked at is texture: it need not be measured to the end.
    most = _ground_factor(spread, core, coloured, _FLAWLESS)
    if most * float(np.prod(list(factors.values()))) < least:
        return None
    vertical = levels[max(0, core.row0 - 8) : core.row1 + 8, first + length // 8 : last + 1 - length // 8]
    mean_rows = vertical.mean(axis=1, dtype=np.float64)
    upward = edge_of(mean_rows, core.row0 - max(0, core.row0 - 8), -1, most_px=core.row1 - core.row0)
    downward = edge_of(mean_rows, core.row1 - 1 - max(0, core.row0 - 8), 1, most_px=core.row1 - core.row0)
    if upward is None or downward is None:
        return None
    top, bottom = upward.position_px + max(0, core.row0 - 8), downward.position_px + max(0, core.row0 - 8)
    thickness = bottom - top
    if thickness > thickest_px(rows) + 1 or length < 2.0 * thickness:
        return None
    hanging = look_around(
        levels,
        core.row0,
        core.row1,
        core.level,
        core.ground,
        first,
        last,
        same=float(np.clip(5 * unevenness, 0.07, 0.2)),
        flat=flat,
    )
    if hanging.impossible:
        return None
    beyond = core.ground if on_saturation and core.alike else None
    start = edge_of(profile, first, -1, most_px=length // 3, ground_level=beyond)
    end = edge_of(profile, last, 1, most_px=length // 3, ground_level=beyond)
    if start is None or end is None:
        return None
    left, right, uncertainty = (
        start.position_px,
        end.position_px,
        max(start.uncertainty_px, end.uncertainty_px),
    )
    tick_width = 0.0
    if hanging.ticks:
        left_tick, right_tick = (hanging.tick(levels, side) for side in (0, 1))
        if left_tick is None or right_tick is None:
            return None
        tick_width = (left_tick.width_px + right_tick.width_px) / 2
        left, right = left_tick.centre_px - tick_width / 4, right_tick.centre_px + tick_width / 4
        uncertainty = max(left_tick.uncertainty_px, right_tick.uncertainty_px)
    soft = _SOFTER_COLOUR if coloured else 1.0
    factors |= {
        "nothing hanging on": _hanging_factor(hanging, flat, length / cols),
        "straight edges": _ramp(max(upward.edge_px, downward.edge_px) / soft, 4.0, 1.5),
        "sharp ends": _ramp(max(start.edge_px, end.edge_px) / soft, 5.0, 2.0),
        "square ends": _square_factor(levels, core, start.position_px, end.position_px),
        "alone on its line": _line_factor(levels, core, first, last),
        "no weaker going on": _going_on_factor(levels, core, first, last),
        "known ends": _ramp(two_ends_px(uncertainty) / (right - left), *_LOOSE_ENDS),
        "slender": _ramp(length / thickness, 2.0, 4.0),
    }
    clean = min(factors.values()) >= _CLEAN
    factors["ground"] = _ground_factor(spread, core, coloured, _FLAWLESS if clean else _FLAWED)
    box = (
        int(np.floor(top + 0.5)) - hanging.up,
        int(np.ceil(bottom + 0.5)) + hanging.down,
        int(np.floor(start.position_px + 0.5)),
        int(np.ceil(end.position_px + 0.5)),
    )
    return Found(
        "saturation" if coloured else "luminance",
        core.level > core.ground,
        top,
        bottom,
        left,
        right,
        uncertainty,
        tick_width,
        box,
        core.level,
        float(np.prod(list(factors.values()))),
        factors,
        max(upward.edge_px, downward.edge_px),
        hanging.underlines,
    )


def _run(ink: np.ndarray, at: int) -> tuple[int | None, int | None]:
    """First and last index of the run of True around `at`."""
    if not ink[at]:
        return None, None
    gaps = np.flatnonzero(~ink)
    i = int(np.searchsorted(gaps, at))
    first = int(gaps[i - 1]) + 1 if i > 0 else 0
    last = int(gaps[i]) - 1 if i < len(gaps) else len(ink) - 1
    return first, last


def _ramp(value: float, nothing: float, full: float) -> float:
    """0 at or beyond `nothing`, 1 at or beyond `full`, straight between."""
    return float(np.clip((value - nothing) / (full - nothing), 0.0, 1.0))


def _ground_factor(spread: float, core: _Core, coloured: bool, otherwise: float) -> float:
    """A strip or box makes any level plausible; over texture white, black or colour, else `otherwise`."""
    if coloured or core.level >= 245 or core.level <= 10:
        return 1.0 if spread <= _FLAT_GROUND else 0.85
    quiet = _ramp(spread, _FLAT_GROUND, 0.03) if core.alike else 0.0
    return otherwise + (0.9 - otherwise) * quiet


def _free_factor(like: np.ndarray, first: int, last: int) -> float:
    """Both ends stand free: no ink of the bar's level close beyond (dashes, a line that goes on)."""
    reach = 6  # a box behind need not be much wider than the bar
    beyond = np.r_[like[max(0, first - 2 - reach) : first - 1], like[last + 2 : last + 3 + reach]]
    return 1.0 - _ramp(float(np.mean(beyond)), 0.05, 0.5) * 0.9 if len(beyond) else 0.0


def _square_factor(levels: np.ndarray, core: _Core, start: float, end: float) -> float:
    """A drawn bar is as thick at its ends as in the middle; a fibre or a pit is rounded."""
    if core.row1 - core.row0 < 5:
        return 1.0
    ends = levels[core.row0 : core.row1, [int(np.ceil(start)) + 1, int(np.floor(end)) - 1]].astype(np.float64)
    full = (ends - core.ground) / (core.level - core.ground) >= 0.5
    return _ramp(float(full.mean(axis=0).min()), 0.6, 1.0)


def _colour_ends(share: np.ndarray, first: int, last: int) -> float:
    """Beyond a coloured bar no colour is left, whatever the picture: else its end was not reached."""
    left, right = share[max(0, first - 5) : first - 2], share[last + 3 : last + 6]
    return _ramp(max(float(np.median(left)), float(np.median(right))), 0.6, 0.35) * 0.7 + 0.3


def _line_factor(levels: np.ndarray, core: _Core, first: int, last: int) -> float:
    """No other flat piece on the bar's rows, light or dark, no farther off than it is long.

    Dashes, and the fields of a bar in two colours, are such: the label tells the length of all of them.
    """
    length, contrast = last - first + 1, abs(core.level - core.ground)
    least = max(_PIECE_PX, int(_PIECE * length))
    gap = 3
    for columns in (
        slice(max(0, first - 2 - length - least), max(0, first - 2)),
        slice(last + 3, last + 3 + length + least),
    ):
        rows = levels[core.row0 : core.row1, columns].astype(np.float64)
        along = rows.mean(axis=0)
        away = [along - levels[row, columns] for row in (core.row0 - gap, core.row1 - 1 + gap)]
        stands_out = (np.minimum(*away) >= 0.3 * contrast) | (np.maximum(*away) <= -0.3 * contrast)
        stands_out &= np.ptp(rows, axis=0) <= 0.2 * contrast
        even = np.r_[True, np.abs(np.diff(along)) <= 0.1 * contrast]
        ends = np.flatnonzero(np.diff(np.r_[False, stands_out & even, False].astype(np.int8)))
        if len(ends) and int(np.max(ends[1::2] - ends[::2])) >= least:
            return 0.65
    return 1.0


def _going_on_factor(levels: np.ndarray, core: _Core, first: int, last: int) -> float:
    """Beyond its ends the bar's rows are like the rows beside them: else it only grew faint there.

    What does not stand out of the rows further off is texture that runs along them, such as grinding marks.
    """
    gap = 3
    weakest = 0.0
    for columns in (slice(max(0, first - 10), first - 3), slice(last + 4, last + 11)):
        along = levels[core.row0 : core.row1, columns].mean(axis=0, dtype=np.float64)
        beside = levels[[core.row0 - gap, core.row1 - 1 + gap], columns].astype(np.float64)
        excess = ((along - beside) / (core.level - core.ground)).min(axis=0)
        if excess.size:
            usual = _row_scatter(levels[:, columns], core, gap) / abs(core.level - core.ground)
            least = float(excess.min())
            weakest = max(weakest, least if least > _OUTSTANDING * usual else 0.0)
    return 1.0 - 0.7 * _ramp(weakest, 0.05, 0.12)


def _row_scatter(part: np.ndarray, core: _Core, gap: int) -> float:
    """By how much one in five of the rows around a bar stands out of both rows `gap` px away from it."""
    reach = 12
    rows = part[max(0, core.row0 - gap - reach) : core.row1 + gap + reach].mean(axis=1, dtype=np.float64)
    away = rows[gap:-gap] - np.clip(rows[gap:-gap], *np.sort([rows[: -2 * gap], rows[2 * gap :]], axis=0))
    return float(np.percentile(np.abs(away), 80))


def _hanging_factor(hanging: Hanging, flat: bool, share_of_width: float) -> float:
    """Nothing hangs on a bar but two like ticks; over texture some ground looks like ink by chance.

    What is shorter than 8 % of the width may be the stroke of a letter: nothing is put down to chance there.
    """
    factor = 1.0
    by_chance = not flat and share_of_width >= _NO_LETTER
    if hanging.lopsided:
        factor *= 0.8 if by_chance else 0.35
    factor *= (1.0, 0.5, 0.25)[hanging.goes_on]
    if hanging.ruler:
        factor *= 0.1
    if hanging.underlines:
        factor *= 0.78
    if not by_chance:
        return factor * (1.0, 0.3)[min(hanging.stems, 1)]
    return factor * (1.0 - _ramp(hanging.interior, 0.15, 0.6))

"""Where a scale bar ends: half-level crossings of its profile, with the uncertainty of each.

The rule. A plain bar reaches from outer edge to outer edge, each where the profile along the bar crosses
half way between the bar's level and that of the ground just beyond. Of a bar with end ticks nobody can see
whether its label counts from the centres of the ticks or from their outer edges: it is taken to reach from
half way between these at one end to half way between them at the other, and up to a quarter of a tick's
width each way stands in the uncertainty of the scale
(`surfscan.calibration.uncertainty.bar_uncertainty`). A tick's sides are its half-level crossings. Positions
are in px, the centre of the first pixel being 0: a bar that fills columns 10 to 19 reaches from 9.5 to 19.5.

The uncertainty of one end (k = 1) combines the noise of both levels and of the pixel at the crossing,
divided by the slope there, with a floor. An end that drops from bar to ground from one pixel to the next
says only that the program which drew it rounded to whole pixels: the floor is then 1/sqrt(12) = 0.29 px,
the standard deviation of an even spread over one pixel (JCGM 100:2008, 4.3.7). Where the step takes in a
pixel at a middle level the crossing means something between pixels, and the floor is 0.1 px, above what
straight-line interpolation across a partly filled pixel can miss (0.086 px).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

ROUNDED_FLOOR_PX = 1 / np.sqrt(12.0)
SOFT_FLOOR_PX = 0.1
_SOFT = (0.15, 0.85)  # a pixel between these shares of the step is at a middle level
_LEVEL_PX = 8  # pixels that each of the two levels is taken from
_GAP_PX = 2  # pixels left out on either side of the crossing
_SLOPE_PX = 8  # a slope of colour is followed so far on either side
_SLOPING = 2.5  # width of an edge, px, from which the half level may lie anywhere in its middle half


@dataclass(frozen=True)
class End:
    """One end: position along the row, uncertainty (k = 1) and width of the edge (20 to 80 %
    at the steepest slope next to the crossing), all px.
    """

    position_px: float
    uncertainty_px: float
    edge_px: float


def edge_of(
    profile: np.ndarray, inside: int, step: int, *, most_px: int, ground_level: float | None = None
) -> End | None:
    """Where a profile leaves the bar.

    Parameters
    ----------
    profile : ndarray of shape (N,)
        Levels along the row, averaged over the rows of the bar.
    inside : int
        Last pixel that is nearer to the bar's level than to the ground's.
    step : {1, -1}
        Which way the end is looked for.
    most_px : int
        Pixels inside the bar that its level may be taken from at most.
    ground_level : float, optional
        Level beyond the bar where it is known. It is for colour, of which JPEG makes a slope several pixels
        long: levels close beyond the end would be those of the slope, and the half level between too high.

    Returns
    -------
    End or None
        None where the profile does not cross half way within 3 px, or ends before the ground is seen.
    """
    line = profile if step > 0 else profile[::-1]
    at = inside if step > 0 else len(profile) - 1 - inside
    outward = line[at:]
    deep = min(_GAP_PX + _LEVEL_PX, most_px)
    inward = line[max(0, at + 1 - deep) : at + 1]
    if len(inward) > _GAP_PX:
        inward = inward[:-_GAP_PX]
    ground = outward[1 + _GAP_PX : 1 + _GAP_PX + _LEVEL_PX]
    if len(ground) >= 3:
        # A box may end close beyond the bar: the ground goes on only as far as it stays at its level.
        nearest = float(np.median(ground[:3]))
        away = np.abs(ground - nearest) > 0.25 * abs(float(np.median(inward)) - nearest)
        ground = ground[: max(3, int(np.argmax(away)) if away.any() else len(ground))]
    if len(ground) < 2:
        return None
    if ground_level is None:
        return crossing(outward[: 3 + _GAP_PX], inside, step, inward, ground)
    ground = ground - np.median(ground) + ground_level
    end = crossing(outward[: _SLOPE_PX + 1], inside, step, inward, ground)
    if end is None:
        return None
    share = (line[max(0, at - _SLOPE_PX) : at + _SLOPE_PX + 1] - ground_level) / (
        np.median(inward) - ground_level
    )
    low, high = _falls_through(share, 0.2), _falls_through(share, 0.8)
    edge = max(end.edge_px, low - high if low is not None and high is not None else 2.0 * _SLOPE_PX)
    return End(
        end.position_px, max(end.uncertainty_px, edge / 4) if edge > _SLOPING else end.uncertainty_px, edge
    )


def crossing(samples: np.ndarray, start: int, step: int, bar: np.ndarray, ground: np.ndarray) -> End | None:
    """Half-level crossing within `samples`, the first of which lies at pixel `start`, running by `step`."""
    bar_level, ground_level = float(np.median(bar)), float(np.median(ground))
    contrast = bar_level - ground_level
    if contrast == 0:
        return None
    share = (samples - ground_level) / contrast
    at = _falls_through(share, 0.5)
    if at is None:
        return None
    i = int(at)
    slope = max(share[i] - share[i + 1], 1e-3)
    spread_bar, spread_ground = (float(np.std(part)) / abs(contrast) for part in (bar, ground))
    levels = 0.5 * np.hypot(spread_bar / np.sqrt(len(bar)), spread_ground / np.sqrt(len(ground)))
    pixel = 0.5 * np.hypot(spread_bar, spread_ground)  # at the crossing half of each shows
    near = share[max(0, i - 1) : i + 3]
    width = 0.6 / max(float(np.max(-np.diff(near))), 0.06)
    soft = bool(np.any((near > _SOFT[0]) & (near < _SOFT[1])))
    floor = SOFT_FLOOR_PX if soft else ROUNDED_FLOOR_PX
    noise = np.hypot(levels, pixel) / slope
    return End(start + step * at, float(min(np.hypot(noise, floor), 5.0)), width)


@dataclass(frozen=True)
class Tick:
    """An end tick: its centre, the centre's uncertainty (k = 1), and the width of the tick, all px."""

    centre_px: float
    uncertainty_px: float
    width_px: float


def tick_at(
    profile: np.ndarray, first: int, last: int, ground_left: slice, ground_right: slice
) -> Tick | None:
    """The tick in some columns, from the half-level crossings of its two sides; None where it has none.

    Parameters
    ----------
    profile : ndarray of shape (N,)
        Levels along the row, averaged over the tick's rows but not the bar's.
    first, last : int
        Columns of the tick.
    ground_left, ground_right : slice
        Pixels of the ground on either side.
    """
    core = profile[first : last + 1]
    left, right = profile[ground_left], profile[ground_right]
    if len(left) == 0 or len(right) == 0:
        return None
    ground = np.r_[left, right]
    # The tick's level is its strongest column: a thin tick has no other.
    at = int(np.argmax(np.abs(core - np.median(ground))))
    level, at = core[at : at + 1], first + at
    a = crossing(profile[at : last + _SLOPE_PX], at, 1, level, right)
    b = crossing(profile[max(0, first - _SLOPE_PX + 1) : at + 1][::-1], at, -1, level, left)
    if a is None or b is None:
        return None
    floor = min(a.uncertainty_px, b.uncertainty_px)
    return Tick(
        centre_px=(a.position_px + b.position_px) / 2,
        uncertainty_px=max(floor, float(np.hypot(a.uncertainty_px, b.uncertainty_px)) / 2),
        width_px=a.position_px - b.position_px,
    )


def _falls_through(share: np.ndarray, level: float) -> float | None:
    """First place, in samples, where `share` falls through `level`, by straight-line interpolation."""
    above = share >= level
    below = np.flatnonzero(above[:-1] & ~above[1:])
    if len(below) == 0:
        return None
    i = int(below[0])
    return i + float((share[i] - level) / (share[i] - share[i + 1]))

"""Where the scans of a sweep start and turn, through noise of the potential, holds, jumps and strays."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from surfscan.electrochemistry.sweep import Scan

LEAST_POINTS = 3
"""Fewest points of a scan."""

_NOISE_FACTOR = 6.0
_LEAST_STEPS = 5.0
_LEAST_SHARE = 0.02
_SLOW = 0.05
_NEIGHBOURS = 5
_JUMP_FACTOR = 10.0
_HELD_POINTS = 5
_WINDOW = 4096
_BESIDE = 20
_LEAST_SCANS, _LEAST_OFF, _LEAST_STEP = 3, 0.05, 0.1
_MOST_SHORT, _LEAST_OF_RANGE = 10, 0.2


def find_scans(potential_V: np.ndarray, boundaries: Sequence[int] = ()) -> tuple[Scan, ...]:
    """Runs of the potential in one direction.

    A run ends where the potential turns by more than its noise (6 standard deviations), 5 steps and 2 % of
    the range (common practice, no source), where it jumps, and at given boundaries. Neighbouring scans share
    their turning point, unless the potential was held there: then the points of the hold belong to neither.
    Runs much slower than the others (a twentieth of the step: a rest potential being watched) are no scans.

    Parameters
    ----------
    potential_V : ndarray of shape (n,)
        Finite.
    boundaries : sequence of int
        First points of what the file sets apart, such as by a scan number.

    Returns
    -------
    tuple of Scan
        In order; empty where the potential never moves in one direction.
    """
    potential = np.ascontiguousarray(potential_V, np.float64)
    if potential.size < LEAST_POINTS:
        return ()
    step = typical_step(potential)
    if step == 0:
        return ()
    jumps = find_jumps(potential)
    cuts = sorted({0, potential.size, *(b for b in boundaries if 0 < b < potential.size), *jumps.tolist()})
    pieces = [(a, b) for a, b in pairwise(cuts) if b - a >= LEAST_POINTS]
    ranges = [float(np.ptp(potential[a:b])) for a, b in pieces]
    if not pieces:
        return ()
    widest = max(ranges)
    turn = max(_NOISE_FACTOR * noise_V(potential), _LEAST_STEPS * step)
    found: list[Scan] = []
    for (a, b), width in zip(pieces, ranges, strict=True):
        if width >= min(max(turn, _LEAST_SHARE * widest), 0.5 * widest) or width == widest:
            least = min(max(turn, _LEAST_SHARE * width), 0.5 * width)
            found += _runs(potential, a, b, least, 0.5 * step)
    return tuple(scan for scan in found if _pace(potential, scan) > _SLOW * step)


def goes_on(potential_V: np.ndarray, at: int) -> bool:
    """Whether the potential runs on over a place as before: same direction, one step of the usual size.

    Parameters
    ----------
    potential_V : ndarray of shape (n,)
        Finite.
    at : int
        First point behind the place.
    """
    before, after = potential_V[max(at - _BESIDE, 0) : at], potential_V[at : at + _BESIDE]
    if before.size < 2 or after.size < 2:
        return False
    noise = noise_V(potential_V[max(at - _BESIDE, 0) : at + _BESIDE])
    ways = before[-1] - before[0], after[-1] - after[0]
    if min(abs(ways[0]), abs(ways[1])) <= _NOISE_FACTOR * noise or (ways[0] > 0) != (ways[1] > 0):
        return False
    usual = 0.5 * (abs(ways[0]) / (before.size - 1) + abs(ways[1]) / (after.size - 1))
    step = float(np.sign(ways[0])) * float(potential_V[at] - potential_V[at - 1])
    spread = _NOISE_FACTOR * noise
    return bool(-spread < step < 3 * usual + spread)


def jumps_about(potential_V: np.ndarray, scans: Sequence[Scan]) -> bool:
    """Whether the potential turns anywhere, as where the lines of a file are in no order.

    Three scans or more, of which half end further from both ends of the range than a twentieth of it, and
    either steps over a tenth of it or no scan over a fifth of it (common practice, no source).
    """
    if len(scans) < _LEAST_SCANS:
        return False
    low, high = float(potential_V.min()), float(potential_V.max())
    ends = np.array([potential_V[scan.stop - 1] for scan in scans])
    if np.median(np.minimum(ends - low, high - ends)) <= _LEAST_OFF * (high - low):
        return False
    widest = max(abs(float(potential_V[scan.stop - 1] - potential_V[scan.start])) for scan in scans)
    is_coarse = typical_step(potential_V) > _LEAST_STEP * (high - low)
    return is_coarse or (len(scans) > _MOST_SHORT and widest < _LEAST_OF_RANGE * (high - low))


def typical_step(potential_V: np.ndarray) -> float:
    """The step by which most of the way is covered, jumps left out; 0 where the potential never moves."""
    steps = np.abs(np.diff(potential_V))
    steps = np.delete(steps, find_jumps(potential_V) - 1)
    steps = np.sort(steps[steps > 0])
    if not steps.size:
        return 0.0
    way = np.cumsum(steps)
    return float(steps[np.searchsorted(way, 0.5 * way[-1])])


def noise_V(potential_V: np.ndarray) -> float:
    """Standard deviation of single readings about a ramp, from second differences."""
    bends = np.abs(np.diff(potential_V, 2))
    return float(np.median(bends)) / 0.6745 / np.sqrt(6) if bends.size else 0.0


def find_jumps(potential_V: np.ndarray) -> np.ndarray:
    """First points after steps more than ten times those around them."""
    steps = np.abs(np.diff(potential_V))
    if steps.size < 2:
        return np.zeros(0, np.int64)
    usual = float(np.quantile(steps, 0.9)) if steps.size > 20 else float(np.median(steps))
    candidates = np.flatnonzero(steps > max(2 * usual, 1e-4))
    if not candidates.size:
        return candidates
    offsets = np.array([k for k in range(-_NEIGHBOURS, _NEIGHBOURS + 1) if k])
    at = candidates[:, None] + offsets
    around = np.where((at >= 0) & (at < steps.size), steps[np.clip(at, 0, steps.size - 1)], np.nan)
    sides = np.full((candidates.size, 2), 0.0)
    for side, part in enumerate((around[:, :_NEIGHBOURS], around[:, _NEIGHBOURS:])):
        has = np.isfinite(part).any(axis=1)
        sides[has, side] = np.nanmedian(part[has], axis=1)
    return candidates[steps[candidates] > _JUMP_FACTOR * sides.max(axis=1)] + 1


def find_strays(potential_V: np.ndarray) -> np.ndarray:
    """Single points that leave the run of the potential and are back at the next."""
    jumps = find_jumps(potential_V)
    pairs = jumps[np.isin(jumps + 1, jumps)]
    inner = pairs[(pairs > 0) & (pairs < potential_V.size - 1)]
    away = np.abs(potential_V[inner] - potential_V[inner - 1])
    back = np.abs(potential_V[inner + 1] - potential_V[inner - 1])
    return inner[back < 0.3 * away]


def _pace(potential: np.ndarray, scan: Scan) -> float:
    return abs(float(potential[scan.stop - 1] - potential[scan.start])) / (scan.stop - 1 - scan.start)


def _runs(potential: np.ndarray, start: int, stop: int, turn: float, hold: float) -> list[Scan]:
    """Runs of one piece, between turning points; holds at their ends taken off."""
    corners = _corners(potential, start, stop, turn)
    found = []
    for a, b in pairwise(corners):
        direction = 1 if potential[b] > potential[a] else -1
        way = direction * potential[a : b + 1]
        near_start = np.flatnonzero(way <= way[0] + hold)
        near_end = np.flatnonzero(way >= way[-1] - hold)
        first = (
            int(near_start[-1])
            if near_start.size > _HELD_POINTS and near_start[-1] >= near_start.size - 1
            else 0
        )
        last = int(near_end[0]) if near_end.size > _HELD_POINTS else b - a
        if last - first + 1 >= LEAST_POINTS:
            found.append(Scan(a + first, a + last + 1, direction))
    return found


def _corners(potential: np.ndarray, start: int, stop: int, turn: float) -> list[int]:
    """Start, turning points and end of a piece: each extreme from which the potential retreats by `turn`."""
    piece = potential[start:stop]
    low, high = int(np.argmin(piece)), int(np.argmax(piece))
    up = _next_retreat(piece, 0, 1, turn)
    down = _next_retreat(piece, 0, -1, turn)
    if up is None and down is None:
        ends = sorted((low, high))
        return [start + ends[0], start + ends[1]]
    # the first run goes towards whichever extreme is left later: before it lies only noise
    if down is None or (up is not None and up[0] > down[0]):
        at, direction = (0 if down is None else down[0]), 1
    else:
        at, direction = (0 if up is None else up[0]), -1
    corners = [at]
    while True:
        found = _next_retreat(piece, at, direction, turn)
        if found is None:
            rest = direction * piece[at:]
            corners.append(at + int(np.argmax(rest)))
            break
        at = found[0]
        corners.append(at)
        direction = -direction
    return [start + k for k in dict.fromkeys(corners)]


def _next_retreat(piece: np.ndarray, at: int, direction: int, turn: float) -> tuple[int, int] | None:
    """The extreme in a direction that the potential next retreats from, and where that is certain."""
    best, best_at = -np.inf, at
    window = _WINDOW
    while at < piece.size:
        way = direction * piece[at : at + window]
        highest = np.maximum(np.maximum.accumulate(way), best)
        fallen = np.flatnonzero(highest - way > turn)
        end = int(fallen[0]) if fallen.size else way.size
        if end:
            top = int(np.argmax(way[:end]))
            if way[top] > best:
                best, best_at = float(way[top]), at + top
        if fallen.size:
            return best_at, at + end
        at += way.size
        window *= 2
    return None

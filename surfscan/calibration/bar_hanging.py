"""What hangs on a bar: end ticks, or what makes it a letter, a ruler, a frame or a line under text."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from surfscan.calibration.bar_ends import Tick, tick_at

_INK = 0.5  # share of the step from ground to bar from which a pixel counts as ink
_TALLEST = 0.08  # of the picture's height that a tick reaches from the bar, each way
_INK_ON_TEXTURE = 0.15  # over texture it has the bar's level to within this share
_ABOUT_THE_SAME = 0.2  # what goes on beyond an end has it to within this share
_RULER_STEMS = 5  # between the ends, in even steps, make a ruler
_EVEN = 0.6  # correlation of the columns with ink with themselves, shifted by one step
_MARGIN = 12  # px beyond either end that are looked at too: text above may go on there


@dataclass(frozen=True)
class Hanging:
    """Ink above and below a bar.

    Attributes
    ----------
    ticks : bool
        Two like ticks at the ends.
    lopsided : bool
        A tick at one end only, or two of unlike height.
    impossible : bool
        It is no thin layer by itself, or its ticks go on too far or close to a frame.
    ruler : bool
        Ticks in even steps along it.
    underlines : bool
        A line of text close above begins and ends where it does.
    stems : int
        Places between the ends where ink of its level hangs on.
    goes_on : int
        Ends beyond which ink of about its level goes on.
    interior : float
        Share of the columns between the ends where ink hangs on.
    up, down : int
        Height of the ticks, px.
    tick_columns : ((int, int), (int, int))
        First and last column of the left and the right tick.
    tick_rows : tuple of int
        Rows that show ticks alone, without the bar.
    """

    ticks: bool = False
    lopsided: bool = False
    impossible: bool = False
    ruler: bool = False
    underlines: bool = False
    stems: int = 0
    goes_on: int = 0
    interior: float = 0.0
    up: int = 0
    down: int = 0
    tick_columns: tuple[tuple[int, int], tuple[int, int]] = ((0, 0), (0, 0))
    tick_rows: tuple[int, ...] = ()

    def tick(self, levels: np.ndarray, side: int) -> Tick | None:
        """The left (0) or right (1) tick, measured; None where it cannot be told."""
        first, last = self.tick_columns[side]
        profile = levels[list(self.tick_rows)].mean(axis=0, dtype=np.float64)
        left, right = slice(max(0, first - 8), max(0, first - 1)), slice(last + 2, last + 9)
        return tick_at(profile, first, last, left, right)


@dataclass(frozen=True)
class _TickInk:
    first: int
    last: int
    up: int
    down: int


def look_around(
    levels: np.ndarray,
    row0: int,
    row1: int,
    level: float,
    ground: float,
    first: int,
    last: int,
    *,
    same: float,
    flat: bool,
) -> Hanging:
    """Count the ink above and below each column of a bar.

    Parameters
    ----------
    levels : ndarray of shape (M, N), uint8
    row0, row1 : int
        Rows wholly inside the bar, row1 excluded.
    level, ground : float
        Of the bar and of what is around it.
    first, last : int
        Its first and last column.
    same : float
        Share of the step to within which ink has the bar's own level.
    flat : bool
        Whether the ground is a strip or box; over texture only what has the bar's own level counts as ink.
    """
    thick = row1 - row0
    limit = int(max(12, _TALLEST * levels.shape[0], 3 * thick))
    x0, x1 = max(0, first - _MARGIN), min(levels.shape[1], last + 1 + _MARGIN)
    above, below = levels[max(0, row0 - limit) : row0, x0:x1][::-1], levels[row1 : row1 + limit, x0:x1]
    parts = [(part.astype(np.float32) - ground) / (level - ground) for part in (above, below)]
    alike = [np.abs(part - 1) <= same for part in parts]
    own = [np.abs(part - 1) <= max(same, _INK_ON_TEXTURE) for part in parts]
    inks = [part >= _INK for part in parts] if flat else own
    reach = [_reach(ink) for ink in inks]
    lo, hi = first - x0, last - x0
    zone = int(min(max(5, 3 * thick + 1), (hi - lo + 1) // 4))
    inner = slice(lo + zone, hi + 1 - zone)
    base = [int(np.median(r[inner])) for r in reach]
    if max(base) > 2 + 0.1 * thick:
        return Hanging(impossible=True)
    extra = [r - b for r, b in zip(reach, base, strict=True)]
    least = max(2, round(0.5 * thick))
    ends = [
        _tick(columns, extra, least, max(4, 2.5 * thick + 1))
        for columns in (np.arange(lo - 1, lo + zone), np.arange(hi + 1, hi - zone, -1))
    ]
    left, right = ends
    tallest = [max((getattr(t, way) for t in ends if t is not None), default=0) for way in ("up", "down")]
    if any(t and t + b >= len(ink) - 1 for t, b, ink in zip(tallest, base, inks, strict=True)):
        return Hanging(impossible=True)
    within = slice(lo, hi + 1) if left is None and right is None else inner
    plain = Hanging(
        stems=sum(
            _runs(_reach(ink[b:, within]) >= max(3, thick + 1)) for ink, b in zip(alike, base, strict=True)
        ),
        interior=float(np.mean(np.maximum(extra[0], extra[1])[inner] >= 2)),
        ruler=any(_evenly_spaced(e[inner] >= 3) for e in extra)
        or any(
            _evenly_spaced(_reach(part[b:, inner] >= 0.5) >= 3) for part, b in zip(parts, base, strict=True)
        ),
        lopsided=left is not right,
        goes_on=_goes_on(levels, row0, row1, level, ground, first, last),
    )
    if left is None or right is None:
        if left is right and _under_text(own[0][base[0] :], thick, lo, hi):
            return replace(plain, underlines=True)
        return plain
    if any(_closes(ink, t + b, left, right) for ink, t, b in zip(inks, tallest, base, strict=True) if t > 4):
        return Hanging(impossible=True)
    if not all(_alike(getattr(left, way), getattr(right, way)) for way in ("up", "down")):
        return plain
    rows = [row0 - base[0] - 1 - k for k in range(1, left.up - 1)]
    rows += [row1 + base[1] + k for k in range(1, left.down - 1)]
    if not rows:
        rows = [row0 - base[0] - 1 - k for k in range(left.up)] + [
            row1 + base[1] + k for k in range(left.down)
        ]
    columns = ((left.first + x0, left.last + x0), (right.first + x0, right.last + x0))
    return replace(
        plain,
        ticks=True,
        lopsided=False,
        up=tallest[0],
        down=tallest[1],
        tick_columns=columns,
        tick_rows=tuple(rows),
    )


def _reach(ink: np.ndarray) -> np.ndarray:
    """Rows of unbroken ink from row 0 on, per column."""
    if len(ink) == 0:
        return np.zeros(ink.shape[1], np.int64)
    return np.where(ink.all(axis=0), len(ink), np.argmin(ink, axis=0))


def _tick(columns: np.ndarray, extra: list[np.ndarray], least: int, widest: float) -> _TickInk | None:
    """The tick at one end, looked for from the end inwards."""
    columns = columns[(columns >= 0) & (columns < len(extra[0]))]
    tall = np.maximum(extra[0][columns], extra[1][columns]) >= least
    at = np.flatnonzero(tall)
    if len(at) == 0 or at[0] > 3:
        return None
    stop = at[0]
    while stop + 1 < len(tall) and tall[stop + 1]:
        stop += 1
    chosen = columns[at[0] : stop + 1]
    if len(chosen) > widest:
        return None
    up, down = (int(np.max(e[chosen])) for e in extra)
    return _TickInk(int(chosen.min()), int(chosen.max()), up if up >= 2 else 0, down if down >= 2 else 0)


def _alike(a: int, b: int) -> bool:
    return abs(a - b) <= max(2, 0.3 * max(a, b))


def _closes(ink: np.ndarray, height: int, left: _TickInk, right: _TickInk) -> bool:
    """Whether a line joins the far ends of two ticks: then it is a frame."""
    between = ink[max(0, height - 3) : height + 1, left.last + 2 : right.first - 1]
    return bool(between.size and np.any(between.mean(axis=1) > 0.6))


def _runs(flags: np.ndarray) -> int:
    return int(np.count_nonzero(np.diff(np.r_[False, flags].astype(np.int8)) == 1))


def _evenly_spaced(inked: np.ndarray) -> bool:
    """Whether columns with ink recur in even steps: the flags shifted by some step agree with themselves."""
    if _runs(inked) < _RULER_STEMS:
        return False
    wider = inked.copy()  # steps are rounded to whole pixels
    wider[1:] |= inked[:-1]
    wider[:-1] |= inked[1:]
    centred = wider - wider.mean()
    fell = False  # a shift within one and the same tick does not count
    for step in range(1, len(centred) // 4):
        a, b = centred[:-step], centred[step:]
        agreement = np.dot(a, b) / max(np.sqrt(np.dot(a, a) * np.dot(b, b)), 1e-9)
        if fell and agreement >= _EVEN:
            return True
        fell = fell or agreement < 0.1
    return False


def _goes_on(
    levels: np.ndarray, row0: int, row1: int, level: float, ground: float, first: int, last: int
) -> int:
    """Ends (0 to 2) beyond which the line goes on, bent to one side."""
    top = max(0, row0 - 5)
    count = 0
    for beyond in (
        levels[top : row1 + 5, last + 2 : last + 7],
        levels[top : row1 + 5, max(0, first - 6) : first - 1][:, ::-1],
    ):
        ink = np.abs((beyond.astype(np.float32) - ground) / (level - ground) - 1) <= _ABOUT_THE_SAME
        near = ink[max(0, row0 - 2 - top) : row1 + 2 - top, :2]
        count += bool(ink.shape[1] and near.any(axis=0).all() and ink.any(axis=0).all() and ink.mean() < 0.6)
    return count


def _under_text(ink: np.ndarray, thick: int, lo: int, hi: int) -> bool:
    """Whether ink close above, in a band of its own, begins and ends where the bar does."""
    filled = np.flatnonzero(ink[1:].sum(axis=1) >= max(2, thick)) + 1
    if len(filled) == 0:
        return False
    gap = int(filled[0])
    breaks = np.flatnonzero(np.diff(filled) > 5)
    stop = int(filled[breaks[0]]) if len(breaks) else int(filled[-1])
    height = stop - gap + 1
    if (
        gap > max(4, 0.25 * height)
        or height < 5
        or thick > 0.25 * height
        or ink[gap : stop + 1, lo : hi + 1].mean() > 0.6
    ):
        return False
    columns = np.flatnonzero(ink[gap : stop + 1].any(axis=0))
    near = 2 + 0.12 * height
    return bool(abs(columns[0] - lo) <= near and abs(columns[-1] - hi) <= near)

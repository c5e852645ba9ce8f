"""Excursions: stretches in which a channel is out of its tolerance."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

MOST_KEPT = 1000
_LEAST_SHARE = 0.5


@dataclass(frozen=True)
class Excursion:
    """A stretch out of tolerance.

    Attributes
    ----------
    start_us, end_us : int
        First reading outside, and first reading back inside (or last reading before a gap or the end).
    side : {"above", "below"}
        Of the reading farthest outside.
    worst : float
        That reading.
    beyond : float
        Its distance from the limit, above 0.
    outside_us : int
        Time outside in it: less than its length where readings came back in for a moment.
    size_us : float
        Distance beyond the limit summed over time, unit of the channel × µs.
    """

    start_us: int
    end_us: int
    side: str
    worst: float
    beyond: float
    outside_us: int
    size_us: float

    @property
    def length_us(self) -> int:
        """From start to end."""
        return self.end_us - self.start_us


class ExcursionFinder:
    """Finds excursions in consecutive pages.

    Parameters
    ----------
    low, high : float
        Limits; a reading on a limit is inside.
    merge_us : int
        Stretches outside that are apart by no more than this are one, as long as it stays outside for half of
        its length: noise that now and then passes a limit is no long excursion.

    Attributes
    ----------
    count : int
        Excursions in all.
    longest_us : int
    """

    def __init__(self, low: float, high: float, merge_us: int) -> None:
        self.low, self.high, self.merge_us = low, high, merge_us
        self.count = 0
        self.longest_us = 0
        self._open: Excursion | None = None
        self._kept: list[Excursion] = []

    def take(self, time_us: np.ndarray, held_us: np.ndarray, row: np.ndarray) -> None:
        """Take readings.

        Parameters
        ----------
        time_us : ndarray of shape (n + 1,), int64
            Times of n readings and of the one after them.
        held_us : ndarray of shape (n,), int64
            Time for which each of the n stands; -1 before a gap.
        row : ndarray of shape (n,)
            Not-a-number where there is no reading.
        """
        beyond = np.maximum(row - self.high, self.low - row)
        outside = beyond > 0
        if not outside.any():
            self._close_if_past(int(time_us[0]))
            return
        # A gap ends a stretch: the reading before it is the last of its run.
        is_cut = np.concatenate([[False], held_us[:-1] < 0])
        previous = np.concatenate([[False], outside[:-1]])
        starts = np.flatnonzero(outside & (~previous | is_cut))
        following = np.concatenate([outside[1:] & ~is_cut[1:], [False]])
        lasts = np.flatnonzero(outside & ~following)
        ends_us = np.where(held_us[lasts] < 0, time_us[lasts], time_us[lasts + 1])
        held = np.where(held_us > 0, held_us, 0)
        bounds = np.column_stack([starts, lasts + 1]).ravel()
        bounds = bounds[:-1] if bounds[-1] == len(row) else bounds
        times = np.add.reduceat(held, bounds)[::2]
        # Sums restart at every run, so that they do not depend on what stood before it.
        sizes = np.add.reduceat(np.where(outside, beyond, 0.0) * held, bounds)[::2]
        highs = np.maximum.reduceat(row, bounds)[::2]
        lows = np.minimum.reduceat(row, bounds)[::2]
        is_above = highs - self.high >= self.low - lows
        found = zip(
            time_us[starts].tolist(),
            ends_us.tolist(),
            is_above.tolist(),
            np.where(is_above, highs, lows).tolist(),
            np.maximum(highs - self.high, self.low - lows).tolist(),
            times.tolist(),
            sizes.tolist(),
            strict=True,
        )
        for each in found:
            self._add(*each)

    def finish(self) -> tuple[Excursion, ...]:
        """The longest `MOST_KEPT` excursions, in the order of time."""
        self._close()
        self._trim()
        return tuple(sorted(self._kept, key=lambda one: one.start_us))

    def _add(
        self, start: int, end: int, is_above: bool, worst: float, beyond: float, outside: int, size: float
    ) -> None:
        last = self._open
        if (
            last is None
            or start - last.end_us > self.merge_us
            or last.outside_us + outside < _LEAST_SHARE * (end - last.start_us)
        ):
            self._close()
            self._open = Excursion(start, end, "above" if is_above else "below", worst, beyond, outside, size)
            return
        is_farther = beyond > last.beyond
        self._open = Excursion(
            last.start_us,
            end,
            ("above" if is_above else "below") if is_farther else last.side,
            worst if is_farther else last.worst,
            beyond if is_farther else last.beyond,
            last.outside_us + outside,
            last.size_us + size,
        )

    def _close_if_past(self, time_us: int) -> None:
        if self._open is not None and time_us - self._open.end_us > self.merge_us:
            self._close()

    def _close(self) -> None:
        if self._open is None:
            return
        self.count += 1
        self.longest_us = max(self.longest_us, self._open.length_us)
        self._kept.append(self._open)
        self._open = None
        if len(self._kept) > 4 * MOST_KEPT:
            self._trim()

    def _trim(self) -> None:
        self._kept = sorted(self._kept, key=lambda one: (-one.length_us, one.start_us))[:MOST_KEPT]

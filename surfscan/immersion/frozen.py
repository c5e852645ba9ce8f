"""Frozen sensors: readings that stay the same to the digit for longer than their own noise explains."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

_CHANCE = 1e-3
"""Chance that any run of a sound sensor's log is taken as frozen (common practice, no source)."""

_LEAST_CHANGE = 1.5
"""Mean change, in units of the last digit, from which noise shows (common practice, no source)."""


@dataclass(frozen=True)
class FrozenRun:
    """Readings that stayed the same.

    Attributes
    ----------
    start_us, end_us : int
        First of them, and the reading that differs or the last before a gap or the end.
    value : float
    readings : int
    start_mark, end_mark : int
        What `RunFinder.take` was handed as mark at these two.
    """

    start_us: int
    end_us: int
    value: float
    readings: int
    start_mark: int
    end_mark: int


@dataclass(frozen=True)
class FrozenRuns:
    """What was found of one channel.

    Attributes
    ----------
    frozen, doubtful : tuple of FrozenRun
        In the order of time; one of the two is empty.
    is_constant : bool
        One value from start to end: whether the sensor is frozen cannot be told.
    """

    frozen: tuple[FrozenRun, ...]
    doubtful: tuple[FrozenRun, ...]
    is_constant: bool


class RunFinder:
    """Finds runs of equal readings in consecutive pages.

    Parameters
    ----------
    least_us : int
        Runs shorter than this are counted only.
    """

    def __init__(self, least_us: int) -> None:
        self.least_us = least_us
        self.long: list[FrozenRun] = []
        self._runs = 0
        self._readings = 0
        self._squares = 0
        self._changes = 0
        self._moved = 0.0
        self._step = math.inf
        self._end = (0, 0)
        self._open: tuple[int, int, float, int] | None = None  # time, mark, value, readings

    def take(
        self,
        time_us: np.ndarray,
        held_us: np.ndarray,
        row: np.ndarray,
        steps: np.ndarray,
        mark: np.ndarray,
    ) -> None:
        """Take readings.

        Parameters
        ----------
        time_us : ndarray of shape (n,), int64
        held_us : ndarray of shape (n,), int64
            Time since the reading before; -1 across a gap.
        row : ndarray of shape (n,)
            Not-a-number ends a run.
        steps : ndarray of shape (n,)
            Change since the reading before, not-a-number where either is.
        mark : ndarray of shape (n,), int64
            A running total that runs remember at their ends.
        """
        is_gap = held_us < 0
        has_gap = bool(is_gap.any())
        is_break = steps != 0
        breaks = np.flatnonzero(is_break | is_gap if has_gap else is_break)
        end = (int(time_us[-1]), int(mark[-1]))
        if len(breaks) == 0:
            assert self._open is not None
            start, at, value, count = self._open
            self._open, self._end = (start, at, value, count + len(row)), end
            return
        sizes = np.abs(steps[breaks])
        self._note_changes(sizes[~is_gap[breaks]] if has_gap else sizes)
        first = int(breaks[0])
        if self._open is not None:
            start, at, value, count = self._open
            self._close(start, at, value, count + first, self._end_at(first, time_us, held_us, mark))
        starts, lengths, spans = breaks[:-1], np.diff(breaks), np.diff(time_us[breaks])
        known = ~np.isnan(row[breaks])
        if not known.all():
            starts, lengths, spans = starts[known[:-1]], lengths[known[:-1]], spans[known[:-1]]
        self._runs += len(lengths)
        self._readings += int(lengths.sum())
        self._squares += int(np.dot(lengths, lengths))
        for k in np.flatnonzero(spans >= self.least_us).tolist():
            a, n = int(starts[k]), int(lengths[k])
            self._runs -= 1
            self._readings -= n
            self._squares -= n * n
            stop = self._end_at(a + n, time_us, held_us, mark)
            self._close(int(time_us[a]), int(mark[a]), float(row[a]), n, stop)
        a = int(breaks[-1])
        self._open = (int(time_us[a]), int(mark[a]), float(row[a]), len(row) - a) if known[-1] else None
        self._end = end

    def _note_changes(self, sizes: np.ndarray) -> None:
        """Remember the least change, which is the last digit, and how large changes are."""
        total = float(sizes.sum())
        if np.isnan(total):
            sizes = sizes[~np.isnan(sizes)]
            total = float(sizes.sum())
        if len(sizes):
            self._changes += len(sizes)
            self._moved += total
            self._step = min(self._step, float(sizes.min()))

    def _end_at(
        self, row: int, time_us: np.ndarray, held_us: np.ndarray, mark: np.ndarray
    ) -> tuple[int, int]:
        """Time and mark of the end of a run that the reading at `row` ends."""
        if held_us[row] >= 0:
            return int(time_us[row]), int(mark[row])
        return (int(time_us[row - 1]), int(mark[row - 1])) if row else self._end

    def _close(self, start: int, at: int, value: float, count: int, end: tuple[int, int]) -> None:
        if end[0] - start >= self.least_us:
            self.long.append(FrozenRun(start, end[0], value, count, at, end[1]))
        else:
            self._runs += 1
            self._readings += count
            self._squares += count * count

    def finish(self) -> FrozenRuns:
        """Runs that noise does not explain.

        A run is judged by the shorter ones: a reading of a sensor that changes by chance lies, on average
        over readings, in a run of L = Σ n² / Σ n, and a run of n then has a chance near exp(-2 n / L). A run
        stands out where that times the number of runs is below 0.001; all longer ones do then too. Where
        readings change by hardly more than their last digit, noise is hidden below it and a steady bath
        reads the same: such runs are doubtful, not frozen.

        Returns
        -------
        FrozenRuns
        """
        if self._open is not None:
            self._close(*self._open, self._end)
            self._open = None
        long = sorted(self.long, key=lambda run: (run.readings, run.start_us))
        if self._runs == 0 and len({run.value for run in long}) <= 1:
            return FrozenRuns((), (), bool(long))
        runs, readings, squares = self._runs, self._readings, self._squares
        for k, run in enumerate(long):
            if runs:
                typical = squares / readings
                if run.readings > 0.5 * typical * math.log((runs + len(long)) / _CHANCE):
                    found = tuple(sorted(long[k:], key=lambda one: one.start_us))
                    is_seen = self._moved > _LEAST_CHANGE * self._step * self._changes
                    return FrozenRuns(found, (), False) if is_seen else FrozenRuns((), found, False)
            runs += 1
            readings += run.readings
            squares += run.readings**2
        return FrozenRuns((), (), False)

"""The clock of a rig log: daylight-saving time mended, steps back refused or mended, gaps found."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from surfscan.errors import InputError
from surfscan.immersion.exposure_settings import ExposureSettings
from surfscan.immersion.log_blocks import TimeForm
from surfscan.immersion.log_times import DAY_US, HOUR_US

_LONGEST_DST_INTERVAL_US = HOUR_US // 2
_CHANGE_MONTHS = (3, 4, 9, 10, 11)
_CHANGE_UNTIL_US = 4 * HOUR_US
_ENOUGH = 100  # intervals from which a page has a median of its own
_MOST_LISTED = 1000


@dataclass(frozen=True)
class ClockStep:
    """A jump of the clock, or a stretch without readings.

    Attributes
    ----------
    kind : {"daylight saving", "doubtful hour", "backwards", "midnight", "gap"}
    line : int
        Of the reading after it.
    before_us, after_us : int
        Mended times of the readings on either side.
    jump_s : float
        What the stamps stepped by, s.
    """

    kind: str
    line: int
    before_us: int
    after_us: int
    jump_s: float


@dataclass
class LogClock:
    """Mends the times of consecutive pages.

    A step of one hour, forwards or back, beside the usual interval, with steady sampling on both sides, is a
    change of daylight-saving time, where stamps have neither zone nor are counted, and clocks change at all:
    between 00:00 and 04:00 in March, April and September to November (settings may say otherwise). Where one
    hour more is as many usual intervals of more than half an hour, a reading may as well be missing: nothing
    is mended, and it counts as a doubtful hour. The usual interval is the stated one, or the median of the
    page (of the page before, where a page has few readings).

    Attributes
    ----------
    path : Path
    form : TimeForm
    settings : ExposureSettings
    steps : list of ClockStep
        The first 1000, midnights of a bare time of day left out.
    counts : dict of str to int
        Kind -> steps in all.
    gap_us : int
        Time in gaps.
    interval_us : float
        Usual interval of the last page.
    repeats : int
        Readings whose stamp is that of the one before.
    """

    path: Path
    form: TimeForm
    settings: ExposureSettings
    steps: list[ClockStep] = field(default_factory=list)
    counts: dict[str, int] = field(default_factory=dict)
    gap_us: int = 0
    interval_us: float = 0.0
    repeats: int = 0
    _offset: int = 0
    _raw: int | None = None
    _mended: int = 0
    _shifts: list[tuple[int, int]] = field(default_factory=list)

    def mend(self, raw_us: np.ndarray, line: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Mended times of a page, and the time for which each reading before one of them stood.

        Parameters
        ----------
        raw_us : ndarray of shape (n,), int64
        line : ndarray of shape (n,), int64

        Returns
        -------
        time_us : ndarray of shape (n,), int64
            Never falling.
        held_us : ndarray of shape (n,), int64
            Time since the reading before; -1 across a gap, 0 for the very first reading.

        Raises
        ------
        InputError
            If the clock goes back and the settings say to refuse that.
        """
        before = raw_us[0] if self._raw is None else self._raw
        is_first = self._raw is None
        jumps = np.diff(raw_us, prepend=before)
        self.interval_us = self._usual(jumps[1:] if is_first else jumps)
        usual = self.interval_us
        limit = self.settings.gap_intervals * usual if usual else np.inf
        near_hour = np.abs(np.abs(jumps - usual) - HOUR_US) <= self._slack()
        odd = np.flatnonzero((jumps < 0) | (jumps > limit) | near_hour)
        shifts: list[tuple[int, int]] = []
        gaps: list[int] = []
        unplaced: list[tuple[int, int]] = []
        for i in odd.tolist():
            jump = int(jumps[i])
            kind = self._kind(i, raw_us, jumps, usual, float(limit), is_first)
            if not kind:
                continue
            shift = 0
            if kind == "midnight":
                shift = DAY_US
            elif kind == "daylight saving":
                shift = -HOUR_US if jump > usual else HOUR_US
            elif kind == "backwards":
                if self.settings.clock_backwards == "refuse":
                    self._refuse(int(line[i]), jump)
                shift = round(usual) - jump
            elif kind == "gap":
                gaps.append(i)
            if shift:
                shifts.append((i, shift))
            self.counts[kind] = self.counts.get(kind, 0) + 1
            if kind != "midnight" and len(self.steps) < _MOST_LISTED:
                unplaced.append((i, len(self.steps)))
                self.steps.append(ClockStep(kind, int(line[i]), 0, 0, jump / 1e6))
        held = jumps.copy()
        times = raw_us + self._offset
        for i, shift in shifts:
            times[i:] += shift
            held[i] += shift
            self._offset += shift
            if len(self._shifts) < _MOST_LISTED:
                self._shifts.append((int(times[i]), self._offset))
        self.gap_us += int(held[gaps].sum())
        for i, k in unplaced:
            before_us = int(times[i - 1]) if i else self._mended
            self.steps[k] = replace(self.steps[k], before_us=before_us, after_us=int(times[i]))
        held[gaps] = -1
        self.repeats += int(np.count_nonzero(held == 0)) - is_first
        self._raw, self._mended = int(raw_us[-1]), int(times[-1])
        return times, held

    def mended(self, stamp_us: int, *, first: bool) -> int:
        """Mended time of a stamp as the log writes it, by the steps found so far.

        Of an hour that the clock went through twice, `first` tells which.
        """
        since_us, offset = None, 0
        for next_us, next_offset in self._shifts:
            is_before = stamp_us + offset < next_us if first else stamp_us + next_offset < next_us
            if is_before:
                break
            since_us, offset = next_us, next_offset
        return stamp_us + offset if since_us is None else max(stamp_us + offset, since_us)

    def stamp(self, mended_us: int) -> int:
        """Stamp that the log writes at a mended time."""
        return mended_us - next((each for since, each in reversed(self._shifts) if since <= mended_us), 0)

    def _usual(self, jumps: np.ndarray) -> float:
        if self.settings.sampling_interval_s is not None:
            return 1e6 * self.settings.sampling_interval_s
        forward = jumps[jumps > 0]
        if len(forward) == 0 or (len(forward) < _ENOUGH and self.interval_us):
            return self.interval_us
        return float(np.median(forward))

    def _slack(self) -> float:
        """How far a step may be from one hour and the usual interval, µs."""
        return min(max(0.5 * self.interval_us, 1e6), 60e6)

    def _kind(
        self, i: int, raw_us: np.ndarray, jumps: np.ndarray, usual: float, limit: float, is_first: bool
    ) -> str:
        """What a jump is; empty where nothing."""
        jump = int(jumps[i])
        if self.form.kind == "clock" and jump < -DAY_US // 2:
            return "midnight"
        is_hour = usual > 0 and abs(abs(jump - usual) - HOUR_US) <= self._slack()
        is_change = is_hour and self._may_change(int(raw_us[i]), jump, usual)
        if is_change and self._is_steady(i, jumps, usual, is_first):
            is_many = jump > 0 and abs(jump - usual * round(jump / usual)) <= self._slack()
            is_open = usual > _LONGEST_DST_INTERVAL_US and is_many and self.settings.clock_changes != "any"
            return "doubtful hour" if is_open else "daylight saving"
        if jump < 0:
            return "backwards"
        return "gap" if jump > limit else ""

    def _may_change(self, after_us: int, jump: int, usual: float) -> bool:
        """Whether the clock may be put by one hour between a reading and the one before."""
        is_local = self.form.kind in ("stamp", "clock") and not self.form.has_zone
        if not is_local or self.settings.clock_changes == "none":
            return False
        if self.settings.clock_changes == "any":
            return True
        before_us = after_us - jump
        first, last = min(before_us, after_us), max(before_us + round(usual), after_us)
        midnight = last - last % DAY_US
        is_night = first <= midnight + _CHANGE_UNTIL_US
        if self.form.kind == "clock":
            return is_night
        month = int(np.datetime64(midnight, "us").astype("datetime64[M]").astype(np.int64)) % 12 + 1
        return is_night and month in _CHANGE_MONTHS

    def _is_steady(self, i: int, jumps: np.ndarray, usual: float, is_first: bool) -> bool:
        """Whether the intervals beside a jump are usual ones."""
        beside = [k for k in (i - 2, i - 1, i + 1, i + 2) if int(is_first) <= k < len(jumps)]
        spread = max(0.5 * usual, 1e6) if usual <= _LONGEST_DST_INTERVAL_US else self._slack()
        return bool(beside) and all(abs(float(jumps[k]) - usual) <= spread for k in beside)

    def _refuse(self, line: int, jump: int) -> None:
        raise InputError(
            f"{self.path}:{line}",
            f"the clock goes back by {duration_text(-jump)}",
            "Sort or correct the log, or set clock_backwards = 'resync', which lets that reading follow the "
            "one before it by one usual interval",
        )


def duration_text(us: int) -> str:
    """A stretch of time in words.

    Examples
    --------
    >>> duration_text(90_000_000), duration_text(5_400_000_000)
    ('1.5 min', '1.5 h')
    """
    seconds = us / 1e6
    if seconds < 60:
        return f"{seconds:.3g} s"
    return f"{seconds / 60:.3g} min" if seconds < 3600 else f"{seconds / 3600:.4g} h"

"""Acid of a rig log: volume dosed up to each reading, whether logged as doses or as a total."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

_RESET_SHARE = 0.5
"""A total that falls below this share of what it was was set back (common practice, no source)."""

GLITCH_READINGS = 5
GLITCH_US = 600_000_000
"""A total back near its old level within five readings, or within ten minutes, was misread in between
(common practice, no source)."""

_ENOUGH_AFTER = 3  # readings that go on from a new level, at the end of the log
_LONE_FACTOR = 10.0  # a rise that outruns all others by more may be no dose
_PUMP_LEAST_US = 60e6  # a total may be written late: a pump has a minute at least
_NOISES = 8.0  # falls of a total that is read with noise stay below so many of their usual size


class AcidKind(NamedTuple):
    """What an acid column holds.

    Attributes
    ----------
    kind : {"cumulative", "events", ""}
        Empty where it cannot be told.
    why : str
        What told, or why nothing did.
    """

    kind: str
    why: str


class LateTotals(NamedTuple):
    """Totals of earlier rows that what followed decided.

    Attributes
    ----------
    time_us : ndarray of shape (n,), int64
    totals : ndarray of shape (n,)
    """

    time_us: np.ndarray
    totals: np.ndarray


class AcidTotals:
    """Adds up the acid of consecutive pages, as a total read off and as doses; which it is shows at the end.

    A total that leaves its level and is back near it after a few readings was misread in between: these
    readings are left out. One that falls and goes on from there was set back. Rows at the end of a page that
    may be either wait for what follows.

    Parameters
    ----------
    pump_per_us : float, optional
        The most that the pump gives in a microsecond: a total that rises faster was misread, and goes on from
        where it was.

    Attributes
    ----------
    resets : int
        Times that a total was set back.
    glitches, misread : int
        Times that it was misread, and readings left out for it.
    jumps : int
        Rises faster than the pump, not counted.
    jumped : float
        What they come to.
    """

    def __init__(self, pump_per_us: float | None = None) -> None:
        self.resets = self.glitches = self.misread = self.jumps = 0
        self.jumped = 0.0
        self._pump = pump_per_us
        self._readings = self._empty = self._zeros = self._rises = self._falls = 0
        self._last: tuple[int, float] | None = None
        self._offset = 0.0
        self._doses = 0.0
        self._dose: float | None = None
        self._is_one_dose = True
        self._waiting = (np.zeros(0, np.int64), np.zeros(0))
        self._fastest: list[tuple[float, float]] = []

    def take(self, time_us: np.ndarray, row: np.ndarray) -> tuple[np.ndarray, LateTotals]:
        """Take readings.

        Parameters
        ----------
        time_us : ndarray of shape (n,), int64
            Never falling.
        row : ndarray of shape (n,)
            Not-a-number where there is none.

        Returns
        -------
        acid : ndarray of shape (2, n)
            Acid so far: as a total, set-backs bridged (not-a-number where there is no reading, where it was
            misread, and where it waits for what follows), and as doses.
        late : LateTotals
            Of rows of earlier pages that have waited.
        """
        known = ~np.isnan(row)
        values = row if known.all() else row[known]
        self._empty += len(row) - len(values)
        self._readings += len(values)
        self._zeros += int(np.count_nonzero(values == 0))
        self._see_doses(values)
        doses = self._doses + np.cumsum(np.where(known, row, 0.0))
        self._doses = float(doses[-1]) if len(row) else self._doses
        late_us, waited = self._waiting
        if len(late_us):
            time_us, row = np.concatenate([late_us, time_us]), np.concatenate([waited, row])
        totals, decided = self._totals(time_us, row, is_end=False)
        self._waiting = (time_us[decided:].copy(), row[decided:].copy())
        old = len(late_us)
        return np.stack([totals[old:], doses]), LateTotals(late_us[:decided], totals[: min(old, decided)])

    def finish(self) -> LateTotals:
        """Totals of the rows that still waited at the end of the log."""
        time_us, row = self._waiting
        totals, _ = self._totals(time_us, row, is_end=True)
        self._waiting = (np.zeros(0, np.int64), np.zeros(0))
        return LateTotals(time_us, totals)

    def _totals(self, time_us: np.ndarray, row: np.ndarray, *, is_end: bool) -> tuple[np.ndarray, int]:
        """Totals of rows, not-a-number from the first one on that has to wait; and that row."""
        totals = np.full(len(row), np.nan)
        at = np.flatnonzero(~np.isnan(row))
        if len(at) == 0:
            return totals, len(row)
        values, times = row[at], time_us[at]
        good, decided = self._good(times, values, is_end)
        if good is not None:
            kept = np.flatnonzero(good[:decided])
            at, values, times = at[kept], values[kept], times[kept]
        if len(values):
            totals[at] = self._add(times, values)
        if good is None or decided == len(good):
            return totals, len(row)
        return totals, int(np.flatnonzero(~np.isnan(row))[decided])

    def _add(self, times: np.ndarray, values: np.ndarray) -> np.ndarray:
        """Totals of readings that count."""
        before = np.empty_like(values)
        before[0] = np.nan if self._last is None else self._last[1]
        before[1:] = values[:-1]
        steps = values - before
        fallen = np.flatnonzero(steps < 0)
        self._rises += int(np.count_nonzero(steps > 0))
        self._falls += len(fallen)
        totals = values + self._offset if self._offset else values.copy()
        if len(fallen):
            reset = fallen[_is_set_back(values[fallen], before[fallen], self._noise(steps))]
            for i in reset.tolist():
                totals[i:] += before[i]
                self._offset += float(before[i])
            self.resets += len(reset)
        self._see_rises(times, steps, totals)
        self._last = (int(times[-1]), float(values[-1]))
        return totals

    def _see_rises(self, times: np.ndarray, steps: np.ndarray, totals: np.ndarray) -> None:
        """Take off rises that the pump cannot give; note the two fastest of the others."""
        passed = np.empty(len(times))
        passed[0] = np.nan if self._last is None else times[0] - self._last[0]
        passed[1:] = np.diff(times)
        passed = np.maximum(passed, 1e6)
        if self._pump is not None:
            for i in np.flatnonzero(steps > self._pump * np.maximum(passed, _PUMP_LEAST_US)).tolist():
                totals[i:] -= steps[i]
                self._offset -= float(steps[i])
                self.jumps += 1
                self.jumped += float(steps[i])
                steps[i] = 0.0
        speed = steps / passed
        speed = np.where(np.isnan(speed), -1.0, speed)
        for i in np.argpartition(speed, -2)[-2:].tolist() if len(speed) > 1 else [0]:
            if speed[i] > 0:
                self._fastest.append((float(speed[i]), float(steps[i])))
        self._fastest = sorted(self._fastest)[-2:]

    @property
    def lone_rise(self) -> float:
        """Largest rise between two readings, where it outran every other by ten times; else 0."""
        if self._rises <= _LONE_FACTOR or len(self._fastest) < 2:
            return 0.0
        (second, _), (first, step) = self._fastest
        return step if first > _LONE_FACTOR * second else 0.0

    def _noise(self, steps: np.ndarray) -> float:
        """Size of the falls of a total that goes up and down as it is read; 0 of one that only rises."""
        falls = steps[steps < 0]
        if len(falls) < 5 or 20 * len(falls) <= np.count_nonzero(steps > 0):
            return 0.0
        return float(np.median(-falls))

    def _good(self, times: np.ndarray, values: np.ndarray, is_end: bool) -> tuple[np.ndarray | None, int]:
        """Which readings were not misread (None: all), and how many of the first are decided."""
        before = np.empty_like(values)
        before[0] = np.nan if self._last is None else self._last[1]
        before[1:] = values[:-1]
        with np.errstate(invalid="ignore"):
            is_odd = (values < _RESET_SHARE * before) | (before < _RESET_SHARE * values)
        odd = np.flatnonzero(is_odd)
        if len(odd) == 0:
            return None, len(values)
        steps = values - before
        noise = self._noise(steps)
        odd = odd[np.abs(steps[odd]) > _NOISES * noise]
        if len(odd) == 0:
            return None, len(values)
        usual = float(np.max(steps, initial=0.0, where=~is_odd & ~np.isnan(steps)))
        good = np.ones(len(values), bool)
        until = 0
        for i in odd.tolist():
            if i <= until and until:
                continue
            back, is_whole = self._back(times, values, i, float(before[i]), usual + _NOISES * noise)
            if back:
                good[i:back] = False
                until = back
                self.glitches += 1
                self.misread += back - i
            elif not is_whole and not is_end:
                return good, i
            elif not is_whole and self._is_doubtful(steps, i):
                good[i:] = False
                self.glitches += 1
                self.misread += len(values) - i
                break
        return good, len(values)

    def _back(
        self, times: np.ndarray, values: np.ndarray, i: int, level: float, slack: float
    ) -> tuple[int, bool]:
        """Reading at which a total that left its level is back (0: none), and whether all were there to tell.

        It has to come back as it went, in one step, or from the other side: a total that grows to its old
        level was set back.
        """
        reach = max(i + GLITCH_READINGS, int(np.searchsorted(times, times[i] + GLITCH_US, side="right")))
        away = values[i : reach + 1]
        apart = (away - level) * np.sign(away[0] - level)
        left = float(apart[0])
        near = np.abs(apart) <= min(0.2 * left, 0.1 * abs(level) + GLITCH_READINGS * slack)
        steps = -np.diff(apart)
        in_one = (steps >= 0.5 * left) & (steps <= 2 * left)
        beyond = apart[:-1] <= -0.5 * min(left, abs(level) or left)
        both_sides = beyond & (np.arange(1, len(away)) <= GLITCH_READINGS)
        found = np.flatnonzero(near[1:] & (in_one | both_sides))
        return (i + 1 + int(found[0]) if len(found) else 0), reach < len(values)

    def _is_doubtful(self, steps: np.ndarray, i: int) -> bool:
        """Whether a step near to the end is a fall that hardly goes on, or a rise that outruns all others."""
        if steps[i] < 0:
            return len(steps) - i < _ENOUGH_AFTER
        if len(steps) - i > GLITCH_READINGS:
            return False
        others = np.max(steps[:i], initial=0.0, where=~np.isnan(steps[:i]))
        others = max(float(others), max((step for _, step in self._fastest), default=0.0))
        return self._rises > _LONE_FACTOR and steps[i] > _LONE_FACTOR * others

    def _see_doses(self, values: np.ndarray) -> None:
        filled = values[values != 0]
        if len(filled):
            if self._dose is None:
                self._dose = float(filled[0])
            self._is_one_dose &= bool((filled == self._dose).all())

    def kind(self) -> AcidKind:
        """Whether the column holds a total or doses, told by all its readings."""
        blank = self._zeros + self._empty
        rows = self._readings + self._empty
        if not self._readings:
            return AcidKind("", "it holds no readings")
        if self._zeros == self._readings:
            return AcidKind("cumulative", "it is 0 throughout")
        if self._is_one_dose and self._readings > 1 and 2 * self._empty > rows and not self._zeros:
            return AcidKind("events", "one and the same volume stands in some rows, and nothing in most")
        falls = self._falls + self.glitches
        if falls and 2 * blank > rows and 2 * falls >= self._rises + self.glitches:
            return AcidKind("events", "most rows hold nothing, and readings fall back to it")
        if self._falls == 0:
            return AcidKind(
                "cumulative", "it never falls" + (" but where it was misread" * (self.glitches > 0))
            )
        if 20 * self._falls <= self._rises and self._falls == self.resets:
            return AcidKind("cumulative", "it rises but for being set back now and then")
        return AcidKind("", "it rises and falls like neither a total nor doses")


def _is_set_back(values: np.ndarray, before: np.ndarray, noise: float) -> np.ndarray:
    """Whether totals that fell were set back."""
    is_reset: np.ndarray = (values < _RESET_SHARE * before) & (before - values > _NOISES * noise)
    return is_reset

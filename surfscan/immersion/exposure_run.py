"""A rig log gone through once: pages in, running totals of every channel out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from surfscan.immersion.acid_log import AcidTotals, LateTotals
from surfscan.immersion.excursions import ExcursionFinder
from surfscan.immersion.exposure_settings import ExposureSettings
from surfscan.immersion.frozen import RunFinder
from surfscan.immersion.log_channels import Channel
from surfscan.immersion.log_times import HOUR_US
from surfscan.immersion.log_trace import LogTrace


@dataclass
class ChannelTotals:
    """Running totals of one channel.

    Attributes
    ----------
    missing : int
        Rows without a usable reading.
    known_us, inside_us : int
        Time for which a reading stood, and for which it stood within the band.
    band : (float, float) or None
        Set point and tolerance.
    finder : ExcursionFinder or None
    runs : RunFinder or None
    last : (int, float) or None
        Time and value of the last reading.
    is_gap_open : bool
        Whether the log had a gap since.
    usual_us : float
        Usual interval between readings of the channel, where some rows have none.
    """

    band: tuple[float, float] | None
    finder: ExcursionFinder | None
    runs: RunFinder | None
    missing: int = 0
    readings: int = 0
    known_us: int = 0
    inside_us: int = 0
    last: tuple[int, float] | None = None
    is_gap_open: bool = False
    usual_us: float = 0.0
    shift: float | None = None
    sum_shifted: float = 0.0
    square_shifted: float = 0.0
    changes: int = 0
    square_changes: float = 0.0

    def standing(self, time_us: np.ndarray, row: np.ndarray, interval_us: float, factor: float) -> np.ndarray:
        """The reading that stands at each row: the last one, for no longer than `factor` usual intervals.

        Channels that are logged less often than others are empty in most rows.
        """
        known = ~np.isnan(row)
        if known.all():
            return row
        apart = np.diff(time_us[known])
        self.usual_us = float(np.median(apart)) if len(apart) > _FEW else self.usual_us
        at = np.maximum.accumulate(np.where(known, np.arange(len(row)), -1))
        since, values = time_us[at], row[at]
        if not known[0]:
            before = at < 0
            since[before], values[before] = self.last or (time_us[0], np.nan)
        limit = factor * max(self.usual_us, interval_us)
        return np.where(time_us - since <= limit, values, np.nan)

    def is_in_every_row(self, interval_us: float) -> bool:
        """Whether the channel is logged in every row, so that an empty one is a reading that failed."""
        return 0 < self.usual_us < _EVERY_ROW * interval_us

    def add_values(self, time_us: np.ndarray, held_us: np.ndarray, row: np.ndarray, mark: np.ndarray) -> None:
        """Take rows for mean, spread, noise and runs of equal readings."""
        known = ~np.isnan(row)
        count = int(np.count_nonzero(known))
        self.missing += len(row) - count
        self.readings += count
        if count == 0:
            self.is_gap_open |= bool((held_us < 0).any())
            return
        if count < len(row):
            gaps = np.cumsum(held_us < 0)
            still_open = bool(gaps[-1] > gaps[known][-1])
            time_us, row, mark, gaps = time_us[known], row[known], mark[known], gaps[known]
            held_us = np.where(np.diff(gaps, prepend=-1 if self.is_gap_open else 0) > 0, -1, 1)
            self.is_gap_open = still_open
        elif self.is_gap_open:
            held_us = np.concatenate([[-1], held_us[1:]])
            self.is_gap_open = False
        if self.shift is None:
            self.shift = float(row[0])
        shifted = row - self.shift
        self.sum_shifted += float(shifted.sum())
        self.square_shifted += float(np.square(shifted, out=shifted).sum())
        steps = np.empty(count)
        steps[0] = row[0] - (np.nan if self.last is None else self.last[1])
        np.subtract(row[1:], row[:-1], out=steps[1:])
        changes = steps if self.last is not None else steps[1:]
        self.changes += len(changes)
        self.square_changes += float(np.square(changes).sum())
        if self.runs is not None:
            self.runs.take(time_us, held_us, row, steps, mark)
        self.last = (int(time_us[-1]), float(row[-1]))

    @property
    def mean(self) -> float:
        """Mean of all readings; not-a-number without any."""
        return self.shift + self.sum_shifted / self.readings if self.shift is not None else np.nan

    @property
    def sd(self) -> float:
        """Standard deviation of all readings (n - 1); not-a-number below two."""
        if self.readings < 2:
            return np.nan
        square = self.square_shifted - self.sum_shifted**2 / self.readings
        return float(np.sqrt(max(square, 0.0) / (self.readings - 1)))

    @property
    def noise(self) -> float:
        """Root mean square of the changes from reading to reading, over the root of two."""
        return float(np.sqrt(0.5 * self.square_changes / self.changes)) if self.changes else np.nan


_FEW = 3  # intervals up to which their median says nothing
_EVERY_ROW = 1.5  # usual intervals of the log, up to which a channel is logged in every row


def _limits(point: float, tolerance: float) -> tuple[float, float]:
    """Least and greatest reading in range; 7.4 is in range of 7.3 ± 0.1, whatever binary fractions say."""
    slack = 1e-9 * (abs(point) + tolerance)
    return point - tolerance - slack, point + tolerance + slack


@dataclass
class ExposureRun:
    """Goes through the mended pages of a log.

    Parameters
    ----------
    channels : sequence of Channel
    settings : ExposureSettings
    start_us, stop_us : int or None
        Readings before and after are left out.

    Attributes
    ----------
    totals : list of ChannelTotals
    joint_us : int
        Time for which all judged channels were within their bands.
    gap_us, gaps : int
    duplicates, rows : int
    first_us, last_us : int or None
    trace : LogTrace or None
        Channels in their order, then pressure drop and flow where both are known, then acid as total and as
        doses.
    """

    channels: Sequence[Channel]
    settings: ExposureSettings
    start_us: int | None = None
    stop_us: int | None = None
    totals: list[ChannelTotals] = field(default_factory=list)
    joint_us: int = 0
    gap_us: int = 0
    gaps: list[tuple[int, int]] = field(default_factory=list)
    gap_count: int = 0
    duplicates: int = 0
    rows: int = 0
    first_us: int | None = None
    last_us: int | None = None
    trace: LogTrace | None = None
    acid: AcidTotals = field(default_factory=AcidTotals)

    def __post_init__(self) -> None:
        merge = round(1e6 * self.settings.excursion_merge_s)
        self._index = {channel.name: k for k, channel in enumerate(self.channels)}
        for channel in self.channels:
            band = self.settings.band(channel.name)
            finder = None if band is None else ExcursionFinder(*_limits(*band), merge)
            runs = None if channel.name == "acid" else RunFinder(round(HOUR_US * self.settings.frozen_h))
            self.totals.append(ChannelTotals(band, finder, runs))
            if channel.name == "acid":
                self.acid = AcidTotals(self._pump_per_us(channel))
        self._carry: tuple[int, np.ndarray] | None = None

    def _pump_per_us(self, channel: Channel) -> float | None:
        """What the pump gives at most in a microsecond, in the unit of the acid column."""
        rate, pulse = self.settings.acid_pump_mL_per_min, self.settings.acid_mL_per_pulse
        is_counted = channel.unit.quantity == "count" or self.settings.acid_is == "counter"
        if rate is None or (is_counted and pulse is None):
            return None
        return rate / 60e6 / (pulse if is_counted and pulse is not None else 1.0)

    @property
    def judged(self) -> list[int]:
        """Channels with a band."""
        return [k for k, total in enumerate(self.totals) if total.band is not None]

    def take(self, time_us: np.ndarray, held_us: np.ndarray, values: np.ndarray, interval_us: float) -> None:
        """Take a page.

        Parameters
        ----------
        time_us : ndarray of shape (n,), int64
            Never falling.
        held_us : ndarray of shape (n,), int64
            Time since the reading before; -1 across a gap, 0 for the very first reading.
        values : ndarray of shape (channels, n)
        interval_us : float
            Usual time between rows.
        """
        kept = self._kept(time_us, held_us, values)
        if kept is not None:
            time_us, held_us, values = time_us[kept], held_us[kept], np.ascontiguousarray(values[:, kept])
        if len(time_us) == 0:
            return
        if self.first_us is None:
            self.first_us = int(time_us[0])
            held_us = held_us.copy()
            held_us[0] = 0
            self.trace = LogTrace(len(self.channels) + 4, self.first_us)
        self.rows += len(time_us)
        self.last_us = int(time_us[-1])
        times, all_values = time_us, values
        passed = held_us[1:]
        if self._carry is not None:
            times = np.concatenate([[self._carry[0]], time_us])
            all_values = np.concatenate([self._carry[1][:, None], values], axis=1)
            passed = held_us
        self._note_gaps(times, passed)
        marks = self._judge(times, passed, all_values, len(time_us), interval_us)
        for total, row in zip(self.totals, values, strict=True):
            total.add_values(time_us, held_us, row, marks)
        self._trace(time_us, values)
        self._carry = (int(time_us[-1]), values[:, -1].copy())

    def _kept(self, time_us: np.ndarray, held_us: np.ndarray, values: np.ndarray) -> np.ndarray | None:
        """Rows in the window that do not repeat the row before; None where all are."""
        keep = np.ones(len(time_us), bool)
        if self.start_us is not None:
            keep &= time_us >= self.start_us
        if self.stop_us is not None:
            keep &= time_us <= self.stop_us
        again = np.flatnonzero(held_us == 0)
        if len(again):
            carried = self._carry[1] if self._carry is not None else np.full(len(values), np.inf)
            before = np.where(again > 0, values[:, again - 1], carried[:, None])
            now = values[:, again]
            same = ((now == before) | (np.isnan(now) & np.isnan(before))).all(axis=0)
            same &= keep[again]
            keep[again[same]] = False
            self.duplicates += int(np.count_nonzero(same))
        return None if keep.all() else keep

    def _note_gaps(self, times: np.ndarray, passed: np.ndarray) -> None:
        for i in np.flatnonzero(passed < 0).tolist():
            self.gap_us += int(times[i + 1] - times[i])
            self.gap_count += 1
            if len(self.gaps) < 1000:
                self.gaps.append((int(times[i]), int(times[i + 1])))

    def _judge(
        self, times: np.ndarray, passed: np.ndarray, values: np.ndarray, rows: int, interval_us: float
    ) -> np.ndarray:
        """Time in range of every judged channel and of all; the running total of the latter at each row."""
        held = np.maximum(passed, 0)
        joint = held
        for k, total in enumerate(self.totals):
            stood = total.standing(times, values[k], interval_us, self.settings.gap_intervals)[:-1]
            row = values[k][:-1] if total.is_in_every_row(interval_us) else stood
            total.known_us += int(held[~np.isnan(row)].sum())
            if total.finder is None:
                continue
            is_inside = (row >= total.finder.low) & (row <= total.finder.high)
            total.inside_us += int(held[is_inside].sum())
            joint = np.where(is_inside, joint, 0)
            if len(row):
                total.finder.take(times, passed, stood)  # one lost reading does not end an excursion
        so_far = self.joint_us + np.cumsum(joint)
        marks = np.concatenate([[self.joint_us], so_far])[-rows:]
        self.joint_us = int(marks[-1])
        return marks

    def _trace(self, time_us: np.ndarray, values: np.ndarray) -> None:
        assert self.trace is not None
        empty = np.full(len(time_us), np.nan)
        drop = self._pressure_drop(values)
        flow = values[self._index["flow"]] if "flow" in self._index else empty
        least = self.settings.least_flow_fraction * (self.settings.flow_mL_per_min or 1.0)
        with np.errstate(invalid="ignore"):
            is_flowing = (flow > least) & ~np.isnan(empty if drop is None else drop)
        pair = [
            empty if drop is None else np.where(is_flowing, drop, np.nan),
            np.where(is_flowing, flow, np.nan),
        ]
        acid: Sequence[np.ndarray] = [empty, empty]
        if "acid" in self._index:
            found, late = self.acid.take(time_us, values[self._index["acid"]])
            acid = list(found)
            self._trace_late(late)
        self.trace.take(time_us, [*values, *pair, *acid])

    def finish(self) -> None:
        """Take in what waited for readings that did not come."""
        if "acid" in self._index:
            self._trace_late(self.acid.finish())

    def _trace_late(self, late: LateTotals) -> None:
        if len(late.time_us):
            assert self.trace is not None
            empty = np.full(len(late.time_us), np.nan)
            self.trace.take(late.time_us, [empty] * (len(self.channels) + 2) + [late.totals, empty])

    def _pressure_drop(self, values: np.ndarray) -> np.ndarray | None:
        if "pressure drop" in self._index:
            drop: np.ndarray = values[self._index["pressure drop"]]
            return drop
        if "pressure before" in self._index and "pressure after" in self._index:
            difference: np.ndarray = (
                values[self._index["pressure before"]] - values[self._index["pressure after"]]
            )
            return difference
        return None

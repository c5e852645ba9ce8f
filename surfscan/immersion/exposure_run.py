"""A rig log gone through once: pages in, running totals of every channel out."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from surfscan.immersion.acid_log import AcidTotals
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
    """

    band: tuple[float, float] | None
    finder: ExcursionFinder | None
    runs: RunFinder | None
    missing: int = 0
    readings: int = 0
    known_us: int = 0
    inside_us: int = 0
    shift: float | None = None
    sum_shifted: float = 0.0
    square_shifted: float = 0.0
    changes: int = 0
    square_changes: float = 0.0

    def add_values(self, row: np.ndarray, before: float) -> np.ndarray:
        """Take readings for mean, spread and noise; the change of each from the one before."""
        steps = np.empty(len(row))
        steps[0] = row[0] - before
        np.subtract(row[1:], row[:-1], out=steps[1:])
        known = ~np.isnan(row)
        count = int(np.count_nonzero(known))
        self.missing += len(row) - count
        self.readings += count
        if count == 0:
            return steps
        values = row if count == len(row) else row[known]
        if self.shift is None:
            self.shift = float(values[0])
        shifted = values - self.shift
        self.sum_shifted += float(shifted.sum())
        self.square_shifted += float(np.square(shifted, out=shifted).sum())
        has_step = ~np.isnan(steps)
        changes = int(np.count_nonzero(has_step))
        self.changes += changes
        self.square_changes += float(np.square(steps if changes == len(row) else steps[has_step]).sum())
        return steps

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
            finder = None if band is None else ExcursionFinder(band[0] - band[1], band[0] + band[1], merge)
            runs = None if channel.name == "acid" else RunFinder(round(HOUR_US * self.settings.frozen_h))
            self.totals.append(ChannelTotals(band, finder, runs))
        self._carry: tuple[int, np.ndarray] | None = None

    @property
    def judged(self) -> list[int]:
        """Channels with a band."""
        return [k for k, total in enumerate(self.totals) if total.band is not None]

    def take(self, time_us: np.ndarray, held_us: np.ndarray, values: np.ndarray) -> None:
        """Take a page.

        Parameters
        ----------
        time_us : ndarray of shape (n,), int64
            Never falling.
        held_us : ndarray of shape (n,), int64
            Time since the reading before; -1 across a gap, 0 for the very first reading.
        values : ndarray of shape (channels, n)
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
        before = all_values[:, 0] if self._carry is not None else np.full(len(values), np.nan)
        self._note_gaps(times, passed)
        marks = self._judge(times, passed, all_values, len(time_us))
        for total, row, last in zip(self.totals, values, before.tolist(), strict=True):
            steps = total.add_values(row, last)
            if total.runs is not None:
                total.runs.take(time_us, held_us, row, steps, marks)
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

    def _judge(self, times: np.ndarray, passed: np.ndarray, values: np.ndarray, rows: int) -> np.ndarray:
        """Time in range of every judged channel and of all; the running total of the latter at each row."""
        held = np.maximum(passed, 0)
        joint = held
        for k, total in enumerate(self.totals):
            row = values[k, :-1]
            total.known_us += int(held[~np.isnan(row)].sum())
            if total.finder is None:
                continue
            is_inside = (row >= total.finder.low) & (row <= total.finder.high)
            total.inside_us += int(held[is_inside].sum())
            joint = np.where(is_inside, joint, 0)
            if len(row):
                total.finder.take(times, passed, row)
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
        acid = self.acid.take(values[self._index["acid"]]) if "acid" in self._index else [empty, empty]
        self.trace.take(time_us, [*values, *pair, *acid])

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

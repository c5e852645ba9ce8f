"""Channels over time in at most 2000 bins, whatever the length of the log: count, sum, least, greatest."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

MOST_BINS = 2000
_FIRST_WIDTH_US = 1000


class LogTrace:
    """Bins of one width that doubles whenever the log outgrows them.

    Parameters
    ----------
    channels : int
    first_us : int
        Start of the first bin.

    Attributes
    ----------
    width_us : int
    """

    def __init__(self, channels: int, first_us: int) -> None:
        self.width_us = _FIRST_WIDTH_US
        self._first = first_us
        self._used = 0
        self._counts = np.zeros((channels, MOST_BINS), np.int64)
        self._sums = np.zeros((channels, MOST_BINS))
        self._lows = np.full((channels, MOST_BINS), np.inf)
        self._highs = np.full((channels, MOST_BINS), -np.inf)
        self._lasts = np.full((channels, MOST_BINS), np.nan)
        self._ends = np.full(MOST_BINS, -1, np.int64)

    def take(self, time_us: np.ndarray, values: Sequence[np.ndarray]) -> None:
        """Take readings in the order of time; a channel may follow later, with the others not-a-number.

        Parameters
        ----------
        time_us : ndarray of shape (n,), int64
            Never falling.
        values : ndarray of shape (channels, n)
            Not-a-number where there is none.
        """
        while (int(time_us[-1]) - self._first) // self.width_us >= MOST_BINS:
            self._double()
        low = (int(time_us[0]) - self._first) // self.width_us
        high = (int(time_us[-1]) - self._first) // self.width_us
        edges = self._first + np.arange(low, high + 1) * self.width_us
        starts = np.searchsorted(time_us, edges)
        bins = np.arange(low, high + 1)
        filled = np.diff(np.append(starts, len(time_us))) > 0
        starts, bins = starts[filled], bins[filled]
        ends = np.append(starts[1:], len(time_us))
        self._ends[bins] = np.maximum(self._ends[bins], time_us[ends - 1])
        for k, row in enumerate(values):
            self._take_channel(k, row, starts, ends, bins)
        self._used = max(self._used, high + 1)

    def _take_channel(
        self, k: int, row: np.ndarray, starts: np.ndarray, ends: np.ndarray, bins: np.ndarray
    ) -> None:
        missing = np.isnan(row)
        if missing.any():
            known = ~missing
            self._counts[k, bins] += np.add.reduceat(known, starts, dtype=np.int64)
            self._sums[k, bins] += np.add.reduceat(np.where(known, row, 0.0), starts)
            low = np.minimum.reduceat(np.where(known, row, np.inf), starts)
            high = np.maximum.reduceat(np.where(known, row, -np.inf), starts)
            at = np.maximum.accumulate(np.where(known, np.arange(len(row)), -1))[ends - 1]
            has = at >= starts
            self._lasts[k, bins[has]] = row[at[has]]
        else:
            self._counts[k, bins] += ends - starts
            self._sums[k, bins] += np.add.reduceat(row, starts)
            low, high = np.minimum.reduceat(row, starts), np.maximum.reduceat(row, starts)
            self._lasts[k, bins] = row[ends - 1]
        self._lows[k, bins] = np.minimum(self._lows[k, bins], low)
        self._highs[k, bins] = np.maximum(self._highs[k, bins], high)

    def _double(self) -> None:
        """Merge the bins in pairs."""
        half = MOST_BINS // 2
        self.width_us *= 2
        second = self._lasts[:, 1::2]
        lasts = np.where(np.isnan(second), self._lasts[:, ::2], second)
        for array, merged, empty in (
            (self._counts, self._counts[:, ::2] + self._counts[:, 1::2], 0),
            (self._sums, self._sums[:, ::2] + self._sums[:, 1::2], 0.0),
            (self._lows, np.minimum(self._lows[:, ::2], self._lows[:, 1::2]), np.inf),
            (self._highs, np.maximum(self._highs[:, ::2], self._highs[:, 1::2]), -np.inf),
            (self._lasts, lasts, np.nan),
        ):
            array[:, :half] = merged
            array[:, half:] = empty
        self._ends[:half] = np.maximum(self._ends[::2], self._ends[1::2])
        self._ends[half:] = -1
        self._used = (self._used + 1) // 2

    def centres_us(self) -> np.ndarray:
        """Middle of every bin used, µs, shape (bins,)."""
        return self._first + (np.arange(self._used) + 0.5) * self.width_us

    def ends_us(self) -> np.ndarray:
        """Time of the last reading in every bin used, -1 where there is none, shape (bins,)."""
        return self._ends[: self._used]

    def counts(self, channel: int) -> np.ndarray:
        """Readings in every bin used, shape (bins,)."""
        return self._counts[channel, : self._used]

    def means(self, channel: int) -> np.ndarray:
        """Mean of every bin used, not-a-number where it holds no reading, shape (bins,)."""
        counts = self.counts(channel)
        return np.divide(
            self._sums[channel, : self._used], counts, out=np.full(self._used, np.nan), where=counts > 0
        )

    def lows(self, channel: int) -> np.ndarray:
        """Least reading of every bin used, infinite where it holds none, shape (bins,)."""
        return self._lows[channel, : self._used]

    def highs(self, channel: int) -> np.ndarray:
        """Greatest reading of every bin used, minus infinite where it holds none, shape (bins,)."""
        return self._highs[channel, : self._used]

    def lasts(self, channel: int) -> np.ndarray:
        """Last reading of every bin used, not-a-number where it holds none, shape (bins,)."""
        return self._lasts[channel, : self._used]

"""Acid of a rig log: volume dosed up to each reading, whether logged as doses or as a total."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

_RESET_SHARE = 0.5
"""A total that falls below this share of what it was was set back (common practice, no source)."""


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


class AcidTotals:
    """Adds up the acid of consecutive pages, as a total read off and as doses; which it is shows at the end.

    Attributes
    ----------
    resets : int
        Times that a total was set back.
    """

    def __init__(self) -> None:
        self.resets = 0
        self._readings = self._empty = self._zeros = self._rises = self._falls = 0
        self._last = np.nan
        self._offset = 0.0
        self._doses = 0.0
        self._dose: float | None = None
        self._is_one_dose = True

    def take(self, row: np.ndarray) -> np.ndarray:
        """Take readings.

        Parameters
        ----------
        row : ndarray of shape (n,)
            Not-a-number where there is none.

        Returns
        -------
        ndarray of shape (2, n)
            Acid so far: as a total, set-backs bridged (not-a-number where there is no reading), and as doses.
        """
        known = ~np.isnan(row)
        values = row if known.all() else row[known]
        self._empty += len(row) - len(values)
        totals = np.full(len(row), np.nan)
        if len(values):
            before = np.concatenate([[self._last], values[:-1]])
            steps = values - before
            self._readings += len(values)
            self._zeros += int(np.count_nonzero(values == 0))
            self._rises += int(np.count_nonzero(steps > 0))
            falls = np.flatnonzero(steps < 0)
            self._falls += len(falls)
            shifts = np.full(len(values), self._offset)
            for i in falls[values[falls] < _RESET_SHARE * before[falls]].tolist():
                shifts[i:] += before[i]
                self.resets += 1
            totals[known] = values + shifts
            self._offset = float(shifts[-1])
            self._last = float(values[-1])
            self._see_doses(values)
        doses = self._doses + np.cumsum(np.where(known, row, 0.0))
        self._doses = float(doses[-1]) if len(row) else self._doses
        return np.stack([totals, doses])

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
        if self._falls == 0:
            if self._is_one_dose and self._readings > 1 and 2 * self._empty > rows and not self._zeros:
                return AcidKind("events", "one and the same volume stands in some rows, and nothing in most")
            return AcidKind("cumulative", "it never falls")
        if 2 * blank > rows and 2 * self._falls >= self._rises:
            return AcidKind("events", "most rows hold nothing, and readings fall back to it")
        if 20 * self._falls <= self._rises and self._falls == self.resets:
            return AcidKind("cumulative", "it rises but for being set back now and then")
        return AcidKind("", "it rises and falls like neither a total nor doses")

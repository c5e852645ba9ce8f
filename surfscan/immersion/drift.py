"""Drift of a channel with an interval that allows for readings that follow one another."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from surfscan.electrochemistry.correlated import correlation_length
from surfscan.estimates.groups import t_factor

_LEAST_POINTS = 8
_LEAST_INDEPENDENT = 5.0
_MOST_LONG_RUN = 0.25  # share of the whole by which one correlation length may be judged at all


@dataclass(frozen=True)
class Drift:
    """Slope of a straight line over time.

    Attributes
    ----------
    per_day : float or None
        Least-squares slope, unit of the channel per day; None where no line can be drawn.
    ci95 : (float, float) or None
    start, end : float or None
        Of the line, at the first and last time.
    independent : float
        How many independent points the deviations from the line are worth.
    refused : str
        Why there is no slope or no interval; empty where there is one.
    """

    per_day: float | None
    ci95: tuple[float, float] | None
    start: float | None
    end: float | None
    independent: float
    refused: str = ""


def drift_per_day(days: ArrayLike, values: ArrayLike) -> Drift:
    """Slope of values over time, and its 95 % interval.

    The interval of ordinary least squares is widened for deviations that follow one another: n points with a
    correlation length of L are worth n / L. The length is found twice, on the points and on means over blocks
    of four, where slow swings show better, and the larger wins.

    Parameters
    ----------
    days : array_like of shape (n,)
        Rising, about evenly.
    values : array_like of shape (n,)
        Not-a-number is left out.

    Returns
    -------
    Drift
        No interval below eight points, or where they are worth fewer than five independent ones.

    Raises
    ------
    ValueError
        If lengths differ.
    """
    time, value = np.asarray(days, np.float64), np.asarray(values, np.float64)
    if time.shape != value.shape or time.ndim != 1:
        raise ValueError(f"days and values must be of one length, got {time.shape} and {value.shape}")
    known = np.isfinite(time) & np.isfinite(value)
    time, value = time[known], value[known]
    n = len(time)
    if n < 2 or time[-1] <= time[0]:
        return Drift(None, None, None, None, float(n), "There are too few readings for a line.")
    middle, level = time.mean(), value.mean()
    spread = float(((time - middle) ** 2).sum())
    slope = float(((time - middle) * (value - level)).sum() / spread)
    start, end = (float(level + slope * (at - middle)) for at in (time[0], time[-1]))
    residuals = value - level - slope * (time - middle)
    square = float(residuals @ residuals)
    if n < _LEAST_POINTS:
        return Drift(slope, None, start, end, float(n), "There are too few readings for an interval.")
    if square <= (1e-12 * max(abs(level), abs(slope) * (time[-1] - time[0]), 1e-300)) ** 2 * n:
        return Drift(slope, (slope, slope), start, end, float(n))
    length = _length(residuals)
    independent = n / length
    if independent < _LEAST_INDEPENDENT:
        return Drift(
            slope,
            None,
            start,
            end,
            independent,
            "The channel swings as slowly as the log is long: its drift cannot be told from a swing.",
        )
    freedom = independent - 2
    error = math.sqrt(square / (n - 2 * length) / spread * length)
    half = error * t_factor(freedom)
    return Drift(slope, (slope - half, slope + half), start, end, independent)


def _length(residuals: np.ndarray) -> float:
    """Correlation length in points."""
    length = correlation_length(residuals)
    blocks = len(residuals) // 4
    if blocks >= _LEAST_POINTS:
        means = residuals[: 4 * blocks].reshape(blocks, 4).mean(axis=1)
        length = max(
            length, 4 * correlation_length(means) * float(means @ means) * 4 / float(residuals @ residuals)
        )
    return max(1.0, length)

"""Rates over a series of cumulative readings: from first to last, and between successive ones."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from surfscan.immersion.estimates import Bias, Method, RateEstimate, rate_of_mass, refused_rate
from surfscan.materials.material import Value

_NORMAL_FACTOR = 1.959963984540054


@dataclass(frozen=True)
class Series:
    """Cumulative readings over time.

    Attributes
    ----------
    hours, readings : ndarray of shape (n,)
        From the start that they count from.
    is_start_added : bool
        Whether the first of them, 0 at 0 h, was not among those given.
    """

    hours: np.ndarray
    readings: np.ndarray
    is_start_added: bool

    def beside(self, values: ArrayLike, name: str) -> np.ndarray:
        """One number for all readings, or one for each given: as an array of shape (n,).

        Raises
        ------
        ValueError
            If there are neither one nor as many as readings, or one is missing.
        """
        array = np.atleast_1d(np.asarray(values, dtype=np.float64))
        given = len(self.hours) - self.is_start_added
        if array.shape not in ((1,), (given,)) or not np.isfinite(array).all():
            raise ValueError(f"{name} must be one number or {given}, got {array.tolist()!r}")
        if array.size == 1:
            return np.full(len(self.hours), array[0])
        return np.concatenate([array[:1], array]) if self.is_start_added else array

    def blank(self, values: ArrayLike, name: str) -> np.ndarray:
        """What a blank read: one number for the last reading, reached evenly from 0 h, or one for each given.

        Raises
        ------
        ValueError
            As `beside`.
        """
        array = self.beside(values, name)
        if np.size(values) == 1 and len(self.hours) > 2:
            return array * self.hours / self.hours[-1]
        return np.concatenate([[0.0], array[1:]]) if self.is_start_added else array


def cumulative_series(hours: ArrayLike, readings: ArrayLike, name: str) -> Series:
    """Cumulative readings; where the first is neither at 0 h nor 0, they count from 0 at 0 h.

    Parameters
    ----------
    hours : array_like of shape (n,)
        Since immersion.
    readings : array_like of shape (n,)
    name : str
        Name of the readings, for messages.

    Raises
    ------
    ValueError
        If lengths differ, a number is missing, time does not rise, or there is only a starting point.
    """
    times = np.atleast_1d(np.asarray(hours, dtype=np.float64))
    values = np.atleast_1d(np.asarray(readings, dtype=np.float64))
    if times.ndim != 1 or times.shape != values.shape or times.size == 0:
        raise ValueError(f"hours and {name} must be of one length, got {times.size} and {values.size}")
    if not (np.isfinite(times).all() and np.isfinite(values).all()):
        raise ValueError(f"hours and {name} must be numbers")
    if times[0] < 0 or not (np.diff(times) > 0).all():
        raise ValueError("hours must start at 0 or later and rise from reading to reading")
    is_start_added = bool(times[0] > 0 and (values[0] != 0 or times.size == 1))
    if is_start_added:
        times, values = np.array([0.0, *times]), np.array([0.0, *values])
    if times.size < 2:
        raise ValueError("one reading at 0 h is a start without an end: give a later one")
    return Series(times, values, is_start_added)


def series_rates(
    method: Method,
    hours: np.ndarray,
    metal_mg: np.ndarray,
    reading_mg: float,
    *,
    relative: Mapping[str, float],
    cause: str,
    area_cm2: float,
    area_relative_uncertainty: float | None,
    time_uncertainty_h: float,
    density: Value | None,
    bias: Bias,
    reasons: tuple[str, ...],
    warnings: tuple[str, ...],
) -> tuple[RateEstimate, tuple[RateEstimate, ...]]:
    """Average rate from the first reading to the last, and those between successive ones.

    Parameters
    ----------
    method : str
    hours, metal_mg : ndarray of shape (n,)
        Time and metal lost up to then.
    reading_mg : float
        Standard uncertainty of one reading as metal, mg; readings err by themselves.
    relative : mapping of str to float
        Relative standard uncertainties that all readings share, by cause.
    cause : str
        What `reading_mg` is called.
    area_cm2, area_relative_uncertainty, time_uncertainty_h, density, bias, reasons, warnings
        As in `rate_of_mass`.

    Returns
    -------
    (RateEstimate, tuple of RateEstimate)
        The second is empty for two readings. A rate is refused where metal would have come back by more than
        the readings explain.
    """
    difference = reading_mg * math.sqrt(2)

    def between(a: int, b: int, notes: tuple[str, ...]) -> RateEstimate:
        start, end, gained = float(hours[a]), float(hours[b]), float(metal_mg[b] - metal_mg[a])
        if gained < -_NORMAL_FACTOR * difference:
            why = f"The readings fall from {start:g} h to {end:g} h, as if metal had come back."
            return refused_rate(method, why, start, end, notes)
        return rate_of_mass(
            method,
            gained,
            difference,
            area_cm2=area_cm2,
            area_relative_uncertainty=area_relative_uncertainty,
            starts_h=start,
            ends_h=end,
            time_uncertainty_h=time_uncertainty_h,
            density=density,
            mass_relative=relative,
            mass_cause=cause,
            bias=bias,
            reasons=reasons,
            warnings=notes,
        )

    whole = between(0, len(hours) - 1, warnings)
    if len(hours) == 2:
        return whole, ()
    parts = tuple(between(k, k + 1, ()) for k in range(len(hours) - 1))
    fallen = [part for part in parts if part.refused]
    if fallen and not whole.refused:
        first = fallen[0]
        note = (
            f"The readings fall in {len(fallen)} of {len(parts)} intervals, first from {first.starts_h:g} h "
            f"to {first.ends_h:g} h: look for a leak, a change of temperature or a swapped reading."
        )
        whole = replace(whole, warnings=(*whole.warnings, note))
    return whole, parts

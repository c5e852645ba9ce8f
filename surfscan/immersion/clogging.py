"""Hydraulic resistance of the specimen in its loop, and whether its rise is a sign of clogging."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from surfscan.immersion.drift import Drift, drift_per_day


@dataclass(frozen=True)
class HydraulicResistance:
    """Pressure drop over flow.

    Attributes
    ----------
    mean_kPa_min_per_mL : float or None
    start_kPa_min_per_mL, end_kPa_min_per_mL : float or None
        Of a straight line through the log.
    per_day : float or None
        Slope of that line, kPa min/mL per day.
    per_day_ci95 : (float, float) or None
    rise_fraction : float or None
        Rise of the line from start to end over its start.
    rise_fraction_ci95 : (float, float) or None
    is_clogging : bool or None
        Whether the lower limit of the rise passes the stated share; None where it cannot be told.
    refused : str
        Why something is missing; empty where nothing is.
    """

    mean_kPa_min_per_mL: float | None
    start_kPa_min_per_mL: float | None
    end_kPa_min_per_mL: float | None
    per_day: float | None
    per_day_ci95: tuple[float, float] | None
    rise_fraction: float | None
    rise_fraction_ci95: tuple[float, float] | None
    is_clogging: bool | None
    refused: str = ""

    def as_dict(self) -> dict[str, Any]:
        """Ready for JSON, in the order of the attributes."""
        return {name: getattr(self, name) for name in self.__dataclass_fields__}


def hydraulic_resistance(
    days: ArrayLike, drop_kPa: ArrayLike, flow_mL_per_min: ArrayLike, least_rise: float
) -> HydraulicResistance:
    """Resistance over time, from means of pressure drop and flow over the same readings.

    R = Δp / q of the means, so that noise in the flow does not bias it. Laminar flow through an unchanged
    part gives a constant R (Hagen and Poiseuille); where the flow is turbulent, R rises with it as well.

    Parameters
    ----------
    days, drop_kPa, flow_mL_per_min : array_like of shape (n,)
        Not-a-number is left out.
    least_rise : float
        Share of the start that the lower 95 % limit of the rise must pass to be clogging.

    Returns
    -------
    HydraulicResistance
    """
    time, drop, flow = (np.asarray(each, np.float64) for each in (days, drop_kPa, flow_mL_per_min))
    known = np.isfinite(drop) & np.isfinite(flow) & (flow > 0)
    if not known.any():
        return _refused("There are no readings of pressure drop and flow at one time.")
    resistance = np.full(len(time), np.nan)
    resistance[known] = drop[known] / flow[known]
    mean = float(np.mean(resistance[known]))
    line: Drift = drift_per_day(time, resistance)
    if mean <= 0 or (line.start is not None and line.start <= 0):
        return _refused(
            "The pressure after the specimen is not below that before it: check the zero of both gauges, and "
            "which is which.",
            mean,
        )
    if line.per_day is None or line.start is None or line.end is None:
        return _refused(line.refused, mean)
    span = float(time[known][-1] - time[known][0])
    rise, limits, is_clogging = line.per_day * span / line.start, None, None
    if line.ci95 is not None:
        # The line turns about its middle: the start falls as the slope rises.
        middle = 0.5 * (line.start + line.end)
        limits = (_rise(line.ci95[0], span, middle), _rise(line.ci95[1], span, middle))
        is_clogging = limits[0] > least_rise
    return HydraulicResistance(
        mean, line.start, line.end, line.per_day, line.ci95, rise, limits, is_clogging, line.refused
    )


def _rise(per_day: float, span: float, middle: float) -> float:
    start = middle - 0.5 * per_day * span
    return per_day * span / start if start > 0 else np.inf


def _refused(why: str, mean: float | None = None) -> HydraulicResistance:
    return HydraulicResistance(mean, None, None, None, None, None, None, None, why)

"""What a polarization curve must show before a corrosion current is read from it."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True)
class FitRules:
    """Limits of the mixed-control fit; all are common practice, no source, but where one is named.

    Attributes
    ----------
    smallest_reach_mV : float
        Shortest reach of the window on either side of the zero-current potential.
    smallest_decades : float
        Smallest rise of the current above the corrosion current on either side, decades. A cathodic branch at
        its limiting current needs none.
    largest_misfit : float
        Largest root mean square of what noise does not explain between curve and points, as a fraction of the
        current. Windows are shortened until it is met.
    largest_interval_ratio : float
        Upper over lower end of the 95 % interval of the corrosion current; beyond it there is no value.
    largest_noise : float
        Noise of the current from point to point, as a fraction of the current or of the corrosion current.
    largest_rest_difference_mV : float
        Largest distance of the scan's zero-current potential from the stated rest potential.
    slope_limits_mV_per_decade : tuple of float
        Tafel slopes outside are no activation slopes.
    largest_resistance_ohm_cm2 : float
        Upper bound of a series resistance that is fitted, besides the one that the steepest stretch of the
        sweep sets.
    """

    smallest_reach_mV: float = 50.0
    smallest_decades: float = 0.3
    largest_misfit: float = 0.05
    largest_interval_ratio: float = 2.0
    largest_noise: float = 0.2
    largest_rest_difference_mV: float = 50.0
    slope_limits_mV_per_decade: tuple[float, float] = (25.0, 500.0)
    largest_resistance_ohm_cm2: float = math.inf

    def __post_init__(self) -> None:
        """Refuse rules that nothing can meet."""
        values = (
            self.smallest_reach_mV,
            self.smallest_decades,
            self.largest_misfit,
            self.largest_noise,
            self.largest_rest_difference_mV,
            self.largest_resistance_ohm_cm2,
        )
        if not all(value > 0 for value in values):
            raise ValueError("limits must be above 0")
        if not self.largest_interval_ratio > 1:
            raise ValueError("the interval ratio must be above 1")
        low, high = self.slope_limits_mV_per_decade
        if not 0 < low < high:
            raise ValueError("slope limits must rise and be above 0")

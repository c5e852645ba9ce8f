"""Scale on which currents of both signs are fitted, and how uncertain each point is on it.

Far from the zero-current potential a sweep is judged by the logarithm of its current; at that potential the
logarithm runs to minus infinity and says nothing. Here y = arsinh(i / 2s): where abs(i) is well above s it is
ln|i| - ln s with the sign of i, and it is linear in i across zero, so that no point is left out or runs away.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

_NEAR_V = 0.025
_FAR_V = 0.02
_FEWEST_FOR_SPREAD = 8
_SECOND, _THIRD = np.sqrt(6.0), np.sqrt(20.0)
_NORMAL_MEDIAN = 0.6744897501960817
SMALLEST_RELATIVE = 5e-4
"""No current range is taken to be truer than 0.05 % from point to point (common practice, no source)."""

POTENTIAL_STEP_NOISE = 0.1
"""Noise of the potential as a share of the step between points (common practice, no source)."""


@dataclass(frozen=True)
class Noise:
    """Noise of one sweep from point to point.

    Attributes
    ----------
    relative : float
        Part in proportion to the current, as a fraction.
    absolute_uA_per_cm2 : float
        Part that stays where the current is zero.
    potential_V : float
        Noise of the potential.
    """

    relative: float
    absolute_uA_per_cm2: float
    potential_V: float


@dataclass(frozen=True)
class CurrentScale:
    """Arsinh scale with its noise.

    Attributes
    ----------
    linear_below_uA_per_cm2 : float
        The s of the module's text.
    noise : Noise
    slope_at_zero : float
        di/dE at the zero-current potential, µA/cm² per V.
    """

    linear_below_uA_per_cm2: float
    noise: Noise
    slope_at_zero: float

    def value(self, density_uA_per_cm2: np.ndarray) -> np.ndarray:
        """Scale value y of each current density."""
        return np.arcsinh(density_uA_per_cm2 / (2 * self.linear_below_uA_per_cm2))

    def derivative(self, density_uA_per_cm2: np.ndarray) -> np.ndarray:
        """dy/di, per µA/cm²."""
        return 1 / np.hypot(density_uA_per_cm2, 2 * self.linear_below_uA_per_cm2)

    def sigma(self, density_uA_per_cm2: np.ndarray) -> np.ndarray:
        """Standard uncertainty of y at each measured current density, shape (n,)."""
        relative = self.noise.relative * density_uA_per_cm2
        flat = np.hypot(self.noise.absolute_uA_per_cm2, self.slope_at_zero * self.noise.potential_V)
        return np.hypot(relative, flat) * self.derivative(density_uA_per_cm2)


def _spread(differences: np.ndarray, factor: float) -> float:
    """Standard deviation of one point from differences of neighbours, by the larger of median and 95 % point.

    Coarsely digitized currents repeat, and the median of their differences is 0.
    """
    size = np.abs(differences)
    return max(float(np.median(size)) / _NORMAL_MEDIAN, float(np.quantile(size, 0.95)) / 1.96 / 1.5) / factor


def noise_of(potential_V: np.ndarray, density_uA_per_cm2: np.ndarray, zero_V: float) -> Noise:
    """Noise from second differences of ln|i| away from zero current and third differences of i near it.

    Parameters
    ----------
    potential_V, density_uA_per_cm2 : ndarray of shape (n,)
        Potential rising.
    zero_V : float
        Zero-current potential.
    """
    over = potential_V - zero_V
    step = float(np.median(np.diff(potential_V)))
    spreads = []
    for side in (over > _FAR_V, over < -_FAR_V):
        size = np.abs(density_uA_per_cm2[side])
        size = size[size > 0]
        if len(size) >= _FEWEST_FOR_SPREAD:
            spreads.append((_spread(np.diff(np.log(size), 2), float(_SECOND)), len(size)))
    total = sum(count for _, count in spreads)
    relative = float(np.sqrt(sum(s**2 * count for s, count in spreads) / total)) if total else 0.0
    relative = max(relative, SMALLEST_RELATIVE)
    near = np.abs(over) < max(_NEAR_V, _FEWEST_FOR_SPREAD * step)
    current = density_uA_per_cm2[near]
    absolute = 0.0
    if len(current) >= _FEWEST_FOR_SPREAD:
        rough = _spread(np.diff(current, 3), float(_THIRD))
        absolute = float(np.sqrt(max(0.0, rough**2 - relative**2 * float(np.median(current**2)))))
    return Noise(relative, absolute, POTENTIAL_STEP_NOISE * step)


def scale_of(potential_V: np.ndarray, density_uA_per_cm2: np.ndarray, zero_V: float) -> CurrentScale:
    """Scale for one sweep, from its own noise; arguments as for `noise_of`.

    The scale turns linear below three times the noise at zero current.
    """
    noise = noise_of(potential_V, density_uA_per_cm2, zero_V)
    over = potential_V - zero_V
    step = float(np.median(np.diff(potential_V)))
    near = np.abs(over) <= max(0.01, 4 * step)
    slope = float(over[near] @ density_uA_per_cm2[near] / (over[near] @ over[near]))
    slope = max(slope, float(np.min(np.abs(density_uA_per_cm2[density_uA_per_cm2 != 0]))))
    flat = float(np.hypot(noise.absolute_uA_per_cm2, slope * noise.potential_V))
    return CurrentScale(3 * flat, noise, slope)

"""Current of a corroding electrode: anodic activation, cathodic activation with a limit, resistance.

    i = icorr [ 10^(h / ba) - 1 / ((1 - r) 10^(h / bc) + r) ],   h = E - Ecorr - i Rs,   r = icorr / ilim

The cathodic part is the reciprocal sum of activation and limiting current, 1/ic = 1/iact + 1/ilim, written so
that the current is exactly zero at Ecorr for every choice of parameters; r = 0 is pure activation control,
r = 1 a cathodic reaction that is all transport. Partial currents add up (Wagner and Traud, Z. Elektrochem. 44
(1938) 391; recalled, not read here); two steps in series limit the cathodic one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

PARAMETERS = ("Ecorr_V", "ln_icorr", "ln_anodic_slope", "ln_cathodic_slope", "limiting_ratio", "resistance")
"""Order of the columns of the Jacobian; slopes in V/decade, icorr in µA/cm², resistance in ohm cm²."""

_LN10 = math.log(10.0)
_MOST_EXPONENT = 300.0
_MOST_ROUNDS = 100
_POTENTIAL_TOLERANCE_V = 1e-13
_VOLT_PER_UA_OHM = 1e-6


@dataclass(frozen=True)
class MixedControl:
    """Parameters of one polarization curve.

    Attributes
    ----------
    Ecorr_V : float
        Potential of zero current.
    icorr_uA_per_cm2 : float
        Corrosion current density.
    anodic_slope_V, cathodic_slope_V : float
        Tafel slopes, V per decade, both positive.
    limiting_ratio : float
        icorr over the cathodic limiting current density, 0 to 1; 0 where there is no limit.
    series_resistance_ohm_cm2 : float
        Resistance between electrode and reference times area.
    """

    Ecorr_V: float
    icorr_uA_per_cm2: float
    anodic_slope_V: float
    cathodic_slope_V: float
    limiting_ratio: float = 0.0
    series_resistance_ohm_cm2: float = 0.0

    def __post_init__(self) -> None:
        """Refuse what no electrode has."""
        positive = (self.icorr_uA_per_cm2, self.anodic_slope_V, self.cathodic_slope_V)
        if not all(math.isfinite(value) and value > 0 for value in positive):
            raise ValueError("corrosion current density and Tafel slopes must be above 0")
        if not 0 <= self.limiting_ratio <= 1:
            raise ValueError("the corrosion current is 0 to 1 of the limiting current")
        if not self.series_resistance_ohm_cm2 >= 0:
            raise ValueError("a series resistance is 0 or above")

    @property
    def limiting_current_uA_per_cm2(self) -> float:
        """Cathodic limiting current density; infinite under pure activation control."""
        return self.icorr_uA_per_cm2 / self.limiting_ratio if self.limiting_ratio > 0 else math.inf

    @property
    def without_resistance(self) -> MixedControl:
        """The same electrode, its potential measured free of ohmic drop."""
        return replace(self, series_resistance_ohm_cm2=0.0)


def _partial(exponent: np.ndarray) -> np.ndarray:
    return np.exp(np.clip(exponent, -_MOST_EXPONENT, _MOST_EXPONENT))


def _kinetic(overpotential_V: np.ndarray, kinetics: MixedControl) -> tuple[np.ndarray, np.ndarray]:
    """Current density and its derivative with respect to the potential, resistance apart."""
    per_volt_a, per_volt_c = _LN10 / kinetics.anodic_slope_V, _LN10 / kinetics.cathodic_slope_V
    r = kinetics.limiting_ratio
    anodic = _partial(per_volt_a * overpotential_V)
    rising = (1 - r) * _partial(per_volt_c * overpotential_V)
    cathodic = 1 / (rising + r)
    icorr = kinetics.icorr_uA_per_cm2
    slope = per_volt_a * anodic + per_volt_c * cathodic**2 * rising
    return icorr * (anodic - cathodic), icorr * slope


def interface_overpotential_V(potential_V: np.ndarray, kinetics: MixedControl) -> np.ndarray:
    """Overpotential at the metal, E - Ecorr - i Rs, shape of `potential_V`.

    Notes
    -----
    The implicit equation has one root between 0 and E - Ecorr, as the current rises with the potential. It is
    found by Newton's method held inside a bracket, to 1e-13 V.
    """
    total = np.asarray(potential_V, dtype=float) - kinetics.Ecorr_V
    drop = kinetics.series_resistance_ohm_cm2 * _VOLT_PER_UA_OHM
    if drop == 0:
        return total
    low, high = np.minimum(total, 0.0), np.maximum(total, 0.0)
    reach = np.log1p(np.abs(total) / (drop * kinetics.icorr_uA_per_cm2)) / _LN10
    at = np.where(
        total > 0,
        np.minimum(total, reach * kinetics.anodic_slope_V),
        np.maximum(total, -reach * kinetics.cathodic_slope_V),
    )
    for _ in range(_MOST_ROUNDS):
        current, slope = _kinetic(at, kinetics)
        excess = at + drop * current - total
        low = np.where(excess < 0, at, low)
        high = np.where(excess > 0, at, high)
        new = at - excess / (1 + drop * slope)
        new = np.where((new < low) | (new > high), (low + high) / 2, new)
        moved = float(np.max(np.abs(new - at), initial=0.0))
        at = new
        if moved <= _POTENTIAL_TOLERANCE_V:
            break
    return at


def current_density_uA_per_cm2(potential_V: np.ndarray, kinetics: MixedControl) -> np.ndarray:
    """Current density at each potential, µA/cm², anodic positive; shape of `potential_V`."""
    return _kinetic(interface_overpotential_V(potential_V, kinetics), kinetics)[0]


def partial_currents_uA_per_cm2(
    potential_V: np.ndarray, kinetics: MixedControl
) -> tuple[np.ndarray, np.ndarray]:
    """Anodic and cathodic part of the current, both positive, µA/cm²: the branches that a figure draws."""
    over = interface_overpotential_V(potential_V, kinetics)
    anodic = kinetics.icorr_uA_per_cm2 * _partial(_LN10 / kinetics.anodic_slope_V * over)
    return anodic, anodic - _kinetic(over, kinetics)[0]


def current_and_jacobian(potential_V: np.ndarray, kinetics: MixedControl) -> tuple[np.ndarray, np.ndarray]:
    """Current density and its derivatives.

    Returns
    -------
    current : ndarray of shape (n,)
    jacobian : ndarray of shape (n, 6)
        Derivatives with respect to `PARAMETERS`, in their order.
    """
    over = interface_overpotential_V(potential_V, kinetics)
    per_volt_a, per_volt_c = _LN10 / kinetics.anodic_slope_V, _LN10 / kinetics.cathodic_slope_V
    r, icorr = kinetics.limiting_ratio, kinetics.icorr_uA_per_cm2
    drop = kinetics.series_resistance_ohm_cm2 * _VOLT_PER_UA_OHM
    anodic = _partial(per_volt_a * over)
    steep = _partial(per_volt_c * over)
    cathodic = 1 / ((1 - r) * steep + r)
    falling = icorr * per_volt_c * cathodic**2 * (1 - r) * steep
    current = icorr * (anodic - cathodic)
    slope = icorr * per_volt_a * anodic + falling
    jacobian = np.empty((len(over), len(PARAMETERS)))
    jacobian[:, 0] = -slope
    jacobian[:, 1] = current
    jacobian[:, 2] = -icorr * per_volt_a * over * anodic
    jacobian[:, 3] = -falling * over
    jacobian[:, 4] = icorr * cathodic**2 * (1 - steep)
    jacobian[:, 5] = -current * slope * _VOLT_PER_UA_OHM
    return current, jacobian / (1 + drop * slope)[:, np.newaxis]

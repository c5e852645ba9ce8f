"""Rate of corrosion from a corrosion current density, with its interval and the range of valences."""

from __future__ import annotations

import math
from dataclasses import dataclass

from surfscan.electrochemistry.stern_geary import NORMAL_95
from surfscan.materials.material import Material
from surfscan.materials.rates import mass_rate_g_per_m2_d, penetration_rate_mm_per_y

Interval = tuple[float, float]


@dataclass(frozen=True)
class SweepRate:
    """Rate behind a corrosion current density.

    Attributes
    ----------
    rate_mm_per_y : float or None
        None where the density of the metal is not known.
    rate_mm_per_y_ci95 : (float, float) or None
    rate_g_per_m2_d : float
    rate_g_per_m2_d_ci95 : (float, float)
    mm_per_y_range, g_per_m2_d_range : (float, float) or None
        Lowest and highest rate over the choices of valences; None where there is one choice. No part of the
        interval: which valences hold is a question of chemistry, not of chance.
    range_reason : str
        The choices and their equivalent weights.
    """

    rate_mm_per_y: float | None
    rate_mm_per_y_ci95: Interval | None
    rate_g_per_m2_d: float
    rate_g_per_m2_d_ci95: Interval
    mm_per_y_range: Interval | None = None
    g_per_m2_d_range: Interval | None = None
    range_reason: str = ""


def widen(value: float, ci95: Interval, relative_standard_uncertainty: float) -> Interval:
    """A 95 % interval of a positive value, widened by a further relative standard uncertainty.

    Both ends are combined with it in quadrature, in the logarithm.

    Raises
    ------
    ValueError
        If the interval does not hold the value or is not above 0.
    """
    low, high = ci95
    if not 0 < low <= value <= high:
        raise ValueError(f"the interval {low:g} to {high:g} must be above 0 and hold {value:g}")
    extra = NORMAL_95 * relative_standard_uncertainty
    down = math.hypot(math.log(value / low), extra)
    up = math.hypot(math.log(high / value), extra)
    return value * math.exp(-down), value * math.exp(up)


def rate_of_current(icorr_uA_per_cm2: float, ci95: Interval, material: Material) -> SweepRate:
    """Penetration and mass rate of a corrosion current density (ASTM G102 Eq 5 and 6; year of 365.25 d).

    Parameters
    ----------
    icorr_uA_per_cm2 : float
    ci95 : (float, float)
        With the uncertainty of the area in it.
    material : Material
        The range of its density, where one is known, enters the interval of the penetration rate.

    Raises
    ------
    InputError
        If the material has no equivalent weight.
    """
    weight = material.known_equivalent_weight().value
    mass = mass_rate_g_per_m2_d(icorr_uA_per_cm2, weight)
    per_uA = mass / icorr_uA_per_cm2
    mass_ci95 = (per_uA * ci95[0], per_uA * ci95[1])
    choices = {str(each.valences): each.computed.value for each in material.equivalent_weights}
    spread, reason = None, ""
    if len(choices) > 1:
        low, high = min(choices.values()), max(choices.values())
        spread = (mass * low / weight, mass * high / weight)
        reason = "; ".join(f"{name}: {value:.2f} g/mol" for name, value in choices.items())
    density = material.density_g_per_cm3
    if density is None:
        return SweepRate(None, None, mass, mass_ci95, None, spread, reason)
    depth = penetration_rate_mm_per_y(icorr_uA_per_cm2, weight, density.value)
    scale = depth / mass
    wide = widen(mass, mass_ci95, density.relative_standard_uncertainty)
    return SweepRate(
        depth,
        (scale * wide[0], scale * wide[1]),
        mass,
        mass_ci95,
        None if spread is None else (scale * spread[0], scale * spread[1]),
        spread,
        reason,
    )

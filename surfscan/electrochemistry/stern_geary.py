"""Corrosion current density from polarization resistance (Stern and Geary 1957; ASTM G102 Eq 9 and 10)."""

from __future__ import annotations

import math
from dataclasses import dataclass

LN10 = math.log(10.0)
NORMAL_95 = 1.959963984540054


@dataclass(frozen=True)
class SternGearyConstant:
    """The constant B with its uncertainty.

    Attributes
    ----------
    B_V : float
    relative_standard_uncertainty : float
        In the logarithm.
    origin : str
        "measured", "stated" or "assumed", with what from.
    """

    B_V: float
    relative_standard_uncertainty: float
    origin: str

    @property
    def is_assumed(self) -> bool:
        """Whether neither measured nor stated slopes stand behind it."""
        return self.origin.startswith("assumed")


def stern_geary_constant_V(anodic_slope_V: float, cathodic_slope_V: float = math.inf) -> float:
    """B = ba bc / (ln 10 (ba + bc)), V (ASTM G102 Eq 10).

    Parameters
    ----------
    anodic_slope_V, cathodic_slope_V : float
        Tafel slopes, V per decade, both positive; one of them infinite where that reaction is limited by
        diffusion: B is then the other over ln 10.

    Raises
    ------
    ValueError
        If a slope is not above 0, or both are infinite.

    Examples
    --------
    >>> round(1000 * stern_geary_constant_V(0.12, 0.12), 3), round(1000 * stern_geary_constant_V(0.1), 3)
    (26.058, 43.429)
    """
    if not (anodic_slope_V > 0 and cathodic_slope_V > 0):
        raise ValueError("Tafel slopes must be above 0")
    if math.isinf(anodic_slope_V) and math.isinf(cathodic_slope_V):
        raise ValueError("at most one reaction can be limited by diffusion")
    return 1 / (LN10 * (1 / anodic_slope_V + 1 / cathodic_slope_V))


def constant_of_slopes(
    anodic_slope_V: float,
    cathodic_slope_V: float = math.inf,
    *,
    anodic_relative_uncertainty: float = 0.0,
    cathodic_relative_uncertainty: float = 0.0,
    origin: str = "measured",
) -> SternGearyConstant:
    """B of two slopes with independent relative standard uncertainties.

    The relative change of B is that of each slope, weighted by B ln 10 over the slope: the smaller slope
    counts more, an infinite one not at all.

    Raises
    ------
    ValueError
        As `stern_geary_constant_V`.
    """
    B = stern_geary_constant_V(anodic_slope_V, cathodic_slope_V)
    parts = (
        B * LN10 / anodic_slope_V * anodic_relative_uncertainty,
        B * LN10 / cathodic_slope_V * cathodic_relative_uncertainty,
    )
    return SternGearyConstant(B, math.hypot(*parts), origin)


def assumed_constant(B_V: float, range_V: tuple[float, float]) -> SternGearyConstant:
    """B where nothing is known of the slopes: any value in the range alike, in the logarithm.

    Raises
    ------
    ValueError
        If the range is not above 0 and rising.
    """
    low, high = range_V
    if not 0 < low < high or not B_V > 0:
        raise ValueError("B and its range must be above 0, the range rising")
    return SternGearyConstant(
        B_V,
        math.log(high / low) / math.sqrt(12),
        f"assumed {1000 * B_V:g} mV, anything in {1000 * low:g} to {1000 * high:g} mV alike",
    )


def corrosion_current_uA_per_cm2(B_V: float, resistance_ohm_cm2: float) -> float:
    """icorr = 1e6 B / Rp (ASTM G102 Eq 9).

    Raises
    ------
    ValueError
        If either is not above 0.
    """
    if not (B_V > 0 and resistance_ohm_cm2 > 0):
        raise ValueError("B and the polarization resistance must be above 0")
    return 1e6 * B_V / resistance_ohm_cm2


def corrosion_current_with_interval(
    constant: SternGearyConstant, resistance_ohm_cm2: float, resistance_relative_uncertainty: float
) -> tuple[float, tuple[float, float]]:
    """icorr, µA/cm², and its 95 % interval from the uncertainty of B and of the resistance, in the logarithm.

    Raises
    ------
    ValueError
        As `corrosion_current_uA_per_cm2`.
    """
    value = corrosion_current_uA_per_cm2(constant.B_V, resistance_ohm_cm2)
    factor = math.exp(
        NORMAL_95 * math.hypot(constant.relative_standard_uncertainty, resistance_relative_uncertainty)
    )
    return value, (value / factor, value * factor)

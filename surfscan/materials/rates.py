"""Rates of corrosion from current density and back, and between mass and depth.

One year is 365.25 days throughout. The constants of ASTM G1 (8.76e4 for mm/y) hold for 365 days, 0.07 % less:
`year_d` gives them.
"""

from __future__ import annotations

from typing import Literal

from surfscan.materials.elements import FARADAY_C_PER_MOL

YEAR_D = 365.25
"""Days in a year, in every rate."""

G1_YEAR_D = 365.0
"""Days in the year of the constants of ASTM G1 (8.76e4 = 24 x 365 x 10; from memory)."""

DAY_S = 86400.0

RateUnit = Literal[
    "mpy", "in_per_y", "in_per_month", "mm_per_y", "um_per_y", "pm_per_s", "g_per_m2_h", "mdd", "ug_per_m2_s"
]

_CM_PER_INCH = 2.54
_PER_CM: dict[str, float] = {
    "mpy": 1e3 / _CM_PER_INCH,
    "in_per_y": 1 / _CM_PER_INCH,
    "in_per_month": 1 / _CM_PER_INCH / 12,
    "mm_per_y": 10.0,
    "um_per_y": 1e4,
}
_PER_G_PER_CM2_H: dict[str, float] = {"g_per_m2_h": 1e4, "mdd": 1e5 * 24, "ug_per_m2_s": 1e10 / 3600}


def penetration_rate_mm_per_y(
    density_uA_per_cm2: float,
    equivalent_weight: float,
    density_g_per_cm3: float,
    *,
    year_d: float = YEAR_D,
) -> float:
    """Penetration rate of a corrosion current density (ASTM G102 Eq 5).

    Parameters
    ----------
    density_uA_per_cm2 : float or ndarray
        Corrosion current density, µA/cm².
    equivalent_weight : float
        g per mole of electrons.
    density_g_per_cm3 : float
    year_d : float, optional
        Days in a year.

    Returns
    -------
    float or ndarray
        mm/y. The standard's constant of 3.27e-3 comes out as 3.27071e-3.

    Raises
    ------
    ValueError
        If equivalent weight or density is not above 0.
    """
    _refuse_nothing(equivalent_weight=equivalent_weight, density_g_per_cm3=density_g_per_cm3)
    seconds = year_d * DAY_S
    return (
        density_uA_per_cm2 * 1e-6 * 10 * seconds / FARADAY_C_PER_MOL * equivalent_weight / density_g_per_cm3
    )


def current_density_of_penetration(
    rate_mm_per_y: float, equivalent_weight: float, density_g_per_cm3: float
) -> float:
    """Current density, µA/cm², behind a penetration rate: the inverse of `penetration_rate_mm_per_y`.

    Raises
    ------
    ValueError
        If equivalent weight or density is not above 0.
    """
    return rate_mm_per_y / penetration_rate_mm_per_y(1.0, equivalent_weight, density_g_per_cm3)


def mass_rate_g_per_m2_d(density_uA_per_cm2: float, equivalent_weight: float) -> float:
    """Mass-loss rate of a corrosion current density, g/(m² d) (ASTM G102 Eq 6).

    Raises
    ------
    ValueError
        If the equivalent weight is not above 0.
    """
    _refuse_nothing(equivalent_weight=equivalent_weight)
    return density_uA_per_cm2 * 1e-6 * 1e4 * DAY_S / FARADAY_C_PER_MOL * equivalent_weight


def mass_rate_of_penetration(rate_mm_per_y: float, density_g_per_cm3: float) -> float:
    """Mass-loss rate, g/(m² d), of a penetration rate in mm/y.

    Raises
    ------
    ValueError
        If the density is not above 0.
    """
    _refuse_nothing(density_g_per_cm3=density_g_per_cm3)
    return rate_mm_per_y * density_g_per_cm3 * 1000 / YEAR_D


def penetration_of_mass_rate(rate_g_per_m2_d: float, density_g_per_cm3: float) -> float:
    """Penetration rate, mm/y, of a mass-loss rate in g/(m² d): the inverse of `mass_rate_of_penetration`.

    Raises
    ------
    ValueError
        If the density is not above 0.
    """
    _refuse_nothing(density_g_per_cm3=density_g_per_cm3)
    return rate_g_per_m2_d * YEAR_D / (1000 * density_g_per_cm3)


def mass_loss_constant(
    unit: RateUnit = "mm_per_y", density_g_per_cm3: float | None = None, *, year_d: float = YEAR_D
) -> float:
    """K of rate = K W / (A T D), with W in g, A in cm², T in h and D in g/cm³ (ASTM G1, clause 8).

    Parameters
    ----------
    unit : str
        A unit of depth or of mass over time. mdd is mg/(dm² d).
    density_g_per_cm3 : float, optional
        Needed for units of mass, where K holds the density as a factor that cancels.
    year_d : float, optional
        Days in a year; 365 gives the constants of the standard.

    Raises
    ------
    ValueError
        If a unit of mass comes without a density, or the density is not above 0.
    """
    if unit == "pm_per_s":
        return 1e10 / 3600
    if unit in _PER_CM:
        return _PER_CM[unit] * year_d * 24
    if density_g_per_cm3 is None:
        raise ValueError(f"{unit} needs the density")
    _refuse_nothing(density_g_per_cm3=density_g_per_cm3)
    return _PER_G_PER_CM2_H[unit] * density_g_per_cm3


def mass_loss_rate(
    mass_loss_g: float,
    area_cm2: float,
    time_h: float,
    density_g_per_cm3: float,
    unit: RateUnit = "mm_per_y",
    *,
    year_d: float = YEAR_D,
) -> float:
    """Average rate of a mass loss (ASTM G1, clause 8).

    Parameters
    ----------
    mass_loss_g : float
    area_cm2 : float
        Exposed surface.
    time_h : float
    density_g_per_cm3 : float
    unit : str, optional
    year_d : float, optional
        Days in a year; 365 gives the standard's figures.

    Raises
    ------
    ValueError
        If area, time or density is not above 0.
    """
    _refuse_nothing(area_cm2=area_cm2, time_h=time_h, density_g_per_cm3=density_g_per_cm3)
    constant = mass_loss_constant(unit, density_g_per_cm3, year_d=year_d)
    return constant * mass_loss_g / (area_cm2 * time_h * density_g_per_cm3)


def _refuse_nothing(**given: float) -> None:
    for name, value in given.items():
        if not value > 0:
            raise ValueError(f"{name} must be above 0, got {value!r}")

"""Hydrogen evolved: volume at a temperature and pressure, wet or dry, to metal dissolved and its rate."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from surfscan.immersion.estimates import RateEstimate, refused_rate
from surfscan.immersion.series import cumulative_series, series_rates
from surfscan.immersion.settings import ImmersionSettings
from surfscan.materials.dissolution import dissolution_of
from surfscan.materials.material import Material

GAS_CONSTANT = 8.31446261815324
"""J/(mol K) (CODATA 2018, exact; from memory)."""

ATMOSPHERE_KPA = 101.325

LEAST_KPA, LARGEST_KPA = 50.0, 120.0
"""Pressures of rooms on earth, with some to spare; others were given in another unit."""

HYDROGEN_HELD_ML_PER_ML = 0.019
"""Hydrogen that water saturated at 1 atm and 25 °C holds, mL of gas per mL: Henry's constant, 7.8e-4
mol/(L atm), times 24.5 L/mol (from memory)."""

REASONS = (
    "bubbles held on the surface and the vessel, and hydrogen dissolved or lost, are not in the volume",
    "metal oxidised by dissolved oxygen, or shed undissolved, gives no hydrogen",
)

_CRITICAL_K, _CRITICAL_KPA = 647.096, 22064.0
_TERMS = (
    (-7.85951783, 1.0),
    (1.84408259, 1.5),
    (-11.7866497, 3.0),
    (22.6807411, 3.5),
    (-15.9618719, 4.0),
    (1.80122502, 7.5),
)
_COLUMN_KPA_PER_CM = 0.0980665  # water at 1 g/cm³


@dataclass(frozen=True)
class GasRates:
    """Rate from hydrogen evolved.

    Attributes
    ----------
    estimate : RateEstimate
        From the first reading to the last.
    intervals : tuple of RateEstimate
        Between successive readings, where there are more than two.
    hydrogen_mmol : ndarray of shape (n,)
        Hydrogen at each reading, blank subtracted.
    metal_mg : ndarray of shape (n,)
        Metal dissolved at each reading.
    metal_mg_per_mL : float or None
        Metal for 1 mL of this gas, at the first temperature and pressure.
    held_mL : float or None
        Hydrogen that the solution may hold, where its volume is known.
    """

    estimate: RateEstimate
    intervals: tuple[RateEstimate, ...]
    hydrogen_mmol: np.ndarray
    metal_mg: np.ndarray
    metal_mg_per_mL: float | None
    held_mL: float | None = None

    def as_dict(self) -> dict[str, Any]:
        """Ready for JSON."""
        out = {name: getattr(self, name) for name in self.__dataclass_fields__}
        out["estimate"] = self.estimate.as_dict()
        out["intervals"] = [each.as_dict() for each in self.intervals]
        return out


def water_vapour_kPa(temperature_degC: ArrayLike) -> np.ndarray:
    """Saturation pressure of water vapour, kPa.

    Parameters
    ----------
    temperature_degC : array_like
        0.01 to 373 °C.

    Notes
    -----
    The saturation-pressure equation of W. Wagner and A. Pruss, J. Phys. Chem. Ref. Data 31 (2002) 387, Eq 2.5
    (coefficients from memory; checked at 0.01, 20, 25, 37 and 100 °C). Solutions have a little less: 0.5 % of
    it in 0.9 % NaCl.
    """
    kelvin = np.asarray(temperature_degC, dtype=np.float64) + 273.15
    distance = 1 - kelvin / _CRITICAL_K
    powers = sum(a * distance**n for a, n in _TERMS)
    return _CRITICAL_KPA * np.exp(_CRITICAL_K / kelvin * powers)


def hydrogen_mmol(
    volume_mL: ArrayLike,
    temperature_degC: ArrayLike,
    pressure_kPa: ArrayLike = ATMOSPHERE_KPA,
    *,
    is_wet: bool = True,
    column_cm: ArrayLike = 0.0,
) -> np.ndarray:
    """Amount of gas in a volume, mmol, by the gas law less the water vapour.

    Parameters
    ----------
    volume_mL, temperature_degC, pressure_kPa : array_like
        Of the gas. The pressure is that of the air in the room.
    is_wet : bool, optional
        Whether it stood over water or solution.
    column_cm : array_like, optional
        Height of the solution inside the burette above that outside; it lowers the pressure of the gas.

    Raises
    ------
    ValueError
        If a temperature is not between 0 and 100 °C, or no pressure is left for the gas.
    """
    temperature = np.asarray(temperature_degC, dtype=np.float64)
    if not ((temperature >= 0) & (temperature < 100)).all():
        raise ValueError(f"the temperature of the gas must be 0 to 100 °C, got {temperature.tolist()!r}")
    room = np.asarray(pressure_kPa, dtype=np.float64)
    if not ((room >= LEAST_KPA) & (room <= LARGEST_KPA)).all():
        raise ValueError(
            f"the pressure must be {LEAST_KPA:g} to {LARGEST_KPA:g} kPa, 101.3 at sea level; got "
            f"{room.tolist()!r}"
        )
    vapour = water_vapour_kPa(temperature) if is_wet else 0.0
    column = _COLUMN_KPA_PER_CM * np.asarray(column_cm, dtype=np.float64)
    dry = room - vapour - column
    if not (dry > 0).all():
        raise ValueError(
            "no pressure is left for the gas after water vapour and column; is it in kPa, 101.3 at sea level?"
        )
    return dry * np.asarray(volume_mL, dtype=np.float64) / (GAS_CONSTANT * (temperature + 273.15))


def gas_rates(
    hours: ArrayLike,
    volume_mL: ArrayLike,
    *,
    material: Material,
    area_cm2: float,
    temperature_degC: ArrayLike,
    pressure_kPa: ArrayLike = ATMOSPHERE_KPA,
    column_cm: ArrayLike = 0.0,
    blank_mL: ArrayLike = 0.0,
    area_relative_uncertainty: float | None = None,
    is_hydrogen_only: bool = False,
    solution_mL: float | None = None,
    settings: ImmersionSettings | None = None,
) -> GasRates:
    """Rates from hydrogen collected over time.

    Parameters
    ----------
    hours : array_like of shape (n,)
        Time of each reading since immersion; unless the first is at 0 h or 0 mL, they count from there.
    volume_mL : array_like of shape (n,)
        Gas collected up to then.
    material : Material
        Moles of hydrogen per mole of metal follow from its valences: half their electrons.
    area_cm2 : float
    temperature_degC, pressure_kPa, column_cm : array_like
        As in `hydrogen_mmol`, one for all readings or one each.
    blank_mL : array_like, optional
        What a cell without specimen showed at the same times; one number is what it showed at the last
        reading, evenly from 0 h.
    area_relative_uncertainty : float, optional
    is_hydrogen_only : bool, optional
        State that hydrogen is the only cathodic reaction (deaerated or acid solution), for metals that else
        dissolve by oxygen.
    solution_mL : float, optional
        Volume of the solution, for the hydrogen that it may hold.
    settings : ImmersionSettings, optional

    Raises
    ------
    ValueError
        If readings cannot be: times not rising, lengths that differ, area not above 0.
    InputError
        If the equivalent weight is not known.
    """
    chosen = settings or ImmersionSettings()
    series = cumulative_series(hours, volume_mL, "volume_mL")
    times, volumes = series.hours, series.readings
    temperature = series.beside(temperature_degC, "temperature_degC")
    pressure = series.beside(pressure_kPa, "pressure_kPa")
    column = series.beside(column_cm, "column_cm")
    blank = series.blank(blank_mL, "blank_mL")
    wet = chosen.gas_is_wet
    amounts = hydrogen_mmol(volumes - blank, temperature, pressure, is_wet=wet, column_cm=column)
    why = _why_not(material, is_hydrogen_only)
    if why:
        refused = refused_rate("gas", why, float(times[0]), float(times[-1]))
        return GasRates(refused, (), amounts, np.full(len(times), np.nan), None)
    weight = material.known_equivalent_weight().value
    metal = amounts * 2 * weight

    def per_mL(warmer: float = 0.0, higher: float = 0.0) -> float:
        one = hydrogen_mmol(
            1.0, temperature[0] + warmer, pressure[0] + higher, is_wet=wet, column_cm=column[0]
        )
        return float(one) * 2 * weight

    factor, step = per_mL(), 0.01
    reading = factor * chosen.gas_volume_uncertainty_mL * (math.sqrt(2) if np.any(blank) else 1.0)
    warnings = []
    held = None if solution_mL is None else HYDROGEN_HELD_ML_PER_ML * solution_mL
    total = float(volumes[-1])
    if held is not None and held > 0.05 * total:
        warnings.append(
            f"The solution can hold up to {held:.2g} mL of hydrogen beside the {total:.3g} mL collected: "
            "saturate it with hydrogen first, or collect more."
        )
    if is_hydrogen_only:
        warnings.append("That hydrogen is the only cathodic reaction was stated, not checked.")
    estimate, intervals = series_rates(
        "gas",
        times,
        metal,
        reading,
        relative={
            "gas temperature": abs(per_mL(warmer=step) / factor - 1)
            / step
            * chosen.gas_temperature_uncertainty_degC,
            "gas pressure": abs(per_mL(higher=step) / factor - 1)
            / step
            * chosen.gas_pressure_uncertainty_kPa,
        },
        cause="volume readings",
        area_cm2=area_cm2,
        area_relative_uncertainty=area_relative_uncertainty,
        time_uncertainty_h=chosen.time_uncertainty_h,
        density=material.density_g_per_cm3,
        bias="reads low",
        reasons=REASONS,
        warnings=tuple(warnings),
    )
    return GasRates(estimate, intervals, amounts, metal, factor, held)


def _why_not(material: Material, is_hydrogen_only: bool) -> str:
    known = dissolution_of(material)
    if is_hydrogen_only or (known is not None and known.gives_hydrogen):
        return ""
    if known is None:
        return (
            f"Whether {material.name} gives hydrogen by which its loss could be counted is not known here. "
            "If hydrogen is the only cathodic reaction in this solution, state so."
        )
    return (
        f"Hydrogen does not tell how much {material.name} dissolved: {known.hydrogen_reason}. "
        "If the solution is acid or free of oxygen, state that hydrogen is the only cathodic reaction."
    )

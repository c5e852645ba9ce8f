"""Acid dosed to hold the pH, to metal dissolved and its rate: 2 H+ for each atom of Mg or Zn."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from surfscan.immersion.estimates import Bias, RateEstimate, refused_rate
from surfscan.immersion.series import cumulative_series, series_rates
from surfscan.immersion.settings import ImmersionSettings
from surfscan.materials.dissolution import acid_weights, dissolution_of
from surfscan.materials.material import Material

LOW_PRECIPITATE = "hydroxide, phosphate or carbonate that precipitates keeps OH- from the acid"
LOW_CARBON_DIOXIDE = "carbon dioxide taken up, or used to hold the pH, is acid that was not counted"
HIGH_BICARBONATE = "bicarbonate that loses carbon dioxide to the air takes acid without any metal dissolving"


@dataclass(frozen=True)
class AcidRates:
    """Rate from acid dosed.

    Attributes
    ----------
    estimate : RateEstimate
        From the first reading to the last.
    intervals : tuple of RateEstimate
        Between successive readings, where there are more than two.
    acid_mmol : ndarray of shape (n,)
        H+ dosed up to each reading, blank subtracted.
    metal_mg : ndarray of shape (n,)
    metal_mg_per_mL : float or None
        Metal for 1 mL of this acid.
    """

    estimate: RateEstimate
    intervals: tuple[RateEstimate, ...]
    acid_mmol: np.ndarray
    metal_mg: np.ndarray
    metal_mg_per_mL: float | None

    def as_dict(self) -> dict[str, Any]:
        """Ready for JSON."""
        out = {name: getattr(self, name) for name in self.__dataclass_fields__}
        out["estimate"] = self.estimate.as_dict()
        out["intervals"] = [each.as_dict() for each in self.intervals]
        return out


def metal_of_acid_mg(acid_mmol: ArrayLike, material: Material) -> np.ndarray:
    """Metal that an amount of H+ stands for, mg: m = C V M / 2 for a pure metal of valence 2.

    In alloys each element binds as many H+ as its valence.

    Raises
    ------
    InputError
        If no equivalent weight is known.
    """
    return np.asarray(acid_mmol, dtype=np.float64) * material.known_equivalent_weight().value


def why_no_acid_rate(material: Material) -> str:
    """Why the acid dosed does not tell how much of a material dissolved; empty where it does."""
    known = dissolution_of(material)
    if known is None:
        return f"How much acid {material.name} takes as it dissolves is not known here: only Mg and Zn are."
    if not known.takes_acid:
        return f"Acid does not tell how much {material.name} dissolved: {known.acid_reason}."
    return ""


def acid_rates(
    hours: ArrayLike,
    volume_mL: ArrayLike,
    *,
    concentration_mol_per_L: float,
    material: Material,
    area_cm2: float,
    protons: int = 1,
    blank_mL: ArrayLike = 0.0,
    area_relative_uncertainty: float | None = None,
    has_precipitate: bool = True,
    takes_up_carbon_dioxide: bool = False,
    has_bicarbonate: bool = False,
    settings: ImmersionSettings | None = None,
) -> AcidRates:
    """Rates from the acid that held the pH of the bath.

    Parameters
    ----------
    hours : array_like of shape (n,)
        Time of each reading since immersion; unless the first is at 0 h or 0 mL, they count from there.
    volume_mL : array_like of shape (n,)
        Acid dosed up to then.
    concentration_mol_per_L : float
    material : Material
    area_cm2 : float
        Wetted surface of all specimens in the bath.
    protons : int, optional
        H+ that one molecule of the acid gives up at the pH held: 1 for HCl.
    blank_mL : array_like, optional
        What the same bath without specimen took up to the same times; one number is what it took up to the
        last reading, evenly from 0 h.
    area_relative_uncertainty : float, optional
    has_precipitate : bool, optional
        Whether hydroxide, phosphate or carbonate may precipitate. True unless known otherwise: close to a
        corroding surface it is the rule.
    takes_up_carbon_dioxide : bool, optional
        Whether carbon dioxide is taken up or used to hold the pH.
    has_bicarbonate : bool, optional
        Whether the medium holds bicarbonate and is open to the air.
    settings : ImmersionSettings, optional

    Raises
    ------
    ValueError
        If readings, concentration or area cannot be.
    InputError
        If the equivalent weight is not known.
    """
    chosen = settings or ImmersionSettings()
    if not 0 < concentration_mol_per_L < 20:
        raise ValueError(f"the acid must be above 0 and below 20 mol/L, got {concentration_mol_per_L!r}")
    if protons not in (1, 2, 3):
        raise ValueError(f"protons must be 1, 2 or 3, got {protons!r}")
    series = cumulative_series(hours, volume_mL, "volume_mL")
    times, volumes = series.hours, series.readings
    blank = series.blank(blank_mL, "blank_mL")
    per_mL = concentration_mol_per_L * protons
    amounts = per_mL * (volumes - blank)
    why = why_no_acid_rate(material)
    if why:
        refused = refused_rate("acid", why, float(times[0]), float(times[-1]))
        return AcidRates(refused, (), amounts, np.full(len(times), np.nan), None)
    metal = metal_of_acid_mg(amounts, material)
    factor = float(metal_of_acid_mg(per_mL, material))
    bias, reasons = _bias(has_precipitate, takes_up_carbon_dioxide, has_bicarbonate)
    warnings = (
        []
        if np.any(blank)
        else ["No blank dosing was subtracted: what the bath itself takes counts as metal."]
    )
    if not bias:
        warnings.append(
            "The acid may read low and high at once: the rate has no bound on either side."
            if reasons
            else "That nothing but the metal takes acid was stated, not checked."
        )
    by_valence, by_base = acid_weights(material)
    if by_base > 1.01 * by_valence:
        warnings.append(
            "Alloying elements are taken to bind acid by their valence; if they precipitate and bind none, "
            f"the rate is {100 * (by_base / by_valence - 1):.2g} % higher."
        )
    estimate, intervals = series_rates(
        "acid",
        times,
        metal,
        factor * chosen.acid_volume_uncertainty_mL * (math.sqrt(2) if np.any(blank) else 1.0),
        relative={"titre and pump": chosen.acid_relative_uncertainty},
        cause="volume readings",
        area_cm2=area_cm2,
        area_relative_uncertainty=area_relative_uncertainty,
        time_uncertainty_h=chosen.time_uncertainty_h,
        density=material.density_g_per_cm3,
        bias=bias,
        reasons=reasons,
        warnings=tuple(warnings),
    )
    return AcidRates(estimate, intervals, amounts, metal, factor)


def _bias(precipitate: bool, takes_up: bool, bicarbonate: bool) -> tuple[Bias, tuple[str, ...]]:
    low = ((LOW_PRECIPITATE,) if precipitate else ()) + ((LOW_CARBON_DIOXIDE,) if takes_up else ())
    high = (HIGH_BICARBONATE,) if bicarbonate else ()
    direction: Bias = "" if bool(low) == bool(high) else ("reads low" if low else "reads high")
    return direction, (*low, *high)

"""Practice of immersion tests: volume of solution for a surface, and how long to expose.

After ASTM G31 (from memory): 20 mL/cm² or more, preferably 40; and, for a moderate rate, 2000 over the rate
in mpy as the least hours. A secondary source gives 250 mL/cm² as preferred, a slip for 250 mL per square
inch.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

LEAST_ML_PER_CM2 = 20.0
PREFERRED_ML_PER_CM2 = 40.0
MPY_HOURS = 2000.0
_MPY_PER_MM_PER_Y = 1000 / 25.4

SOURCE = "ASTM G31, from memory"


@dataclass(frozen=True)
class SolutionRatio:
    """Volume of solution for each cm² of wetted surface.

    Attributes
    ----------
    mL_per_cm2 : float
    verdict : str
        "preferred", "acceptable" or "too little".
    warnings : tuple of str
    source : str
    """

    mL_per_cm2: float
    verdict: str
    warnings: tuple[str, ...]
    source: str = SOURCE

    def as_dict(self) -> dict[str, Any]:
        """Ready for JSON."""
        return {name: getattr(self, name) for name in self.__dataclass_fields__}


def solution_ratio(volume_mL: float, area_cm2: float) -> SolutionRatio:
    """Check the volume of solution against practice.

    Parameters
    ----------
    volume_mL : float
        Of the bath, or of what passes in one change of it.
    area_cm2 : float
        Wetted surface of everything in it.

    Raises
    ------
    ValueError
        If either is not above 0.
    """
    _refuse_nothing(volume_mL=volume_mL, area_cm2=area_cm2)
    ratio = volume_mL / area_cm2
    if ratio >= PREFERRED_ML_PER_CM2:
        return SolutionRatio(ratio, "preferred", ())
    if ratio >= LEAST_ML_PER_CM2:
        return SolutionRatio(ratio, "acceptable", ())
    warning = (
        f"The solution is {ratio:.3g} mL for each cm²; practice is {LEAST_ML_PER_CM2:g} or more, preferably "
        f"{PREFERRED_ML_PER_CM2:g} ({SOURCE}). What dissolves changes the solution, and the rate with it: "
        "take more solution, change it, or hold pH and say so."
    )
    return SolutionRatio(ratio, "too little", (warning,))


def least_hours(rate_mm_per_y: float) -> float:
    """Hours of exposure for a rate: 2000 over the rate in mpy, about 50 over that in mm/y.

    Raises
    ------
    ValueError
        If the rate is not above 0.
    """
    _refuse_nothing(rate_mm_per_y=rate_mm_per_y)
    return MPY_HOURS / (rate_mm_per_y * _MPY_PER_MM_PER_Y)


def exposure_warning(hours: float, rate_mm_per_y: float | None) -> str:
    """What to say of an exposure too short for its rate; empty where long enough or the rate is not known."""
    if rate_mm_per_y is None or rate_mm_per_y <= 0:
        return ""
    least = least_hours(rate_mm_per_y)
    if hours >= least:
        return ""
    return (
        f"{hours:.3g} h are short for {rate_mm_per_y:.2g} mm/y: practice is 2000 over the rate in mpy, "
        f"{least:.0f} h ({SOURCE}). The start of the exposure, which is seldom typical, weighs too much."
    )


def _refuse_nothing(**given: float) -> None:
    for name, value in given.items():
        if not 0 < value < math.inf:
            raise ValueError(f"{name} must be above 0, got {value!r}")

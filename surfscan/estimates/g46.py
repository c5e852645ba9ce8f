"""Density, size and depth classes of the rating chart of ASTM G46.

The chart shows pictures at five nominal values for density (A), opening size (B) and depth (C); it does
not say how to rate what lies between. The rule here: the class whose nominal value is nearest on a
logarithmic scale. What lies beyond the first or the last nominal value is outside the chart and is said to
be, not pressed into class 1 or 5: nothing is extrapolated. Pits on thin parts are mostly far smaller than
the chart's smallest and far denser than its densest; the measured figures then say more than any class.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

DENSITY_NOMINAL_PER_M2 = (2.5e3, 1e4, 5e4, 1e5, 5e5)
"""Nominal densities of classes A1 to A5, pits per m² (ASTM G46 Fig. 2; values recalled from memory)."""

SIZE_NOMINAL_MM2 = (0.5, 2.0, 8.0, 12.5, 24.5)
"""Nominal pit openings of classes B1 to B5, mm² (ASTM G46 Fig. 2; values recalled from memory)."""

DEPTH_NOMINAL_MM = (0.4, 0.8, 1.6, 3.2, 6.4)
"""Nominal depths of classes C1 to C5, mm (ASTM G46 Fig. 2; values recalled from memory)."""

_ROUNDING = 1e-9


@dataclass(frozen=True)
class G46Rating:
    """Rating of one surface.

    Attributes
    ----------
    density_class : str or None
        "A1" to "A5", or what lies outside the chart in words; None where too little was seen to rate.
    size_class : str or None
        "B1" to "B5", or what lies outside the chart in words; None without pits.
    warnings : tuple of str
        Contradictions between density and size.
    """

    density_class: str | None
    size_class: str | None
    warnings: tuple[str, ...]


def density_class(pits_per_mm2: float) -> str:
    """Density class of ASTM G46.

    Parameters
    ----------
    pits_per_mm2 : float
        Pit density, 1/mm².

    Returns
    -------
    str
        "A1" to "A5", "above A5 (outside chart)" or "below A1 (outside chart)".

    Raises
    ------
    ValueError
        If the density is negative or not finite.
    """
    return _nearest_class("A", pits_per_mm2 * 1e6, DENSITY_NOMINAL_PER_M2)


def size_class(mean_area_um2: float) -> str:
    """Size class of ASTM G46.

    Parameters
    ----------
    mean_area_um2 : float
        Mean area of the pit openings, µm².

    Returns
    -------
    str
        "B1" to "B5", "above B5 (outside chart)" or "below B1 (outside chart)".

    Raises
    ------
    ValueError
        If the area is negative or not finite.
    """
    return _nearest_class("B", mean_area_um2 * 1e-6, SIZE_NOMINAL_MM2)


def depth_class(mean_depth_um: float) -> str:
    """Depth class of ASTM G46.

    Parameters
    ----------
    mean_depth_um : float
        Mean depth of the pits, µm.

    Returns
    -------
    str
        "C1" to "C5", "above C5 (outside chart)" or "below C1 (outside chart)".

    Raises
    ------
    ValueError
        If the depth is negative or not finite.
    """
    return _nearest_class("C", mean_depth_um * 1e-3, DEPTH_NOMINAL_MM)


def depth_class_of(depths_um: np.ndarray) -> str | None:
    """Class of the mean depth of some pits, those of unknown depth (not-a-number) left out.

    Pits that a person outlined may lie above the surface round about; a mean below 0 is rated as 0.

    Parameters
    ----------
    depths_um : ndarray of shape (n,)
        µm.

    Returns
    -------
    str or None
        See `depth_class`; None where no depth is known.
    """
    known = depths_um[~np.isnan(depths_um)]
    return depth_class(max(float(np.mean(known)), 0.0)) if known.size else None


def rate(
    pits_per_mm2: float, mean_area_um2: float | None, *, upper_per_mm2: float | None = None
) -> G46Rating:
    """Rate a surface by pit density and mean opening.

    Parameters
    ----------
    pits_per_mm2 : float
        Pit density, 1/mm².
    mean_area_um2 : float or None
        Mean area of the pit openings, µm²; None without pits.
    upper_per_mm2 : float, optional
        Upper 95 % limit of the density. Where no pit was counted the surface is rated by it alone: a small
        field without a pit does not show that there are few.

    Returns
    -------
    G46Rating
        With a warning where density times mean opening exceeds 1: pits cannot cover more than the surface.
        (The chart's own columns are independent: A5 with B5 would be 12 times the surface.)

    Raises
    ------
    ValueError
        If a figure is negative or not finite.
    """
    warnings: tuple[str, ...] = ()
    if mean_area_um2 is not None:
        covered = pits_per_mm2 * mean_area_um2 * 1e-6
        if covered > 1 + _ROUNDING:
            warnings = (
                f"Pit density times mean opening gives {covered:.3g} of the surface, more than all of it: "
                "check the pixel size and the outlines.",
            )
    size = None if mean_area_um2 is None else size_class(mean_area_um2)
    if pits_per_mm2 == 0 and upper_per_mm2 is not None and upper_per_mm2 * 1e6 >= DENSITY_NOMINAL_PER_M2[0]:
        unseen = (
            f"No pit was counted, but up to {upper_per_mm2:.3g} pits per mm² would agree with that, more "
            "than class A1: no density class. Take a larger field.",
        )
        return G46Rating(None, size, warnings + unseen)
    return G46Rating(density_class(pits_per_mm2), size, warnings)


def _nearest_class(letter: str, value: float, nominal: tuple[float, ...]) -> str:
    if not (math.isfinite(value) and value >= 0):
        raise ValueError(f"a figure to rate must be finite and 0 or above, got {value!r}")
    if value < nominal[0] * (1 - _ROUNDING):
        return f"below {letter}1 (outside chart)"
    if value > nominal[-1] * (1 + _ROUNDING):
        return f"above {letter}{len(nominal)} (outside chart)"
    distance = [abs(math.log(value / n)) for n in nominal]
    return f"{letter}{distance.index(min(distance)) + 1}"

"""Cyclic sweeps: breakdown and protection potential, hysteresis, and reactions that are no breakdown.

Breakdown is a rise of the current over the passive one (`passivity`) that the reverse run does not
retrace: pits that formed go on. A rise that is retraced is uniform: above the equilibrium of oxygen and
water it may be oxygen evolution, below it transpassive dissolution or another reaction. Rules after ASTM
G61 and F2129, from memory; the limits are settings.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from surfscan.electrochemistry.passivity import (
    CurrentRise,
    PassiveStretch,
    Transients,
    find_passive_stretch,
    find_rise,
    find_transients,
)
from surfscan.electrochemistry.zero_current import rising

OXYGEN_WATER_25_DEGC_V = 1.229
OXYGEN_V_PER_PH = 0.05916
OXYGEN_V_PER_K = -0.000846
"""Equilibrium of O2 (1 atm) and water against SHE at 25 °C and pH 0, its slope with pH, and its temperature
coefficient (handbooks, from memory)."""

_LARGEST_PH = 14.0
_COMPARED = 200
_FEWEST_COMPARED = 8
_NEAR_VERTEX = 0.02

RiseKind = str


@dataclass(frozen=True)
class CyclicRules:
    """See the settings of the same names."""

    passive_least_span_V: float = 0.1
    passive_least_slope_V_per_decade: float = 0.5
    breakdown_factor: float = 10.0
    breakdown_density_uA_per_cm2: float | None = 100.0
    hysteresis_least_decades: float = 0.15


@dataclass(frozen=True)
class CyclicSweep:
    """What a forward run and its reverse say of passivity.

    Attributes
    ----------
    passive : PassiveStretch or None
    rise : CurrentRise
    kind : str
        What the rise is: "none", "breakdown", "oxygen evolution", "uniform reaction" or "undecided".
    vertex_V : float
        Highest potential of the forward run.
    breakdown_V : float or None
        None where there is none, or none can be told.
    breakdown_at_least_V : float or None
        The vertex where there was no breakdown up to it: the breakdown potential is this or more.
    breakdown_at_fixed_density_V : float or None
    protection_V : float or None
        Where the reverse run first meets the forward run below the vertex, after a breakdown.
    protection_at_most_V : float or None
        Lowest potential of the reverse run where it does not meet the forward run.
    hysteresis_decades : float or None
        Mean of log10 of reverse over forward current between rise and vertex; positive for pits.
    hysteresis_uA_V_per_cm2 : float or None
        Area of the loop: integral of reverse less forward current over the potentials both have.
    transients : Transients
    refused : str
        Why there is no passive stretch.
    warnings : tuple of str
    """

    passive: PassiveStretch | None
    rise: CurrentRise
    kind: RiseKind
    vertex_V: float
    breakdown_V: float | None = None
    breakdown_at_least_V: float | None = None
    breakdown_at_fixed_density_V: float | None = None
    protection_V: float | None = None
    protection_at_most_V: float | None = None
    hysteresis_decades: float | None = None
    hysteresis_uA_V_per_cm2: float | None = None
    transients: Transients = field(default_factory=lambda: Transients(0))
    refused: str = ""
    warnings: tuple[str, ...] = ()


def oxygen_equilibrium_V_SHE(pH: float, temperature_degC: float = 25.0) -> float:
    """Equilibrium potential of oxygen (1 atm) and water against SHE, V; no oxygen evolves below it.

    E = 1.229 - 0.846e-3 (t - 25) - 0.05916 (t + 273.15) / 298.15 pH (handbooks, from memory).

    Examples
    --------
    >>> round(oxygen_equilibrium_V_SHE(7.4), 3)
    0.791
    """
    warmer = temperature_degC - 25.0
    nernst = OXYGEN_V_PER_PH * (temperature_degC + 273.15) / 298.15
    return OXYGEN_WATER_25_DEGC_V + OXYGEN_V_PER_K * warmer - nernst * pH


def analyse_cyclic(
    forward_V: np.ndarray,
    forward_uA_per_cm2: np.ndarray,
    zero_V: float,
    reverse_V: np.ndarray | None = None,
    reverse_uA_per_cm2: np.ndarray | None = None,
    *,
    rules: CyclicRules | None = None,
    oxygen_V: float | None = None,
    lowest_oxygen_V: float | None = None,
) -> CyclicSweep:
    """Passive current, breakdown, protection and hysteresis.

    Parameters
    ----------
    forward_V, forward_uA_per_cm2 : ndarray of shape (n,)
        The run towards the vertex.
    zero_V : float
        Its zero-current potential.
    reverse_V, reverse_uA_per_cm2 : ndarray of shape (m,), optional
        The run back; without it a rise above the oxygen line stays undecided.
    rules : CyclicRules, optional
    oxygen_V : float, optional
        Equilibrium of oxygen and water at the pH of the solution, against the electrode of the sweep.
    lowest_oxygen_V : float, optional
        The same at pH 14: a rise below it is no oxygen evolution whatever the pH.

    Returns
    -------
    CyclicSweep

    Raises
    ------
    ValueError
        As `rising`.
    """
    rules = rules or CyclicRules()
    potential, density = rising(forward_V, forward_uA_per_cm2)
    vertex = float(potential[-1])
    passive = find_passive_stretch(
        potential,
        density,
        zero_V,
        span_V=rules.passive_least_span_V,
        least_slope_V_per_decade=rules.passive_least_slope_V_per_decade,
    )
    if isinstance(passive, str):
        return CyclicSweep(None, CurrentRise(None, None, None), "none", vertex, refused=passive)
    rise = find_rise(
        potential,
        density,
        passive,
        factor=rules.breakdown_factor,
        fixed_uA_per_cm2=rules.breakdown_density_uA_per_cm2,
    )
    back = None
    if reverse_V is not None and reverse_uA_per_cm2 is not None:
        back = rising(reverse_V, reverse_uA_per_cm2)
    ends = vertex if rise.rise_V is None else rise.rise_V
    transients = find_transients(potential, density, passive.window_V[0], ends)
    compared = None if back is None else _compare(potential, density, *back)
    area = None if compared is None else _loop_area(*compared)
    decades = None
    if compared is not None:
        start = passive.window_V[0] if rise.rise_V is None else rise.rise_V
        decades = _hysteresis(compared, start, vertex)
    kind, warnings = _kind(rise, decades, rules, oxygen_V, lowest_oxygen_V)
    broken = kind == "breakdown"
    protection, at_most = None, None
    if broken and compared is not None:
        protection = _protection(compared)
        at_most = float(compared[0][0]) if protection is None else None
        if protection is None:
            warnings.append(
                f"The reverse run does not meet the forward run down to {at_most:.3f} V: the protection "
                "potential is "
                "lower, or there is none."
            )
    elif broken:
        warnings.append("There is no reverse run, so no protection potential.")
    if transients.count:
        warnings.append(
            f"{transients.count} short rises of the passive current that healed, from "
            f"{transients.first_V:.3f} V: "
            "metastable pits, or a poor contact."
        )
    return CyclicSweep(
        passive,
        rise,
        kind,
        vertex,
        breakdown_V=rise.rise_V if broken else None,
        breakdown_at_least_V=None if broken or kind == "undecided" else vertex,
        breakdown_at_fixed_density_V=rise.fixed_V if broken else None,
        protection_V=protection,
        protection_at_most_V=at_most,
        hysteresis_decades=decades,
        hysteresis_uA_V_per_cm2=area,
        transients=transients,
        warnings=tuple(warnings),
    )


def _compare(
    forward_V: np.ndarray, forward: np.ndarray, reverse_V: np.ndarray, reverse: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray] | None:
    """Potentials that both runs have, and their currents there; None where they share too few."""
    low, high = max(forward_V[0], reverse_V[0]), min(forward_V[-1], reverse_V[-1])
    inside = (forward_V >= low) & (forward_V <= high)
    if np.count_nonzero(inside) < _FEWEST_COMPARED or high <= low:
        return None
    at = np.linspace(low, high, max(_COMPARED, min(int(np.count_nonzero(inside)), 4000)))
    return at, np.interp(at, forward_V, forward), np.interp(at, reverse_V, reverse)


def _loop_area(potential: np.ndarray, forward: np.ndarray, reverse: np.ndarray) -> float:
    excess = reverse - forward
    return float((np.diff(potential) * (excess[1:] + excess[:-1]) / 2).sum())


def _hysteresis(
    compared: tuple[np.ndarray, np.ndarray, np.ndarray], from_V: float, vertex_V: float
) -> float | None:
    """Mean log10 of reverse over forward current between a potential and the vertex."""
    at, forward, reverse = compared
    inside = (at >= from_V) & (at <= vertex_V) & (forward > 0)
    if np.count_nonzero(inside) < 2:
        return None
    least = 1e-3 * forward[inside]
    return float(np.mean(np.log10(np.maximum(reverse[inside], least) / forward[inside])))


def _protection(compared: tuple[np.ndarray, np.ndarray, np.ndarray]) -> float | None:
    """Highest potential below the vertex at which the reverse run falls to the forward run."""
    at, forward, reverse = compared
    excess = reverse - forward
    below_vertex = at < at[-1] - _NEAR_VERTEX * (at[-1] - at[0])
    above = np.flatnonzero(below_vertex & (excess > 0))
    if not above.size:
        return None
    top = int(above[-1])
    falls = np.flatnonzero(excess[:top] <= 0)
    if not falls.size:
        return None
    k = int(falls[-1])
    share = -excess[k] / (excess[k + 1] - excess[k])
    return float(at[k] + share * (at[k + 1] - at[k]))


def _kind(
    rise: CurrentRise,
    decades: float | None,
    rules: CyclicRules,
    oxygen_V: float | None,
    lowest_oxygen_V: float | None,
) -> tuple[RiseKind, list[str]]:
    """What a rise is, and what to say of it."""
    if rise.rise_V is None or rise.exceeds_V is None:
        return "none", []
    at = f"The current rises at {rise.rise_V:.3f} V"
    may_be_oxygen = oxygen_V is None or rise.exceeds_V >= oxygen_V
    if oxygen_V is None and lowest_oxygen_V is not None:
        may_be_oxygen = rise.exceeds_V >= lowest_oxygen_V
    if decades is not None:
        if decades > rules.hysteresis_least_decades:
            return "breakdown", []
        if oxygen_V is not None and may_be_oxygen:
            return "oxygen evolution", [
                f"{at}, above the equilibrium of oxygen and water ({oxygen_V:.3f} V), and the reverse "
                "run retraces "
                "it: oxygen evolution, or transpassive dissolution with it, and no breakdown."
            ]
        why = "State pH and reference electrode to tell oxygen evolution." if oxygen_V is None else ""
        return "uniform reaction", [
            f"{at} and the reverse run retraces it: transpassive dissolution or another uniform "
            "reaction, and no "
            f"breakdown. {why}".strip()
        ]
    if not may_be_oxygen:
        return "breakdown", [f"{at}; without a reverse run hysteresis is not checked."]
    return "undecided", [
        f"{at}, but there is no reverse run, and oxygen evolution or transpassive dissolution cannot be "
        "ruled out: no "
        "breakdown potential. Reverse the sweep, or state pH and reference electrode."
    ]

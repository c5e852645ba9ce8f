"""Cyclic sweeps: breakdown and protection potential, hysteresis, and reactions that are no breakdown.

Breakdown is a rise of the current over the passive one (`passivity`) after which the reverse run carries
more than the forward run (`loop`): pits that formed go on. A rise without that is uniform: above the
equilibrium of oxygen and water it may be oxygen evolution, below it transpassive dissolution or another
reaction. A loop without a rise is a breakdown near the vertex, or undecided. Rules after ASTM G61 and F2129,
from memory; the limits are settings.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from surfscan.electrochemistry.loop import (
    Closing,
    carries,
    compare_runs,
    find_closing,
    hysteresis_decades,
)
from surfscan.electrochemistry.passivity import (
    CurrentRise,
    PassiveStretch,
    Transients,
    find_departure,
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

USUAL_PASSIVE_UA_PER_CM2 = 100.0
"""Passive films seldom let more through (common practice, no source)."""

Interval = tuple[float, float]
RiseKind = str


@dataclass(frozen=True)
class CyclicRules:
    """See the settings of the same names.

    `passive_largest_uA_per_cm2` is no setting: a flat current above it is no passive one (common practice, no
    source). It and `breakdown_density_uA_per_cm2` are None where the area is not known.
    """

    passive_least_span_V: float = 0.1
    passive_least_slope_V_per_decade: float = 0.5
    passive_largest_uA_per_cm2: float | None = 1000.0
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
    breakdown_range_V : (float, float) or None
        Last point on the passive line, and first one beyond the factor over it or the vertex.
    breakdown_at_least_V : float or None
        The vertex where there was no breakdown up to it: the breakdown potential is this or more.
    breakdown_at_fixed_density_V : float or None
    protection_V : float or None
        Where the reverse run meets the forward run below the loop, after a breakdown.
    protection_range_V : (float, float) or None
        Highest potential at which the runs have met, lowest at which they clearly differ.
    protection_at_most_V : float or None
        Lowest potential of the reverse run where it does not meet the forward run.
    hysteresis_decades : float or None
        The larger of the two of `loop.hysteresis_decades`; positive for pits.
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
    breakdown_range_V: Interval | None = None
    breakdown_at_least_V: float | None = None
    breakdown_at_fixed_density_V: float | None = None
    protection_V: float | None = None
    protection_range_V: Interval | None = None
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
        largest_uA_per_cm2=rules.passive_largest_uA_per_cm2,
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
    ends = vertex if rise.rise_V is None else rise.rise_V
    transients = find_transients(potential, density, passive.window_V[0], ends)
    runs = None
    if reverse_V is not None and reverse_uA_per_cm2 is not None:
        back = rising(reverse_V, reverse_uA_per_cm2)
        runs = compare_runs(potential, density, *back, healed_V=transients.spans_V)
    above, beside, goes_on = None, None, False
    if runs is not None:
        start = passive.window_V[0] if rise.rise_V is None else rise.rise_V
        above, beside = hysteresis_decades(runs, start, has_rise=rise.rise_V is not None)
        limit = rules.breakdown_factor * 10 ** passive.log_density(runs.potential_V)
        below = vertex if rise.bracket_V is None else rise.bracket_V[0]
        goes_on = carries(runs, limit, passive.window_V[0], below)
    decades = max((each for each in (above, beside) if each is not None), default=None)
    if rise.rise_V is None:
        kind, warnings = _kind_without_rise(decades, rules, goes_on=goes_on)
    elif goes_on or (decades is not None and decades > rules.hysteresis_least_decades):
        is_sure = goes_on or (above is not None and above > rules.hysteresis_least_decades)
        kind, warnings = ("breakdown", []) if is_sure else ("undecided", [_weak_loop(rise, decades)])
    else:
        kind, warnings = _kind(rise, decades, oxygen_V, lowest_oxygen_V)
    broken = kind == "breakdown"
    at, bracket = rise.rise_V, rise.bracket_V
    if broken and at is None:
        left = find_departure(potential, density, passive)
        at = vertex if left is None else left
        bracket = (at, vertex)
    closing = find_closing(runs, rules.hysteresis_least_decades) if broken and runs is not None else None
    at_most = float(runs.potential_V[0]) if runs is not None and closing and closing.is_open else None
    warnings += _passive_warnings(passive, rules)
    warnings += _protection_warnings(closing, at_most, bracket) if broken else []
    if transients.count:
        warnings.append(
            f"{transients.count} short rises of the passive current that healed, from "
            f"{transients.first_V:.3f} V: metastable pits, or a poor contact."
        )
    return CyclicSweep(
        passive,
        rise,
        kind,
        vertex,
        breakdown_V=at if broken else None,
        breakdown_range_V=bracket if broken else None,
        breakdown_at_least_V=None if broken or kind == "undecided" else vertex,
        breakdown_at_fixed_density_V=rise.fixed_V if broken else None,
        protection_V=closing.potential_V if closing else None,
        protection_range_V=closing.bracket_V if closing else None,
        protection_at_most_V=at_most,
        hysteresis_decades=decades,
        hysteresis_uA_V_per_cm2=None if runs is None else runs.uA_V_per_cm2,
        transients=transients,
        warnings=tuple(warnings),
    )


def _passive_warnings(passive: PassiveStretch, rules: CyclicRules) -> list[str]:
    if rules.passive_largest_uA_per_cm2 is None or passive.density_uA_per_cm2 <= USUAL_PASSIVE_UA_PER_CM2:
        return []
    return [
        f"The passive current density ({passive.density_uA_per_cm2:.3g} µA/cm²) is more than films "
        f"usually let through ({USUAL_PASSIVE_UA_PER_CM2:g} µA/cm²): it may be a limit of transport or of "
        "the solution's resistance, and the metal active. Look at the surface."
    ]


def _protection_warnings(
    closing: Closing | None, at_most_V: float | None, breakdown_V: Interval | None
) -> list[str]:
    """What to say of the protection potential after a breakdown."""
    if closing is None:
        return ["There is no reverse run to compare, so no protection potential."]
    if at_most_V is not None:
        return [
            f"The reverse run does not meet the forward run down to {at_most_V:.3f} V: the protection "
            "potential is lower, or there is none."
        ]
    if closing.potential_V is None:
        return ["The reverse run shows no loop that could close, so no protection potential."]
    if breakdown_V is not None and closing.potential_V > breakdown_V[1]:
        return [
            f"The loop closes at {closing.potential_V:.3f} V, above the breakdown potential: pits closed at "
            "once, or breakdown is later than it looks. Do not rely on the protection potential."
        ]
    return []


def _kind_without_rise(
    decades: float | None, rules: CyclicRules, *, goes_on: bool
) -> tuple[RiseKind, list[str]]:
    """What a run is whose current does not rise for good, by its reverse run, and what to say of it."""
    if decades is None or decades <= rules.hysteresis_least_decades:
        return "none", []
    if goes_on:
        return "breakdown", [
            "The forward run does not rise for good up to the vertex, but the reverse run carries more than "
            f"{rules.breakdown_factor:g} times the passive current: breakdown at the vertex or just below it."
        ]
    return "undecided", [
        f"The reverse run carries more than the forward run ({decades:+.2f} decades), which does not rise "
        "for good up to the vertex: pits may have begun near it. Neither a breakdown potential nor its "
        "absence can be told: sweep further."
    ]


def _weak_loop(rise: CurrentRise, decades: float | None) -> str:
    return (
        f"The current rises at {rise.rise_V:.3f} V; from there on the reverse run carries no more, but it "
        f"does just below ({decades:+.2f} decades), though not as much as pits: a rougher surface or small "
        "pits. No breakdown potential can be told: look at the surface."
    )


def _kind(
    rise: CurrentRise,
    decades: float | None,
    oxygen_V: float | None,
    lowest_oxygen_V: float | None,
) -> tuple[RiseKind, list[str]]:
    """What a rise without a loop is, and what to say of it."""
    assert rise.rise_V is not None and rise.exceeds_V is not None
    at = f"The current rises at {rise.rise_V:.3f} V"
    may_be_oxygen = oxygen_V is None or rise.exceeds_V >= oxygen_V
    if oxygen_V is None and lowest_oxygen_V is not None:
        may_be_oxygen = rise.exceeds_V >= lowest_oxygen_V
    if decades is not None:
        if oxygen_V is not None and may_be_oxygen:
            return "oxygen evolution", [
                f"{at}, above the equilibrium of oxygen and water ({oxygen_V:.3f} V), and the "
                f"reverse run carries no more: oxygen evolution, or transpassive dissolution with it, and no "
                "breakdown."
            ]
        why = "State pH and reference electrode to tell oxygen evolution." if oxygen_V is None else ""
        return "uniform reaction", [
            f"{at} and the reverse run carries no more: transpassive dissolution or another uniform "
            f"reaction, and no breakdown. {why}".strip()
        ]
    if not may_be_oxygen:
        return "breakdown", [f"{at}; without a reverse run hysteresis is not checked."]
    return "undecided", [
        f"{at}, but there is no reverse run, and oxygen evolution or transpassive dissolution cannot be "
        "ruled out: no breakdown potential. Reverse the sweep, or state pH and reference electrode."
    ]

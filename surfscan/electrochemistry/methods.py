"""All ways to the corrosion current of one run, and which of them is the headline.

The headline is the fit of both branches where it is defensible, else Tafel extrapolation, else polarization
resistance with measured or stated slopes, else with an assumed constant, which is then called an assumption.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from surfscan.electrochemistry.fit_rules import FitRules
from surfscan.electrochemistry.polarization_fit import PolarizationFit, fit_polarization
from surfscan.electrochemistry.polarization_resistance import (
    PolarizationResistance,
    fit_polarization_resistance,
)
from surfscan.electrochemistry.settings import SweepSettings
from surfscan.electrochemistry.stern_geary import (
    SternGearyConstant,
    assumed_constant,
    constant_of_slopes,
    corrosion_current_with_interval,
)
from surfscan.electrochemistry.tafel import TafelBranch, TafelExtrapolation, TafelRules, extrapolate_tafel
from surfscan.electrochemistry.zero_current import ZeroCurrent, find_zero_current

Interval = tuple[float, float]

FIT, TAFEL, STERN_GEARY, ASSUMED = (
    "fit of both branches",
    "Tafel extrapolation",
    "Stern-Geary",
    "Stern-Geary with assumed B",
)

_DISAGREE = 2.0


@dataclass(frozen=True)
class MethodResult:
    """The corrosion current density that one method gives.

    Attributes
    ----------
    method : str
    icorr_uA_per_cm2 : float or None
    ci95 : (float, float) or None
    anodic_slope_mV_per_decade, cathodic_slope_mV_per_decade : float or None
        None where the method has none, or the cathodic reaction is limited by diffusion.
    anodic_slope_ci95, cathodic_slope_ci95 : (float, float) or None
    window_V : (float, float) or None
    note : str
        What it rests on.
    refused : str
        Why there is none; empty where there is one.
    """

    method: str
    icorr_uA_per_cm2: float | None = None
    ci95: Interval | None = None
    anodic_slope_mV_per_decade: float | None = None
    anodic_slope_ci95: Interval | None = None
    cathodic_slope_mV_per_decade: float | None = None
    cathodic_slope_ci95: Interval | None = None
    window_V: Interval | None = None
    note: str = ""
    refused: str = ""


@dataclass(frozen=True)
class RunAnalysis:
    """One run by all methods.

    Attributes
    ----------
    zero : ZeroCurrent
    resistance : PolarizationResistance or None
    fit : PolarizationFit or None
    tafel : TafelExtrapolation or None
        None where there is no zero-current potential.
    constant : SternGearyConstant or None
    methods : tuple of MethodResult
        In the order of preference.
    warnings : tuple of str
    """

    zero: ZeroCurrent
    resistance: PolarizationResistance | None
    fit: PolarizationFit | None
    tafel: TafelExtrapolation | None
    constant: SternGearyConstant | None
    methods: tuple[MethodResult, ...]
    warnings: tuple[str, ...] = ()

    @property
    def headline(self) -> MethodResult | None:
        """The first method that gives a value; None where none does."""
        return next((each for each in self.methods if not each.refused), None)


def analyse_run(
    potential_V: np.ndarray,
    density_uA_per_cm2: np.ndarray,
    settings: SweepSettings | None = None,
    *,
    rest_potential_V: float | None = None,
    scan_rate_V_per_s: float | None = None,
    is_corrected: bool = False,
) -> RunAnalysis:
    """Corrosion current density of one run by all methods.

    Parameters
    ----------
    potential_V, density_uA_per_cm2 : ndarray of shape (n,)
        One run, rising or falling, anodic positive.
    settings : SweepSettings, optional
    rest_potential_V : float, optional
    scan_rate_V_per_s : float, optional
    is_corrected : bool, optional
        Whether the potentials are free of the drop in the solution; else the fit may find a series
        resistance.

    Returns
    -------
    RunAnalysis

    Raises
    ------
    ValueError
        If the arrays differ in shape or fewer than 3 points are finite.
    """
    settings = settings or SweepSettings()
    zero = find_zero_current(potential_V, density_uA_per_cm2, near_V=rest_potential_V)
    if zero.Ecorr_V is None or zero.ci95 is None:
        refused = tuple(MethodResult(name, refused=zero.refused) for name in (FIT, TAFEL, STERN_GEARY))
        return RunAnalysis(zero, None, None, None, None, refused)
    resistance = fit_polarization_resistance(
        potential_V,
        density_uA_per_cm2,
        zero.Ecorr_V,
        window_V=settings.resistance_window_V,
        largest_slope_change=settings.largest_slope_change,
        largest_interval=settings.largest_resistance_interval,
    )
    drift = _drift(zero.Ecorr_V, rest_potential_V, settings.largest_drift_V)
    if drift:
        refused = tuple(MethodResult(name, refused=drift) for name in (FIT, TAFEL, STERN_GEARY))
        return RunAnalysis(
            zero, resistance, None, None, None, refused, _of(resistance.warnings, zero.warnings)
        )
    fit = fit_polarization(
        potential_V,
        density_uA_per_cm2,
        rules=_fit_rules(settings),
        series_resistance_ohm_cm2=0.0 if is_corrected else None,
        scan_rate_V_per_s=scan_rate_V_per_s,
    )
    tafel = extrapolate_tafel(
        potential_V,
        density_uA_per_cm2,
        zero.Ecorr_V,
        _tafel_rules(settings),
        zero_uncertainty_V=(zero.ci95[1] - zero.ci95[0]) / 4,
        steps=fit.steps,
    )
    constant = stern_geary_of(fit, tafel, settings)
    methods = (_of_fit(fit), _of_tafel(tafel), _of_resistance(resistance, constant))
    chosen = next((each for each in methods if not each.refused), None)
    said = zero.warnings
    if chosen is not None and chosen.method == FIT:
        said = _of(said, tuple(_sentence(each) for each in fit.warnings))
    else:
        said = _of(said, resistance.warnings)
    if chosen is not None and chosen.method == TAFEL:
        said = _of(said, tafel.warnings)
    said = _of(said, _disagreement(methods), _assumption(chosen, constant))
    return RunAnalysis(zero, resistance, fit, tafel, constant, methods, said)


def refuse_run(run: RunAnalysis, reason: str) -> RunAnalysis:
    """A run without any figure that hangs on the size of its current.

    Parameters
    ----------
    run : RunAnalysis
    reason : str
        What every method gives as its refusal.
    """
    resistance = run.resistance
    if resistance is not None:
        resistance = PolarizationResistance(
            None, None, resistance.window_V, resistance.points, refused=reason
        )
    refused = tuple(MethodResult(each.method, refused=reason) for each in run.methods)
    return RunAnalysis(run.zero, resistance, None, None, None, refused, run.zero.warnings)


def _of(*parts: tuple[str, ...]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(text for part in parts for text in part))


def _sentence(text: str) -> str:
    """With a capital and a full stop."""
    return text[:1].upper() + text[1:].rstrip(".") + "."


def _drift(zero_V: float, rest_V: float | None, largest_V: float) -> str:
    if rest_V is None or abs(zero_V - rest_V) <= largest_V:
        return ""
    return (
        f"the zero-current potential lies {1000 * abs(zero_V - rest_V):.0f} mV from the stated rest "
        "potential "
        f"({1000 * largest_V:g} mV allowed): the electrode drifted, or the sweep was too quick"
    )


def _fit_rules(settings: SweepSettings) -> FitRules:
    return FitRules(
        smallest_reach_mV=1000 * settings.fit_least_reach_V,
        smallest_decades=settings.fit_least_decades,
        largest_misfit=settings.fit_largest_misfit,
        largest_interval_ratio=settings.largest_interval_ratio,
        largest_noise=settings.largest_noise,
        slope_limits_mV_per_decade=settings.tafel_slope_limits_mV_per_decade,
    )


def _tafel_rules(settings: SweepSettings) -> TafelRules:
    low, high = settings.tafel_slope_limits_mV_per_decade
    return TafelRules(
        least_distance_V=settings.tafel_least_distance_V,
        least_decades=settings.tafel_least_decades,
        slope_constancy=settings.tafel_slope_constancy,
        slope_limits_V=(low / 1000, high / 1000),
        largest_noise=settings.largest_noise,
        largest_interval_ratio=settings.largest_interval_ratio,
    )


def stern_geary_of(
    fit: PolarizationFit, tafel: TafelExtrapolation, settings: SweepSettings
) -> SternGearyConstant:
    """B of stated slopes, else of those of the fit, else of both Tafel regions, else assumed.

    Notes
    -----
    Under mixed control the slope that counts at the corrosion potential is the cathodic one over 1 - icorr
    / ilim (derivative of the reciprocal sum of activation and limiting current).
    """
    stated = settings.anodic_slope_mV_per_decade
    if stated is not None:
        other = settings.cathodic_slope_mV_per_decade
        doubt = settings.slope_relative_uncertainty
        said = f"{other:g}" if other is not None else "diffusion-limited"
        return constant_of_slopes(
            stated / 1000,
            math.inf if other is None else other / 1000,
            anodic_relative_uncertainty=doubt,
            cathodic_relative_uncertainty=doubt,
            origin=f"stated slopes, {stated:g} anodic and {said} cathodic (mV/decade)",
        )
    if not fit.refused and fit.curve is not None:
        curve = fit.curve
        rest = 1 - curve.limiting_ratio
        return constant_of_slopes(
            curve.anodic_slope_V,
            curve.cathodic_slope_V / rest if rest > 1e-6 else math.inf,
            anodic_relative_uncertainty=_relative(fit.anodic_slope_mV_per_decade_ci95),
            cathodic_relative_uncertainty=_relative(fit.cathodic_slope_mV_per_decade_ci95),
            origin="slopes measured by the fit of both branches",
        )
    anodic, cathodic = tafel.anodic, tafel.cathodic
    if not anodic.refused and not cathodic.refused:
        assert anodic.slope_V is not None and cathodic.slope_V is not None
        return constant_of_slopes(
            anodic.slope_V,
            cathodic.slope_V,
            anodic_relative_uncertainty=_relative(anodic.slope_ci95),
            cathodic_relative_uncertainty=_relative(cathodic.slope_ci95),
            origin="slopes measured in both Tafel regions",
        )
    return assumed_constant(settings.assumed_stern_geary_V, settings.assumed_stern_geary_range_V)


def _relative(ci95: Interval | None) -> float:
    return 0.0 if ci95 is None else math.log(ci95[1] / ci95[0]) / 2 / 1.96


def _of_fit(fit: PolarizationFit) -> MethodResult:
    if fit.refused:
        return MethodResult(FIT, window_V=fit.window_V, refused=fit.refused)
    return MethodResult(
        FIT,
        fit.icorr_uA_per_cm2,
        fit.icorr_uA_per_cm2_ci95,
        fit.anodic_slope_mV_per_decade,
        fit.anodic_slope_mV_per_decade_ci95,
        fit.cathodic_slope_mV_per_decade,
        fit.cathodic_slope_mV_per_decade_ci95,
        fit.window_V,
        f"{fit.model}, {len(fit.windows)} windows",
    )


def _of_tafel(tafel: TafelExtrapolation) -> MethodResult:
    def slope(branch: TafelBranch) -> tuple[float | None, Interval | None]:
        if branch.refused or branch.slope_V is None or branch.slope_ci95 is None:
            return None, None
        low, high = branch.slope_ci95
        return 1000 * branch.slope_V, (1000 * low, 1000 * high)

    windows = [
        w
        for b in (tafel.cathodic, tafel.anodic)
        if not b.refused and b.window_V is not None
        for w in b.window_V
    ]
    anodic, cathodic = slope(tafel.anodic), slope(tafel.cathodic)
    return MethodResult(
        TAFEL,
        tafel.icorr_uA_per_cm2,
        tafel.ci95,
        anodic[0],
        anodic[1],
        cathodic[0],
        cathodic[1],
        (min(windows), max(windows)) if windows else None,
        tafel.meets,
        tafel.refused,
    )


def _of_resistance(resistance: PolarizationResistance, constant: SternGearyConstant) -> MethodResult:
    name = ASSUMED if constant.is_assumed else STERN_GEARY
    if resistance.refused or resistance.ohm_cm2 is None:
        return MethodResult(name, window_V=resistance.window_V, refused=resistance.refused)
    value, interval = corrosion_current_with_interval(
        constant, resistance.ohm_cm2, resistance.relative_standard_uncertainty
    )
    return MethodResult(
        name,
        value,
        interval,
        window_V=resistance.window_V,
        note=f"B = {1000 * constant.B_V:.1f} mV, {constant.origin}",
    )


def _disagreement(methods: tuple[MethodResult, ...]) -> tuple[str, ...]:
    """What to say where measured methods differ by a factor that matters."""
    given = {
        each.method: each.icorr_uA_per_cm2
        for each in methods
        if each.icorr_uA_per_cm2 is not None and each.method != ASSUMED
    }
    if not given or max(given.values()) <= _DISAGREE * min(given.values()):
        return ()
    listed = ", ".join(f"{name} {value:.3g}" for name, value in given.items())
    return (f"The methods differ by a factor of {max(given.values()) / min(given.values()):.1f} ({listed}).",)


def _assumption(chosen: MethodResult | None, constant: SternGearyConstant) -> tuple[str, ...]:
    if chosen is None or chosen.method != ASSUMED:
        return ()
    return (
        f"No Tafel slope could be measured: the corrosion current rests on an assumption, B "
        f"{constant.origin}. State "
        "slopes from other work, or sweep further.",
    )

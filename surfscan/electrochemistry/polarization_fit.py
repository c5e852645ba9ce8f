"""Corrosion current density from a whole polarization curve, with its interval, or the reason for none.

The thread: points are ordered and averaged (`scan_points`), their noise and the scale of the fit are taken
from the data (`current_scale`); activation and mixed control, without and with series resistance, are fitted
to a window that a model describes (`fit_windows`, `fitting`), and compared by AICc at the number of points
that correlated residuals are worth (`correlated`). The interval holds the noise, the doubt about the model,
the spread over other windows, and what steps of the current change (`range_steps`). `fit_rules` says what is
asked of a curve before a value is given.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from surfscan.electrochemistry.current_scale import CurrentScale, scale_of
from surfscan.electrochemistry.fit_rules import FitRules
from surfscan.electrochemistry.fit_windows import (
    ChosenFit,
    Fitter,
    WindowSpread,
    choose_window,
    step_doubt,
    vector_of,
    window_spread,
)
from surfscan.electrochemistry.mixed_control import (
    MixedControl,
    current_density_uA_per_cm2,
    partial_currents_uA_per_cm2,
)
from surfscan.electrochemistry.range_steps import RangeStep, find_range_steps
from surfscan.electrochemistry.scan_points import ScanPoints, scan_points

DOUBLE_LAYER_UF_PER_CM2 = 40.0
"""Capacity by which the charging current of a scan is judged (common practice, no source)."""

_WHOLE_REACH = 0.95
_STRAIGHT_DECADES = 1.0
_ALL_TRANSPORT = 0.9
_SLOPES_KNOWN_WITHIN = 3.0
_CHARGING_SHARE = 0.1
_FEWEST_POINTS = 15
_DROP_THAT_MATTERS_MV = 1.0

Interval = tuple[float, float]


@dataclass(frozen=True)
class FittedWindow:
    """A window that was fitted and the corrosion current found in it."""

    low_V: float
    high_V: float
    icorr_uA_per_cm2: float
    chosen: bool


@dataclass(frozen=True)
class PolarizationFit:
    """A polarization curve described by activation or mixed control.

    Values are None where `refused` says why, or where the data do not hold them.

    Attributes
    ----------
    refused : str
        Why there is no corrosion current; empty where there is one.
    model : str or None
        "activation" or "mixed control".
    Ecorr_V, icorr_uA_per_cm2, anodic_slope_mV_per_decade, cathodic_slope_mV_per_decade : float or None
        Each with its 95 % interval under the same name and ``_ci95``.
    limiting_current_uA_per_cm2 : float or None
        None under activation control.
    series_resistance_ohm_cm2 : float or None
        0 where the data ask for none; its interval is None where it was stated or is 0.
    criterion_activation, criterion_mixed_control : float or None
        AICc of either, the better of the fits without and with series resistance.
    window_V : tuple of float or None
        The potentials fitted.
    windows : tuple of FittedWindow
        That window and the shorter ones fitted again.
    window_spread_ratio : float or None
        Largest over smallest corrosion current of `windows`.
    anodic_is_straight : bool
        Whether activation describes the anodic branch to the end of the sweep or over a decade of current.
    noise_fraction : float or None
        Noise of the current from point to point.
    misfit_fraction : float or None
        Deviation between curve and points that noise does not explain, root mean square.
    independent_points : float or None
        What the points are worth, their residuals being correlated.
    potential_V, fitted_uA_per_cm2, residuals : ndarray of shape (n,)
        Potentials of the window, in rising order; the curve there; residuals of the fit, in standard
        uncertainties of a point. Empty where refused before a fit.
    curve : MixedControl or None
        Parameters of the fitted curve; also where the fit was refused after all, for a figure.
    steps : tuple of RangeStep
        Where the current steps in the window, as where a range is switched; also where the fit was refused.
    warnings : tuple of str
    """

    refused: str
    model: str | None = None
    Ecorr_V: float | None = None
    Ecorr_V_ci95: Interval | None = None
    icorr_uA_per_cm2: float | None = None
    icorr_uA_per_cm2_ci95: Interval | None = None
    anodic_slope_mV_per_decade: float | None = None
    anodic_slope_mV_per_decade_ci95: Interval | None = None
    cathodic_slope_mV_per_decade: float | None = None
    cathodic_slope_mV_per_decade_ci95: Interval | None = None
    limiting_current_uA_per_cm2: float | None = None
    limiting_current_uA_per_cm2_ci95: Interval | None = None
    series_resistance_ohm_cm2: float | None = None
    series_resistance_ohm_cm2_ci95: Interval | None = None
    criterion_activation: float | None = None
    criterion_mixed_control: float | None = None
    window_V: Interval | None = None
    windows: tuple[FittedWindow, ...] = ()
    window_spread_ratio: float | None = None
    anodic_is_straight: bool = False
    noise_fraction: float | None = None
    misfit_fraction: float | None = None
    independent_points: float | None = None
    potential_V: np.ndarray = field(default_factory=lambda: np.empty(0))
    fitted_uA_per_cm2: np.ndarray = field(default_factory=lambda: np.empty(0))
    residuals: np.ndarray = field(default_factory=lambda: np.empty(0))
    curve: MixedControl | None = None
    steps: tuple[RangeStep, ...] = ()
    warnings: tuple[str, ...] = ()


def fit_polarization(
    potential_V: np.ndarray,
    density_uA_per_cm2: np.ndarray,
    *,
    rules: FitRules | None = None,
    series_resistance_ohm_cm2: float | None = None,
    rest_potential_V: float | None = None,
    scan_rate_V_per_s: float | None = None,
) -> PolarizationFit:
    """Fit activation and mixed control to one scan run.

    Parameters
    ----------
    potential_V, density_uA_per_cm2 : array_like of shape (n,)
        One run of the potential, up or down; anodic current positive.
    rules : FitRules, optional
    series_resistance_ohm_cm2 : float, optional
        Known resistance times area that is still in the potentials; 0 where they are free of ohmic drop.
        None: fitted where the data ask for it.
    rest_potential_V : float, optional
        Rest potential measured before the scan.
    scan_rate_V_per_s : float, optional
        For a warning where charging of the double layer matters.

    Returns
    -------
    PolarizationFit

    Raises
    ------
    ValueError
        If the arrays are not of one length, fewer than 2 points are numbers, or a resistance is below 0.
    """
    rules = rules or FitRules()
    if series_resistance_ohm_cm2 is not None and not series_resistance_ohm_cm2 >= 0:
        raise ValueError("a series resistance is 0 or above")
    points = scan_points(potential_V, density_uA_per_cm2)
    if points is None:
        return PolarizationFit(
            "the current does not change from cathodic to anodic: there is no zero-current potential in the "
            "sweep; sweep from below to above the rest potential"
        )
    refused = _before_fit(points, rest_potential_V, rules)
    if refused:
        return PolarizationFit(refused)
    scale = scale_of(points.potential_V, points.density_uA_per_cm2, points.zero_V)
    if scale.noise.relative > rules.largest_noise:
        return PolarizationFit(
            f"the current scatters by {100 * scale.noise.relative:.0f} % from point to point, more than "
            f"{100 * rules.largest_noise:.0f} %; record with a suitable current range and shielding",
            noise_fraction=scale.noise.relative,
        )
    fitter = Fitter(points, scale, series_resistance_ohm_cm2, rules)
    try:
        found = choose_window(fitter)
    except ValueError as error:
        return PolarizationFit(str(error), noise_fraction=scale.noise.relative)
    if found is None:
        return PolarizationFit("too few points on one side of the zero-current potential")
    chosen, others = found
    spread = window_spread(fitter, chosen, others)
    inside = points.potential_V[chosen.inside], points.density_uA_per_cm2[chosen.inside]
    fitted = current_density_uA_per_cm2(inside[0], chosen.fit.kinetics)
    steps = find_range_steps(*inside, points.zero_V, fitted)
    doubt = spread.excess + step_doubt(fitter, chosen, steps)
    return _judged(points, scale, chosen, spread, doubt, steps, rules, scan_rate_V_per_s)


def _before_fit(points: ScanPoints, rest_potential_V: float | None, rules: FitRules) -> str:
    """Reason for no fit that the points alone give; empty where there is none."""
    below = 1e3 * (points.zero_V - float(points.potential_V[0]))
    above = 1e3 * (float(points.potential_V[-1]) - points.zero_V)
    if min(below, above) < rules.smallest_reach_mV:
        side = "below" if below < above else "above"
        return (
            f"the sweep reaches only {min(below, above):.0f} mV {side} its zero-current potential, and "
            f"{rules.smallest_reach_mV:.0f} mV are asked for; use the polarization resistance, or sweep on"
        )
    over = points.potential_V - points.zero_V
    if min((over > 0).sum(), (over < 0).sum()) < _FEWEST_POINTS // 2 or len(over) < _FEWEST_POINTS:
        return f"{len(over)} points are too few; {_FEWEST_POINTS} are asked for, half of them on either side"
    if rest_potential_V is not None:
        apart = 1e3 * abs(points.zero_V - rest_potential_V)
        if apart > rules.largest_rest_difference_mV:
            return (
                f"the zero-current potential of the scan lies {apart:.0f} mV from the rest potential, more "
                f"than {rules.largest_rest_difference_mV:.0f} mV: the surface changed or the scan was too "
                "fast; wait for a steady rest potential, or scan slower"
            )
    return ""


def _after_fit(
    points: ScanPoints, scale: CurrentScale, chosen: ChosenFit, ratio: float, rules: FitRules
) -> str:
    """Reason why the fitted curve gives no value; empty where it does."""
    curve, percent = chosen.fit.kinetics, 100 * chosen.misfit
    if chosen.misfit > rules.largest_misfit:
        return (
            f"neither activation nor mixed control describes the curve: they miss it by {percent:.0f} % in "
            f"the best window, and {100 * rules.largest_misfit:.0f} % are allowed"
        )
    if not chosen.fit.converged:
        return "the fit did not converge"
    low, high = rules.slope_limits_mV_per_decade
    slopes = [("anodic", 1e3 * curve.anodic_slope_V)]
    if curve.limiting_ratio < _ALL_TRANSPORT:
        slopes.append(("cathodic", 1e3 * curve.cathodic_slope_V))
    for name, slope in slopes:
        if not low <= slope <= high:
            return (
                f"the {name} slope came out at {slope:.0f} mV/decade, outside {low:.0f} to {high:.0f}: that "
                "branch is not under activation control"
            )
    if scale.noise.absolute_uA_per_cm2 > rules.largest_noise * curve.icorr_uA_per_cm2:
        share = 100 * scale.noise.absolute_uA_per_cm2 / curve.icorr_uA_per_cm2
        return f"the noise near zero current is {share:.0f} % of the corrosion current"
    density = points.density_uA_per_cm2[chosen.inside]
    rises = [("anodic", float(density.max()))]
    if curve.limiting_ratio < _ALL_TRANSPORT:
        rises.append(("cathodic", -float(density.min())))
    for name, largest in rises:
        decades = math.log10(max(largest, 1e-300) / curve.icorr_uA_per_cm2)
        if decades < rules.smallest_decades:
            return (
                f"the {name} current rises only {max(decades, 0.0):.2f} decades above the corrosion current "
                f"in the window that fits, and {rules.smallest_decades:g} are asked for; sweep further"
            )
    if not ratio <= rules.largest_interval_ratio:
        size = f"by a factor of {ratio:.3g}" if math.isfinite(ratio) else "without bound"
        return (
            f"the ends of the 95 % interval of the corrosion current differ {size}, and a factor of "
            f"{rules.largest_interval_ratio:g} is allowed; sweep further, or state the solution resistance"
        )
    return ""


def _judged(
    points: ScanPoints,
    scale: CurrentScale,
    chosen: ChosenFit,
    spread: WindowSpread,
    doubt: np.ndarray,
    steps: tuple[RangeStep, ...],
    rules: FitRules,
    scan_rate_V_per_s: float | None,
) -> PolarizationFit:
    """The result with its intervals, refused or not."""
    fit, curve = chosen.fit, chosen.fit.kinetics
    independent = len(fit.residuals) / fit.length
    covariance = chosen.covariance() + np.diag(doubt)
    quantile = _student(independent - len(fit.model.free))
    deviations = np.sqrt(np.diag(covariance))
    half = np.array([quantile * each if each > 0 else 0.0 for each in deviations])
    values = vector_of(curve)
    ratio = math.exp(min(2 * half[1], 700.0)) if np.isfinite(half[1]) else math.inf
    refused = _after_fit(points, scale, chosen, ratio, rules)
    if refused and steps:
        refused = f"{refused}; the current steps ({_listed(steps)}), as where a range is switched"
    currents = [k.icorr_uA_per_cm2 for k in (curve, *spread.kinetics)]
    bounds = (chosen.window_V, *spread.windows_V)
    windows = tuple(
        FittedWindow(low, high, current, number == 0)
        for number, ((low, high), current) in enumerate(zip(bounds, currents, strict=True))
    )
    potential = points.potential_V[chosen.inside]
    straight = _anodic_is_straight(points, chosen) and chosen.misfit <= rules.largest_misfit
    shown: dict[str, object] = {}
    if not refused:
        shown = _values(curve, values, half, covariance, quantile, fit.model.limited)
        if fit.model.resistive:
            shown["series_resistance_ohm_cm2_ci95"] = _linear(values[5], half[5], lowest=0.0)
        shown["warnings"] = _warnings(points, chosen, steps, straight, scan_rate_V_per_s)
    return PolarizationFit(
        refused,
        model="mixed control" if fit.model.limited else "activation",
        criterion_activation=chosen.criterion(limited=False),
        criterion_mixed_control=chosen.criterion(limited=True),
        window_V=(float(potential[0]), float(potential[-1])),
        windows=windows,
        window_spread_ratio=max(currents) / min(currents),
        anodic_is_straight=straight,
        noise_fraction=scale.noise.relative,
        misfit_fraction=chosen.misfit,
        independent_points=independent,
        potential_V=potential,
        fitted_uA_per_cm2=current_density_uA_per_cm2(potential, curve),
        residuals=fit.residuals,
        curve=curve,
        steps=steps,
        **shown,  # type: ignore[arg-type]
    )


def _student(freedom: float) -> float:
    """97.5 % point of Student's t; infinite without a degree of freedom."""
    from scipy.special import stdtrit

    return float(stdtrit(freedom, 0.975)) if freedom > 0 else math.inf


def _linear(value: float, half: float, lowest: float = -math.inf) -> Interval:
    return max(float(value - half), lowest), float(value + half)


def _factor(value: float, half: float) -> Interval:
    """Interval of a positive quantity from that of its logarithm."""
    wide = min(float(half), 700.0)
    return value * math.exp(-wide), value * math.exp(wide)


def _values(
    curve: MixedControl,
    values: np.ndarray,
    half: np.ndarray,
    covariance: np.ndarray,
    quantile: float,
    limited: bool,
) -> dict[str, object]:
    """Values with their intervals; a cathodic slope that the data do not hold is left out."""
    shown: dict[str, object] = {
        "Ecorr_V": curve.Ecorr_V,
        "Ecorr_V_ci95": _linear(values[0], half[0]),
        "icorr_uA_per_cm2": curve.icorr_uA_per_cm2,
        "icorr_uA_per_cm2_ci95": _factor(curve.icorr_uA_per_cm2, half[1]),
        "anodic_slope_mV_per_decade": 1e3 * curve.anodic_slope_V,
        "anodic_slope_mV_per_decade_ci95": _factor(1e3 * curve.anodic_slope_V, half[2]),
        "series_resistance_ohm_cm2": curve.series_resistance_ohm_cm2,
    }
    if math.exp(min(half[3], 700.0)) <= _SLOPES_KNOWN_WITHIN:
        shown["cathodic_slope_mV_per_decade"] = 1e3 * curve.cathodic_slope_V
        shown["cathodic_slope_mV_per_decade_ci95"] = _factor(1e3 * curve.cathodic_slope_V, half[3])
    if limited and curve.limiting_ratio > 0:
        gradient = np.array([1.0, -1 / curve.limiting_ratio])
        variance = float(gradient @ covariance[np.ix_([1, 4], [1, 4])] @ gradient)
        limit = curve.limiting_current_uA_per_cm2
        shown["limiting_current_uA_per_cm2"] = limit
        shown["limiting_current_uA_per_cm2_ci95"] = _factor(limit, quantile * math.sqrt(variance))
    return shown


def _anodic_is_straight(points: ScanPoints, chosen: ChosenFit) -> bool:
    """Whether the window holds the whole anodic side of the sweep, or a decade of anodic current."""
    reach = chosen.window_V[1] - points.zero_V
    whole = reach >= _WHOLE_REACH * (float(points.potential_V[-1]) - points.zero_V)
    curve = chosen.fit.kinetics
    top = points.potential_V[chosen.inside][-1:]
    anodic = float(partial_currents_uA_per_cm2(top, curve)[0][0])
    return bool(whole or anodic >= 10**_STRAIGHT_DECADES * curve.icorr_uA_per_cm2)


def _listed(steps: tuple[RangeStep, ...]) -> str:
    return ", ".join(step.said for step in steps)


def _warnings(
    points: ScanPoints,
    chosen: ChosenFit,
    steps: tuple[RangeStep, ...],
    straight: bool,
    scan_rate_V_per_s: float | None,
) -> tuple[str, ...]:
    """What a reader of the value must know."""
    said, curve = [], chosen.fit.kinetics
    if steps:
        said.append(
            f"the current steps ({_listed(steps)}), as where a range is switched; the interval holds what "
            "closing the steps changes; record in one range, or check the ranges against a resistor"
        )
    if chosen.fit.model.resistive:
        largest = float(np.abs(points.density_uA_per_cm2[chosen.inside]).max())
        drop = 1e-3 * largest * curve.series_resistance_ohm_cm2
        if drop > _DROP_THAT_MATTERS_MV:
            said.append(
                f"the fit finds a series resistance of {curve.series_resistance_ohm_cm2:.3g} ohm cm² "
                f"({drop:.0f} mV at the largest current), and its slopes and corrosion current depend on "
                "it; state the solution resistance"
            )
    if points.spikes:
        said.append(f"{points.spikes} lone points far from their neighbours are left out, as spikes")
    if points.crossings > 1:
        said.append(
            f"the current crosses zero at {points.crossings} potentials; the lowest is taken for the "
            "corrosion potential"
        )
    lost_low = 1e3 * (chosen.window_V[0] - float(points.potential_V[0]))
    lost_high = 1e3 * (float(points.potential_V[-1]) - chosen.window_V[1])
    for name, lost in (("cathodic", lost_low), ("anodic", lost_high)):
        if lost > 1:
            said.append(
                f"the outer {lost:.0f} mV of the {name} branch are left out: neither activation nor mixed "
                "control describes them"
            )
    if not straight:
        said.append(
            "less than a decade of the anodic branch follows activation; hold the value against the cathodic "
            "branch alone"
        )
    if curve.limiting_ratio >= _ALL_TRANSPORT:
        said.append("corrosion runs at the cathodic limiting current: the rate depends on stirring")
    if scan_rate_V_per_s is not None:
        charging = DOUBLE_LAYER_UF_PER_CM2 * abs(scan_rate_V_per_s)
        if charging > _CHARGING_SHARE * curve.icorr_uA_per_cm2:
            said.append(
                f"at this scan rate charging a double layer of {DOUBLE_LAYER_UF_PER_CM2:.0f} µF/cm² takes "
                f"about {charging:.2g} µA/cm², {100 * charging / curve.icorr_uA_per_cm2:.0f} % of the "
                "corrosion current; scan slower"
            )
    return tuple(said)

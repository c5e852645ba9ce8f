"""Which model and which window of a sweep are fitted, and how much the answer hangs on the window."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from surfscan.electrochemistry.current_scale import CurrentScale
from surfscan.electrochemistry.fit_rules import FitRules
from surfscan.electrochemistry.fitting import FitModel, WindowFit, fit_window
from surfscan.electrochemistry.mixed_control import PARAMETERS, MixedControl
from surfscan.electrochemistry.range_steps import RangeStep, closed
from surfscan.electrochemistry.scan_points import ScanPoints
from surfscan.electrochemistry.starting_values import largest_resistance_ohm_cm2, start_of

NOTCH = 0.75
"""A window that does not fit is shortened on one side to this share of its reach, and again."""

FITS_WELL = 0.01
"""Misfit up to which a window is not shortened (common practice, no source)."""

SUB_WINDOWS = ((0.75, 1.0), (1.0, 0.75), (0.75, 0.75), (0.6, 1.0), (1.0, 0.6))
"""Shares of the cathodic and the anodic reach of the windows that are fitted again."""

_BLOCKS_A_SIDE = 8
_FEWEST_POINTS = 15
_RESISTANCE_STARTS = (0.6, 0.05)
_ABOVE_CEILING = 1.5
_SIGNIFICANT = 3.0


@dataclass(frozen=True)
class Fitter:
    """Points, scale and bounds that all fits to one scan share.

    Attributes
    ----------
    points : ScanPoints
    scale : CurrentScale
    resistance_ohm_cm2 : float or None
        Held at this value; None: fitted where the data ask for it.
    rules : FitRules
    """

    points: ScanPoints
    scale: CurrentScale
    resistance_ohm_cm2: float | None
    rules: FitRules


@dataclass(frozen=True)
class ChosenFit:
    """The model chosen for one window.

    Attributes
    ----------
    window_V : tuple of float
    inside : ndarray of shape (n,), bool
        Points of the window.
    fit : WindowFit
        Of the chosen model.
    others : tuple of WindowFit
        All models that were fitted, the chosen one among them.
    criteria : tuple of float
        AICc of each of `others`.
    misfit : float
        Root mean square deviation that noise does not explain, fraction of the current.
    """

    window_V: tuple[float, float]
    inside: np.ndarray
    fit: WindowFit
    others: tuple[WindowFit, ...]
    criteria: tuple[float, ...]
    misfit: float

    def criterion(self, *, limited: bool) -> float:
        """Smallest AICc among the models with or without limiting current."""
        return min(
            c for c, fit in zip(self.criteria, self.others, strict=True) if fit.model.limited == limited
        )

    def covariance(self) -> np.ndarray:
        """Covariance of the parameters with the doubt about the model, shape (6, 6).

        To the covariance of the chosen model come the squared distances of the other models' values from its
        own, as far as they exceed the difference of the variances, which noise explains; weighted by the
        square roots of the models' approximate probabilities, as these are themselves uncertain where
        residuals are correlated (common practice, no source). A model that leaves a parameter undetermined
        is no alternative.
        """
        length = min(self.others, key=lambda fit: fit.chi_squared).length
        marks = [fit.probability_criterion(length) for fit in self.others]
        best = min(marks)
        between, weights = np.zeros_like(self.fit.covariance), 0.0
        for mark, fit in zip(marks, self.others, strict=True):
            if not (math.isfinite(mark) and np.isfinite(fit.covariance).all()):
                continue
            weight = math.exp(-(mark - best) / 4)
            apart = vector_of(fit.kinetics) - vector_of(self.fit.kinetics)
            explained = np.abs(np.diag(fit.covariance) - np.diag(self.fit.covariance))
            apart = np.sign(apart) * np.sqrt(np.maximum(apart**2 - explained, 0.0))
            between = between + weight * np.outer(apart, apart)
            weights += weight
        return self.fit.covariance + (between / weights if weights > 0 else 0.0)


@dataclass(frozen=True)
class WindowSpread:
    """Fits to other windows than the chosen one.

    Attributes
    ----------
    windows_V : tuple of (low, high)
    kinetics : tuple of MixedControl
    excess : ndarray of shape (6,)
        Variance of each parameter between windows beyond what the noise explains.
    """

    windows_V: tuple[tuple[float, float], ...]
    kinetics: tuple[MixedControl, ...]
    excess: np.ndarray


def vector_of(kinetics: MixedControl) -> np.ndarray:
    """Parameters in the order of `PARAMETERS`."""
    return np.array(
        [
            kinetics.Ecorr_V,
            math.log(kinetics.icorr_uA_per_cm2),
            math.log(kinetics.anodic_slope_V),
            math.log(kinetics.cathodic_slope_V),
            kinetics.limiting_ratio,
            kinetics.series_resistance_ohm_cm2,
        ]
    )


def _inside(fitter: Fitter, window_V: tuple[float, float]) -> np.ndarray:
    potential = fitter.points.potential_V
    return (potential >= window_V[0]) & (potential <= window_V[1])


def _largest_resistance(fitter: Fitter) -> float:
    """Upper bound of a fitted resistance, from the whole sweep and the rules."""
    ceiling = largest_resistance_ohm_cm2(fitter.points.potential_V, fitter.points.density_uA_per_cm2)
    return min(fitter.rules.largest_resistance_ohm_cm2, _ABOVE_CEILING * ceiling)


def _fits(fitter: Fitter, inside: np.ndarray, near: ChosenFit | None) -> list[WindowFit]:
    """All models at one window: activation and mixed control, each without and with a fitted resistance.

    They start from a grid, and from the fits to a window that is not much longer. A resistance is the same at
    every current: where the whole sweep is not described it is not sought in a part, where it would stand in
    for whatever bends the branch (passivation above all).
    """
    potential, density = fitter.points.potential_V[inside], fitter.points.density_uA_per_cm2[inside]
    ceiling = largest_resistance_ohm_cm2(potential, density)
    bound = _largest_resistance(fitter)
    held = fitter.resistance_ohm_cm2

    def run(start: MixedControl, model: FitModel) -> WindowFit:
        return fit_window(potential, density, fitter.scale, start, model, largest_resistance_ohm_cm2=bound)

    def start(resistance: float) -> MixedControl:
        free = potential - resistance * 1e-6 * density
        return replace(start_of(free, density, fitter.points.zero_V), series_resistance_ohm_cm2=resistance)

    first = replace(start(min(held or 0.0, 0.9 * ceiling)), series_resistance_ohm_cm2=held or 0.0)
    found = [run(first, FitModel(limited, resistive=False)) for limited in (False, True)]
    if near is not None:
        again = [run(fit.kinetics, fit.model) for fit in near.others if not fit.model.resistive]
        return [min(pair, key=lambda fit: fit.chi_squared) for pair in zip(found, again, strict=True)]
    if held is None:
        starts = [start(share * min(bound, ceiling)) for share in _RESISTANCE_STARTS]
        for limited in (False, True):
            tried = [run(at, FitModel(limited, resistive=True)) for at in starts]
            found.append(min(tried, key=lambda fit: fit.chi_squared))
    return found


def choose_model(
    fitter: Fitter, window_V: tuple[float, float], near: ChosenFit | None = None
) -> ChosenFit | None:
    """Fit all models to one window and choose the one of smallest AICc; None where points are too few.

    Parameters
    ----------
    fitter : Fitter
    window_V : tuple of float
    near : ChosenFit, optional
        Fits to a window not much longer, to start from as well.
    """
    inside = _inside(fitter, window_V)
    over = fitter.points.potential_V[inside] - fitter.points.zero_V
    if min((over > 0).sum(), (over < 0).sum()) < _FEWEST_POINTS // 2 or inside.sum() < _FEWEST_POINTS:
        return None
    fits = _fits(fitter, inside, near)
    length = min(fits, key=lambda fit: fit.chi_squared).length
    criteria = [fit.criterion(length) for fit in fits]
    best = int(np.argmin(criteria)) if np.isfinite(criteria).any() else 0
    return ChosenFit(
        window_V, inside, fits[best], tuple(fits), tuple(criteria), misfit_of(fitter, inside, fits[best])
    )


def misfit_of(fitter: Fitter, inside: np.ndarray, fit: WindowFit) -> float:
    """Root mean square of block means of the deviation, their noise taken off, fraction of the current."""
    density = fitter.points.density_uA_per_cm2[inside]
    deviation = fit.residuals * fitter.scale.sigma(density)
    over = fitter.points.potential_V[inside] - fitter.points.zero_V
    squares = []
    for side in (over < 0, over >= 0):
        for block in np.array_split(deviation[side], min(_BLOCKS_A_SIDE, max(int(side.sum()) // 2, 1))):
            if len(block) > 1:
                noise = float(np.mean(np.diff(block) ** 2)) / 2 / len(block)
                squares.append(float(block.mean()) ** 2 - noise)
    return math.sqrt(max(0.0, float(np.mean(squares))))


def choose_window(fitter: Fitter) -> tuple[ChosenFit, tuple[ChosenFit, ...]] | None:
    """Window that is fitted: the whole sweep, or less where no model describes it.

    While the misfit exceeds `FITS_WELL` the window is shortened step by step: on either side alone, as mostly
    one branch is to blame, and where that does not do, on the side that helps more at each step. Of the
    windows met whose misfit is within the rules, that of the narrowest interval of the corrosion current is
    taken.

    Returns
    -------
    chosen : ChosenFit
        Where no window is within the rules, that of least misfit.
    others : tuple of ChosenFit
        The other windows met that are within the rules. Instead of the pair None where even the whole sweep
        has too few points.
    """
    potential, zero = fitter.points.potential_V, fitter.points.zero_V
    whole = choose_model(fitter, (float(potential[0]), float(potential[-1])))
    if whole is None:
        return None
    reach = zero - float(potential[0]), float(potential[-1]) - zero
    met = {reach: whole}
    for sides in (((1.0, NOTCH),), ((NOTCH, 1.0),), ((1.0, NOTCH), (NOTCH, 1.0))):
        if min(c.misfit for c in met.values()) > FITS_WELL or len(sides) == 1:
            _shorten(fitter, met, reach, sides)
    within = [c for c in met.values() if c.misfit <= fitter.rules.largest_misfit]
    if not within:
        return min(met.values(), key=lambda c: c.misfit), ()
    chosen = min(within, key=lambda c: float(c.covariance()[1, 1]))
    return chosen, tuple(c for c in within if c is not chosen)


def _shorten(
    fitter: Fitter,
    met: dict[tuple[float, float], ChosenFit],
    reach: tuple[float, float],
    sides: tuple[tuple[float, float], ...],
) -> None:
    """Add shorter windows to those met, until one fits well or the rules allow none shorter.

    Parameters
    ----------
    fitter : Fitter
    met : dict
        Fits by the reach of their windows below and above zero current, V.
    reach : tuple of float
        Where to start; its fit is in `met`.
    sides : tuple of (float, float)
        Factors of the reach below and above to try at each step; that of least misfit is kept.
    """
    shortest = 1e-3 * fitter.rules.smallest_reach_mV
    zero = fitter.points.zero_V
    while met[reach].misfit > FITS_WELL:
        tried = []
        for below, above in ((share[0] * reach[0], share[1] * reach[1]) for share in sides):
            if min(below, above) < shortest:
                continue
            found = met.get((below, above)) or choose_model(fitter, (zero - below, zero + above), met[reach])
            if found is not None:
                tried.append((found.misfit, (below, above), found))
        if not tried:
            return
        _, reach, found = min(tried, key=lambda entry: entry[0])
        met[reach] = found


def window_spread(fitter: Fitter, chosen: ChosenFit, others: tuple[ChosenFit, ...]) -> WindowSpread:
    """Fit the chosen model again to shorter windows, and set them beside the other windows met.

    Notes
    -----
    Where the model holds, an estimate from part of the points differs from that of all points by a variance
    that is the difference of their variances (Hausman, Econometrica 46 (1978) 1251; recalled, not read here).
    What lies beyond is counted as spread between windows. Where the whole sweep is described it counts from
    three standard deviations, so that noise is not counted twice, and its mean over the windows is taken.
    Where the sweep had to be shortened it counts from one, and the largest is the half width of a rectangular
    distribution: what bends the branch outside the window does so a little inside.
    """
    zero = fitter.points.zero_V
    reach = zero - chosen.window_V[0], chosen.window_V[1] - zero
    shortest = min(1e-3 * fitter.rules.smallest_reach_mV, *reach)
    whole, variance = vector_of(chosen.fit.kinetics), np.diag(chosen.fit.covariance)
    windows, kinetics, excess = [], [], []
    whole_sweep = bool(chosen.inside.all())
    significant = _SIGNIFICANT if whole_sweep else 1.0

    def count(window: tuple[float, float], fit: WindowFit) -> None:
        windows.append(window)
        kinetics.append(fit.kinetics)
        square = (vector_of(fit.kinetics) - whole) ** 2
        theirs = np.diag(fit.covariance)
        known = np.isfinite(theirs) & np.isfinite(variance)
        explained = np.where(known, theirs, 0.0) - np.where(known, variance, 0.0)
        explained = np.maximum(explained, 0.0)
        beyond = known & (square > significant**2 * explained)
        excess.append(np.where(beyond, square - explained, 0.0))

    for other in others:
        count(other.window_V, other.fit)
    bound = _largest_resistance(fitter)
    seen = {chosen.window_V}
    for share in SUB_WINDOWS:
        window = zero - max(share[0] * reach[0], shortest), zero + max(share[1] * reach[1], shortest)
        inside = _inside(fitter, window)
        if window in seen or inside.sum() < _FEWEST_POINTS:
            continue
        seen.add(window)
        fit = fit_window(
            fitter.points.potential_V[inside],
            fitter.points.density_uA_per_cm2[inside],
            fitter.scale,
            chosen.fit.kinetics,
            chosen.fit.model,
            largest_resistance_ohm_cm2=bound,
        )
        count(window, fit)
    if not excess:
        return WindowSpread(tuple(windows), tuple(kinetics), np.zeros(len(PARAMETERS)))
    spread = np.mean(excess, axis=0) if whole_sweep else np.max(excess, axis=0) / 3
    return WindowSpread(tuple(windows), tuple(kinetics), spread)


def step_doubt(fitter: Fitter, chosen: ChosenFit, steps: tuple[RangeStep, ...]) -> np.ndarray:
    """Variance of each parameter from steps of the current in the window, shape (6,).

    Notes
    -----
    The window is fitted again, all models, with the steps closed as errors of gain and as errors of zero of
    the outer ranges. Which range is the true one is not known: the farthest of the two answers is the half
    width of a rectangular distribution.
    """
    doubt = np.zeros(len(PARAMETERS))
    if not steps:
        return doubt
    points = fitter.points
    for density in closed(points.potential_V, points.density_uA_per_cm2, steps):
        mended = replace(fitter, points=replace(points, density_uA_per_cm2=density))
        again = choose_model(mended, chosen.window_V)
        if again is not None:
            apart = vector_of(again.fit.kinetics) - vector_of(chosen.fit.kinetics)
            doubt = np.maximum(doubt, apart**2 / 3)
    return doubt

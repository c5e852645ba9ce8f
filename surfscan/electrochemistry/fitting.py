"""One weighted least-squares fit of one polarization model to one window of a sweep."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from surfscan.electrochemistry.correlated import corrected_akaike, correlation_length, schwarz
from surfscan.electrochemistry.current_scale import CurrentScale
from surfscan.electrochemistry.mixed_control import PARAMETERS, MixedControl, current_and_jacobian

SLOPE_LIMITS_V = (0.015, 1.2)
"""Tafel slopes that the optimizer may visit, V/decade."""

_LARGEST_RATIO = 0.9999
_SMALLEST_START = 1e-3
_TOLERANCE = 1e-10
_MOST_CALLS = 150


@dataclass(frozen=True)
class FitModel:
    """Which parameters are free.

    Attributes
    ----------
    limited : bool
        Whether the cathodic branch has a limiting current.
    resistive : bool
        Whether the series resistance is fitted.
    """

    limited: bool
    resistive: bool

    @property
    def free(self) -> tuple[int, ...]:
        """Places in `PARAMETERS` that are fitted."""
        return (0, 1, 2, 3, *((4,) if self.limited else ()), *((5,) if self.resistive else ()))


@dataclass(frozen=True)
class WindowFit:
    """A fit to one window.

    Attributes
    ----------
    model : FitModel
    kinetics : MixedControl
    residuals : ndarray of shape (n,)
        Scale value measured minus fitted, over its standard uncertainty.
    chi_squared : float
    length : float
        Points worth one independent point.
    covariance : ndarray of shape (6, 6)
        Of `PARAMETERS`, for correlated residuals of the size found; 0 where a parameter was held, infinite
        variance where the data do not hold a free one.
    converged : bool
    """

    model: FitModel
    kinetics: MixedControl
    residuals: np.ndarray
    chi_squared: float
    length: float
    covariance: np.ndarray
    converged: bool

    def criterion(self, length: float) -> float:
        """AICc, the residuals taken to be worth one independent point in `length`."""
        return corrected_akaike(self.chi_squared, len(self.residuals), len(self.model.free), length)

    def probability_criterion(self, length: float) -> float:
        """Schwarz's criterion on the same terms."""
        return schwarz(self.chi_squared, len(self.residuals), len(self.model.free), length)


def _kinetics(values: dict[str, float]) -> MixedControl:
    return MixedControl(
        values["Ecorr_V"],
        math.exp(min(max(values["ln_icorr"], -700.0), 700.0)),  # a trial step may be wild
        math.exp(values["ln_anodic_slope"]),
        math.exp(values["ln_cathodic_slope"]),
        min(max(values["limiting_ratio"], 0.0), 1.0),
        max(values["resistance"], 0.0),
    )


def _parameters(start: MixedControl, model: FitModel, largest_resistance: float) -> Any:
    """Parameters for lmfit; bounded ones start away from their bounds, where lmfit's gradient is 0."""
    import lmfit

    low, high = (math.log(limit) for limit in SLOPE_LIMITS_V)
    inside = [
        min(max(math.log(s), low + 0.05), high - 0.05) for s in (start.anodic_slope_V, start.cathodic_slope_V)
    ]
    parameters = lmfit.Parameters()
    parameters.add("Ecorr_V", start.Ecorr_V)
    parameters.add("ln_icorr", math.log(start.icorr_uA_per_cm2))
    parameters.add("ln_anodic_slope", inside[0], min=low, max=high)
    parameters.add("ln_cathodic_slope", inside[1], min=low, max=high)
    if model.limited:
        ratio = min(max(start.limiting_ratio, 0.02), 0.98)
        parameters.add("limiting_ratio", ratio, min=0.0, max=_LARGEST_RATIO)
    else:
        parameters.add("limiting_ratio", 0.0, vary=False)
    if model.resistive:
        at = start.series_resistance_ohm_cm2
        at = min(max(at, _SMALLEST_START * largest_resistance), 0.98 * largest_resistance)
        parameters.add("resistance", at, min=0.0, max=largest_resistance)
    else:
        parameters.add("resistance", start.series_resistance_ohm_cm2, vary=False)
    return parameters


def fit_window(
    potential_V: np.ndarray,
    density_uA_per_cm2: np.ndarray,
    scale: CurrentScale,
    start: MixedControl,
    model: FitModel,
    *,
    largest_resistance_ohm_cm2: float,
) -> WindowFit:
    """Fit one model by weighted least squares on the arsinh scale (Levenberg and Marquardt, lmfit).

    Parameters
    ----------
    potential_V, density_uA_per_cm2 : ndarray of shape (n,)
        The points of the window.
    scale : CurrentScale
    start : MixedControl
        Starting values; a resistance that is not free keeps its value, a limiting ratio that is not is 0.
    model : FitModel
    largest_resistance_ohm_cm2 : float
        Upper bound of a fitted series resistance.
    """
    import lmfit

    measured = scale.value(density_uA_per_cm2)
    weight = 1 / scale.sigma(density_uA_per_cm2)
    free = list(model.free)

    last: list[Any] = [None, None]

    def evaluated(parameters: Any) -> tuple[np.ndarray, np.ndarray]:
        """Current and Jacobian; the optimizer asks for one after the other at the same place."""
        kinetics = _kinetics(parameters.valuesdict())
        if last[0] != kinetics:
            last[:] = kinetics, current_and_jacobian(potential_V, kinetics)
        return last[1]

    def residuals(parameters: Any) -> np.ndarray:
        return (scale.value(evaluated(parameters)[0]) - measured) * weight

    def jacobian(parameters: Any) -> np.ndarray:
        current, columns = evaluated(parameters)
        return columns[:, free] * (scale.derivative(current) * weight)[:, np.newaxis]

    minimizer = lmfit.Minimizer(
        residuals, _parameters(start, model, largest_resistance_ohm_cm2), calc_covar=False
    )
    done = minimizer.minimize(
        method="leastsq", Dfun=jacobian, ftol=_TOLERANCE, xtol=_TOLERANCE, gtol=0.0, max_nfev=_MOST_CALLS
    )
    left = -residuals(done.params)
    chi_squared = float(left @ left)
    length = correlation_length(left)
    covariance = _covariance(jacobian(done.params), free, chi_squared, length)
    converged = bool(done.success) and bool(np.isfinite(chi_squared))
    return WindowFit(
        model, _kinetics(done.params.valuesdict()), left, chi_squared, length, covariance, converged
    )


def _covariance(columns: np.ndarray, free: list[int], chi_squared: float, length: float) -> np.ndarray:
    """Covariance of all parameters, the points counted for what they are worth; zero where held."""
    whole = np.zeros((len(PARAMETERS), len(PARAMETERS)))
    size = np.sqrt((columns**2).sum(axis=0))
    held = size > 0
    independent = len(columns) / length - len(free)
    if independent <= 0 or not held.all():
        whole[free, free] = np.inf
        return whole
    values, vectors = np.linalg.eigh((columns / size).T @ (columns / size))
    if values[0] < 1e-13:
        whole[free, free] = np.inf
        return whole
    inverse = (vectors / values) @ vectors.T / np.outer(size, size)
    whole[np.ix_(free, free)] = inverse * chi_squared / independent
    return whole

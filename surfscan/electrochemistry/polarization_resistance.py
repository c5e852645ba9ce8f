"""Polarization resistance: slope dE/di at zero current, from a window about it (ASTM G59)."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from surfscan.electrochemistry.correlated import corrected_akaike, correlation_length
from surfscan.electrochemistry.current_scale import noise_of
from surfscan.electrochemistry.zero_current import rising
from surfscan.estimates.groups import t_factor

_FEWEST, _FEWEST_A_SIDE = 6, 2
_MOST_DEGREE, _POINTS_A_DEGREE = 3, 4
_INDEPENDENT = 8.0  # points that a degree is judged by at least, so that smooth misfit does not hide a curve


@dataclass(frozen=True)
class PolarizationResistance:
    """Slope dE/di at zero current.

    Attributes
    ----------
    ohm_cm2 : float or None
    ci95 : (float, float) or None
    window_V : (float, float)
        Lowest and highest potential of the points used.
    points : int
    slope_change : float or None
        Largest less smallest slope di/dE over the window, as a fraction of that at zero current; 0 where a
        straight line describes the points as well (AICc).
    refused : str
    warnings : tuple of str
    """

    ohm_cm2: float | None
    ci95: tuple[float, float] | None
    window_V: tuple[float, float]
    points: int
    slope_change: float | None = None
    refused: str = ""
    warnings: tuple[str, ...] = ()

    @property
    def relative_standard_uncertainty(self) -> float:
        """Of the resistance, in the logarithm.

        Raises
        ------
        ValueError
            If there is no resistance.
        """
        if self.ci95 is None:
            raise ValueError("there is no polarization resistance")
        return math.log(self.ci95[1] / self.ci95[0]) / 2 / 1.96


def fit_polarization_resistance(
    potential_V: np.ndarray,
    density_uA_per_cm2: np.ndarray,
    zero_V: float,
    *,
    window_V: float = 0.01,
    largest_slope_change: float = 0.05,
    largest_interval: float = 0.5,
    series_resistance_ohm_cm2: float = 0.0,
) -> PolarizationResistance:
    """Slope dE/di at zero current from the points within `window_V` of it.

    The current is fitted by a polynomial of the potential, of third degree where the points allow (four a
    degree), weighted by its noise, so that a curved window does not bias the slope at zero current; how much
    the slope changes over the window is handed back. The interval allows for weights that are not quite right
    (MacKinnon and White, J. Econometrics 29 (1985) 305, HC3; from memory) and takes residuals as worth as
    many points as their correlation leaves.

    Parameters
    ----------
    potential_V, density_uA_per_cm2 : ndarray of shape (n,)
        One run, rising or falling, anodic positive.
    zero_V : float
        Zero-current potential.
    window_V : float, optional
    largest_slope_change : float, optional
        Change of the slope over the window, as a fraction, from which it is warned about.
    largest_interval : float, optional
        Half width of the interval over the value beyond which there is none.
    series_resistance_ohm_cm2 : float, optional
        Resistance of the solution times area, taken off the slope; 0 where the potentials are corrected.

    Returns
    -------
    PolarizationResistance

    Raises
    ------
    ValueError
        As `rising`, or if the series resistance is negative.
    """
    if not series_resistance_ohm_cm2 >= 0:
        raise ValueError(f"a series resistance of {series_resistance_ohm_cm2} ohm cm² is not 0 or above")
    potential, density = rising(potential_V, density_uA_per_cm2)
    near = np.abs(potential - zero_V) <= window_V * (1 + 1e-9)
    x, y = potential[near] - zero_V, 1e-6 * density[near]
    window = (float(potential[near][0]), float(potential[near][-1])) if x.size else (zero_V, zero_V)
    sides = min(int(np.count_nonzero(x < 0)), int(np.count_nonzero(x > 0)))

    def refuse(reason: str) -> PolarizationResistance:
        return PolarizationResistance(None, None, window, x.size, None, reason)

    if x.size < _FEWEST or sides < _FEWEST_A_SIDE or np.ptp(x) == 0:
        return refuse(
            f"{x.size} points within {1000 * window_V:g} mV of zero current, {sides} on the poorer side: "
            f"{_FEWEST} and {_FEWEST_A_SIDE} are needed"
        )
    noise = noise_of(potential, density, zero_V)
    steep = abs(float(np.polyfit(x, y, 1)[0]))
    flat = math.hypot(1e-6 * noise.absolute_uA_per_cm2, steep * noise.potential_V)
    expected = steep * x
    sigma = np.hypot(noise.relative * expected, max(flat, 1e-3 * float(np.abs(expected).max())))
    conductance, uncertainty, change, freedom = _slope(x / window_V, y, sigma)
    conductance, uncertainty = conductance / window_V, uncertainty / window_V
    half = t_factor(freedom) * uncertainty
    if not conductance > 0:
        return refuse("the current does not rise with the potential at zero current")
    if half >= largest_interval * conductance:
        return refuse(
            f"the current is too noisy near zero: the slope is known to {100 * half / conductance:.0f} % "
            "only "
            f"({100 * largest_interval:g} % allowed)"
        )
    total = 1 / conductance
    if series_resistance_ohm_cm2 >= 1 / (conductance + half):
        return refuse(
            f"the series resistance ({series_resistance_ohm_cm2:.4g} ohm cm²) is as large as the slope dE/di "
            f"({total:.4g} ohm cm²)"
        )
    low, high = (1 / (conductance + k * half) - series_resistance_ohm_cm2 for k in (1, -1))
    warnings: tuple[str, ...] = ()
    if change > largest_slope_change:
        warnings = (
            f"The slope di/dE changes by {100 * change:.0f} % over the window of ±{1000 * window_V:g} mV "
            f"({100 * largest_slope_change:g} % is linear): the polarization resistance is that at zero "
            "current "
            "from a curved fit. Take a smaller window if the noise allows.",
        )
    return PolarizationResistance(
        total - series_resistance_ohm_cm2, (low, high), window, x.size, change, "", warnings
    )


def _slope(x: np.ndarray, y: np.ndarray, sigma: np.ndarray) -> tuple[float, float, float, float]:
    """Slope at x = 0, its standard uncertainty, change of the slope over -1 to 1, and degrees of freedom."""
    degree = max(1, min(_MOST_DEGREE, x.size // _POINTS_A_DEGREE, np.unique(x).size - 2))
    powers = np.vander(x, degree + 1, increasing=True)
    weighted = powers / sigma[:, np.newaxis]
    terms, *_ = np.linalg.lstsq(weighted, y / sigma, rcond=None)
    left = y / sigma - weighted @ terms
    freedom = max(x.size / correlation_length(left) - terms.size, 1.0)
    inverse = np.linalg.inv(weighted.T @ weighted)
    leverage = np.einsum("ij,jk,ik->i", weighted, inverse, weighted)
    row = weighted @ inverse[1] * left / np.maximum(1 - leverage, 1e-6)
    variance = float(row @ row) * x.size / (freedom + terms.size)
    change = _change(powers, y, sigma, min(correlation_length(left), x.size / _INDEPENDENT))
    return float(terms[1]), math.sqrt(variance), change, freedom


def _change(powers: np.ndarray, y: np.ndarray, sigma: np.ndarray, length: float) -> float:
    """Largest less smallest slope over -1 to 1, over that at 0, by the degree that AICc takes."""
    best, change = math.inf, 0.0
    for count in range(2, powers.shape[1] + 1):
        weighted = powers[:, :count] / sigma[:, np.newaxis]
        terms, *_ = np.linalg.lstsq(weighted, y / sigma, rcond=None)
        left = y / sigma - weighted @ terms
        criterion = corrected_akaike(float(left @ left), y.size, count, length)
        if criterion < best:
            slopes = np.polynomial.polynomial.polyval(
                np.linspace(-1, 1, 21), np.polynomial.polynomial.polyder(terms)
            )
            best, change = criterion, float(np.ptp(slopes) / abs(terms[1])) if terms[1] else math.inf
    return change

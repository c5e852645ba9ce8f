"""Loss against exposure over specimens: linear, parabolic and free power law, compared.

All go through no loss at no time. Each specimen is one point: it was taken out once. Laws are compared by
AICc (N. Sugiura, Comm. Statist. A7 (1978) 13; C. M. Hurvich and C.-L. Tsai, Biometrika 76 (1989) 297; from
memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from surfscan.estimates.groups import t_factor

Law = Literal["linear", "parabolic", "power law"]
Scatter = Literal["constant", "proportional"]

EXPONENTS: dict[Law, float | None] = {"linear": 1.0, "parabolic": 0.5, "power law": None}
"""Loss = factor x hours ** exponent; None where the exponent is fitted."""

MIN_SPECIMENS = 5
"""Fewest specimens: AICc of a law with two parameters and a scatter needs more than four."""

MIN_TIMES = 2
MIN_TIMES_FREE = 3
"""Fewest different exposures for a free exponent: two times leave nothing to tell a wrong law by (common
practice, no source)."""

AS_GOOD = 4.0
"""Laws within so much of the best AICc are not told from it: differences of 4 to 7 speak clearly against one
(K. P. Burnham and D. R. Anderson, Model Selection and Multimodel Inference, 2002; from memory)."""

WORST_FIT = 0.05
"""Probability of the lack of fit (F-test against the means at each time) below which no law will do."""

_LEAST_EXPONENT, _LARGEST_EXPONENT = 0.05, 4.0
_GRID = 160
_GOLDEN_STEPS = 60
_GOLDEN = (math.sqrt(5) - 1) / 2


@dataclass(frozen=True)
class TimeFit:
    """One law fitted to losses.

    Attributes
    ----------
    law : {"linear", "parabolic", "power law"}
    factor, exponent : float
        Loss = factor x hours ** exponent.
    exponent_ci95 : (float, float) or None
        None where the exponent is fixed.
    factor_relative_uncertainty : float
        Relative standard uncertainty of the factor.
    residual_sd : float
        Scatter about the law: in the unit of the loss, or as a share of it where scatter is proportional.
    aicc, difference, weight : float
        AICc; above the best one; Akaike weight among the laws fitted.
    covariance : ((float, float), (float, float))
        Of ln factor and exponent.
    degrees_of_freedom : int
    """

    law: Law
    factor: float
    exponent: float
    exponent_ci95: tuple[float, float] | None
    factor_relative_uncertainty: float
    residual_sd: float
    aicc: float
    covariance: tuple[tuple[float, float], tuple[float, float]]
    degrees_of_freedom: int
    difference: float = 0.0
    weight: float = 1.0

    def at(self, hours: ArrayLike) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Mean loss and its pointwise 95 % interval at times above 0: three arrays, shaped as `hours`."""
        x = np.log(np.asarray(hours, float))
        (v_a, v_an), (_, v_n) = self.covariance
        middle = math.log(self.factor) + self.exponent * x
        half = t_factor(self.degrees_of_freedom) * np.sqrt(np.maximum(v_a + 2 * x * v_an + x * x * v_n, 0.0))
        return np.exp(middle), np.exp(middle - half), np.exp(middle + half)


@dataclass(frozen=True)
class OverTime:
    """Laws of loss against time over specimens, or why there are none.

    Attributes
    ----------
    fits : tuple of TimeFit
        Best AICc first.
    scatter : {"constant", "proportional"}
        Whether specimens scatter by an amount or by a share of the loss: whichever the spread at each time
        makes more likely.
    n_specimens : int
    hours : tuple of float
        Different exposures, above 0.
    lack_of_fit : float or None
        Probability of means as far from the best law by chance; None where each time has one specimen.
    notes : tuple of str
    refused : str
        Why there is no fit; empty where there is one.
    free : TimeFit or None
        The power law of free exponent, whether or not it is among `fits`: with few specimens AICc prefers a
        fixed exponent though the true one may be another, and two exposures settle one without a test of it.
        Projections hold its interval too.
    """

    fits: tuple[TimeFit, ...]
    scatter: Scatter
    n_specimens: int
    hours: tuple[float, ...]
    lack_of_fit: float | None = None
    notes: tuple[str, ...] = ()
    refused: str = ""
    free: TimeFit | None = None

    @property
    def best(self) -> TimeFit:
        """The law with the least AICc.

        Raises
        ------
        ValueError
            If there is none.
        """
        if not self.fits:
            raise ValueError(f"there is no fit: {self.refused}")
        return self.fits[0]

    @property
    def fits_the_means(self) -> bool:
        """Whether the best law may go through the means at each time."""
        return self.lack_of_fit is None or self.lack_of_fit >= WORST_FIT

    @property
    def as_good(self) -> tuple[TimeFit, ...]:
        """Laws that the data cannot tell from the best one."""
        return tuple(fit for fit in self.fits if fit.difference <= AS_GOOD)


def fit_over_time(hours: ArrayLike, losses: ArrayLike, *, common_relative: float = 0.0) -> OverTime:
    """Fit laws of loss against time.

    Parameters
    ----------
    hours : array_like of shape (n,)
        Exposure of each specimen; those of 0 h or not known are left out.
    losses : array_like of shape (n,)
        Loss of each, of one kind: penetration in µm, mass per area, share of section.
    common_relative : float, optional
        Relative standard uncertainty that all losses share, such as that of the scale: it widens intervals,
        and enters no comparison.

    Returns
    -------
    OverTime
        Maximum of the likelihood: least squares, factor sum(y g) / sum(g²) with g = hours ** exponent; with
        proportional scatter, mean(y / g).

    Raises
    ------
    ValueError
        On different lengths, a time below 0, or an uncertainty below 0.
    """
    t, y = np.broadcast_arrays(np.asarray(hours, float), np.asarray(losses, float))
    if t.ndim != 1 or np.shape(hours) != np.shape(losses):
        raise ValueError(f"one time for each loss, got {np.shape(hours)} and {np.shape(losses)}")
    if (t < 0).any() or not common_relative >= 0:
        raise ValueError("times and uncertainties must be 0 or above")
    keep = np.isfinite(t) & np.isfinite(y) & (t > 0)
    t, y = t[keep], y[keep]
    order = np.lexsort((y, t))
    t, y = t[order], y[order]
    times = np.unique(t)
    refused = _too_little(t, y, times)
    if refused:
        return OverTime((), "constant", len(t), tuple(times.tolist()), refused=refused)
    scatter = _scatter(t, y, times)
    notes = []
    fits = [
        fit for law in ("linear", "parabolic") if (fit := _fit(law, EXPONENTS[law] or 1.0, t, y, scatter))
    ]
    exponent = _best_exponent(t, y, scatter)
    free = None if exponent is None else _fit("power law", exponent, t, y, scatter)
    if len(times) < MIN_TIMES_FREE:
        notes.append(f"The exponent is not fitted: {MIN_TIMES_FREE} different exposures are needed.")
    elif exponent is None:
        notes.append("The exponent is not fitted: the best one lies outside 0.05 to 4.")
    elif free is not None:
        fits.append(free)
    if not fits:
        return OverTime(
            (), scatter, len(t), tuple(times.tolist()), refused="the mean loss cannot be told from none"
        )
    ranked = _ranked([_with_common(fit, common_relative) for fit in fits])
    lack = _lack_of_fit(ranked[0], t, y, times, scatter)
    free = None if free is None else _with_common(free, common_relative)
    found = OverTime(ranked, scatter, len(t), tuple(times.tolist()), lack, tuple(notes), free=free)
    if found.fits_the_means:
        return found
    return replace(found, notes=(*notes, f"No law goes through the means (F-test, probability {lack:.2g})."))


def aicc(log_likelihood: float, parameters: int, n: int) -> float:
    """Akaike's criterion for small samples.

    Parameters
    ----------
    log_likelihood : float
        At its maximum.
    parameters : int
        Fitted ones, the scatter among them.
    n : int
        Points; more than `parameters` + 1.

    Returns
    -------
    float
        -2 log likelihood + 2 K + 2 K (K + 1) / (n - K - 1).

    Raises
    ------
    ValueError
        If there are too few points.
    """
    if n - parameters - 1 <= 0:
        raise ValueError(f"{n} points are too few for {parameters} parameters")
    return -2 * log_likelihood + 2 * parameters + 2 * parameters * (parameters + 1) / (n - parameters - 1)


def _too_little(t: np.ndarray, y: np.ndarray, times: np.ndarray) -> str:
    if len(times) < MIN_TIMES:
        count = "1 exposure" if len(times) == 1 else "no exposure"
        return f"{count} above 0 h, {MIN_TIMES} different ones are needed"
    if len(t) < MIN_SPECIMENS:
        return f"{len(t)} specimens, at least {MIN_SPECIMENS} are needed"
    if y.mean() <= 0:
        return "there is no loss to fit: the mean is not above 0"
    return ""


def _means(t: np.ndarray, y: np.ndarray, times: np.ndarray) -> np.ndarray:
    """Mean loss at the time of each point."""
    sums = np.array([y[t == each].mean() for each in times])
    return sums[np.searchsorted(times, t)]


def _scatter(t: np.ndarray, y: np.ndarray, times: np.ndarray) -> Scatter:
    """Which scatter makes the spread about the means at each time more likely."""
    means = _means(t, y, times)
    within = float(((y - means) ** 2).mean())
    if (means <= 0).any() or within == 0:
        return "constant"
    share = float(((y / means - 1) ** 2).mean())
    return "proportional" if math.log(share) + 2 * np.log(means).mean() < math.log(within) else "constant"


def _misfit(exponent: float, t: np.ndarray, y: np.ndarray, scatter: Scatter) -> tuple[float, float]:
    """Best factor for an exponent, and -2 log likelihood there less its constant part."""
    g = np.exp(exponent * np.log(t))
    if scatter == "constant":
        factor = float((y * g).sum() / (g * g).sum())
        variance, scale = float(((y - factor * g) ** 2).mean()), 0.0
    else:
        ratio = y / g
        factor = float(ratio.mean())
        variance, scale = float(((ratio - factor) ** 2).mean()), 2 * float(np.log(g).sum())
    least = (1e-12 * float(np.abs(y).max())) ** 2  # losses that lie on the law to rounding
    return factor, len(t) * math.log(max(variance, least)) + scale


def _best_exponent(t: np.ndarray, y: np.ndarray, scatter: Scatter) -> float | None:
    """Exponent of the greatest likelihood; None where it lies at an end of the search."""

    def misfit(exponent: float) -> float:
        return _misfit(exponent, t, y, scatter)[1]

    grid = np.geomspace(_LEAST_EXPONENT, _LARGEST_EXPONENT, _GRID)
    k = int(np.argmin([misfit(float(n)) for n in grid]))
    if k in (0, _GRID - 1):
        return None
    return _golden(misfit, float(grid[k - 1]), float(grid[k + 1]))


def _golden(of: Callable[[float], float], low: float, high: float) -> float:
    """Least value between two ends by golden sections."""
    a, b = high - _GOLDEN * (high - low), low + _GOLDEN * (high - low)
    at_a, at_b = of(a), of(b)
    for _ in range(_GOLDEN_STEPS):
        if at_a < at_b:
            high, b, at_b = b, a, at_a
            a = high - _GOLDEN * (high - low)
            at_a = of(a)
        else:
            low, a, at_a = a, b, at_b
            b = low + _GOLDEN * (high - low)
            at_b = of(b)
    return (low + high) / 2


def _fit(law: Law, exponent: float, t: np.ndarray, y: np.ndarray, scatter: Scatter) -> TimeFit | None:
    """A law with its intervals; None where the factor cannot be told from 0."""
    n, free = len(t), EXPONENTS[law] is None
    factor, misfit = _misfit(exponent, t, y, scatter)
    if factor <= 0:
        return None
    curve = factor * np.exp(exponent * np.log(t))
    residuals = y - curve if scatter == "constant" else y / curve - 1
    by_factor = curve if scatter == "constant" else np.ones(n)  # change of the residual with ln factor
    design = np.stack([by_factor, by_factor * np.log(t)], axis=1)[:, : 2 if free else 1]
    left = n - design.shape[1]
    variance = float((residuals**2).sum()) / left
    inverse = variance * np.linalg.inv(design.T @ design)
    covariance = np.zeros((2, 2))
    covariance[: design.shape[1], : design.shape[1]] = inverse
    spread = math.sqrt(covariance[0, 0]) if not free else _least_relative(covariance)
    if t_factor(left) * spread >= 1:
        return None
    half = t_factor(left) * math.sqrt(covariance[1, 1])
    log_likelihood = -(misfit + n * (math.log(2 * math.pi) + 1)) / 2
    return TimeFit(
        law,
        factor,
        exponent,
        (exponent - half, exponent + half) if free else None,
        math.sqrt(covariance[0, 0]),
        math.sqrt(variance),
        aicc(log_likelihood, 3 if free else 2, n),
        ((covariance[0, 0], covariance[0, 1]), (covariance[1, 0], covariance[1, 1])),
        left,
    )


def _least_relative(covariance: np.ndarray) -> float:
    """Relative uncertainty of the law at the time where it is known best."""
    return (
        math.sqrt(max(covariance[0, 0] - covariance[0, 1] ** 2 / covariance[1, 1], 0.0))
        if covariance[1, 1]
        else 0.0
    )


def _with_common(fit: TimeFit, common: float) -> TimeFit:
    (v_a, v_an), (_, v_n) = fit.covariance
    v_a += common**2
    return replace(fit, covariance=((v_a, v_an), (v_an, v_n)), factor_relative_uncertainty=math.sqrt(v_a))


def _ranked(fits: list[TimeFit]) -> tuple[TimeFit, ...]:
    ordered = sorted(fits, key=lambda fit: fit.aicc)
    differences = [fit.aicc - ordered[0].aicc for fit in ordered]
    total = math.fsum(math.exp(-d / 2) for d in differences)
    return tuple(
        replace(fit, difference=d, weight=math.exp(-d / 2) / total)
        for fit, d in zip(ordered, differences, strict=True)
    )


def _lack_of_fit(
    fit: TimeFit, t: np.ndarray, y: np.ndarray, times: np.ndarray, scatter: Scatter
) -> float | None:
    """F-test of the law against a mean of its own at each time."""
    from scipy.special import fdtrc

    parameters = 2 if EXPONENTS[fit.law] is None else 1
    between, within = len(times) - parameters, len(t) - len(times)
    if between < 1 or within < 1:
        return None
    curve = fit.factor * np.exp(fit.exponent * np.log(t))
    means = _means(t, y, times)
    weight = 1.0 if scatter == "constant" else 1 / curve**2
    pure = float((weight * (y - means) ** 2).sum()) / within
    apart = float((weight * (means - curve) ** 2).sum()) / between
    if pure == 0:
        return None if apart == 0 else 0.0
    return float(fdtrc(between, within, apart / pure))

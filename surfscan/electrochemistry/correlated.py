"""Residuals that follow one another: how many points they are worth, and what that does to a comparison."""

from __future__ import annotations

import math

import numpy as np

_CHANCE = 6.0


def correlation_length(residuals: np.ndarray) -> float:
    """Number of neighbouring points that are worth one independent point, at least 1.

    Parameters
    ----------
    residuals : ndarray of shape (n,)
        In the order of measurement.

    Returns
    -------
    float
        The larger of two: 1 + 2 times the sum of the autocorrelations, summed in pairs up to the first pair
        below zero; and (1 + a) / (1 - a) of a first-order autoregression, a the first autocorrelation.

    Notes
    -----
    The rule where to stop is Geyer's initial positive sequence (Statistical Science 7 (1992) 473; recalled,
    not read here). Autocorrelations are those of residuals about zero, divided by n. White residuals show
    values up to about 1 + 6 / sqrt(n) by chance; these count as 1.
    """
    n = len(residuals)
    square = float(residuals @ residuals)
    if n < 4 or square == 0:
        return 1.0
    size = 1 << (2 * n - 1).bit_length()
    spectrum = np.abs(np.fft.rfft(residuals, size)) ** 2
    rho = np.fft.irfft(spectrum, size)[: n // 2] / square
    pairs = rho[: len(rho) // 2 * 2].reshape(-1, 2).sum(axis=1)
    below = np.flatnonzero(pairs <= 0)
    pairs = pairs[: below[0]] if len(below) else pairs
    summed = 2 * float(pairs.sum()) - 1
    first = min(float(rho[1]), 1 - 2 / n)
    length = max(summed, (1 + first) / (1 - first))
    return float(min(length, n / 2)) if length > 1 + _CHANCE / math.sqrt(n) else 1.0


def corrected_akaike(chi_squared: float, points: int, parameters: int, length: float) -> float:
    """AICc of a least-squares fit whose residuals are worth `points` / `length` independent ones.

    n' ln(chi²/n) + 2 k + 2 k (k + 1) / (n' - k - 1), with k the parameters and the variance, n' = n / length.
    Infinite where too few independent points are left (Hurvich and Tsai, Biometrika 76 (1989) 297; recalled).
    """
    independent, k = points / length, parameters + 1
    if independent <= k + 1:
        return math.inf
    correction = 2 * k * (k + 1) / (independent - k - 1)
    return independent * math.log(max(chi_squared, 1e-300) / points) + 2 * k + correction


def schwarz(chi_squared: float, points: int, parameters: int, length: float) -> float:
    """Schwarz's criterion of the same fit, n' ln(chi²/n) + k ln n'; exp(-half) goes with its probability.

    Schwarz, Annals of Statistics 6 (1978) 461; recalled, not read here. Infinite as for `corrected_akaike`.
    """
    independent, k = points / length, parameters + 1
    if independent <= k + 1:
        return math.inf
    return independent * math.log(max(chi_squared, 1e-300) / points) + k * math.log(independent)

"""Centre and spread of the densest class of values, whatever else is in the sample.

Bare metal is one class among pits (darker) and product or glare (brighter). The shortest interval that holds
a set share of the values lies in the densest class, where mean and median are drawn towards the others.
"""

from __future__ import annotations

import numpy as np

_SHARE = 0.4
_HALF_WIDTH = 0.5244
_SMALL_SAMPLE = 2.8


def densest(values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Centre and spread of each row's densest class.

    Parameters
    ----------
    values : ndarray of shape (k, m)
        Samples by row; not-a-number is left out.

    Returns
    -------
    centre : ndarray of shape (k,)
        Midpoint of the shortest interval that holds 40 % of the values; not-a-number for an empty row.
    spread : ndarray of shape (k,)
        Half its length over 0.5244, the 70 % point of the normal distribution, so that it estimates the
        standard deviation of normal values, with a correction for samples that are small:
        the mean over simulated normal samples is within 4 % from 64 values on.

    Notes
    -----
    Shortest-half estimators: Rousseeuw & Leroy, Statistica Neerlandica 42 (1988) 103,
    doi 10.1111/j.1467-9574.1988.tb01224.x (from memory), here with 40 % in place of a half.
    """
    ordered = np.sort(values, axis=1)
    n = np.count_nonzero(~np.isnan(ordered), axis=1)
    k = np.maximum(np.ceil(_SHARE * n).astype(int), 1)
    if n.size and (n == n[0]).all():
        first = max(1, int(n[0]) - int(k[0]) + 1)
        low, high = ordered[:, :first], ordered[:, int(k[0]) - 1 : int(k[0]) - 1 + first]
    else:
        first = ordered.shape[1]
        start = np.arange(first)
        end = np.minimum(start + k[:, None] - 1, first - 1)
        low, high = ordered, np.take_along_axis(ordered, end, axis=1)
        high = np.where(start + k[:, None] <= n[:, None], high, np.inf)
    length = np.where(np.isnan(high) | np.isnan(low), np.inf, high - low)
    best = np.argmin(length, axis=1)[:, None]
    a, b = np.take_along_axis(low, best, axis=1)[:, 0], np.take_along_axis(high, best, axis=1)[:, 0]
    correction = 1 - _SMALL_SAMPLE * np.maximum(n, 12) ** (-2 / 3)
    spread = (b - a) / (2 * _HALF_WIDTH * correction)
    return np.where(n > 0, (a + b) / 2, np.nan), np.where(n > 0, spread, np.nan)

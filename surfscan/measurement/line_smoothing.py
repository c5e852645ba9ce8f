"""Smoothing of values along a line by local parabolas."""

from __future__ import annotations

import numpy as np

_REACH = 3.0  # standard deviations
_LEAST_WEIGHT = 1e-6  # of a full window: with less, what little is there decides


def local_quadratic(
    values: np.ndarray, weight: np.ndarray, sigma: float, *, closed: bool = False
) -> np.ndarray:
    """Values along an evenly divided line, smoothed by parabolas fitted around every point.

    Parameters
    ----------
    values : ndarray of shape (k, n)
        One row a coordinate; anything finite where the weight is 0.
    weight : ndarray of shape (n,)
        0 for what is missing; some above 0.
    sigma : float
        Standard deviation of the Gaussian weights of the fit, in points, above 0.
    closed : bool
        Whether the last point is followed by the first.

    Returns
    -------
    ndarray of shape (k, n)
        A parabola comes back as it is, also at the ends and across gaps (local polynomial regression).
    """
    n = values.shape[1]
    reach = min(int(np.ceil(_REACH * sigma)), max(1, n - 1))
    if closed:
        turns = np.arange(-reach, n + reach) % n
        return _fitted(values[:, turns], weight[turns], sigma, reach)[:, reach : reach + n]
    return _fitted(values, weight, sigma, reach)


def _fitted(values: np.ndarray, weight: np.ndarray, sigma: float, reach: int) -> np.ndarray:
    t = np.arange(-reach, reach + 1) / sigma
    bell = np.exp(-0.5 * t**2)
    n = len(weight)
    # np.convolve turns the kernel round: powers of -t give sums over t = other - own.
    kernels = [bell * (-t) ** power for power in range(5)]
    moments = [np.convolve(weight, kernel)[reach : reach + n] for kernel in kernels]
    ridge = _LEAST_WEIGHT * float(bell.sum()) * float(weight.max())
    matrix = np.empty((n, 3, 3))
    for i in range(3):
        for j in range(3):
            matrix[:, i, j] = moments[i + j]
    matrix[:, 1, 1] += ridge
    matrix[:, 2, 2] += ridge
    matrix[:, 0, 0] += 1e-9 * float(bell.sum()) * float(weight.max())
    out = np.empty(values.shape)
    for k, row in enumerate(values):
        # Around its own mean, so that the trace of damping draws nothing to the origin.
        mean = float(np.average(row, weights=weight))
        sums = [np.convolve(weight * (row - mean), kernels[power])[reach : reach + n] for power in range(3)]
        out[k] = np.linalg.solve(matrix, np.stack(sums, axis=-1)[..., None])[:, 0, 0] + mean
    return out

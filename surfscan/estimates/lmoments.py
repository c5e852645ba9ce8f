"""L-moments of samples: kin of mean, standard deviation and skewness, but linear in the ordered values."""

from __future__ import annotations

import numpy as np


def sample_lmoments(values: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """First two sample L-moments and the L-skewness.

    Parameters
    ----------
    values : ndarray of shape (..., n)
        At least 3 values along the last axis.

    Returns
    -------
    tuple of three ndarray of shape (...)
        l1 (mean), l2 (half the mean difference of two values) and t3 = l3 / l2; t3 is not-a-number where all
        values are equal.

    Raises
    ------
    ValueError
        If there are fewer than 3 values.

    References
    ----------
    Hosking, J. R. M. (1990) J. R. Statist. Soc. B 52, 105-124: unbiased probability-weighted moments.
    """
    x = np.sort(np.asarray(values, dtype=np.float64), axis=-1)
    n = x.shape[-1]
    if n < 3:
        raise ValueError(f"L-moments up to the third need at least 3 values, got {n}")
    i = np.arange(n, dtype=np.float64)
    b0 = x.mean(axis=-1)
    b1 = (x * (i / (n - 1))).mean(axis=-1)
    b2 = (x * (i * (i - 1) / ((n - 1) * (n - 2)))).mean(axis=-1)
    second, third = 2 * b1 - b0, 6 * b2 - 6 * b1 + b0
    t3 = np.divide(third, second, out=np.full_like(second, np.nan), where=second > 0)
    return b0, second, t3

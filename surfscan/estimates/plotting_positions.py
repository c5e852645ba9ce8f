"""Plotting positions of maxima of which some are only bounds."""

from __future__ import annotations

import numpy as np

from surfscan.estimates.maxima_likelihood import AT_LEAST, AT_MOST, MEASURED

_MOST_ROUNDS = 20_000
_TOLERANCE = 1e-12


def plotting_positions(values: np.ndarray, kinds: np.ndarray) -> np.ndarray:
    """Estimated probability that a block's maximum stays at or below each measured one.

    Parameters
    ----------
    values, kinds : ndarray of shape (n,)
        Maxima and what each is: measured, a lower bound, an upper bound.

    Returns
    -------
    ndarray of shape (n,)
        Not-a-number for bounds, which have no place of their own. Complete data: i / (n + 1). Lower bounds:
        the product-limit positions of Herd and Johnson, 1 - product of r / (r + 1) over measured maxima, r
        the reverse rank. Upper bounds as well: the self-consistent estimate, of which both are special cases.

    Notes
    -----
    One more block, larger than all, stands for the n + 1. The weight of a lower bound goes to what lies above
    it, that of an upper bound to what lies at or below it (or below everything measured), in proportion to
    the weights there, until nothing changes. Measured maxima that are equal get successive positions.

    References
    ----------
    Gumbel, E. J. (1958) Statistics of Extremes, for i / (n + 1). Kaplan & Meier (1958) J. Am. Statist. Assoc.
    53, 457-481. Turnbull, B. W. (1974) J. Am. Statist. Assoc. 69, 169-173, for both kinds of bounds. Herd
    and Johnson: from memory.
    """
    order = np.argsort(values, kind="stable")
    order = order[kinds[order] == MEASURED]
    points = values[order]
    m = len(points)
    weights = np.full(m + 2, 1.0 / (m + 2))  # below everything; the measured ones; above everything
    after = np.searchsorted(points, values[kinds == AT_LEAST], side="right") + 1
    up_to = np.searchsorted(points, values[kinds == AT_MOST], side="right") + 1
    if len(up_to) == 0:
        weights[0] = 0.0
    total = len(values) + 1
    own = np.concatenate([[0.0], np.ones(m + 1)]) / total
    index = np.arange(m + 2)
    allowed = np.concatenate([index[None] >= after[:, None], index[None] < up_to[:, None]])
    for _ in range(_MOST_ROUNDS):
        shares = allowed * weights
        new = own + (shares / shares.sum(axis=1, keepdims=True)).sum(axis=0) / total
        moved = np.abs(new - weights).max()
        weights = new
        if moved < _TOLERANCE:
            break
    positions = np.full(len(values), np.nan)
    positions[order] = np.cumsum(weights)[1:-1]
    return positions

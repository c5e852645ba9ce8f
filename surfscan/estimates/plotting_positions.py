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
    One more block, larger than all, stands for the n + 1. The weight of an upper bound is shared out to what
    lies at or below it (or below everything measured) in proportion to the weights there, the product limit
    taken, and so on until nothing changes. Measured maxima that are equal get successive positions.

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
    weights = np.full(m + 1, 1.0 / (m + 1))  # below everything measured, then the measured ones
    withdrawn = np.bincount(np.searchsorted(points, values[kinds == AT_LEAST], side="right"), minlength=m + 1)
    up_to = np.bincount(np.searchsorted(points, values[kinds == AT_MOST], side="right"), minlength=m + 1)
    lost = np.cumsum(withdrawn) - withdrawn
    own = np.concatenate([[0.0], np.ones(m)])
    for _ in range(_MOST_ROUNDS):
        shares = weights * np.cumsum((up_to / np.cumsum(weights))[::-1])[::-1] if up_to.any() else 0.0
        events = own + shares
        at_risk = len(values) + 1 - (np.cumsum(events) - events) - lost
        below = 1 - np.cumprod(1 - events / at_risk)
        new = np.diff(below, prepend=0.0)
        moved = np.abs(new - weights).max()
        weights = new
        if moved < _TOLERANCE:
            break
    positions = np.full(len(values), np.nan)
    positions[order] = below[1:]
    return positions

"""Product that may still come off while the base-metal line seems reached.

Each cleaning cycle is taken to remove a constant share of the product that is left, at least half of it
(common practice, no source). What is left after the cycles on the line then bends them by less than the
balance shows, yet tilts the line and lowers the loss at zero cycles. How far it may, is searched over all
such shares.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from surfscan.estimates.quantiles import gamma_quantile

LARGEST_SHARE_LEFT = 0.5
"""Of the product, what one cycle leaves at most (common practice, no source)."""

_SHARES = np.linspace(0.0, LARGEST_SHARE_LEFT, 26)[1:]
_NORMAL_FACTOR = 1.959963984540054
_FITS_BELOW = 0.99


@dataclass(frozen=True)
class TailRange:
    """Loss at zero cycles with a tail of product allowed for.

    Attributes
    ----------
    best_mg : float
        Of the tail that fits best; that of the plain line where none does better.
    low_mg, high_mg : float
        95 % limits by the profile of chi-squared over shares left and the loss.
    """

    best_mg: float
    low_mg: float
    high_mg: float


def tail_range(losses_mg: np.ndarray, noise_mg: float) -> TailRange:
    """Range of the loss at zero cycles over all tails of product that the losses allow.

    Parameters
    ----------
    losses_mg : ndarray of shape (n,)
        Total loss after each cleaning cycle, three or more.
    noise_mg : float
        Standard uncertainty of one of them.

    Returns
    -------
    TailRange
        The model is a + b k - c r^k with c from 0 and r from 0 to 0.5, on all cycles k; leading ones are left
        out, one by one, while it does not fit (1 % level) and three are left.

    Raises
    ------
    ValueError
        If there are fewer than three cycles, or `noise_mg` is not above 0.
    """
    count = len(losses_mg)
    if count < 3 or not noise_mg > 0:
        raise ValueError(f"three cycles and noise above 0 are needed, got {count} and {noise_mg!r}")
    for start in range(count - 2):
        chi, loss, uncertainty = _tails(np.arange(start + 1.0, count + 1), losses_mg[start:], noise_mg)
        freedom = max(count - start - 4, 1)
        if chi.min() <= 2 * gamma_quantile(freedom / 2, _FITS_BELOW):
            break
    excess = chi - chi.min()
    allowed = excess <= _NORMAL_FACTOR**2
    reach = np.sqrt(_NORMAL_FACTOR**2 - excess[allowed]) * uncertainty[allowed]
    return TailRange(
        float(loss[np.argmin(chi)]),
        float(np.min(loss[allowed] - reach)),
        float(np.max(loss[allowed] + reach)),
    )


def _tails(cycles: np.ndarray, losses: np.ndarray, noise: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Chi-squared, loss at zero cycles and its uncertainty for the plain line and each tail, shape (k,)."""
    line = np.column_stack([np.ones(len(cycles)), cycles])
    fits = [_fit(line, losses, noise)]
    for share in _SHARES:
        fit = _fit(np.column_stack([line, -(share ** (cycles - cycles[0]))]), losses, noise)
        if fit[3] > 0:
            fits.append(fit)
    chi, loss, uncertainty, _ = np.array(fits).T
    return chi, loss, uncertainty


def _fit(terms: np.ndarray, losses: np.ndarray, noise: float) -> tuple[float, float, float, float]:
    """Chi-squared, loss at zero cycles, its uncertainty with the first weighing, and the last term."""
    inverse = np.linalg.inv(terms.T @ terms)
    found = inverse @ (terms.T @ losses)
    misfit = losses - terms @ found
    uncertainty = noise * math.sqrt(inverse[0, 0] + 1)
    return float(misfit @ misfit) / noise**2, float(found[0]), uncertainty, float(found[-1])

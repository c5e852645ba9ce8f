"""Product that may still come off while the base-metal line seems reached.

Each cleaning cycle is taken to remove a constant share of the product that is left (common practice, no
source). Product that comes off slowly bends the losses by less than the balance shows, yet tilts their line
and lowers the loss at zero cycles. How far it may, is searched over all shares from 0 to 0.95 left by a
cycle, fitted to all cycles.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from surfscan.estimates.quantiles import gamma_quantile

LARGEST_SHARE_LEFT = 0.95
"""Of the product, what one cycle leaves at most: product that comes off more slowly is base metal to the
cycles (common practice, no source)."""

SHARE_LEFT_UNSEEN = 0.5
"""What one cycle leaves at most of product of which the cycles show nothing (common practice, no source)."""

_SHARES = np.concatenate([np.linspace(0.02, 0.5, 25), np.linspace(0.525, LARGEST_SHARE_LEFT, 18)])
_NORMAL_FACTOR = 1.959963984540054
_FITS_BELOW = 0.99
_SEEN_CHI = 1.0  # a bend of one standard uncertainty
_SURE_CHI = 2.3263478740408408**2  # one-sided 1 % of the normal distribution
_LEAST_CYCLES = 4  # with three, any bend is a tail that fits


@dataclass(frozen=True)
class TailRange:
    """Loss at zero cycles with a tail of product allowed for.

    Attributes
    ----------
    best_mg : float
        Of the tail that fits best; that of the plain line where none does better.
    low_mg, high_mg : float
        95 % limits by the profile of chi-squared over shares left and the loss.
    share_left : float
        Of the best tail; 0 of the plain line.
    is_sure : bool
        Whether the cycles show product that came off along with the metal, beyond doubt (1 % level).
    is_slow_allowed : bool
        Whether shares above `SHARE_LEFT_UNSEEN` are in the limits.
    """

    best_mg: float
    low_mg: float
    high_mg: float
    share_left: float
    is_sure: bool
    is_slow_allowed: bool

    @property
    def is_at_bound(self) -> bool:
        """Whether the best share is the largest looked at, so that nothing bounds the loss from above."""
        return self.share_left >= LARGEST_SHARE_LEFT - 1e-9


def tail_range(
    losses_mg: np.ndarray, noise_mg: float, least_slope_mg: float = 0.0, *, is_faster_than_blank: bool = False
) -> TailRange:
    """Range of the loss at zero cycles over all tails of product that the losses allow.

    Parameters
    ----------
    losses_mg : ndarray of shape (n,)
        Total loss after each cleaning cycle, three or more.
    noise_mg : float
        Standard uncertainty of one of them.
    least_slope_mg : float, optional
        Metal that one cycle removes at least: none, or what a blank lost, less its uncertainty.
    is_faster_than_blank : bool, optional
        Whether the specimen loses more in each cycle than a blank does, so that product may be among it.

    Returns
    -------
    TailRange
        The model is a + b k - c r^k with c from 0, b from `least_slope_mg` and r from 0 to 0.95, on all
        cycles k; leading ones are left out, one by one, while it does not fit (1 % level) and three are left.
        Shares above one half count where the losses bend as a tail does, by one standard uncertainty or
        more, or exceed those of a blank.

    Raises
    ------
    ValueError
        If there are fewer than three cycles, or `noise_mg` is not above 0.
    """
    count = len(losses_mg)
    if count < 3 or not noise_mg > 0:
        raise ValueError(f"three cycles and noise above 0 are needed, got {count} and {noise_mg!r}")
    for start in range(count - 2):
        cycles = np.arange(start + 1.0, count + 1)
        share, chi, loss, uncertainty = _tails(
            cycles, losses_mg[start:], noise_mg, least_slope_mg, is_faster_than_blank
        )
        freedom = max(count - start - 4, 1)
        if chi.min() <= 2 * gamma_quantile(freedom / 2, _FITS_BELOW):
            break
    evidence = float(chi[0] - chi.min())
    is_slow_allowed = is_faster_than_blank or (evidence > _SEEN_CHI and count - start >= _LEAST_CYCLES)
    if not is_slow_allowed:
        quick = share <= SHARE_LEFT_UNSEEN
        share, chi, loss, uncertainty = share[quick], chi[quick], loss[quick], uncertainty[quick]
    best = int(np.argmin(chi))
    excess = chi - chi[best]
    allowed = excess <= _NORMAL_FACTOR**2
    reach = np.sqrt(_NORMAL_FACTOR**2 - excess[allowed]) * uncertainty[allowed]
    return TailRange(
        float(loss[best]),
        float(np.min(loss[allowed] - reach)),
        float(np.max(loss[allowed] + reach)),
        float(share[best]),
        evidence > _SURE_CHI,
        is_slow_allowed,
    )


def _tails(
    cycles: np.ndarray, losses: np.ndarray, noise: float, least_slope: float, has_least: bool
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Share left, chi-squared, loss at zero cycles and its uncertainty of the plain line and each tail.

    With `has_least`, each tail is fitted with the least slope too, which holds most product.
    """
    one = np.ones(len(cycles))
    fits = [(0.0, *_fit(np.column_stack([one, cycles]), losses, noise)[:3])]
    for share in _SHARES.tolist():
        bend = -(share ** (cycles - cycles[0]))
        *free, found = _fit(np.column_stack([one, cycles, bend]), losses, noise)
        if found[1] >= least_slope and found[2] > 0:
            fits.append((share, *free))
        if found[1] < least_slope or has_least:
            *bound, found = _fit(np.column_stack([one, bend]), losses - least_slope * cycles, noise)
            if found[1] > 0:
                fits.append((share, *bound))
    shares, chi, loss, uncertainty = np.array(fits).T
    return shares, chi, loss, uncertainty


def _fit(terms: np.ndarray, losses: np.ndarray, noise: float) -> tuple[float, float, float, np.ndarray]:
    """Chi-squared, loss at zero cycles, its uncertainty with the first weighing, and all coefficients."""
    inverse = np.linalg.inv(terms.T @ terms)
    found = inverse @ (terms.T @ losses)
    misfit = losses - terms @ found
    uncertainty = noise * math.sqrt(inverse[0, 0] + 1)
    return float(misfit @ misfit) / noise**2, float(found[0]), uncertainty, found

"""Grey classes as a mixture of normal distributions, fitted to a histogram."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

_BINS = 256
_ENOUGH = 1 << 15
_ROUNDS = 100
_SETTLED = 1e-2  # means move by less than this share of a bin


@dataclass(frozen=True)
class Mixture:
    """Normal classes on one axis, in order of their means.

    Attributes
    ----------
    shares, means, spreads : ndarray of shape (K,)
        Share of the data, mean and standard deviation of each class.
    log_likelihood : float
        Mean log density per datum, in the data's own unit.
    """

    shares: np.ndarray
    means: np.ndarray
    spreads: np.ndarray
    log_likelihood: float

    def separation(self, first: int = 0, second: int = 1) -> float:
        """Distance between two means over the root mean square of their spreads (Ashman's D).

        Above 2 two normal classes are told apart (Ashman, Bird and Zepf, Astron J 108 (1994) 2348: known
        from memory); one normal class fitted by two gives about 0.
        """
        pooled = np.sqrt(0.5 * (self.spreads[first] ** 2 + self.spreads[second] ** 2))
        return float(abs(self.means[second] - self.means[first]) / pooled)

    def equal_density(self) -> float:
        """Where the densities of the first two classes, times their shares, cross between their means."""
        x = np.linspace(self.means[0], self.means[1], 401)
        density = _densities(x, self.shares, self.means, self.spreads)
        return float(x[np.argmin(np.abs(density[0] - density[1]))])


@dataclass(frozen=True)
class Histogram:
    """Data reduced to what a fit needs.

    Attributes
    ----------
    centres, weight : ndarray of shape (256,)
        Bin centres and the share of the data in each bin.
    width : float
        Bin width.
    """

    centres: np.ndarray
    weight: np.ndarray
    width: float


def thinned(values: np.ndarray) -> np.ndarray:
    """Every so many of `values` along the first axis, at least 32768: enough for levels and spreads."""
    return values[:: max(1, len(values) // _ENOUGH)]


def histogram_of(values: np.ndarray) -> Histogram:
    """Histogram of `values` (any shape, at least one) over all but their outermost 0.02 % at either end."""
    values = np.ravel(values).astype(float)  # bins of a narrow range would coincide in float32
    low, high = (float(v) for v in np.percentile(values, [0.02, 99.98]))
    margin = 0.02 * (high - low) + 1e-6 * max(1.0, abs(high))
    low, width = low - margin, (high - low + 2 * margin) / _BINS
    bins = np.floor((values - low) / width)
    counts = np.bincount(bins[(bins >= 0) & (bins < _BINS)].astype(np.intp), minlength=_BINS)
    return Histogram(low + (np.arange(_BINS) + 0.5) * width, counts / max(1, counts.sum()), width)


def fit_mixture(
    histogram: Histogram, starting_means: np.ndarray, *, least_spread: float = 0.0, rounds: int = _ROUNDS
) -> Mixture:
    """Fit normal classes by expectation maximisation and return the likeliest of several starts.

    Parameters
    ----------
    histogram : Histogram
    starting_means : array-like of shape (K,) or (S, K)
        First guess of the class means, K >= 2, for one start or for S of them; classes start at the spreads
        of the data nearest to each.
    least_spread : float
        No class is taken to be more even than this (nor than two bins of the histogram), so that saturated
        pixels do not make a class of their own.
    rounds : int
        At most.

    Returns
    -------
    Mixture
    """
    centres, weight = histogram.centres, histogram.weight
    least = max(2 * histogram.width, least_spread)
    means = np.sort(np.atleast_2d(np.asarray(starting_means, float)), axis=1)
    nearest = np.argmin(np.abs(centres - means[..., None]), axis=1)
    member = (nearest[:, None] == np.arange(means.shape[1])[:, None]).astype(float)
    shares, means, spreads = _moments(weight, centres, member, means, least)
    for _ in range(rounds):
        density = _densities(centres, shares, means, spreads)
        before = means
        member = density / density.sum(axis=1, keepdims=True)
        shares, means, spreads = _moments(weight, centres, member, means, least)
        if np.max(np.abs(means - before)) < _SETTLED * histogram.width:
            break
    total = _densities(centres, shares, means, spreads).sum(axis=1)
    likelihood = np.log(total) @ weight
    best = int(np.argmax(likelihood))
    order = np.argsort(means[best])
    return Mixture(shares[best][order], means[best][order], spreads[best][order], float(likelihood[best]))


def _densities(x: np.ndarray, shares: np.ndarray, means: np.ndarray, spreads: np.ndarray) -> np.ndarray:
    """Share times density of each class at `x`, shape (..., K, len(x)); never exactly 0."""
    z = (x - means[..., None]) / spreads[..., None]
    scale = shares[..., None] / (spreads[..., None] * np.sqrt(2 * np.pi))
    return np.asarray(scale * np.exp(-0.5 * z**2) + 1e-300)


def _moments(
    weight: np.ndarray, centres: np.ndarray, member: np.ndarray, means: np.ndarray, least: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Shares, means and spreads (S, K) from the membership (S, K, bins); an empty class keeps its mean."""
    part = member * weight
    shares = part.sum(axis=-1)
    safe = np.maximum(shares, 1e-12)
    new = np.where(shares > 1e-9, part @ centres / safe, means)
    square = part @ centres**2 / safe
    variance = np.maximum(square - new**2, 0.0)
    return safe, new, np.sqrt(variance + least**2)


def two_level_split(values: np.ndarray) -> float:
    """Level that splits `values` with the greatest variance between the two parts (Otsu 1979)."""
    values = np.asarray(values, float)  # bins of a narrow range would coincide in float32
    low, high = np.percentile(values, [0.1, 99.9])
    if not high - low > 1e-6 * max(1.0, abs(high)):  # nothing but rounding: no two levels
        return float(high)
    counts, edges = np.histogram(values, bins=_BINS, range=(float(low), float(high)))
    centres = 0.5 * (edges[1:] + edges[:-1])
    below = np.cumsum(counts)[:-1].astype(float)
    first = np.cumsum(counts * centres)[:-1]
    above = counts.sum() - below
    total = float(np.sum(counts * centres))
    between = (total * below / counts.sum() - first) ** 2 / np.maximum(below * above, 1e-12)
    return float(edges[1 + int(np.argmax(between))])

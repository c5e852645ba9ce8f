"""Grey classes as a mixture of normal distributions, fitted to a histogram."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

_BINS = 256
_ROUNDS = 100
_SETTLED = 1e-3  # means move by less than this share of a bin


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


def fit_mixture(
    values: np.ndarray, starting_means: np.ndarray, *, least_spread: float = 0.0, rounds: int = _ROUNDS
) -> Mixture:
    """Fit normal classes by expectation maximisation on a histogram of 256 bins.

    Parameters
    ----------
    values : ndarray
        Data, any shape; at least one.
    starting_means : array-like of shape (K,)
        First guess of the class means, K >= 2; classes start at the spreads of the data nearest to each.

    least_spread : float
        No class is taken to be more even than this (nor than two bins of the histogram), so that saturated
        pixels do not make a class of their own.
    rounds : int
        At most.

    Returns
    -------
    Mixture
    """
    values = np.ravel(values).astype(float)  # bins of a narrow range would coincide in float32
    low, high = (float(v) for v in np.percentile(values, [0.02, 99.98]))
    margin = 0.02 * (high - low) + 1e-6 * max(1.0, abs(high))
    counts, edges = np.histogram(values, bins=_BINS, range=(low - margin, high + margin))
    centres, width = 0.5 * (edges[1:] + edges[:-1]), float(edges[1] - edges[0])
    weight, least = counts / max(1, counts.sum()), max(2 * width, least_spread)
    means = np.sort(np.asarray(starting_means, float))
    nearest = np.argmin(np.abs(centres - means[:, None]), axis=0)
    member = (nearest == np.arange(len(means))[:, None]).astype(float)
    shares, means, spreads = _moments(weight, centres, member, means, least)
    for _ in range(rounds):
        density = _densities(centres, shares, means, spreads)
        before = means
        shares, means, spreads = _moments(weight, centres, density / density.sum(axis=0), means, least)
        if np.max(np.abs(means - before)) < _SETTLED * width:
            break
    order = np.argsort(means)
    shares, means, spreads = shares[order], means[order], spreads[order]
    total = _densities(centres, shares, means, spreads).sum(axis=0)
    return Mixture(shares, means, spreads, float(np.sum(weight * np.log(total))))


def _densities(x: np.ndarray, shares: np.ndarray, means: np.ndarray, spreads: np.ndarray) -> np.ndarray:
    """Share times density of each class at `x`, shape (K, len(x)); never exactly 0."""
    z = (x - means[:, None]) / spreads[:, None]
    scale = shares[:, None] / (spreads[:, None] * np.sqrt(2 * np.pi))
    return np.asarray(scale * np.exp(-0.5 * z**2) + 1e-300)


def _moments(
    weight: np.ndarray, centres: np.ndarray, member: np.ndarray, means: np.ndarray, least: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Shares, means and spreads from the membership of every bin; an empty class keeps its mean."""
    part = member * weight
    shares = part.sum(axis=1)
    safe = np.maximum(shares, 1e-12)
    new = np.where(shares > 1e-9, (part * centres).sum(axis=1) / safe, means)
    variance = (part * (centres - new[:, None]) ** 2).sum(axis=1) / safe
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

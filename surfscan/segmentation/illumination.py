"""Light that falls on metal and product alike, told apart from the classes themselves.

A local background follows large patches and eats them. Here grey = light x class level, with light a smooth
surface of low order and class levels constant; both are fitted together, on all pixels.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from surfscan.segmentation.mixture import fit_mixture, histogram_of, two_level_split

_ORDER = 2
_ROUNDS = 20
_DIMMEST = 0.05  # light never falls below this share of its mean


@dataclass(frozen=True)
class Illumination:
    """Second-order surface over a picture: the grey of the brighter class at every point.

    Attributes
    ----------
    coefficients : ndarray of shape (3, 3)
        Factor of y**i x**j, with x and y from -1 to 1 across the picture.
    floor : float
        Smallest value returned.
    """

    coefficients: np.ndarray
    floor: float

    def at(self, shape: tuple[int, int], rows: slice = slice(None), cols: slice = slice(None)) -> np.ndarray:
        """Values at the pixel centres of a picture of `shape`, or of a part of it, float32."""
        y = np.vander(_axis(shape[0])[rows], _ORDER + 1, increasing=True)
        x = np.vander(_axis(shape[1])[cols], _ORDER + 1, increasing=True)
        surface = (y @ self.coefficients).astype(np.float32) @ x.T.astype(np.float32)
        return np.maximum(surface, np.float32(self.floor))


def _axis(n: int) -> np.ndarray:
    return (np.arange(n) + 0.5) / n * 2 - 1


def fit_illumination(grey: np.ndarray, valid: np.ndarray) -> Illumination:
    """Fit light and two class levels together.

    Classes and light are refined in turn: given the classes, light and class levels follow by weighted least
    squares; given the light, the classes follow from a two-class mixture of grey / light. Several starts
    (darkest or brightest parts of the picture, before and after a plain fit of the light) are run and the
    one with the greatest likelihood is kept, so that neither a shaded corner nor a large patch decides.

    Parameters
    ----------
    grey : ndarray of shape (m, n)
        Picture on a reduced grid, smoothed.
    valid : ndarray of shape (m, n), bool
        Grid points on the specimen.

    Returns
    -------
    Illumination
        Scaled so that the brighter class has level 1.
    """
    y = grey[valid].astype(np.float64)
    powers, terms = _terms(valid)
    plain = _bounded(terms @ _solve(terms, y), y)
    ratio = y / plain
    starts = [y < two_level_split(y), ratio < two_level_split(ratio)]
    starts += [ratio < np.percentile(ratio, q) for q in (5, 15, 30, 70, 90)]
    runs = [_alternate(y, terms, start) for start in starts]
    _, factors = max(runs, key=lambda run: run[0])
    return _surface(powers, factors, y)


def refit_on_metal(grey: np.ndarray, metal: np.ndarray) -> Illumination:
    """Light from the metal alone, once it is known: plain least squares on its points."""
    y = grey[metal].astype(np.float64)
    powers, terms = _terms(metal)
    return _surface(powers, _solve(terms, y), y)


def _terms(valid: np.ndarray) -> tuple[list[tuple[int, int]], np.ndarray]:
    """Powers of y and x in the surface, and their values at the valid points, one column each."""
    ys, xs = np.broadcast_arrays(_axis(valid.shape[0])[:, None], _axis(valid.shape[1]))
    powers = [(i, j) for i in range(_ORDER + 1) for j in range(_ORDER + 1 - i)]
    return powers, np.stack([ys[valid] ** i * xs[valid] ** j for i, j in powers], axis=1)


def _surface(powers: list[tuple[int, int]], factors: np.ndarray, y: np.ndarray) -> Illumination:
    coefficients = np.zeros((_ORDER + 1, _ORDER + 1))
    for (i, j), factor in zip(powers, factors, strict=True):
        coefficients[i, j] = factor
    return Illumination(coefficients, _DIMMEST * float(y.mean()))


def _alternate(y: np.ndarray, terms: np.ndarray, dark: np.ndarray) -> tuple[float, np.ndarray]:
    """Refine classes and light in turn from one start: (log likelihood, light's factors)."""
    light = np.full(len(y), np.median(y))
    factors = np.zeros(terms.shape[1])
    levels, spreads = np.array([0.5, 1.0]), np.array([0.1, 0.1])
    for _ in range(_ROUNDS):
        for _ in range(3):
            for k, member in enumerate((dark, ~dark)):
                if np.count_nonzero(member) > 5:
                    levels[k] = np.sum(y[member] * light[member]) / np.sum(light[member] ** 2)
            level, spread = np.where(dark, levels[0], levels[1]), np.where(dark, spreads[0], spreads[1])
            weight = 1.0 / (spread * light)
            factors = _solve(terms * (level * weight)[:, None], y * weight)
            light = _bounded(terms @ factors, y)
        scale = float(np.median((y / light)[~dark])) if not dark.all() else 1.0
        factors, light = factors * scale, light * scale
        ratio = y / light
        middle = float(ratio[dark].mean()) if dark.any() else 0.5
        start = np.array([min(middle, 0.98), 1.0])
        mixture = fit_mixture(histogram_of(ratio), start, least_spread=0.02, rounds=30)
        levels, spreads = mixture.means.copy(), mixture.spreads
        new = ratio < mixture.equal_density()
        if np.mean(new == dark) > 0.9995:
            break
        dark = new
    return mixture.log_likelihood - float(np.mean(np.log(light))), factors


def _bounded(light: np.ndarray, y: np.ndarray) -> np.ndarray:
    return np.maximum(light, _DIMMEST * float(y.mean()) + 1e-12)


def _solve(terms: np.ndarray, y: np.ndarray) -> np.ndarray:
    """Least squares, with a trace of damping so that a flat or tiny field stays solvable."""
    normal = terms.T @ terms
    damping = 1e-6 * np.trace(normal) / len(normal) + 1e-300
    return np.asarray(np.linalg.solve(normal + damping * np.eye(len(normal)), terms.T @ y))
